"""Where to look next, and what a silence is worth. Pure arithmetic on names, chances and minutes."""

from .order import Check, Plan, SetUp, choose, expected_minutes
from .sizes import second_by_size
from .worlds import ELSEWHERE, Alarm, Posterior, Silence, Worlds, posterior

__all__ = [
    "ELSEWHERE",
    "Alarm",
    "Check",
    "Plan",
    "Posterior",
    "SetUp",
    "Silence",
    "Worlds",
    "choose",
    "expected_minutes",
    "posterior",
    "second_by_size",
]
