"""`explain`: the page of a code."""

from __future__ import annotations

import click

from stillair.fault import CODES, did_you_mean

from . import Mistake
from .account_format import format_option, print_json
from .screen import Screen

__all__ = ["explain"]


@click.command()
@click.argument("code", required=False)
@format_option
def explain(code: str | None, as_json: bool) -> None:
    """Explain CODE: what it means, an example, how to fix it. Without CODE, list them all."""
    from stillair.authoring.pages import page

    if code is None:
        if as_json:
            raise Mistake("no code is named", "such as `stillair explain SA201`")
        screen = Screen()
        for each, means in CODES.items():
            screen.say(means, f"{each}  ")
        return
    wanted = code.upper()
    if wanted not in CODES:
        near = did_you_mean(wanted, CODES) or "`stillair explain` lists them"
        raise Mistake(f"there is no code `{code}`", near)
    if as_json:
        from stillair import account

        print_json(account.explanation(wanted, CODES[wanted], page(wanted)))
        return
    click.echo(page(wanted).rstrip())
