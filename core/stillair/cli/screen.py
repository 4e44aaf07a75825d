"""What is shown and what is typed: plain lines, readable at 60 columns and without colour."""

from __future__ import annotations

import os
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import click

from stillair.fault import printable

__all__ = ["Emergency", "Leave", "Screen", "after_keeping", "bar", "percent"]

_NARROW = 60
_WIDE = 76
_BAR = 20


class Leave(Exception):
    """The person leaves, or nothing more will be typed."""


class Emergency(Exception):
    """The person typed `!`."""


class Screen:
    """Lines out and lines in. Nothing that could steer a terminal is ever shown as it was typed."""

    def __init__(self) -> None:
        # A stream that was closed before the start is None.
        self.by_hand = sys.stdin is not None and sys.stdin.isatty()
        shown = sys.stdout is not None and sys.stdout.isatty()
        self.width = _NARROW
        if shown:
            with suppress(OSError, ValueError):
                self.width = min(max(os.get_terminal_size(sys.stdout.fileno()).columns - 1, 20), _WIDE)
        self.styled = shown and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"

    def say(self, text: str = "", mark: str = "", bold: bool = False) -> None:
        """A paragraph, wrapped; `mark` stands before its first line and as space before the others.

        A line break in the text is a space: what was typed can never look like a line of its own.
        """
        clean = printable(" ".join(text.splitlines()))
        indent = len(mark) if len(mark) <= self.width // 2 else 2
        longest = max(map(len, clean.split()), default=0)
        lines = textwrap.wrap(
            clean,
            self.width,
            initial_indent=mark,
            subsequent_indent=" " * indent,
            break_long_words=longest > _NARROW,
        )
        for line in lines or [mark.rstrip()]:
            click.echo(click.style(line, bold=True) if bold and self.styled else line)

    def short(self, text: str, mark: str = "") -> None:
        """One line, cut where it does not fit."""
        line = mark + printable(" ".join(text.split()))
        click.echo(line if len(line) <= self.width else line[: self.width - 1] + "…")

    def exactly(self, line: str) -> None:
        """A line as it is: a source line or the carets under it."""
        click.echo(printable(line))

    def title(self, text: str) -> None:
        """A line that begins a new step."""
        self.say()
        self.say(text, "== ", bold=True)

    def error(self, message: str, help: str | None) -> None:
        """What cannot be taken, and the way out."""
        self.say(message, "?? ")
        if help:
            self.say(help, "   ")

    def ask(self, prompt: str = "> ") -> str:
        """The next line typed, without space around it. Leave at its end or on `q`, Emergency on `!`."""
        click.echo(printable(prompt), nl=False)
        try:
            line = sys.stdin.readline() if sys.stdin is not None else ""
        except KeyboardInterrupt:
            line = ""
        if not line:
            click.echo()
            raise Leave
        line = line.strip()
        if not self.by_hand:
            click.echo(printable(line))
        if line.startswith("!") or line.casefold() in ("emergency", "help!"):
            raise Emergency
        if line in ("q", "Q"):
            raise Leave
        return line


@contextmanager
def after_keeping() -> Iterator[None]:
    """For what is said of entries on the disk: where it cannot be shown, they are kept all the same."""
    try:
        yield
    except OSError as error:
        with suppress(OSError):
            said = (error.strerror or str(error)).lower()
            click.echo(f"stillair: it is kept; what follows from it cannot be shown: {said}", err=True)


def bar(share: float) -> str:
    """How far a wait has gone, as text.

    >>> bar(0.25)
    '[#####...............]'
    """
    full = int(min(max(share, 0.0), 1.0) * _BAR)
    return f"[{'#' * full}{'.' * (_BAR - full)}]"


def percent(share: float | None) -> str:
    """A share in per cent; of nothing there is none.

    >>> percent(62.5), percent(None)
    ('62.5 %', 'no share, as there are none')
    """
    return "no share, as there are none" if share is None else f"{share:.1f} %"
