"""`--format json` for every verb that reports."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

__all__ = ["format_option", "print_json"]

F = TypeVar("F", bound=Callable[..., Any])


def format_option(command: F) -> F:
    """The option `--format`, given to the command as `as_json`."""

    def chosen(_: click.Context, __: click.Parameter, value: str) -> bool:
        return value == "json"

    return click.option(
        "--format",
        "as_json",
        type=click.Choice(["text", "json"]),
        default="text",
        callback=chosen,
        help="text to read, or JSON whose first key names its format and version.",
    )(command)


def print_json(account: Mapping[str, object]) -> None:
    """The account, in ASCII so that no terminal or pipe can change it; its format comes first."""
    click.echo(json.dumps(account, indent=1, ensure_ascii=True, allow_nan=False))
