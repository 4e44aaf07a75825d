"""What a look is worth: the closed form against an enumeration of every world."""

from __future__ import annotations

from itertools import combinations
from math import exp, log, pi, prod, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from stillair.search import ELSEWHERE, Alarm, Posterior, Silence, Worlds, posterior, second_by_size

PLACES = ("a", "b", "c", "d", "e", "f")
CHANCE = st.floats(0.0, 1.0)
WEIGHT = st.one_of(st.just(0.0), st.floats(0.001, 100.0))


def enumerated(
    worlds: Worlds, looks: list[Silence | Alarm], confirmed: set[str], by_size: float
) -> Posterior | None:
    """Every world of one fault and of two, weighed one by one; None where all are ruled out."""
    weights = {**worlds.weights, ELSEWHERE: worlds.elsewhere}
    singles = [frozenset({p}) for p in weights]
    pairs = [frozenset(pair) for pair in combinations(weights, 2)]
    one = sum(weights[p] for p in weights)
    two = sum(prod(weights[p] for p in pair) for pair in pairs)
    second = worlds.second if two else 0.0
    chances: dict[frozenset[str], float] = {}
    for world in (*singles, *pairs):
        alone = len(world) == 1
        share = prod(weights[p] for p in world) / ((one if alone else two) or 1)
        chance = share * (1 - second if alone else second)
        if not confirmed <= world:
            continue
        for look in looks:
            for place in world - confirmed:
                if isinstance(look, Alarm):
                    chance *= look.times if look.place == place else 1
                else:
                    chance *= 1 - look.notices.get(place, 0.0)
        if confirmed and not alone:
            chance *= by_size
        chances[world] = chance
    total = sum(chances.values())
    if not total:
        return None
    now = {p: sum(c for w, c in chances.items() if p in w) / total for p in weights}
    more = sum(c for w, c in chances.items() if len(w) == 2) / total
    left = sum(c for w, c in chances.items() if w - confirmed) / total
    return Posterior({p: now[p] for p in worlds.weights}, now[ELSEWHERE], more, left)


@st.composite
def cases(draw: st.DrawFn) -> tuple[Worlds, list[Silence | Alarm], set[str], float]:
    places = PLACES[: draw(st.integers(1, 6))]
    weights = {p: draw(WEIGHT) for p in places}
    looks: list[Silence | Alarm] = []
    for _ in range(draw(st.integers(0, 5))):
        if draw(st.booleans()):
            looks.append(Silence({p: draw(CHANCE) for p in places if draw(st.booleans())}))
        else:
            looks.append(Alarm(draw(st.sampled_from(places)), draw(st.floats(0.1, 50.0))))
    held = [p for p in places if weights[p]]
    confirmed = set(draw(st.lists(st.sampled_from(held), max_size=1))) if held else set()
    worlds = Worlds(weights, draw(WEIGHT), draw(st.floats(0.0, 0.9)))
    return worlds, looks, confirmed, draw(st.floats(0.05, 100.0))


@given(cases())
def test_the_closed_form_is_the_enumeration_of_all_worlds(
    case: tuple[Worlds, list[Silence | Alarm], set[str], float],
) -> None:
    worlds, looks, confirmed, by_size = case
    found = posterior(worlds, looks, confirmed, by_size)
    wanted = enumerated(worlds, looks, confirmed, by_size)
    if wanted is None:
        assert not any(found.places.values())
        return
    assert found.places == pytest.approx(wanted.places, abs=1e-9)
    assert found[1:] == pytest.approx(wanted[1:], abs=1e-9)


@given(cases())
def test_the_chances_add_up_to_the_number_of_faults(
    case: tuple[Worlds, list[Silence | Alarm], set[str], float],
) -> None:
    found = posterior(*case)
    total = sum(found.places.values()) + found.elsewhere
    assert total == pytest.approx(1 + found.second) or not total


def test_a_silence_lowers_only_by_its_chance_to_notice() -> None:
    """0.45 x 0.2 of 0.64, with a chance of 0.8; the others rise by 1 / 0.64 (worked by hand)."""
    worlds = Worlds({"coil": 0.45, "caps": 0.15, "rest": 0.40})
    found = posterior(worlds, [Silence({"coil": 0.8})]).places
    assert found == pytest.approx({"coil": 0.09 / 0.64, "caps": 0.15 / 0.64, "rest": 0.40 / 0.64})


