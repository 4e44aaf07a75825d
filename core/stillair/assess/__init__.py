"""From a program and a job file to an assessment: what holds, what is open and why, what is next.

`compiler` makes a `program` of packs, `history` folds a job file, `view` says what each fact may be at a
moment, `assessment` puts verdicts, permissions and the next action together, `entry` reads what people say.
"""

from typing import TYPE_CHECKING, Any

from .assessment import Assessment, NoSuch, assess, follow, view_of
from .beliefs import Belief
from .entry import Entry, EntryError, read_fact, read_value, split
from .history import History, Instrument, Moment, Observation, end_of, fold
from .program import Program
from .searching import Chosen, Quiet, Search
from .states import (
    Action,
    Blocked,
    Finding,
    May,
    Permission,
    PlaceState,
    RuleState,
    StepState,
    Suspicion,
)
from .view import View
from .waits import WaitState

if TYPE_CHECKING:
    from .compiler import compile_packs

__all__ = [
    "Action",
    "Assessment",
    "Belief",
    "Blocked",
    "Chosen",
    "Entry",
    "EntryError",
    "Finding",
    "History",
    "Instrument",
    "May",
    "Moment",
    "NoSuch",
    "Observation",
    "Permission",
    "PlaceState",
    "Program",
    "Quiet",
    "RuleState",
    "Search",
    "StepState",
    "Suspicion",
    "View",
    "WaitState",
    "assess",
    "compile_packs",
    "end_of",
    "fold",
    "follow",
    "read_fact",
    "read_value",
    "split",
    "view_of",
]


def __getattr__(name: str) -> Any:
    """The compiler only when it is wanted: a compiled program runs without it."""
    if name == "compile_packs":
        from .compiler import compile_packs

        return compile_packs
    raise AttributeError(name)
