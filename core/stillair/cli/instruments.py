"""`instruments`: the instruments of a job, their tolerances, check dates and readings."""

from __future__ import annotations

import click

from stillair.carried import carried
from stillair.condition.core import Ref
from stillair.wording import Wording

from .account_format import format_option, print_json
from .screen import Screen
from .session import Session, Settings, job_zone

__all__ = ["instruments"]


@click.command()
@click.argument("job", type=click.Path())
@format_option
@click.pass_obj
def instruments(settings: Settings, job: str, as_json: bool) -> None:
    """List the instruments of JOB: serial, tolerances, check dates, the readings taken with each."""
    with Session.load(job, settings.plugin_dirs, clock=settings.clock) as session:
        words = Wording(session.assess(), job_zone(session.lines))
        now = session.now()
    if as_json:
        from stillair import account

        print_json(account.instruments(words, now))
        return
    screen = Screen()
    found = carried(words)
    if not found:
        screen.say("no instrument is declared, and no reading was taken with one")
    for each in found:
        kind = f" ({each.kind})" if each.kind is not None else ""
        head = each.serial if each.serial is not None else f"{each.title}, no serial given"
        screen.say(f"{head}{kind}", bold=True)
        assumed = "" if each.declared else ", as assumed for its kind"
        screen.say(f"{each.tolerances}{assumed}", "  ")
        if each.checked is not None:
            due = each.due()
            late = "; OVERDUE" if each.overdue(now, words.zone) else ""
            screen.say(f"checked {each.checked}" + (f", due again {due}{late}" if due else ""), "  ")
        elif each.serial is not None:
            screen.say("no check date given", "  ")
        caution = each.caution(now, words.zone)
        if caution is not None:
            doubtful = ", ".join(words.name(Ref(o.fact, o.member)) for o in each.doubtful(words))
            screen.say(f"{caution}. Readings taken with it: {doubtful or 'none'}.", "  CAUTION: ")
        if each.lines:
            for line in each.lines:
                observation = words.observation_of(line)
                if observation is not None:
                    at = words.moment(observation.taken, words.found.at)
                    screen.say(f"line {line}, {at}: {observation.fact} read {observation.read}", "  ")
        else:
            screen.say("no reading taken with it", "  ")
