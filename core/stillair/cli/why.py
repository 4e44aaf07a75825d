"""`why`: a finding, fact, rule, step or calculation explained, with its margins."""

from __future__ import annotations

import click

from stillair.because import because, explained
from stillair.wording import Wording

from .account_format import format_option, print_json
from .screen import Screen
from .session import Session, Settings, job_zone

__all__ = ["why"]


@click.command()
@click.argument("job", type=click.Path())
@click.argument("name", nargs=-1, required=True)
@click.option("--at", metavar="TIME", help="As it was at that moment, by what had been entered then.")
@format_option
@click.pass_obj
def why(settings: Settings, job: str, name: tuple[str, ...], at: str | None, as_json: bool) -> None:
    """Explain NAME of JOB: a fact, finding, rule, calculation, step, activity, wait, place or limit.

    Every test is shown with its value and its margin; then what would decide it, or change it.
    """
    with Session.reading(settings, job) as session:
        moment = session.at(at) if at is not None else None
        found = session.assess(moment, moment)
        words = Wording(found, job_zone(session.lines))
    told = because(words, " ".join(name))
    if as_json:
        from stillair import account

        print_json(account.why(told))
        return
    screen = Screen()
    for place, (lead, text) in enumerate(explained(told)):
        screen.say(text, lead, bold=not place)
