"""Jobs answered at random, one answer at a time: the guide never asks one thing for ever, and always ends."""

from __future__ import annotations

import random
from collections import Counter

import pytest
from stillair.assess import Action, Program, assess
from stillair.condition.core import OptionDomain, Ref
from stillair.job import Line

START = 1_780_000_000.0
PSI = 6894.757293168361
#: Answers that let a job go on, given nineteen times of twenty.
USUAL = {
    "alarm_signs": "no", "standing_water": "dry", "certificate": "yes", "equipment": "split",
    "hindrance": "nothing", "came_for": "search",
    "in_circuit": "one_gas", "tester_before": "yes", "tester_after": "yes",
    "locked": "yes", "dead": "yes", "blower": "stopped", "fan_setting": "auto",
}  # fmt: skip
MEASURED = {
    "static_pressure": 240 * PSI, "static_high": 241 * PSI, "elevation": 300.0, "nameplate_charge": 3.4,
    "last_full_on": START - 3e7, "topped_on": START - 1e7, "discharge_time": 300.0,
}  # fmt: skip
MOST = 14
"""Times one fact may be asked in a job: proofs come again after each powered state."""


class Walker:
    """Someone who answers the first question asked, and sometimes cannot."""

    def __init__(self, program: Program, seed: int, cannot: float) -> None:
        self.program, self.cannot = program, cannot
        self.random = random.Random(seed)
        self.lines: list[Line] = []
        self.now = START
        self.asked: Counter[Ref] = Counter()
        self.gas = self.random.choice(("R-410A", "R-22", "R-32", "R-454B", "R-290"))
        self.write("job", format="stillair.job/1", engine="test", title="A walk", packs={}, plugins={})

    def write(self, kind: str, **body: object) -> None:
        self.lines.append(
            Line(
                n=len(self.lines) + 1, kind=kind, taken=self.now, entered=self.now, offset=0, by="A. Tech",
                body=body,  # type: ignore[arg-type]
            )
        )  # fmt: skip

    def walk(self) -> Action:
        """Answer until nothing is left to do; the last action."""
        for _ in range(400):
            self.now += self.random.choice((20, 60, 120))
            action = assess(self.program, self.lines, self.now).next
            if action.kind in ("finished", "stopped"):
                return action
            self.take(action)
        raise AssertionError(f"no end; asked most: {self.asked.most_common(3)}")

    def take(self, action: Action) -> None:
        of = {"of": action.member} if action.member is not None else {}
        match action.kind:
            case "wait":
                self.now += 600
            case "do":
                self.write("done", step=action.step, **of)
            case "begin":
                self.write("event", event=f"{self.program.steps[str(action.step)].powered}_begun")
            case "list":
                self.write("listed", list=action.list)
            case _:
                self.answer(action, action.facts[0])

    def answer(self, action: Action, ref: Ref) -> None:
        self.asked[ref] += 1
        assert self.asked[ref] <= MOST, f"{ref} is asked again and again: {action.step}, {action.why}"
        body = {"fact": ref.name, **({"of": ref.member} if ref.member is not None else {})}
        if action.suspicion is not None and self.asked[ref] < 3:
            self.write("correct", line=action.suspicion.observation.line, why="misread", body=None)
        elif self.random.random() < self.cannot:
            self.write("unavailable", **body, reason="it cannot be seen")
        else:
            value = self.value(ref)
            self.write("observe", **body, value=value, read=str(value))

    def value(self, ref: Ref) -> object:
        domain = self.program.facts[ref.name].domain
        if not isinstance(domain, OptionDomain):
            usual = MEASURED.get(ref.name, 300.0 if "temperature" in ref.name else None)
            return self.random.uniform(domain.low, domain.high) if usual is None else usual
        if domain.names == ("present", "absent"):
            return True
        wanted = self.gas if ref.name == "refrigerant" else USUAL.get(ref.name)
        likely = wanted in domain.names and self.random.random() < 0.95
        return wanted if likely else self.random.choice(domain.names)


@pytest.mark.parametrize("cannot", [0.02, 0.15])
@pytest.mark.parametrize("seed", range(8))
def test_no_question_is_asked_for_ever(program: Program, seed: int, cannot: float) -> None:
    """Whatever is answered, the job comes to an end: finished, or stopped with what stands against it."""
    action = Walker(program, seed, cannot).walk()
    if action.kind == "stopped":
        assert action.permission.blocked or action.permission.reasons or action.permission.missing
