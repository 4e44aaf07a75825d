"""Where scenarios are played: the program of each set of packs, made once, and what came of each scenario."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stillair.assess import Program
from stillair.authoring.coverage import Seen, Seer
from stillair.authoring.rehearse import Miss, play
from stillair.authoring.scenario import MADE, ScenarioError, folder_of, packs_of, read_scenario
from stillair.fault import Fault, StillairError
from stillair.hooks import Plugins
from stillair.pack import MANIFEST, gather
from stillair.trail import passages

from .cache import Texts, key_of, load_program
from .packs import choose, name_in

__all__ = ["Played", "Stage"]


@dataclass(frozen=True, slots=True)
class Played:
    """What came of one scenario; `error` says why it could not be played."""

    path: Path
    title: str
    made: str
    checked: int = 0
    misses: tuple[Miss, ...] = ()
    error: str | None = None
    faults: tuple[Fault, ...] = ()
    """The faults in a file that `error` tells."""
    program: str = ""
    """What stands for the program it was played with."""
    seen: Seen | None = None

    @property
    def passed(self) -> bool:
        return self.error is None and not self.misses

    def told(self) -> Iterable[str]:
        """What failed, with the judged trees, line by line."""
        if self.error is not None:
            yield self.error
        for miss in self.misses:
            yield str(miss)
            yield from (f"  {line}" for line in miss.tree)


class Stage:
    """Plays scenarios with the pack of their folder, those they name, and what joins them."""

    def __init__(self, plugins: Plugins) -> None:
        self.plugins = plugins
        self._wanted: dict[tuple[Path, ...], str] = {}
        self._made: dict[str, Program] = {}
        self._wrong: dict[str, StillairError] = {}

    def packs(self, folder: Path, named: Iterable[str] = ()) -> list[Texts]:
        """The texts of the packs that are used together, in the order in which a job takes them."""
        own = name_in(gather(folder)[MANIFEST], folder)
        wanted = [str(folder.absolute()), *(name for name in named if name != own)]
        return [texts for _, texts in sorted(choose(self.plugins, wanted).items())]

    def program(self, folder: Path, scenario: Mapping[str, Any]) -> Program:
        """The program a scenario in this pack folder is played with."""
        wanted = (folder, *map(Path, packs_of(scenario)))
        if wanted not in self._wanted:
            packs = self.packs(folder, packs_of(scenario))
            key = key_of(packs, self.plugins)
            if key in self._wrong:
                raise self._wrong[key]
            if key not in self._made:
                try:
                    self._made[key] = load_program(packs, self.plugins)
                except StillairError as error:
                    self._wrong[key] = self._with_paths(packs, wanted) or error
                    raise self._wrong[key] from None
            self._wanted[wanted] = key
        return self._made[self._wanted[wanted]]

    def _with_paths(self, packs: Sequence[Texts], wanted: Sequence[Path]) -> StillairError | None:
        """What is wrong with these packs, with the paths of their files: those wanted, or installed."""
        from stillair.assess.compiler import compile_packs
        from stillair.pack import read_texts

        there = (*self.plugins.packs, *filter(Path.is_dir, wanted))
        folders = [(gather(folder), folder) for folder in there]
        try:
            read = []
            for texts in packs:
                label = next((folder.as_posix() for held, folder in folders if held == texts), "pack")
                read.append(read_texts(texts, plugins=self.plugins.versions(), label=label))
            compile_packs(read, self.plugins.calculators, self.plugins.catalogues)
        except StillairError as error:
            return error
        return None

    def key(self, folder: Path, scenario: Mapping[str, Any]) -> str:
        """What stands for the program that a scenario in this pack folder is played with."""
        self.program(folder, scenario)
        return self._wanted[(folder, *map(Path, packs_of(scenario)))]

    def made(self, key: str) -> Program:
        """The program of a key that was asked for before."""
        return self._made[key]

    def play(self, path: Path, *, see: bool = False) -> Played:
        """Play one file. What is wrong with it, or with its packs, is said in the result.

        With `see`, what is seen of the conditions on the way is kept.
        """
        title, made = path.stem, MADE[0]
        try:
            scenario = read_scenario(path)
            title, made = str(scenario.get("scenario", title)), str(scenario.get("made", made))
            program = self.program(folder_of(path), scenario)
            key = self.key(folder_of(path), scenario)
            seer = Seer(program) if see else None
            done = play(program, scenario, passages, seer)
        except (ScenarioError, StillairError) as error:
            faults = error.faults if isinstance(error, StillairError) else ()
            return Played(path, title, made, error=str(error), faults=faults)
        seen = seer.seen if seer is not None else None
        return Played(path, title, made, done.checked, tuple(done.misses), program=key, seen=seen)
