"""What is shown and what is typed: plain lines, readable at 60 columns and without colour."""

from __future__ import annotations

import os
import sys
import textwrap
from contextlib import suppress

import click

from stillair.fault import printable

__all__ = ["Emergency", "Leave", "Screen", "bar", "time_left"]

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
        self.by_hand = sys.stdin.isatty()
        shown = sys.stdout.isatty()
        self.width = _NARROW
        if shown:
            with suppress(OSError, ValueError):
                self.width = min(max(os.get_terminal_size(sys.stdout.fileno()).columns - 1, 20), _WIDE)
        self.styled = shown and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"

    def say(self, text: str = "", mark: str = "", bold: bool = False) -> None:
        """A paragraph, wrapped; `mark` stands before its first line and as space before the others."""
        for paragraph in text.split("\n"):
            clean = printable(paragraph)
            lines = textwrap.wrap(
                clean, self.width, initial_indent=mark, subsequent_indent=" " * len(mark)
            ) or [mark.rstrip()]
            for line in lines:
                click.echo(click.style(line, bold=True) if bold and self.styled else line)

    def short(self, text: str, mark: str = "") -> None:
        """One line, cut where it does not fit."""
        line = mark + printable(" ".join(text.split()))
        click.echo(line if len(line) <= self.width else line[: self.width - 1] + "…")

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
            line = sys.stdin.readline()
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


def bar(share: float) -> str:
    """How far a wait has gone, as text.

    >>> bar(0.25)
    '[#####...............]'
    """
    full = int(min(max(share, 0.0), 1.0) * _BAR)
    return f"[{'#' * full}{'.' * (_BAR - full)}]"


def time_left(seconds: float) -> str:
    """Rounded up, so that nobody comes too early.

    >>> time_left(61), time_left(40), time_left(7200)
    ('2 min left', '40 s left', '2 h left')
    """
    whole = -int(-seconds // 1)
    if whole < 60:
        return f"{whole} s left"
    minutes = -(-whole // 60)
    hours, minutes = divmod(minutes, 60)
    return " ".join([*([f"{hours} h"] if hours else []), *([f"{minutes} min"] if minutes else []), "left"])
