"""What is said when a job is opened: what was torn off, what was put back, a clock that was set back."""

from __future__ import annotations

from stillair.assess.waits import time_left
from stillair.fault import printable
from stillair.job import JSON

from .screen import Screen
from .session import Session

__all__ = ["keep_set_back", "say_opening", "say_torn_off", "set_back", "torn_off"]

_BEGINNING = 60
"""Bytes shown of a line that was torn off: enough to see what it was about (judgement)."""


def torn_off(session: Session) -> str | None:
    """The beginning of an entry that an interruption tore off; None if there is none.

    Seen by the one who looks, or by the first who writes and so sets it aside.
    """
    if session.job.torn is not None:
        data = session.job.torn.data
    elif session.lines[-1].kind == "repaired":
        name = str(session.lines[-1].body["kept"])
        try:
            data = session.job.path.with_name(name).read_bytes()
        except OSError:
            data = b""
    else:
        return None
    text = data[:_BEGINNING].decode("utf-8", "replace").split("\n")[0]
    return printable(text) + ("…" if len(data) > _BEGINNING else "")


def say_torn_off(session: Session, screen: Screen) -> None:
    torn = torn_off(session)
    if torn is None:
        return
    last = session.lines[-1]
    aside = f", now in {last.body['kept']}" if last.kind == "repaired" else ""
    screen.say(f"An interrupted entry was torn off the end of the job{aside}: {torn}", "CAUTION: ")
    screen.say("What was torn off may have been acknowledged. If it is missed, enter it again.", "  ")


def say_opening(session: Session, screen: Screen) -> None:
    """What the one who writes must know of the file: entries torn off, texts put back."""
    say_torn_off(session, screen)
    for name in session.restored:
        screen.say(
            f"The texts of the pack {name} were gone; put back from a pack of the same digest.", "CAUTION: "
        )


def set_back(session: Session, screen: Screen) -> dict[str, JSON] | None:
    """Say that the clock stands before the last entry; the note to be kept in the job, or None."""
    behind = session.behind()
    if not behind:
        return None
    gap = time_left(behind)
    text = f"The clock of this device stands {gap} before the last entry"
    screen.say(f"{text}. Set it right: waits go by it.", "CAUTION: ")
    return {"text": f"{text}; times do not go back", "behind": behind}


def keep_set_back(session: Session, screen: Screen) -> None:
    """Say that the clock stands before the last entry, and keep that in the job."""
    note = set_back(session, screen)
    if note is not None:
        session.write("note", note)