def test_a_silence_that_could_notice_nothing_changes_nothing() -> None:
    worlds = Worlds({"a": 3, "b": 1}, elsewhere=1, second=0.2)
    assert posterior(worlds, [Silence({"a": 0.0})]) == posterior(worlds)


def test_the_order_of_looks_does_not_matter_and_one_taken_back_is_as_if_never_made() -> None:
    worlds = Worlds({"a": 3, "b": 1}, second=0.1)
    looks: list[Silence | Alarm] = [Silence({"a": 0.9}), Alarm("b", 20.0), Silence({"b": 0.3, "a": 0.1})]
    assert posterior(worlds, looks).places == pytest.approx(posterior(worlds, looks[::-1]).places)
    assert posterior(worlds, looks[1:]).places["a"] > posterior(worlds, looks).places["a"]


def test_silence_everywhere_speaks_for_elsewhere() -> None:
    worlds = Worlds({"a": 9, "b": 9}, elsewhere=2)
    silent = [Silence({"a": 1.0}), Silence({"b": 1.0})]
    assert posterior(worlds, silent).elsewhere == 1.0
    assert posterior(Worlds({"a": 9, "b": 9}), silent).unfound == 0.0


def test_an_alarm_is_not_a_fault_and_a_confirmed_one_is() -> None:
    worlds = Worlds({"a": 1, "b": 1, "c": 1}, second=0.1)
    assert 0.9 < posterior(worlds, [Alarm("a", 20.0)]).places["a"] < 1.0
    found = posterior(worlds, [Alarm("a", 20.0)], {"a"})
    assert found.places["a"] == 1.0
    assert found.places["b"] == found.places["c"] == pytest.approx(found.unfound / 2)
    # Of 0.9 / 3 alone, and 0.1 / 3 with b and as much with c.
    assert found.unfound == pytest.approx(0.2 / 1.1)


def test_without_a_chance_of_a_second_a_confirmed_fault_ends_it() -> None:
    found = posterior(Worlds({"a": 1, "b": 5}, second=0.0), [], {"a"})
    assert found == Posterior({"a": 1.0, "b": 0.0}, 0.0, 0.0, 0.0)


def test_two_confirmed_leave_nothing_of_these_worlds() -> None:
    found = posterior(Worlds({"a": 1, "b": 5, "c": 1}, second=0.1), [], {"a", "b"})
    assert found == Posterior({"a": 1.0, "b": 1.0, "c": 0.0}, 0.0, 1.0, 0.0)


def test_a_size_that_is_not_explained_raises_the_second_and_one_that_is_lowers_it() -> None:
    worlds = Worlds({"a": 1, "b": 1}, elsewhere=1, second=0.1)
    plain = posterior(worlds, [], {"a"}).unfound
    assert posterior(worlds, [], {"a"}, second_by_size(50, 5, 0.4)).unfound > 0.9 > plain
    assert posterior(worlds, [], {"a"}, second_by_size(50, 50, 0.4)).unfound < plain


@pytest.mark.parametrize("ratio", [0.3, 0.8, 1.0, 1.5, 3.0, 6.0])
@pytest.mark.parametrize("spread", [0.1, 0.4, 1.0])
def test_what_a_size_says_is_the_integral_over_every_share(ratio: float, spread: float) -> None:
    """The density of the ratio seen, summed over the shares of the first, over that of share 1."""
    x = log(ratio)
    logs = np.arange(0.0, 60.0, spread / 400) + spread / 800  # ln(whole / first) of a share is exponential
    density = np.exp(-logs) * np.exp(-(((x - logs) / spread) ** 2) / 2) / (spread * sqrt(2 * pi))
    alone = exp(-((x / spread) ** 2) / 2) / (spread * sqrt(2 * pi))
    expected = float(density.sum()) * spread / 400 / alone
    if expected < 1e11:
        assert second_by_size(ratio, 1.0, spread) == pytest.approx(expected, rel=1e-4)


def test_no_size_gives_a_number_that_is_none() -> None:
    for ratio in (1e-9, 1e-3, 1.0, 1e3, 1e9):
        for spread in (0.01, 0.3, 3.0):
            assert 0 <= second_by_size(ratio, 1.0, spread) <= 1e12
    with pytest.raises(ValueError, match="above 0"):
        second_by_size(0.0, 1.0, 0.3)
