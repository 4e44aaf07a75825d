"""Minutes of search on invented jobs: the order of search against three habits.

    python tests/bench/bench_search.py [JOBS]

Jobs are invented from the shipped beliefs, clues, minutes, set-ups and chances of the bundled places, and
from beliefs turned by factors of up to 3 either way that nobody who searches knows of: as many jobs for each
of twelve such lots. The worst of these is shown as well, and what it comes to once the beliefs were learned
from some jobs of that lot. Not part of the suite.

Every habit is given the same: the same jobs, the same clues, a look that notices a leak there with the same
chance and the same draw of luck, set-ups paid when they are first needed, what must come first first. Top to
bottom is the order the places are written in, which their author chose with the same beliefs in mind.
Confirming takes the same time for all and is left out.

Two ways to end are counted. `once`: every place is looked at once, as in a guided job, found or not; then
every order finds the same share, and what is shown is minutes for each job and, of all minutes, for each leak
found. `until found`: whoever has gone to the end and found nothing begins again, up to five times, Stillair
with the beliefs after all silences; no guided job does that. Jobs with no leak at a listed place are left
out of both: no order finds them.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from itertools import islice
from time import perf_counter
from typing import NamedTuple

from stillair.assess import Program, compile_packs
from stillair.hooks import Plugins
from stillair.pack import gather, read_texts
from stillair.search import Check, SetUp, Silence, Worlds, choose, posterior
from stillair.search.learning import Fault, learn

JOBS, ROUNDS, WARPS, FACTOR = 20_000, 5, 12, 3.0
#: How often each clue holds on an invented job, and how many sets of clues there are: invented as well.
CLUE_SHARE, PICTURES = 0.15, 300
#: From how many jobs is learned, how often each is tried, and how many the shipped beliefs are worth.
LEARNED, TRIES, STRENGTH = (20, 50, 200), 5, 20.0
Order = tuple[str, ...]
Looks = tuple[tuple[str, int], ...]


class Figures(NamedTuple):
    """Minutes until found, their mean and 90th percentile; looking once, the share found, minutes for each
    job and for each leak found.
    """

    mean: float
    high: float
    found: float
    once: float
    each: float


Found = dict[str, Figures]


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


def minutes(places: Places, job: Job, looks: Sequence[tuple[str, int]]) -> tuple[float, bool]:
    """The minutes of these looks until one meets a fault, and whether one does."""
    set_ups = {each.name: each.minutes for each in places.set_ups}
    ready: set[str] = set()
    taken = 0.0
    for name, round_ in looks:
        check = places.checks[name]
        taken += check.minutes
        if not check.needs <= ready:
            taken += sum(set_ups[n] for n in check.needs - ready)
            ready |= check.needs
        if name in job.faults and job.luck[name, round_] < check.notices[name]:
            return taken, True
    return taken, False


class Habits:
    """The looks each habit takes, round by round; what goes by the clues alone is kept for each set."""

    def __init__(self, places: Places) -> None:
        self.places = places
        self.ours = cache(self._ours)
        self.likeliest = cache(self._likeliest)
        self.author = self.rounds(places.author)

    def _ours(self, clues: tuple[int, ...]) -> Looks:
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

    def _likeliest(self, clues: tuple[int, ...]) -> Looks:
        weights = weights_of(self.places, clues)
        return self.rounds(sorted(weights, key=lambda n: -weights[n]))

    def rounds(self, order: Sequence[str]) -> Looks:
        """One order, again and again."""
        once = first_things_first(self.places, order)
        return tuple((n, r) for r in range(ROUNDS) for n in once)

    def all(self, job: Job) -> dict[str, Looks]:
        mixed = list(self.places.checks)
        random.Random(job.shuffle).shuffle(mixed)
        return {
            "Stillair": self.ours(job.clues),
            "top to bottom": self.author,
            "likeliest first": self.likeliest(job.clues),
            "random": self.rounds(mixed),
        }


def listed(places: Places, warp: Mapping[str, float], seed: int) -> Iterator[Job]:
    """Jobs without end; those with no leak at a listed place are left out."""
    rng = random.Random(seed)
    seen = pictures(places)
    while True:
        job = invent(places, rng.choice(seen), rng, warp)
        if set(job.faults) != {""}:
            yield job


def run(places: Places, jobs: int, warp: Mapping[str, float], seed: int, number: int = 0) -> Found:
    """The figures of each habit, over jobs with a leak at a listed place.

    With a `number` the habits go by beliefs learned from so many other jobs of the same lot.
    """
    habits = _habits(learned(places, number, warp, 1000 + seed) if number else places)
    taken: dict[str, list[float]] = {}
    once: dict[str, list[tuple[float, bool]]] = {}
    for job in islice(listed(places, warp, seed), jobs):
        for habit, looks in habits.all(job).items():
            taken.setdefault(habit, []).append(minutes(places, job, looks)[0])
            once.setdefault(habit, []).append(minutes(places, job, looks[: len(places.checks)]))
    return {h: _figures(t, once[h]) for h, t in taken.items()}


def _figures(taken: Sequence[float], once: Sequence[tuple[float, bool]]) -> Figures:
    spent, found = sum(t for t, _ in once), sum(met for _, met in once)
    high = sorted(taken)[int(0.9 * len(taken))]
    return Figures(_mean(taken), high, found / len(once), spent / len(once), spent / found)


_KEPT: dict[str, Habits] = {}


def _habits(places: Places) -> Habits:
    """The habits by these beliefs, kept by each process as long as it lives."""
    key = repr(sorted(places.weights.items()))
    if key not in _KEPT:
        _KEPT[key] = Habits(places)
    return _KEPT[key]


def learned(places: Places, jobs: int, warp: Mapping[str, float], seed: int) -> Places:
    """What is shipped, with the beliefs learned from jobs of a lot: the first leak of each, clues known."""
    faults = []
    for job in islice(listed(places, warp, seed), jobs):
        clues = {n: w / places.weights[n] for n, w in weights_of(places, job.clues).items()}
        faults.append(Fault(next(name for name in job.faults if name), clues))
    shares = learn(places.weights, STRENGTH, faults)
    return replace(places, weights={name: each.share for name, each in shares.items()})


def show(title: str, found: Found) -> None:
    ours = found["Stillair"]
    print(title)
    print(f"  {'':<16} {'once':^24}     {'until found':^13}   saved by Stillair")
    once = f"{'found':>6} {'a job':>8} {'a leak':>8}"
    print(f"  {'order':<16} {once}     {'mean':>6} {'90 %':>6}   once, mean, 90 %")
    for habit, f in found.items():
        saved = [1 - ours.once / f.once, 1 - ours.mean / f.mean, 1 - ours.high / f.high]
        told = "" if habit == "Stillair" else " ".join(f"{each:+6.1%}" for each in saved)
        once = f"{f.found:6.1%} {f.once:8.2f} {f.each:8.2f}"
        print(f"  {habit:<16} {once}     {f.mean:6.1f} {f.high:6.1f}   {told}")


def warps(places: Places, rng: random.Random) -> list[dict[str, float]]:
    """Factors from 1/3 to 3, evenly in their logarithm; some at the ends, against the order of search."""
    found = [{name: FACTOR ** rng.uniform(-1, 1) for name in places.weights} for _ in range(WARPS - 2)]
    ours = _habits(places).ours(())[: len(places.weights)]
    early = {name for name, _ in ours[: len(ours) // 2]}
    found.append({n: 1 / FACTOR if n in early else FACTOR for n in places.weights})
    found.append({n: FACTOR if n in early else 1 / FACTOR for n in places.weights})
    return found


def lead(found: Found) -> float:
    """The minutes of the best other habit, looking once, over those of Stillair."""
    return min(f.once for habit, f in found.items() if habit != "Stillair") / found["Stillair"].once


def mean_of(runs: Sequence[Found]) -> Found:
    return {h: Figures(*(_mean(each) for each in zip(*(r[h] for r in runs), strict=True))) for h in runs[0]}


def _mean(numbers: Sequence[float]) -> float:
    return sum(numbers) / len(numbers)


def main(jobs: int = JOBS) -> None:
    places = shipped()
    began = perf_counter()
    lots: list[dict[str, float]] = [{}, *warps(places, random.Random(7))]
    with ProcessPoolExecutor() as pool:
        waiting = [pool.submit(run, places, jobs, warp, 1 + i) for i, warp in enumerate(lots)]
        first, *runs = [each.result() for each in waiting]
        show(f"{jobs} jobs from the shipped beliefs, minutes:", first)
        show(f"\n{WARPS} times {jobs} jobs, beliefs off by up to {FACTOR:g}, on average:", mean_of(runs))
        number = min(range(WARPS), key=lambda i: lead(runs[i]))
        show(f"\nthe worst of these {WARPS} for Stillair (lot {number + 1}):", runs[number])
        leads = " ".join(f"{lead(r):.2f}" for r in runs)
        print(f"\nbest other order over Stillair, looking once, lot by lot: {leads}")
        own = lots[number + 1]
        tried = {n: [pool.submit(run, places, jobs, own, 50 + i, n) for i in range(TRIES)] for n in LEARNED}
        for n, each in tried.items():
            title = f"\nthe same lot, beliefs learned from {n} of its jobs, {TRIES} times:"
            show(title, mean_of([done.result() for done in each]))
    print(f"\n{perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
