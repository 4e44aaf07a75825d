"""How fast charge was lost, from what was added and when."""

from __future__ import annotations

from stillair.calculator import OutOfRange

__all__ = ["METHODS", "YEAR", "lost_a_year", "share_a_year"]

#: s. 40 CFR 82.152 counts 365 days to a year, and so do leak rates in g/yr.
YEAR = 365 * 86400.0
METHODS = ("annualising", "rolling", "physical")
#: s. 40 CFR 82.152 counts in days; what is added twice within one day is one filling (judgement).
SHORTEST = 86400.0


def share_a_year(added: float, full_charge: float, since: float, method: str) -> float:
    """Share of the full charge lost in a year; kg, kg, s.

    OutOfRange without a full charge, within a day, and for more added than the circuit holds. A rolling sum
    may be of several additions, and more than that.
    """
    _refuse_too_soon(since)
    _refuse_negative(added)
    if not full_charge > 0:
        raise OutOfRange("the full charge is not above 0, so no share of it can be named")
    if method == "rolling":
        return added / full_charge
    if not added <= full_charge:
        raise OutOfRange(
            "more was added than the full charge: a recharge begins a new count, and several additions are "
            "judged one by one"
        )
    counted = min(since, YEAR) if method == "annualising" else since
    return added / full_charge * YEAR / counted


def lost_a_year(added: float, since: float) -> float:
    """kg/s lost on average over `since` s, if `added` kg put back exactly what was lost."""
    _refuse_too_soon(since)
    _refuse_negative(added)
    return added / since


def _refuse_too_soon(since: float) -> None:
    if not since > 0:
        raise OutOfRange("no time has passed since the last addition: check both dates")
    if since < SHORTEST:
        raise OutOfRange(
            "less than a day since the addition before is one filling and no rate: count both as one, or "
            "check both dates"
        )


def _refuse_negative(added: float) -> None:
    if not added >= 0:
        raise OutOfRange("the mass added is negative: refrigerant taken out is no leak")
