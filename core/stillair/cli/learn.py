"""`learn`: beliefs from a company's own confirmed faults, as a file that a new job can go by."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from math import prod
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from stillair.assess.beliefs import beliefs
from stillair.fault import StillairError
from stillair.job import JobError
from stillair.search import learning
from stillair.search.learning import Fault, Learned
from stillair.verdict import Verdict

from . import Mistake
from .screen import Screen
from .session import Session, Settings

if TYPE_CHECKING:
    from stillair.pack import Pack

__all__ = ["learn"]

STRENGTH = 20.0
"""How many confirmed faults the shipped beliefs are worth (judgement, no source)."""
ENOUGH = 20
"""Leaks from which a kind of jobs has beliefs of its own (judgement, no source)."""


class _Case(NamedTuple):
    """What one closed job says: its confirmed faults, and the bands it is of."""

    faults: tuple[Fault, ...]
    bands: frozenset[tuple[str, str]]


class _Band(NamedTuple):
    """A kind of jobs with beliefs of its own, and what is behind them."""

    group: str
    name: str
    jobs: int
    faults: int
    places: Mapping[str, Learned]


@click.command("learn")
@click.argument("jobs", nargs=-1, required=True, type=click.Path())
@click.option("-o", "--output", required=True, type=click.Path(), help="The file to write.")
@click.option("--pack", "packs", multiple=True, metavar="NAME", help="The pack, by name or folder.")
@click.option("--strength", default=STRENGTH, show_default=True, help="Leaks the beliefs written are worth.")
@click.pass_obj
def learn(
    settings: Settings, jobs: tuple[str, ...], output: str, packs: tuple[str, ...], strength: float
) -> None:
    """Learn from the confirmed faults of closed JOBS where faults are.

    Only what two methods confirmed is learned from; every job left out is named with the reason. A new job
    goes by the file with `stillair guide JOB --beliefs FILE`.
    """
    if not learning.LEAST <= strength <= learning.MOST:
        raise Mistake(
            f"--strength is from {learning.LEAST:g} to {learning.MOST:.0f}",
            "say how many confirmed faults the shipped beliefs are worth",
        )
    _check_place(Path(output))
    screen = Screen()
    pack = _pack_of(settings, packs)
    prior = {place.name: place.belief for checklist in pack.checklists for place in checklist.places}
    cases = []
    seen: dict[str, str] = {}
    for path in jobs:
        found = _case(settings, path, pack, prior, seen)
        if isinstance(found, str):
            screen.say(f"{path}: {found}", "left out: ")
        else:
            cases.append(found)
    faults = [fault for case in cases for fault in case.faults]
    every = learning.learn(prior, strength, faults)
    bands = list(_bands(pack, cases, prior, strength))
    text = _written(pack, every, bands, prior, cases, strength)
    try:
        Path(output).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise Mistake(f"cannot write {output}: {error.strerror}", "name a file that can be written") from None
    screen.say(f"Learned from {len(cases)} jobs with {len(faults)} confirmed faults; kept in {output}.")
    if not faults:
        screen.say("Nothing was confirmed: the beliefs are the shipped ones, unchanged.")
    for name, each in sorted(every.items(), key=lambda item: -item[1].share):
        screen.say(
            f"{name}: {each.share:.3f} ({each.low:.3f} to {each.high:.3f} at 95 %), {each.faults} faults",
            "  ",
        )
    for band in bands:
        behind = f"from {band.jobs} jobs with {band.faults} faults"
        screen.say(f"{band.group} {band.name}: beliefs of its own, {behind}", "  ")


def _check_place(path: Path) -> None:
    """Mistake where there is something else than beliefs already, such as the record of a job."""
    if path.is_file() and path.stat().st_size:
        with path.open("rb") as stream:
            begins = stream.read(4096).decode("utf-8", "replace")
        if re.search(r"^beliefs:", begins, re.MULTILINE) is None:
            raise Mistake(f"`{path}` is there already and holds no beliefs", "name a new file")


def _pack_of(settings: Settings, packs: Sequence[str]) -> Pack:
    """The one pack that declares places, of those a new job would take."""
    from stillair.hooks import Plugins
    from stillair.pack import BELIEFS, read_texts

    from .packs import choose

    plugins = Plugins.load(settings.plugin_dirs)
    found = []
    for name, texts in choose(plugins, packs).items():
        own = {file: text for file, text in texts.items() if file != BELIEFS}
        pack = read_texts(own, plugins=plugins.versions(), label=name)
        if any(checklist.places for checklist in pack.checklists):
            found.append(pack)
    if len(found) != 1:
        names = ", ".join(pack.name for pack in found) or "none"
        raise Mistake(f"beliefs are learned for one pack with places; here: {names}", "name one with --pack")
    return found[0]


def _case(
    settings: Settings, path: str, pack: Pack, prior: Mapping[str, float], seen: dict[str, str]
) -> _Case | str:
    """What a job says, or why it says nothing."""
    from stillair.job import verify

    try:
        report = verify(Path(path))
        if report.broken is not None:
            return "its chain is broken"
        with Session.reading(settings, path) as session:
            if session.differs:
                return session.differs[0]
            found = session.assess()
            first = session.lines[0]
            begun = repr((first.taken, first.by, sorted(first.body.items(), key=str)))
    except (JobError, StillairError, OSError) as error:
        return str(error)
    if begun in seen:
        return f"the same job as {seen[begun]}"
    seen[begun] = path
    if "" not in found.history.closed:
        return "it is not closed"
    if found.search is None or pack.name not in found.program.packs:
        return f"it does not go by the pack {pack.name}"
    if not found.search.confirmed:
        unsure = sorted(set(found.search.grades.values()) & {"suspected", "probable"})
        return f"nothing is confirmed, only {' and '.join(unsure)}" if unsure else "nothing is confirmed"
    strange = [place for place in found.search.confirmed if not prior.get(place)]
    if strange:
        return f"the pack has no place {strange[0]}, or does not believe in it"
    view = found.view
    clues = {b.place: prod(each.factor for each in b.weighed) for b in beliefs(view)}
    bands = frozenset(
        (group, band)
        for group, given in found.program.bands.items()
        for band, cond in given.items()
        if view.judge(cond) is Verdict.HOLDS
    )
    return _Case(tuple(Fault(place, clues) for place in found.search.confirmed), bands)


def _bands(
    pack: Pack, cases: Sequence[_Case], prior: Mapping[str, float], strength: float
) -> Iterator[_Band]:
    """The kinds of jobs with enough faults: their prior is what all other jobs say."""
    for checklist in pack.checklists:
        for group, bands in checklist.bands:
            for band, _ in bands:
                own = [case for case in cases if (group, band) in case.bands]
                faults = [fault for case in own for fault in case.faults]
                if len(faults) >= ENOUGH:
                    others = [f for case in cases if (group, band) not in case.bands for f in case.faults]
                    before = {n: each.share for n, each in learning.learn(prior, strength, others).items()}
                    places = learning.learn(before, strength, faults)
                    yield _Band(group, band, len(own), len(faults), places)


def _written(
    pack: Pack,
    every: Mapping[str, Learned],
    bands: Sequence[_Band],
    prior: Mapping[str, float],
    cases: Sequence[_Case],
    strength: float,
) -> str:
    """The file: beliefs and what stands behind each; nothing else can be set by it."""
    whole = sum(prior.values())
    lines = [
        "# Beliefs learned from closed jobs. They hold for the text of the pack named here and no other.",
        "# The prior is judgement; `between` holds the belief in 95 of 100 cases.",
        f"beliefs: {pack.name}",
        f"version: {pack.version}",
        f"digest: {pack.digest}",
        f"strength: {strength:g}",
        f"jobs: {len(cases)}",
        f"faults: {sum(len(case.faults) for case in cases)}",
        "places:",
        *_rows(every, whole, "  "),
    ]
    groups = dict.fromkeys(band.group for band in bands)
    if groups:
        lines.append("bands:")
    for group in groups:
        lines.append(f"  {group}:")
        for band in bands:
            if band.group == group:
                lines += [f"    {band.name}:", f"      jobs: {band.jobs}", f"      faults: {band.faults}"]
                lines += ["      places:", *_rows(band.places, whole, "        ")]
    return "\n".join(lines) + "\n"


def _rows(found: Mapping[str, Learned], whole: float, indent: str) -> Iterator[str]:
    for name, each in found.items():
        belief, low, high = (round(share * whole, 6) for share in (each.share, each.low, each.high))
        between = f"{low:.4f} .. {high:.4f}"
        yield f"{indent}{name}: {{belief: {belief:g}, faults: {each.faults}, between: {between}}}"
