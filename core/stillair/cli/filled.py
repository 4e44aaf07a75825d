"""`rehearse --fill`: scenarios are written for what no scenario shows, beside those they follow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce
from operator import or_
from pathlib import Path
from typing import Any, NamedTuple

from stillair.assess.uses import stands
from stillair.authoring.filling import Examples, Filler, Found, chosen, moments, written
from stillair.authoring.goals import Goals
from stillair.authoring.mutants import apart
from stillair.authoring.mutation import Reorder, after, all_mutants, order_survivor, reorders
from stillair.authoring.scenario import GENERATED, folder_of, read_scenario
from stillair.authoring.unshown import SEEN, SLIP, Explained, Way
from stillair.hooks import Plugins
from stillair.wording import counted

from .mutated import one_program, texts_in
from .screen import Screen
from .workers import workers

__all__ = ["Filling"]

Paths = Mapping[str, Path]


class Outcome(NamedTuple):
    """How many goals there are, how many ways and slips of them are not shown, by what the others are.

    `cut_short` where it was interrupted before everything was tried.
    """

    goals: int
    ways: int
    slips: int
    entries: int
    files: int
    cut_short: bool = False


class Filling:
    """What the scenarios of some packs do not show, and scenarios that show it."""

    def __init__(
        self,
        plugin_dirs: Sequence[Path],
        folders: Sequence[Path],
        paths: Sequence[Path],
        tries: int,
        explained: Explained,
    ) -> None:
        self.plugin_dirs = plugin_dirs
        self.texts = texts_in(plugin_dirs, folders)
        self.paths = {path.as_posix(): path for path in paths}
        self.tries = tries
        self.explained = explained

    def run(self, processes: int) -> Outcome:
        """Write the scenarios; those that are there already are made anew, and what they show is kept.

        An interruption ends the trying: what was found so far is written.
        """
        """ScenarioError where what is explained is of nothing there is."""
        worker = _begin(self.plugin_dirs, self.paths)
        for kind, of in ((SEEN, worker.goals.of_way), (SLIP, _slips(worker.goals))):
            known = (Way(kind, name, part, way) for names, part, way in of.values() for name in names)
            self.explained.check(kind, known, ())
        found: list[Found] = []
        with workers(processes, _begin, self.plugin_dirs, self.paths) as spread:
            for each, examples in spread(_moments, self.paths, chunksize=4):
                found += each
                worker.examples.merge(examples)
        wanted = self._wanted(worker.goals)
        missing = wanted & ~_shown(found)
        for number, goal in worker.goals.of_mutant.items():
            if missing >> goal & 1 and apart(worker.goals.program, worker.goals.made[number]) is False:
                wanted &= ~(1 << goal)
        missing &= wanted
        tasks: list[int | Reorder] = [c for c in worker.goals.asked if worker.goals.of.get(c, 0) & missing]
        tasks += [pair for pair, goal in worker.goals.order.items() if missing >> goal & 1]
        more = (worker.examples, missing, self.tries)
        cut_short = False
        try:
            with workers(processes, _look, self.plugin_dirs, self.paths, *more) as spread:
                for each in spread(_fill, tasks):
                    found += each
        except KeyboardInterrupt:
            cut_short = True
        # What is there already stays as it is, as far as it shows anything that nothing else there does.
        taken = chosen([each for each in found if each.kept], wanted)
        taken += chosen(found, wanted & ~_shown(taken))
        left = wanted & ~_shown(taken)
        of_slips = left & sum(1 << goal for goal in _slips(worker.goals))
        files = self._write(worker, taken, cut_short)
        ways = (left & ~of_slips).bit_count()
        return Outcome(wanted.bit_count(), ways, of_slips.bit_count(), len(taken), files, cut_short)

    def say(self, screen: Screen, outcome: Outcome) -> None:
        if outcome.cut_short:
            screen.say("interrupted: not everything was tried; what was found so far is written")
        left = outcome.ways + outcome.slips
        shown = outcome.goals - left
        if left:
            screen.say(
                f"{counted(outcome.ways, 'way')} and {counted(outcome.slips, 'slip')} are not shown: "
                "--coverage tells the ways, --mutate the slips, both under the text of the pack"
            )
        screen.say(
            f"{shown} of {outcome.goals} ways and slips are shown, "
            f"by {counted(outcome.entries, 'entry', 'entries')} in {counted(outcome.files, 'scenario')}; "
            "read them: they say what follows, not what ought to",
            bold=True,
        )

    def _wanted(self, goals: Goals) -> int:
        """The goals of the conditions that stand in the packs asked for."""
        own = (c for c, each in goals.asked.items() if any(stands(use, self.texts) for use in each.uses))
        wanted = reduce(or_, (goals.of.get(cond, 0) for cond in own), 0)
        for pair, goal in goals.order.items():
            if ("step", pair.first) in self.texts and order_survivor(goals.program, pair) is not None:
                wanted |= 1 << goal
        return wanted & ~self._explained(goals)

    def _explained(self, goals: Goals) -> int:
        """The ways and slips of which somebody says why no scenario shows them."""
        kinds = ((SEEN, goals.of_way), (SLIP, _slips(goals)))
        told = {g for kind, of in kinds for g, way in of.items() if self.explained.why(kind, *way)}
        return sum(1 << goal for goal in told)

    def _write(self, worker: _Worker, taken: Sequence[Found], cut_short: bool) -> int:
        by: dict[str, list[Found]] = {}
        for each in taken:
            by.setdefault(each.moment.scenario, []).append(each)
        for name, path in self.paths.items():
            target = _beside(path)
            if name not in by:
                if not cut_short:
                    target.unlink(missing_ok=True)
                continue
            about = read_scenario(target).get("about") if target.is_file() else None
            target.parent.mkdir(exist_ok=True)
            text = written(worker.goals, path.stem, worker.scenarios[name], by[name], about)
            target.write_text(text, encoding="utf-8")
        return len(by)


def _shown(found: Sequence[Found]) -> int:
    return reduce(or_, (each.goals for each in found), 0)


def _slips(goals: Goals) -> dict[int, tuple[list[str], str, str]]:
    """The goals that are slips: what each is of, by every use, the part, and what stands instead."""
    made = {
        goals.of_mutant[number]: ([*map(str, mutant.asked.uses)], mutant.part, mutant.instead)
        for number, mutant in enumerate(goals.made)
    }
    return made | {goal: ([str(pair)], pair.first, after(pair)) for pair, goal in goals.order.items()}


def _beside(path: Path) -> Path:
    """The file of the generated scenario that follows this one."""
    return folder_of(path) / "scenarios" / GENERATED / path.name


# -- in each process -----------------------------------------------------------------------------------------


class _Worker:
    def __init__(self, plugin_dirs: Sequence[Path], paths: Paths) -> None:
        self.paths = paths
        read = {name: read_scenario(path) for name, path in paths.items()}
        self.scenarios = {name: scenario for name, scenario in read.items() if "base" not in scenario}
        self.others: dict[str, list[Any]] = {}
        """What follows a scenario in others that were written by hand."""
        for name, scenario in read.items():
            if "base" in scenario:
                base = paths[name].with_name(f"{scenario['follows']}.yaml").as_posix()
                self.others.setdefault(base, []).extend(scenario["does"])
        program = one_program(Plugins.load(plugin_dirs), list(paths.values()), "--fill")
        self.goals = Goals(program, all_mutants(program), reorders(program))
        self.examples = Examples()


_worker: _Worker | None = None
_filler: Filler | None = None
_tries = 0


def _begin(plugin_dirs: Sequence[Path], paths: Paths) -> _Worker:
    global _worker
    _worker = _Worker(plugin_dirs, paths)
    return _worker


def _moments(name: str) -> tuple[list[Found], Examples]:
    assert _worker is not None
    if name not in _worker.scenarios:
        return [], Examples()
    before = _beside(_worker.paths[name])
    more = read_scenario(before)["does"] if before.is_file() else ()
    return moments(_worker.goals, name, _worker.scenarios[name], more, _worker.others.get(name, ()))


def _look(plugin_dirs: Sequence[Path], paths: Paths, examples: Examples, missing: int, tries: int) -> None:
    global _filler, _tries
    worker = _begin(plugin_dirs, paths)
    _filler, _tries = Filler(worker.goals, worker.scenarios, examples, missing), tries


def _fill(about: int | Reorder) -> list[Found]:
    """What was found for a condition, or for the order of two steps."""
    assert _filler is not None
    return _filler.order(about, _tries) if isinstance(about, Reorder) else _filler.fill(about, _tries)
