"""The plain job: from an empty folder to a confirmed leak in few answers, and none of them for nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from stillair.assess import Action, Assessment, Program, assess
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.job import Line

START = datetime(2026, 7, 21, 13, 0, tzinfo=UTC).timestamp()
FEWER_THAN = 60
OZ, PSI, DAY = 0.028349523125, 6894.757293168361, 86_400.0
#: What a technician finds at a plain R-410A split with a leak at the port caps, topped up once.
ANSWERS: dict[str, object] = {
    "caller_alarm": "no", "told_off": "yes", "topped_on": START - 97 * DAY, "amount": 24 * OZ,
    "gas_added": "same", "filled_full": "no", "last_full_on": START - 460 * DAY, "alarm_signs": "no",
    "standing_water": "dry", "certificate": "yes", "equipment": "split", "hindrance": "nothing",
    "came_for": "search",
    "refrigerant": "R-410A", "in_circuit": "one_gas", "thermostat_as_found": "off", "fan_as_found": "auto",
    "damper_as_found": "none", "locked": "yes", "discharge_time": 300.0, "tester_before": "yes",
    "dead": "yes", "tester_after": "yes",
    "detector": "fit", "detector_sensitivity": 1.27e-10, "warm_up_place": "outdoors",
    "reference_leak": "answered", "oil_seen": "clean", "equipment_age": 8 * 365.25 * DAY, "wind": "calm",
    "fan_setting": "auto", "blower": "stopped", "gas_valve": "shut", "drain_water": "dry", "tip": "fresh",
    "look": "faint", "repeat": "three", "solvent_near": "no", "covered": "spot", "bubbles": "growing",
    "watched": "yes", "equalise_witness": "no", "pool_witness": "no", "discharge_witness": "no",
}  # fmt: skip
#: What the search goes on with after the leak: only then does much of it show its weight.
AFTERWARDS: dict[str, object] = {
    "equalise_witness": "no", "elevation": 0.0, "static_pressure": 217 * PSI, "static_high": 217 * PSI,
    "gauges_settled": "settled", "coldest_temperature": 297.04, "warmest_temperature": 297.04,
    "reference_leak": "answered", "search_over": "yes",
}  # fmt: skip
#: Kept for the record alone: they say where and what, and no rule reads them.
FOR_THE_RECORD = {"spot"}


class Job:
    """A job in memory, answered one question at a time as the guide asks them."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.lines: list[Line] = []
        self.now = START
        self.asked: list[Ref] = []
        self.answers = 0
        self.write("job", format="stillair.job/1", engine="test", title="Plain", packs={}, plugins={})
        for name in program.checklists:
            self.write("open", checklist=name)
        self.answers = 0

    def line(self, kind: str, **body: object) -> Line:
        return Line(len(self.lines) + 1, kind, self.now, self.now, 0, "A. Tech", body)  # type: ignore[arg-type]

    def write(self, kind: str, **body: object) -> None:
        self.lines.append(self.line(kind, **body))
        self.answers += 1

    def found(self) -> Assessment:
        return assess(self.program, self.lines, self.now)

    def value(self, ref: Ref) -> object:
        domain = self.program.facts[ref.name].domain
        if isinstance(domain, OptionDomain) and domain.names == ("present", "absent"):
            return True
        if ref.name == "look" and ref.member != "port_caps":
            return "none"
        assert ref.name in ANSWERS | AFTERWARDS, f"{ref} is asked in a plain job"
        return ANSWERS[ref.name] if ref.name in ANSWERS else AFTERWARDS[ref.name]

    def observe(self, ref: Ref, value: object) -> dict[str, object]:
        of = {"of": ref.member} if ref.member is not None else {}
        return {"fact": ref.name, **of, "value": value, "read": str(value)}

    def turn(self, action: Action) -> Iterator[Ref]:
        """Do what is next, as a person would; the fact asked, before it is answered."""
        of = {"of": action.member} if action.member is not None else {}
        self.now += 30
        match action.kind:
            case "wait":
                self.now += 600
            case "do":
                self.write("done", step=action.step, **of)
            case "list":
                listed = any(line.kind == "member" for line in self.lines)
                if action.list == "top_up" and not listed:
                    self.write("member", list="top_up", member="april", label="April")
                else:
                    self.write("listed", list=action.list)
            case "begin":
                self.write("skip", step=action.step, why="the caps come first")
            case "ask" if action.step == "what-it-went-through":
                self.write("skip", step=action.step, why="nobody is there to ask")
            case "ask":
                ref = action.facts[0]
                self.asked.append(ref)
                yield ref
                self.write("observe", **self.observe(ref, self.value(ref)))
            case _:
                raise AssertionError(f"{action.kind}: {action.why}")


