"""Minutes to the leak on invented jobs: the order of search against three habits.

    python tests/bench/bench_search.py [JOBS]

Jobs are invented from the shipped beliefs, clues, minutes, set-ups and chances of the bundled places, and
from beliefs turned by factors of up to 3 either way that nobody who searches knows of. The worst of these is
shown as well. Not part of the suite.

Every habit is given the same: the same jobs, the same clues, a look that notices a leak there with the same
chance and the same draw of luck, set-ups paid when they are first needed, what must come first first. Whoever
has gone to the end and found nothing begins again. Jobs with no leak at a listed place are counted and left
out: no order finds them. Confirming takes the same time for all and is left out too. Top to bottom is the
order the places are written in, which their author chose with the same beliefs in mind.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from time import process_time

from stillair.assess import Program, compile_packs
from stillair.hooks import Plugins
from stillair.pack import gather, read_texts
from stillair.search import Check, SetUp, Silence, Worlds, choose, posterior

JOBS, ROUNDS, WARPS, FACTOR = 20_000, 5, 12, 3.0
#: How often each clue holds on an invented job, and how many sets of clues there are: invented as well.
CLUE_SHARE, PICTURES = 0.15, 300
Order = tuple[str, ...]


@dataclass(frozen=True)
class Places:
    """What the pack ships: weights, minutes, chance, set-ups, what comes first, and the clues."""

    weights: Mapping[str, float]
    checks: Mapping[str, Check]
    set_ups: tuple[SetUp, ...]
    clues: tuple[Mapping[str, float], ...]
    author: Order
    second: float
    elsewhere: float


def shipped() -> Places:
    """The bundled split with a furnace."""
    plugins = Plugins.load()
    folders = {folder.name: folder for folder in plugins.packs}
    packs = [
        read_texts(gather(folders[name]), plugins=plugins.versions(), label=name)
        for name in ("leak", "split_furnace")
    ]
    program = compile_packs(packs, plugins.calculators, plugins.catalogues)
    sought = program.sought
    assert sought is not None and sought.second is not None and sought.elsewhere is not None
    check = next(c for c in program.checks.values() if c.fact == program.look)
    usual = program.limits[check.usual].value
    checks = {
        name: Check(name, place.spec.minutes, {name: usual}, place.set_ups | check.set_ups, place.after)
        for name, place in program.places.items()
    }
    return Places(
        {name: place.spec.belief for name, place in program.places.items()},
        checks,
        tuple(SetUp(name, each.spec.minutes) for name, each in program.set_ups.items()),
        tuple(_clues(program)),
        tuple(sorted(program.places, key=lambda n: _position(program, n))),
        program.limits[sought.second].value,
        program.limits[sought.elsewhere].value,
    )


def _position(program: Program, name: str) -> float:
    order = program.places[name].spec.order
    assert order is not None
    return order.sinks


def _clues(program: Program) -> list[Mapping[str, float]]:
    """The factor of each clue for each place; one kept per place becomes one clue for each of them."""
    found: list[Mapping[str, float]] = []
    for clue in program.clues.values():
        if clue.spec.per is None:
            found.append({place: program.limits[limit].value for place, limit in clue.weighs.items()})
        else:
            found += [{place: program.limits[clue.weighs[""]].value} for place in program.places]
    return found


@dataclass(frozen=True)
class Job:
    """One invented job: which clues hold, where the faults are, and the luck of each look."""

    clues: tuple[int, ...]
    faults: tuple[str, ...]
    luck: Mapping[tuple[str, int], float]
    shuffle: int


def pictures(places: Places) -> list[tuple[int, ...]]:
    """The sets of clues that jobs are invented with."""
    rng = random.Random(3)
    clues = range(len(places.clues))
    return [tuple(i for i in clues if rng.random() < CLUE_SHARE) for _ in range(PICTURES)]


def invent(places: Places, clues: tuple[int, ...], rng: random.Random, warp: Mapping[str, float]) -> Job:
    """A job from the beliefs times what nobody knows of."""
    weights = weights_of(places, clues)
    true = {name: w * warp.get(name, 1.0) for name, w in weights.items()}
    whole = sum(true.values())
    true[""] = whole * places.elsewhere / (1 - places.elsewhere)
    names = list(true)
    faults = rng.choices(names, [true[n] for n in names])
    if rng.random() < places.second:
        rest = [n for n in names if n != faults[0]]
        faults += rng.choices(rest, [true[n] for n in rest])
    luck = {(n, r): rng.random() for n in places.checks for r in range(ROUNDS)}
    return Job(clues, tuple(faults), luck, rng.randrange(1 << 30))


def weights_of(places: Places, clues: Sequence[int]) -> dict[str, float]:
    """The beliefs with the clues that hold."""
    weights = dict(places.weights)
    for i in clues:
        for name, factor in places.clues[i].items():
            weights[name] *= factor
    return weights


def first_things_first(places: Places, order: Sequence[str]) -> Order:
    """The order, with what must come first put before what would spoil it."""
    found: list[str] = []
    for name in order:
        for before in sorted(places.checks[name].after):
            if before not in found:
                found.append(before)
        if name not in found:
            found.append(name)
    return tuple(found)


def minutes(places: Places, job: Job, looks: Sequence[tuple[str, int]]) -> float:
    """The minutes of these looks until one meets a fault."""
    set_ups = {each.name: each.minutes for each in places.set_ups}
    ready: set[str] = set()
    taken = 0.0
    for name, round_ in looks:
        check = places.checks[name]
        taken += check.minutes + sum(set_ups[n] for n in check.needs - ready)
        ready |= check.needs
        if name in job.faults and job.luck[name, round_] < check.notices[name]:
            return taken
    return taken


class Habits:
    """The looks each habit takes, round by round."""

    def __init__(self, places: Places) -> None:
        self.places = places
        self.ours = cache(self._ours)

    def _ours(self, clues: tuple[int, ...]) -> tuple[tuple[str, int], ...]:
        """By Stillair: after each silence the beliefs are worked out and the next place is chosen anew."""
        places = self.places
        weights = weights_of(places, clues)
        whole = sum(weights.values())
        worlds = Worlds(
            {n: w / whole * (1 - places.elsewhere) for n, w in weights.items()},
            places.elsewhere,
            places.second,
        )
        looks: list[tuple[str, int]] = []
        silences: list[Silence] = []
        ready: set[str] = set()
        for round_ in range(ROUNDS):
            left = dict(places.checks)
            while left:
                after = posterior(worlds, silences)
                total = sum(after.places.values()) + after.elsewhere
                belief = {n: after.places[n] / total for n in left}
                made = [Check(c.name, c.minutes, c.notices, c.needs - ready, c.after) for c in left.values()]
                waiting = [s for s in places.set_ups if s.name not in ready]
                author = [n for n in places.author if n in left]
                name = choose(made, waiting, belief, author).order[0]
                looks.append((name, round_))
                silences.append(Silence(places.checks[name].notices))
                ready |= places.checks[name].needs
                del left[name]
        return tuple(looks)

    def rounds(self, order: Sequence[str]) -> list[tuple[str, int]]:
        """One order, again and again."""
        return [(n, r) for r in range(ROUNDS) for n in first_things_first(self.places, order)]

    def all(self, job: Job) -> dict[str, Sequence[tuple[str, int]]]:
        weights = weights_of(self.places, job.clues)
        mixed = list(self.places.checks)
        random.Random(job.shuffle).shuffle(mixed)
        return {
            "Stillair": self.ours(job.clues),
            "top to bottom": self.rounds(self.places.author),
            "likeliest first": self.rounds(sorted(weights, key=lambda n: -weights[n])),
            "random": self.rounds(mixed),
        }


def run(habits: Habits, jobs: int, warp: Mapping[str, float], seed: int) -> dict[str, tuple[float, float]]:
    """For each habit the mean and the 90th percentile of minutes, over jobs with a leak at a listed place."""
    rng = random.Random(seed)
    places, seen = habits.places, pictures(habits.places)
    taken: dict[str, list[float]] = {}
    for _ in range(jobs):
        job = invent(places, rng.choice(seen), rng, warp)
        if set(job.faults) == {""}:
            continue
        for habit, looks in habits.all(job).items():
            taken.setdefault(habit, []).append(minutes(places, job, looks))
    return {h: (sum(t) / len(t), sorted(t)[int(0.9 * len(t))]) for h, t in taken.items()}


def show(title: str, found: Mapping[str, tuple[float, float]]) -> None:
    ours = found["Stillair"]
    print(title)
    print(f"  {'order':<16} {'mean':>6} {'90 %':>6}   saved by Stillair, mean and 90 %")
    for habit, (mean, high) in found.items():
        saved = "" if habit == "Stillair" else f"{1 - ours[0] / mean:+7.0%} {1 - ours[1] / high:+6.0%}"
        print(f"  {habit:<16} {mean:6.1f} {high:6.1f}   {saved}")


def warps(habits: Habits, rng: random.Random) -> list[dict[str, float]]:
    """Factors from 1/3 to 3, evenly in their logarithm; some at the ends, against the order of search."""
    places = habits.places
    found = [{name: FACTOR ** rng.uniform(-1, 1) for name in places.weights} for _ in range(WARPS - 2)]
    ours = habits.ours(())[: len(places.weights)]
    early = {name for name, _ in ours[: len(ours) // 2]}
    found.append({n: 1 / FACTOR if n in early else FACTOR for n in places.weights})
    found.append({n: FACTOR if n in early else 1 / FACTOR for n in places.weights})
    return found


def _lead(found: Mapping[str, tuple[float, float]]) -> float:
    """The mean of the best other habit over that of Stillair."""
    return min(mean for habit, (mean, _) in found.items() if habit != "Stillair") / found["Stillair"][0]


def main(jobs: int = JOBS) -> None:
    places = shipped()
    habits = Habits(places)
    began = process_time()
    show(f"{jobs} jobs from the shipped beliefs, minutes to the leak:", run(habits, jobs, {}, 1))
    each = max(1, jobs // 4)
    runs = [run(habits, each, warp, 2 + i) for i, warp in enumerate(warps(habits, random.Random(7)))]
    worst = min(
        runs,
        key=lambda found: min(m for h, (m, _) in found.items() if h != "Stillair") / found["Stillair"][0],
    )
    mean = {h: tuple(sum(r[h][i] for r in runs) / len(runs) for i in (0, 1)) for h in runs[0]}
    show(f"\n{WARPS} times {each} jobs, beliefs off by up to {FACTOR:g}, on average:", mean)  # type: ignore[arg-type]
    show(f"\nthe worst of these {WARPS} for Stillair:", worst)
    print(f"\n{process_time() - began:.0f} s of process time")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
