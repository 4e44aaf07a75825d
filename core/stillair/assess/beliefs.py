"""How likely each place is: what its author believes, times the weights of the clues that hold."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from stillair.verdict import Reason, Verdict

from .program import NO_BINDING, Band, Binding, Clue

if TYPE_CHECKING:
    from .view import View

__all__ = ["Belief", "OpenClue", "Weighed", "band_of", "beliefs"]


class Weighed(NamedTuple):
    """A clue that holds for a place, and how many times likelier it makes it, by which limit."""

    clue: str
    limit: str
    factor: float


class OpenClue(NamedTuple):
    """A clue that is open for a place, with the weight it would have, and why it is open."""

    clue: str
    limit: str
    factor: float
    reasons: tuple[Reason, ...]


class Belief(NamedTuple):
    """How likely a place is: `first` without any clue, `now` with those that hold, both as shares of 1.

    `first` is as written, or as learned from closed jobs of this kind. Over all places they add up to 1,
    unless no place is believed in at all: then each is 0.
    """

    place: str
    first: float
    now: float
    weighed: tuple[Weighed, ...]
    open: tuple[OpenClue, ...]


def beliefs(view: View) -> list[Belief]:
    """The belief in each place of the program at the moment of a view, in the order of the checklists.

    A clue that is open or fails changes nothing. What a look at a place gave is not counted in.
    """
    places = view.program.places
    weighed = {name: tuple(_weighed(view, name)) for name in places}
    band = band_of(view)
    factors = {} if band is None else band.factors
    first = {name: place.spec.belief * factors.get(name, 1.0) for name, place in places.items()}
    now = {name: first[name] * math.prod(w.factor for w in weighed[name]) for name in places}
    before, after = _shares(first), _shares(now)
    return [
        Belief(name, before[name], after[name], weighed[name], tuple(_open(view, name))) for name in places
    ]


def band_of(view: View) -> Band | None:
    """The kind of jobs whose beliefs count: of those this job is of, the one with the most faults.

    Two kinds share jobs, and what these say would count twice.
    """
    for band in view.program.learned_bands:
        if view.judge(view.program.bands[band.group][band.band]) is Verdict.HOLDS:
            return band
    return None


def _shares(amounts: dict[str, float]) -> dict[str, float]:
    total = math.fsum(amounts.values())
    return {name: amount / total if total else 0.0 for name, amount in amounts.items()}


def _weighed(view: View, place: str) -> Iterator[Weighed]:
    for name, clue, limit in _clues(view, place):
        if view.judge(clue.when, _binding(clue, place)) is Verdict.HOLDS:
            yield Weighed(name, limit, view.program.limits[limit].value)


def _open(view: View, place: str) -> Iterator[OpenClue]:
    for name, clue, limit in _clues(view, place):
        binding = _binding(clue, place)
        if view.judge(clue.when, binding) is Verdict.OPEN:
            reasons = view.reasons(clue.when, binding)
            yield OpenClue(name, limit, view.program.limits[limit].value, reasons)


def _clues(view: View, place: str) -> Iterator[tuple[str, Clue, str]]:
    """The clues that weigh on a place, with their limits."""
    for name, clue in view.program.clues.items():
        limit = clue.limit(place)
        if limit is not None:
            yield name, clue, limit


def _binding(clue: Clue, place: str) -> Binding:
    return NO_BINDING if clue.spec.per is None else {"place": place}
