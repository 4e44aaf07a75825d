"""Waits, required and achieved, and what was powered, for how long, and how it was proved off again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stillair.assess import end_of
from stillair.because import reading_used, said_trigger
from stillair.condition.core import Ref
from stillair.wording import Wording, duration

from .document import Block, Code, Item, Part, Strong, line
from .prose import prose
from .reason import items

__all__ = ["periods"]


def periods(wording: Wording) -> Part | None:
    """None where the checklists have neither waits nor powered states."""
    blocks: list[Block] = []
    waits = [item for name in wording.program.waits for item in _wait(wording, name)]
    if waits:
        blocks.append(
            line(
                "Times are by the clock alone, that of the device, also while the program was shut. Where ",
                Code("verify"),
                " says that the clock went back, they are in doubt.",
            )
        )
        blocks.append(line(Strong("Waits, required and achieved:")))
        blocks.append(items(waits))
    powered = [item for name in wording.program.powered for item in _powered(wording, name)]
    if powered:
        blocks.append(line(Strong("Powered states, exceptions to the lockout:")))
        blocks.append(items(powered))
    elif wording.program.powered:
        blocks.append(line("No powered state was begun."))
    return Part("Waits and powered states", tuple(blocks)) if blocks else None


def _wait(wording: Wording, name: str) -> Iterator[Item]:
    """One item for each time the wait was started or started again."""
    found = wording.found
    wait = wording.program.waits[name]
    lines = {o.taken for each in found.history.observations.values() for o in each}
    lines |= {at for each in found.history.events.values() for at, _ in each}
    runs: dict[float, tuple[str, float | None]] = {}
    ended: dict[float, float] = {}
    before: float | None = None
    for moment in sorted({t for t in lines if t <= found.at} | {found.at}):
        state = found.view.as_of(end_of(moment)).wait(name)
        if state.started != before and before is not None and before in runs:
            ended.setdefault(before, moment)
        before = state.started
        if state.started is None:
            continue
        ready = state.options.taken if state.options.mask == 1 else None
        held = runs.get(state.started)
        if held is None or (held[1] is None and ready is not None):
            runs[state.started] = (state.restarted_by, ready)
    now = found.waits[name]
    if now.started in runs and now.options.mask != 1:
        runs[now.started] = (now.restarted_by, None)  # said to last longer since
    required = duration(now.required) if now.required is not None else "a time that is not known"
    if wait.lasts is not None:
        required += f" (by {wording.name(Ref(wait.lasts))})"
    title = prose(wait.spec.title)
    if not runs:
        starts = ", ".join(said_trigger(t) for t in wait.since)
        yield Item(line(Strong(title), f": required {required}, never started. It starts with: {starts}."))
    for started, (again, ready) in runs.items():
        began = f"began {wording.clock(started)}" + (f" again ({again})" if again else "")
        if ready is not None:
            said = f"achieved {duration(ready - started)}, ready {wording.clock(ready)}"
        elif started in ended:
            said = f"broken off {wording.clock(ended[started])} after {duration(ended[started] - started)}"
        else:
            said = f"not ready: {duration(found.at - started)} so far"
            if now.required is not None and found.at - started >= now.required:
                said = (
                    f"{duration(found.at - started)} by the clock, and nobody has said that nothing happened"
                )
        yield Item(line(Strong(title), f": required {required}, {began}, {said}."))


def _powered(wording: Wording, name: str) -> Iterator[Item]:
    found = wording.found
    powered = wording.program.powered[name]
    begun = [e for e in found.history.events.get((f"{name}_begun", None), []) if e[0] <= found.at]
    ended = [e for e in found.history.events.get((f"{name}_ended", None), []) if e[0] <= found.at]
    for index, (start, start_line) in enumerate(begun):
        after = begun[index + 1] if index + 1 < len(begun) else (float("inf"), 0)
        end = next((e for e in ended if (start, start_line) < e < after), None)
        limit = duration(powered.at_most)
        said = f": begun {wording.clock(start)} (line {start_line}), "
        if end is None:
            said += f"no end entered; at most {limit} was allowed"
        else:
            lasted = end[0] - start
            over = ", longer than allowed" if lasted > powered.at_most else ""
            said += f"ended {wording.clock(end[0])} (line {end[1]}) after {duration(lasted)}, "
            said += f"at most {limit} allowed{over}"
        freed = [wording.member(powered.spec.of.text, t.text) for t in powered.spec.frees]
        under = [Item(line("Freed: ", "; ".join(freed)))]
        proofs = list(_proofs(wording, name, (start, start_line), after))
        under.append(
            Item(line("Proved off again by:" if proofs else "Not proved off again yet."), tuple(proofs))
        )
        yield Item(line(Strong(prose(powered.spec.title)), said), tuple(under))


def _proofs(
    wording: Wording, name: str, begun: tuple[float, int], after: tuple[float, int]
) -> Iterator[Item]:
    powered = wording.program.powered[name]
    spec = powered.spec
    freed = {t.text for t in spec.frees}
    for proved, _ in powered.proof:
        fact = wording.program.facts[proved]
        members: Sequence[str | None] = [None]
        if fact.per is not None:
            known = wording.found.view.members(fact.per)[0]
            members = [m for m in known if m in freed or fact.per != spec.of.text]
        for member in members:
            for observation in wording.found.history.before((fact.name, member), wording.found.view.moment):
                if begun < (observation.taken, observation.line) < after:
                    said = reading_used(wording, observation)
                    yield Item(
                        line(
                            Code(wording.name(Ref(fact.name, member))),
                            f": {said}, {wording.clock(observation.taken)}, line {observation.line}",
                        )
                    )
                    break
