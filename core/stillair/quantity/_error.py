"""The refusal of a text that is not a quantity, and how texts are quoted in it."""

from __future__ import annotations

from collections.abc import Iterable


class QuantityError(ValueError):
    """What a person wrote is not a quantity of the kind wanted; `help` names the way out, if there is one."""

    def __init__(self, message: str, help: str | None = None) -> None:
        super().__init__(message)
        self.help = help


def either(names: Iterable[str]) -> str:
    *most, last = dict.fromkeys(names)
    return f"{', '.join(most)} or {last}" if most else last


def quoted(text: str) -> str:
    short = text if len(text) <= 40 else text[:39] + "…"
    return "`" + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in short) + "`"
