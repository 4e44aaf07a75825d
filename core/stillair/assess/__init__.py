"""From a program and a job file to an assessment: what holds, what is open and why, what is next.

`program` compiles packs, `history` folds a job file, `view` says what each fact may be at a moment,
`assessment` puts verdicts, permissions and the next action together, `entry` reads what a person says.
"""

from .assessment import (
    Action,
    Assessment,
    Blocked,
    Finding,
    May,
    Permission,
    PlaceState,
    RuleState,
    StepState,
    Suspicion,
    assess,
)
from .entry import Entry, EntryError, read_fact, read_value, split
from .history import History, Instrument, Observation, fold
from .program import Program, compile_packs
from .view import View, WaitState

__all__ = [
    "Action",
    "Assessment",
    "Blocked",
    "Entry",
    "EntryError",
    "Finding",
    "History",
    "Instrument",
    "May",
    "Observation",
    "Permission",
    "PlaceState",
    "Program",
    "RuleState",
    "StepState",
    "Suspicion",
    "View",
    "WaitState",
    "assess",
    "compile_packs",
    "fold",
    "read_fact",
    "read_value",
    "split",
]