def leak_confirmed(found: Assessment) -> bool:
    return any(f.grade == "confirmed" for f in found.findings if f.name == "leak")


@pytest.fixture(scope="module")
def played(program: Program) -> tuple[Job, list[tuple[Ref, list[Line], float]]]:
    """The job up to the confirmed leak, and the lines before each question."""
    job = Job(program)
    before = []
    for _ in range(120):
        found = job.found()
        if leak_confirmed(found):
            return job, before
        for ref in job.turn(found.next):
            before.append((ref, list(job.lines), job.now))
    raise AssertionError(f"no leak after {job.answers} answers: {job.asked}")


def test_a_plain_job_takes_few_answers(played: tuple[Job, object]) -> None:
    """Questions, steps said to be done and lists closed, all together."""
    assert played[0].answers < FEWER_THAN


def test_nothing_is_asked_twice_but_the_reference_leak(played: tuple[Job, object]) -> None:
    asked = [ref for ref in played[0].asked if ref.name != "reference_leak"]
    assert len(asked) == len(set(asked))


def outcome(found: Assessment) -> object:
    """All that is concluded, allowed, awaited or asked next."""
    steps = {(s.step, s.member): (s.status, s.permission.may) for s in found.steps}
    return (
        [(r.rule, r.member, r.verdict) for r in found.rules],
        [(f.name, f.member, f.grade) for f in found.findings],
        steps,
        {name: wait.started for name, wait in found.waits.items()},
        {name: found.activity(name).may for name in found.program.activities},
        [(p.place, p.status) for p in found.places],
    )


def answers_of(program: Program, ref: Ref) -> list[object]:
    domain = program.facts[ref.name].domain
    if isinstance(domain, OptionDomain):
        return list(domain.names)
    assert isinstance(domain, NumberDomain)
    low, high = domain.low, domain.high
    return [low, *(low + (high - low) * share for share in (0.01, 0.02, 0.1, 0.3, 0.5, 0.7)), high]


def test_no_question_is_for_nothing(
    program: Program, played: tuple[Job, list[tuple[Ref, list[Line], float]]]
) -> None:
    """Of each question two answers are supposed, by the engine itself, that lead to different outcomes.

    Where the answers do not part at once, the job is played on with each as it was, and to the end of the
    search: they must part somewhere on the way.
    """
    job, before = played
    whole = Job(program)
    whole.lines, whole.now = list(job.lines), job.now
    for name in AFTERWARDS:
        whole.now += 30
        whole.write("observe", **whole.observe(Ref(name), whole.value(Ref(name))))
    idle = [
        str(ref)
        for ref, lines, _ in before
        if ref.name not in FOR_THE_RECORD and not parts(program, ref, len(lines), whole.lines)
    ]
    assert idle == []


def parts(program: Program, ref: Ref, asked: int, lines: list[Line]) -> bool:
    """Whether two answers to the question asked after so many lines lead apart, at once or later on."""
    answers = [
        replace(lines[asked], body={**lines[asked].body, "value": value, "read": str(value)})  # type: ignore[dict-item]
        for value in answers_of(program, ref)
    ]
    for on in sorted({asked + 1, asked + 4, asked + 9, asked + 16, asked + 25, len(lines)}):
        if on > len(lines):
            continue
        at = lines[on - 1].taken + 1
        seen = set()
        for answer in answers:
            told = [*lines[:asked], answer, *lines[asked + 1 : on]]
            seen.add(repr(outcome(assess(program, told, at))))
            if len(seen) > 1:
                return True
    return False
