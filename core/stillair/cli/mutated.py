"""`rehearse --mutate`: which slips in the conditions of packs no scenario would notice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from stillair import account
from stillair.assess import Program
from stillair.assess.uses import Use, stands, written
from stillair.authoring.mutants import Mutant
from stillair.authoring.mutation import (
    Mutation,
    Reorder,
    Survivor,
    Watcher,
    after,
    all_mutants,
    main_use,
    misses_order,
    notices,
    order_survivor,
    reorders,
    survivor,
)
from stillair.authoring.rehearse import play
from stillair.authoring.scenario import folder_of, read_scenario
from stillair.authoring.unshown import SLIP, Explained, Way
from stillair.checklist import Text
from stillair.fault import Fault, StillairError
from stillair.hooks import Plugins
from stillair.pack import read_pack
from stillair.trail import passages
from stillair.wording import counted

from .screen import Screen, percent
from .stage import Stage
from .workers import workers

__all__ = ["Mutating", "one_program", "texts_in"]


class _Task(NamedTuple):
    """A mutant by its number, and the scenarios in which it differs."""

    number: int
    paths: tuple[Path, ...]


class Mutating:
    """The mutants of the conditions of some packs, held against their scenarios."""

    def __init__(
        self,
        plugin_dirs: Sequence[Path],
        folders: Sequence[Path],
        paths: Sequence[Path],
        most: int,
        explained: Explained,
    ) -> None:
        self.plugin_dirs = plugin_dirs
        self.paths = paths
        self.most = most
        self.texts = texts_in(plugin_dirs, folders)
        self.explained = explained

    def run(self, processes: int) -> tuple[Mutation, int]:
        """What became of the mutants looked at, and how many there are in all.

        ScenarioError where what is explained is of nothing there is, or is noticed after all.
        """
        worker = _begin(self.plugin_dirs, self.paths)
        here = [n for n, about in enumerate(worker.all) if self._where(about) is not None]
        step = max(1, -(-len(here) // self.most))
        chosen = here[::step]
        result = Mutation()
        for number in chosen:
            result.of(worker.all[number]).made += 1
        with workers(processes, _begin, self.plugin_dirs, self.paths) as spread:
            differ: dict[int, list[Path]] = {}
            noticed: set[int] = set()
            for path, found in zip(self.paths, spread(_watch, self.paths, chunksize=4), strict=True):
                noticed |= found[1]
                for number in sorted(found[0]):
                    differ.setdefault(number, []).append(path)
            told_of, left_over = noticed.intersection(chosen), set[int]()
            for number in told_of:
                result.of(worker.all[number]).noticed += 1
            tasks = [_Task(n, tuple(differ.get(n, ()))) for n in chosen if n not in noticed]
            for task, told in zip(tasks, spread(_noticed, tasks, chunksize=2), strict=True):
                tally = result.of(worker.all[task.number])
                if told:
                    tally.noticed += 1
                    told_of.add(task.number)
                    continue
                left = worker.survivor(task.number)
                if left is None:
                    tally.equivalent += 1
                    continue
                ways = worker.ways(task.number)
                reason = self.explained.why(SLIP, [way.of for way in ways], left.part, left.instead)
                tally.explained += reason is not None
                result.survivors.append(left._replace(because=reason))
                left_over.add(task.number)
        self.explained.check(
            SLIP,
            (way for n in here for way in worker.ways(n)),
            {way for n in told_of for way in worker.ways(n)}
            - {way for n in left_over for way in worker.ways(n)},
        )
        return result, len(here)

    def say(self, screen: Screen, result: Mutation, of: int) -> None:
        for each in result.survivors:
            if each.because is not None:
                continue
            where = self._place(each)
            screen.exactly(f"{where.path}:{where.line}:{where.column}: {each.question}")
            for line in each.settles:
                screen.exactly(f"    {line}")
        whole = result.whole
        if not of:
            screen.say("there is nothing in these packs that a slip could change", bold=True)
            return
        mutants = counted(of, "mutant")
        looked = f"{whole.made} of {mutants}" if whole.made < of else mutants
        screen.say(
            f"{looked}: {whole.noticed} noticed, {counted(whole.equivalent, 'changes', 'change')} nothing, "
            f"{len(result.survivors)} not noticed: {percent(whole.share)}; "
            f"of gates, stops and safety facts {percent(result.guards.share)}, "
            f"of everything else {percent(result.others.share)}",
            bold=True,
        )
        if whole.explained:
            screen.say(
                f"{whole.explained} of those not noticed are explained; noticed or explained are "
                f"{percent(result.guards.accounted)} of gates, stops and safety facts, "
                f"{percent(result.others.accounted)} of everything else",
                bold=True,
            )

    def account(self, result: Mutation, of: int) -> dict[str, object]:
        return {
            "format": account.MUTATION,
            "mutants": of,
            "looked_at": result.whole.made,
            "noticed": result.whole.noticed,
            "equivalent": result.whole.equivalent,
            "percent": result.whole.share,
            "guards_percent": result.guards.share,
            "other_percent": result.others.share,
            "explained": result.whole.explained,
            "guards_explained_percent": result.guards.accounted,
            "other_explained_percent": result.others.accounted,
            "survivors": [
                {
                    "use": str(each.about),
                    "file": self._place(each).path,
                    "line": self._place(each).line,
                    "column": self._place(each).column,
                    "part": each.part,
                    "instead": each.instead,
                    "question": each.question,
                    "settles": list(each.settles),
                    "guards": isinstance(each.about, Use) and each.about.guards,
                    "because": each.because,
                }
                for each in result.survivors
            ],
        }

    def _where(self, about: Use | Reorder) -> Text | None:
        if isinstance(about, Reorder):
            return self.texts.get(("step", about.first))
        return stands(about, self.texts)

    def _place(self, each: Survivor) -> Text:
        found = self._where(each.about)
        assert found is not None
        return found


def texts_in(plugin_dirs: Sequence[Path], folders: Sequence[Path]) -> Mapping[tuple[str, str], Text]:
    versions = Plugins.load(plugin_dirs).versions()
    return written([c for folder in folders for c in read_pack(folder, plugins=versions).checklists])


def one_program(plugins: Plugins, paths: Sequence[Path], option: str) -> Program:
    """The program that all these scenarios are played with. StillairError where they are of several."""
    stage = Stage(plugins)
    keys = {stage.key(folder_of(path), read_scenario(path)) for path in paths}
    if len(keys) != 1:
        message = "these scenarios are not all played with the same packs"
        raise StillairError(Fault("SA401", message, option, help="name the packs of one job"))
    return stage.made(keys.pop())


# -- in each process -----------------------------------------------------------------------------------------


class _Worker:
    def __init__(self, plugin_dirs: Sequence[Path], paths: Sequence[Path]) -> None:
        self.program = one_program(Plugins.load(plugin_dirs), paths, "--mutate")
        self.made: list[Mutant] = all_mutants(self.program)
        self.pairs = reorders(self.program)
        self.all: list[Use | Reorder] = [*(main_use(mutant.asked) for mutant in self.made), *self.pairs]
        """What each mutant is about, by its number."""
        self.watcher = Watcher(self.program, self.made)
        self._read: dict[Path, Mapping[str, Any]] = {}

    def ways(self, number: int) -> list[Way]:
        """What is said of a mutant where it is explained, by each of the uses of its condition."""
        about = self.all[number]
        if isinstance(about, Reorder):
            return [Way(SLIP, str(about), about.first, after(about))]
        mutant = self.made[number]
        return [Way(SLIP, str(use), mutant.part, mutant.instead) for use in mutant.asked.uses]

    def survivor(self, number: int) -> Survivor | None:
        about = self.all[number]
        if isinstance(about, Reorder):
            return order_survivor(self.program, about)
        return survivor(self.program, self.made[number])

    def noticed(self, number: int, scenarios: Sequence[Mapping[str, Any]]) -> bool:
        about = self.all[number]
        if isinstance(about, Reorder):
            return misses_order(self.program, about, scenarios)
        return notices(self.program, self.made[number], scenarios, passages)

    def scenario(self, path: Path) -> Mapping[str, Any]:
        if path not in self._read:
            self._read[path] = read_scenario(path)
        return self._read[path]


_worker: _Worker | None = None


def _begin(plugin_dirs: Sequence[Path], paths: Sequence[Path]) -> _Worker:
    global _worker
    _worker = _Worker(plugin_dirs, paths)
    return _worker


def _watch(path: Path) -> tuple[frozenset[int], frozenset[int]]:
    """The mutants that differ from their conditions somewhere in a scenario, and those it tells at once."""
    assert _worker is not None
    watcher = _worker.watcher
    watcher.differ, watcher.noticed, watcher.nexts = set(), set(), set()
    play(_worker.program, _worker.scenario(path), None, watcher)
    pairs = (len(_worker.made) + n for n, pair in enumerate(_worker.pairs) if pair.first in watcher.nexts)
    return frozenset((*watcher.differ, *pairs)), frozenset(watcher.noticed)


def _noticed(task: _Task) -> bool:
    assert _worker is not None
    return bool(task.paths) and _worker.noticed(task.number, [*map(_worker.scenario, task.paths)])
