"""Learning weights: planted ones are recovered at the stated rate, and no data changes nothing."""

from __future__ import annotations

import random
from math import inf, nan

import numpy as np
import pytest
from stillair.search.learning import RATE, Fault, beta_interval, learn

PRIOR = {"caps": 0.15, "stems": 0.08, "coil": 0.45, "condenser": 0.15, "lines": 0.10, "flares": 0.07}
NONE: dict[str, float] = {}


def faults(rng: np.random.Generator, weights: dict[str, float], number: int) -> list[Fault]:
    shares = np.array(list(weights.values()))
    return [Fault(str(place), NONE) for place in rng.choice(list(weights), number, p=shares / shares.sum())]


def test_without_data_the_prior_comes_back_unchanged() -> None:
    found = learn(PRIOR, 20, [])
    assert {place: each.share for place, each in found.items()} == pytest.approx(PRIOR, abs=1e-15)
    assert all(each.faults == 0 for each in found.values())


def test_worked_by_hand() -> None:
    """20 x 0.15 and 6 of 30 more: 9 / 50; 20 x 0.45 and 24: 33 / 50."""
    found = learn(PRIOR, 20, [Fault("caps", NONE)] * 6 + [Fault("coil", NONE)] * 24)
    assert (found["caps"].share, found["caps"].faults) == (pytest.approx(9 / 50), 6)
    assert (found["coil"].share, found["coil"].faults) == (pytest.approx(33 / 50), 24)
    assert found["stems"].share == pytest.approx(1.6 / 50)


@pytest.mark.parametrize("number", [5, 60, 600])
def test_the_interval_holds_weights_drawn_from_the_prior_at_its_rate(number: int) -> None:
    """Weights drawn from the prior itself: the intervals then hold them in 95 of 100 cases, not just about.

    3,000 draws of 6 weights; five standard errors of the rate are allowed, taking the six as one.
    """
    rng = np.random.default_rng(number)
    strength, draws = 20, 3000
    held = 0
    for _ in range(draws):
        true = dict(zip(PRIOR, rng.dirichlet([strength * p for p in PRIOR.values()]), strict=True))
        counts = rng.multinomial(number, list(true.values()))
        data = [Fault(p, NONE) for p, n in zip(PRIOR, counts, strict=True) for _ in range(n)]
        found = learn(PRIOR, strength, data)
        held += sum(each.low <= true[p] <= each.high for p, each in found.items())
    rate = held / draws / len(PRIOR)
    assert abs(rate - RATE) < 5 * (RATE * (1 - RATE) / draws) ** 0.5


def test_planted_weights_far_from_the_prior_are_recovered_with_enough_data() -> None:
    planted = {"caps": 0.40, "stems": 0.02, "coil": 0.20, "condenser": 0.05, "lines": 0.03, "flares": 0.30}
    found = learn(PRIOR, 20, faults(np.random.default_rng(1), planted, 20_000))
    for place, each in found.items():
        assert each.share == pytest.approx(planted[place], abs=0.012)


def test_what_clues_pointed_to_is_not_counted_twice() -> None:
    """Half of the jobs have a clue, the coil four times likelier; the weight without it comes out."""
    rng = random.Random(2)
    data = []
    for _ in range(40_000):
        clues = {"coil": 4.0} if rng.random() < 0.5 else {}
        weights = [w * clues.get(p, 1.0) for p, w in PRIOR.items()]
        data.append(Fault(rng.choices(list(PRIOR), weights)[0], clues))
    found = learn(PRIOR, 20, data)
    for place, each in found.items():
        assert each.share == pytest.approx(PRIOR[place], abs=0.01)
    plain = learn(PRIOR, 20, [Fault(f.place, NONE) for f in data])
    assert plain["coil"].share > 0.55


