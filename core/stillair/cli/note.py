"""`note`: facts and events entered from the command line, and what follows from them."""

from __future__ import annotations

import click

from stillair.assess import Assessment, EntryError, read_fact, split
from stillair.carried import in_doubt
from stillair.condition.core import Ref
from stillair.wording import Wording

from . import Answer, Mistake
from .entering import cannot, check_event, check_step, correct, did, happened, observe, take_back
from .labels import changes, step_said
from .permitting import in_charge_only, open_only, refusal, say_refusal, steps_of_event
from .screen import Screen
from .session import Session, Settings

__all__ = ["note"]


@click.command()
@click.argument("job", type=click.Path())
@click.argument("facts", nargs=-1, metavar="[FACT=VALUE]...")
@click.option("--at", "at_text", metavar="TIME", help="When it was seen: 9:40, or 2026-07-14 09:40.")
@click.option("--with", "serial", metavar="SERIAL", help="The instrument the numbers were read with.")
@click.option("--event", metavar="EVENT", help="Something that happened; EVENT or 'EVENT of MEMBER'.")
@click.option("--did", "step", metavar="STEP", help="A step that is done; STEP or 'STEP of MEMBER'.")
@click.option("--cannot", "unknown", metavar="FACT", help="A fact that cannot be had; say --why.")
@click.option("--correct", "again", is_flag=True, help="The values replace the last entries; say --why.")
@click.option("--why", metavar="TEXT", help="The reason, for --cannot and --correct.")
@click.option(
    "--happened-anyway",
    "anyway",
    metavar="WHY",
    help="It was done though not permitted, and why: for --event and --did.",
)
@click.pass_obj
def note(
    settings: Settings,
    job: str,
    facts: tuple[str, ...],
    at_text: str | None,
    serial: str | None,
    event: str | None,
    step: str | None,
    unknown: str | None,
    again: bool,
    why: str | None,
    anyway: str | None,
) -> None:
    """Enter facts in JOB, such as `note visit.job blower=stopped 'static_pressure=217 psig'`.

    The facts are entered all or none. A fact kept per member is written 'dead of indoor=yes'. What may not
    be done now is not kept; what was done all the same is kept with --happened-anyway, and told as such.
    """
    if not (facts or event or step or unknown):
        raise Mistake("nothing to enter", "note JOB FACT=VALUE …")
    if (unknown or again) and not why:
        raise Mistake("no reason is given", "--why 'behind finished plaster'")
    if anyway is not None and not (anyway.strip() and (event or step)):
        raise Mistake("--happened-anyway goes with --event or --did, and says why", "--did STEP … WHY")
    if again and not facts:
        raise Mistake("--correct names no fact", "note JOB --correct FACT=VALUE --why 'read wrongly'")
    screen = Screen()
    with Session.load(
        job, settings.plugin_dirs, write=True, by=settings.by, clock=settings.clock
    ) as session:
        before = session.assess()
        open_only(session, before, job)
        _check_name(session, before, job, facts, unknown, bool(event or step or again))
        taken = session.at(at_text) if at_text else None
        if again:
            _correct(session, before, facts, serial, why or "", screen)
        else:
            _enter(session, before, facts, serial, taken, screen)
        if unknown:
            ref = read_fact(session.program, unknown, session.members(before))
            line = cannot(session, ref, why or "", taken)
            screen.say(f"{ref}: cannot be had ({why})", f"kept {session.said(line.taken)} ")
        if event:
            _happened(session, event, taken, anyway, screen)
        if step:
            _did(session, step, taken, anyway, screen)
        _follow(session, before, screen)


def _check_name(
    session: Session,
    found: Assessment,
    job: str,
    facts: tuple[str, ...],
    unknown: str | None,
    decisive: bool,
) -> None:
    """Mistake where another name enters more than plain facts: those a helper may enter under their own."""
    if decisive:
        in_charge_only(session, job, "steps, events and corrections are entered")
    members = session.members(found)
    names = [*(split(text)[0] for text in facts), *([unknown] if unknown else [])]
    for ref in (read_fact(session.program, name, members) for name in names):
        if session.program.facts[ref.name].spec.safety:
            in_charge_only(session, job, f"`{ref}` is for safety and is entered")


def _of(text: str) -> tuple[str, str | None]:
    name, _, member = text.strip().partition(" of ")
    return name.strip(), member.strip() or None


def _enter(
    session: Session,
    before: Assessment,
    facts: tuple[str, ...],
    serial: str | None,
    taken: float | None,
    screen: Screen,
) -> None:
    members = session.members(before)
    found = []
    for text in facts:
        name, value = split(text)
        ref = read_fact(session.program, name, members)
        found.append((ref, observe(session, before, ref, value, serial=serial, taken=taken)))
    if serial is not None and serial not in before.history.instruments:
        screen.say(f"`{serial}` is not declared: what is usual for its kind is assumed.", "CAUTION: ")
    elif serial is not None:
        doubt = in_doubt(Wording(before, session.zone()), serial, session.now())
        if doubt is not None:
            screen.say(doubt, "CAUTION: ")
    for ref, entry in found:
        line = session.append(entry, taken=taken)
        screen.say(f"{ref}: {entry.understood}", f"kept {session.said(line.taken)} ")


def _correct(
    session: Session,
    before: Assessment,
    facts: tuple[str, ...],
    serial: str | None,
    why: str,
    screen: Screen,
) -> None:
    members = session.members(before)
    found = []
    for text in facts:
        name, value = split(text)
        ref = read_fact(session.program, name, members)
        entries = before.history.observations.get((ref.name, ref.member))
        if not entries:
            raise EntryError(f"there is no entry of `{ref}` to correct", "leave --correct out")
        entry = observe(session, before, ref, value, serial=serial or entries[-1].instrument)
        found.append((ref, entries[-1], entry))
    for ref, observation, entry in found:
        if observation.value is None:
            # Where nothing was read there is nothing to replace: the line goes, and the value is new.
            take_back(session, session.lines[observation.line - 1], why)
            session.append(entry, taken=observation.taken)
        else:
            correct(session, observation, entry, why)
        screen.say(f"{ref}: {entry.understood}", "corrected ")


def _happened(
    session: Session, text: str, taken: float | None, anyway: str | None, screen: Screen
) -> None:
    name, member = _of(text)
    now = session.assess()
    check_event(session, now, name, member)
    why = _permitted(session, steps_of_event(now, name, member), taken, anyway, screen)
    line = happened(session, session.assess(), name, member, taken, why=why)
    screen.say(text.replace("_", " "), f"kept {session.said(line.taken)} ")


def _did(session: Session, text: str, taken: float | None, anyway: str | None, screen: Screen) -> None:
    name, member = _of(text)
    now = session.assess()
    check_step(session, now, name, member)
    why = _permitted(session, [Ref(name, member)], taken, anyway, screen)
    line = did(session, session.assess(), name, member, taken, why=why)
    words = Wording(now, session.zone())
    screen.say(f"done: {step_said(words, name, member)}", f"kept {session.said(line.taken)} ")


def _permitted(
    session: Session,
    steps: list[Ref],
    taken: float | None,
    anyway: str | None,
    screen: Screen,
) -> str | None:
    """Why it was done though not permitted; None where it was permitted. Answer where it is refused."""
    refused = refusal(session, steps, taken)
    if refused is None:
        if anyway is not None:
            screen.say("--happened-anyway is not needed: it was permitted")
        return None
    if anyway is None:
        say_refusal(screen, refused)
        screen.say("did it happen all the same? Enter it again with --happened-anyway WHY", "help: ")
        raise Answer(refused.code)
    said = step_said(refused.words, refused.step, refused.member)
    screen.say(f"{said} was not permitted; the trail says so", "CAUTION: ")
    return anyway.strip()


def _follow(session: Session, before: Assessment, screen: Screen) -> None:
    """What the entries changed, and what is next."""
    after = session.assess()
    zone = session.zone()
    words = Wording(after, zone)
    for mark, text in changes(Wording(before, zone), words):
        screen.say(text, mark)
    for suspicion in after.suspicions:
        screen.say(suspicion.slip, f"does not fit: {suspicion.ref}: ")
    action = after.next
    title = step_said(words, action.step, action.member) if action.step is not None else action.kind
    asked = ", ".join(str(ref) for ref in action.facts if isinstance(ref, Ref))
    screen.say(f"{title} ({asked})" if asked else title, "next: ")