@pytest.mark.parametrize("factor", [3, 9, 27])
def test_a_fault_found_against_the_clues_is_one_fault(factor: float) -> None:
    """Five faults at b, each time a was so much likelier: against the likelihood over a fine grid.

    One of 10,000 draws: its mean is off by a hundredth of the spread, its ends by some more.
    """
    found = learn({"a": 0.5, "b": 0.5}, 20, [Fault("b", {"a": factor})] * 5)["b"]
    b = np.linspace(1e-6, 1 - 1e-6, 200_001)
    logs = 9 * np.log(b) + 9 * np.log(1 - b) + 5 * np.log(b / (factor * (1 - b) + b))
    density = np.exp(logs - logs.max())
    density /= density.sum()
    low, high = (b[np.searchsorted(np.cumsum(density), c)] for c in (0.025, 0.975))
    assert found.share == pytest.approx((b * density).sum(), abs=0.006)
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.015)
    assert found.faults == 5


@pytest.mark.parametrize(("number", "factor", "often"), [(60, 3, 0.5), (60, 9, 1), (600, 9, 1)])
def test_the_interval_holds_at_its_rate_where_clues_pointed(number: int, factor: float, often: float) -> None:
    """A clue at one place, now and then at none. Four standard errors, as if of one weight, are allowed."""
    rng = np.random.default_rng(number)
    names, strength, draws = list(PRIOR), 20, 400
    held = 0
    for _ in range(draws):
        true = rng.dirichlet([strength * p for p in PRIOR.values()])
        data = []
        for _ in range(number):
            clues = {names[rng.integers(6)]: float(factor)} if rng.random() < often else NONE
            chances = true * [clues.get(name, 1.0) for name in names]
            data.append(Fault(names[rng.choice(6, p=chances / chances.sum())], clues))
        found = learn(PRIOR, strength, data)
        held += sum(found[n].low <= w <= found[n].high for n, w in zip(names, true, strict=True))
    rate = held / draws / len(names)
    assert abs(rate - RATE) < 4 * (RATE * (1 - RATE) / draws) ** 0.5


def test_what_is_learned_does_not_hang_on_the_order_of_the_faults() -> None:
    data = [Fault("caps", {"coil": 4.0})] * 3 + [Fault("coil", NONE)] * 5 + [Fault("stems", {"stems": 2.0})]
    assert learn(PRIOR, 20, data) == learn(PRIOR, 20, data[::-1])
    assert learn(PRIOR, 20, [Fault(f.place, dict.fromkeys(PRIOR, 3.0)) for f in data]) == learn(
        PRIOR, 20, [Fault(f.place, NONE) for f in data]
    )


def test_a_place_nobody_believes_in_cannot_be_learned_of() -> None:
    with pytest.raises(ValueError, match="attic"):
        learn(PRIOR, 20, [Fault("attic", NONE)])


@pytest.mark.parametrize("strength", [0, 1e-320, 0.99, 1e6, inf, nan])
def test_a_prior_worth_next_to_nothing_or_without_end_is_refused(strength: float) -> None:
    with pytest.raises(ValueError, match="strength"):
        learn(PRIOR, strength, [])


@pytest.mark.parametrize(("a", "b"), [(0.4, 19.6), (2, 3), (9, 11), (33, 17), (600, 1400), (20_000, 9)])
def test_the_interval_is_that_of_the_beta_distribution(a: float, b: float) -> None:
    """Against a sum of its density over a fine grid in the variable ln(x / (1 - x))."""
    logit = np.linspace(-60, 30, 900_001)
    logs = -a * np.logaddexp(0, -logit) - b * np.logaddexp(0, logit)
    density = np.exp(logs - logs.max())
    cumulated = np.cumsum(density) / density.sum()
    low, high = (logit[np.searchsorted(cumulated, c)] for c in (0.025, 0.975))
    ends = beta_interval(a, b, 0.95)
    assert ends == pytest.approx((1 / (1 + np.exp(-low)), 1 / (1 + np.exp(-high))), rel=3e-4, abs=1e-9)
