"""`note`: facts and events entered from the command line, and what follows from them."""

from __future__ import annotations

import click

from stillair.assess import Assessment, EntryError, split
from stillair.carried import in_doubt
from stillair.condition.core import Ref
from stillair.job import Line
from stillair.wording import Wording

from . import Answer, Mistake
from .entering import (
    cannot,
    check_event,
    check_once,
    check_reason,
    check_step,
    correct,
    did,
    happened,
    observe,
    take_back,
    taken_as,
)
from .labels import changes, rule_said, step_said
from .naming import add_member, fact_named, list_named, short_name
from .opening import say_opening, set_back
from .permitting import (
    Refusal,
    early,
    in_charge_only,
    open_only,
    refusal,
    safety_stops,
    say_refusal,
    steps_of_event,
)
from .powering import finish_steps
from .screen import Screen, after_keeping
from .session import Session, Settings
from .settling import dispute_said, disputed, settle
from .stops import say_stood

__all__ = ["note"]


@click.command()
@click.argument("job", type=click.Path())
@click.argument("facts", nargs=-1, metavar="[FACT=VALUE]...")
@click.option("--at", "at_text", metavar="TIME", help="When it was seen: 9:40, or 2026-07-14 09:40.")
@click.option("--long-ago", is_flag=True, help="--at is meant, though before the job, or over a day ago.")
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
    long_ago: bool,
    serial: str | None,
    event: str | None,
    step: str | None,
    unknown: str | None,
    again: bool,
    why: str | None,
    anyway: str | None,
) -> None:
    """Enter facts in JOB, such as `note visit.job blower=stopped 'static_pressure=217 psig'`.

    All is entered or nothing. A fact kept per member is written 'dead of indoor=yes'. A step
    or event that may not be now is not kept; one that was all the same is kept with --happened-anyway, and
    told as such. What was read though it was not permitted is kept with a caution.
    Exit code 0: kept, even where a safety stop stands, which is said. 1 or 3: not kept, as `may` answers.
    """
    if not (facts or event or step or unknown):
        raise Mistake("nothing to enter", "note JOB FACT=VALUE …")
    if (unknown or again) and not why:
        raise Mistake("no reason is given", "--why 'behind finished plaster'")
    if anyway is not None and not (anyway.strip() and (event or step)):
        raise Mistake("--happened-anyway goes with --event or --did, and says why", "--did STEP … WHY")
    if again and not facts:
        raise Mistake("--correct names no fact", "note JOB --correct FACT=VALUE --why 'read wrongly'")
    if long_ago and at_text is None:
        raise Mistake("--long-ago is about --at", "--at TIME says when it was")
    if why is not None and not (unknown or again):
        raise Mistake("--why is the reason of --cannot and --correct", "leave it out, or say which")
    for reason in (why, anyway):
        if reason is not None:
            check_reason(reason)
    screen = Screen()
    with Session.load(job, settings.plugin_dirs, write=True, by=settings.by, clock=settings.clock) as session:
        say_opening(session, screen)
        before = session.assess()
        open_only(session, before, job)
        _check_name(session, before, job, facts, unknown, bool(event or step or again))
        taken = _seen_at(session, at_text, long_ago) if at_text else None
        late, given = _given(session, before, facts)
        missed = fact_named(session.program, unknown, session.members(before)) if unknown else None
        check_once([*given, *([(missed, "cannot be had")] if missed is not None else [])])
        clock = set_back(session, screen)
        kept = Kept(session)
        try:
            with session.together():
                for name, label in late:
                    line, short = add_member(session, session.assess(), name, label, taken)
                    kept.say(line, f"{session.program.lists[name].title}: {label} (as {short})")
                if again:
                    _correct(session, before, given, serial, why or "", kept)
                else:
                    _enter(session, before, given, serial, taken, kept)
                if missed is not None:
                    kept.say(cannot(session, missed, why or "", taken), f"{missed}: cannot be had ({why})")
                if event:
                    _happened(session, event, taken, anyway, kept)
                if step:
                    _did(session, step, taken, anyway, kept)
                if clock is not None:
                    session.write("note", clock)
        except EntryError as error:
            if len(facts) + bool(unknown) + bool(event) + bool(step) == 1:
                raise
            raise EntryError(f"{error.message}; nothing is kept", error.help) from None
        except Refused as error:
            say_refusal(screen, error.refusal)
            screen.say("did it happen all the same? Enter it again with --happened-anyway WHY", "help: ")
            if kept.texts:
                screen.say("nothing is kept, of the other entries neither: enter those again")
            raise Answer(error.refusal.code) from None
        with after_keeping():
            for text, mark in kept.texts:
                screen.say(text, mark)
            _follow(session, before, screen)


class Refused(Exception):
    """What may not be done was to be entered."""

    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal)
        self.refusal = refusal


class Kept:
    """What is said of the entries once they are kept."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self.texts: list[tuple[str, str]] = []
        """Texts, each with the mark before it."""

    def say(self, line: Line, text: str) -> None:
        self.texts.append((text, f"kept {self._session.said(line.taken)} "))


def _seen_at(session: Session, text: str, long_ago: bool) -> float:
    """The time of --at. EntryError where it lies far back and is not said to be meant."""
    at = session.at(text)
    far = session.far_back(at)
    if far is not None and not long_ago:
        raise EntryError(f"`{text}` is {far}", "write the day too, or --long-ago if that is when it was seen")
    return at


def _given(
    session: Session, found: Assessment, facts: tuple[str, ...]
) -> tuple[list[tuple[str, str]], list[tuple[Ref, str]]]:
    """The members to be added, and the facts, which may be of these members already."""
    program, members = session.program, session.members(found)
    said = [split(text) for text in facts]
    late = [(name, label) for name, label in said if list_named(program, name)]
    for name, label in late:
        members[name] = [*members[name], short_name(name, label, members[name])]
    return late, [
        (fact_named(program, name, members), value) for name, value in said if (name, value) not in late
    ]


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
    refs = [ref for ref, _ in _given(session, found, facts)[1]]
    if unknown:
        refs.append(fact_named(session.program, unknown, session.members(found)))
    for ref in refs:
        if session.program.facts[ref.name].spec.safety:
            in_charge_only(session, job, f"`{ref}` is for safety and is entered")


def _of(text: str) -> tuple[str, str | None]:
    name, _, member = text.strip().partition(" of ")
    return name.strip(), member.strip() or None


def _enter(
    session: Session,
    before: Assessment,
    given: list[tuple[Ref, str]],
    serial: str | None,
    taken: float | None,
    kept: Kept,
) -> None:
    found = [(ref, observe(session, before, ref, value, serial=serial, taken=taken)) for ref, value in given]
    if serial is not None and serial not in before.history.instruments:
        usual = f"`{serial}` is not declared: what is usual for its kind is assumed."
        kept.texts.append((usual, "CAUTION: "))
    elif serial is not None:
        doubt = in_doubt(Wording(before, session.zone()), serial, session.now())
        if doubt is not None:
            kept.texts.append((doubt, "CAUTION: "))
    then = session.assess(taken)
    for ref, entry in found:
        line = session.append(entry, taken=taken)
        said = f"{ref}: {entry.understood}"
        if taken_as(session.program, entry):
            said = f"{ref}: `{entry.body['read']}` taken as {entry.understood}; --correct puts another"
        kept.say(line, said)
    after = session.assess(taken)
    kept.texts += [(said, "CAUTION: ") for said in early(session, then, after, (ref for ref, _ in found))]


def _correct(
    session: Session,
    before: Assessment,
    given: list[tuple[Ref, str]],
    serial: str | None,
    why: str,
    kept: Kept,
) -> None:
    found = []
    for ref, value in given:
        entries = before.history.observations.get((ref.name, ref.member))
        if not entries:
            raise EntryError(f"there is no entry of `{ref}` to correct", "leave --correct out")
        entry = observe(session, before, ref, value, serial=serial or entries[-1].instrument)
        found.append((ref, entries[-1], entry))
    for ref, observation, entry in found:
        if disputed(before, ref):
            lines = settle(session, before, ref, entry)
            which = ", ".join(f"line {line}" for line in lines) or "no other entry"
            kept.texts.append((f"{ref}: {entry.understood} is right ({which} corrected)", "settled "))
        elif observation.value is None:
            # Where nothing was read there is nothing to replace: the line goes, and the value is new.
            take_back(session, session.lines[observation.line - 1], why)
            session.append(entry, taken=observation.taken)
        else:
            correct(session, observation, entry, why)
        kept.texts.append((f"{ref}: {entry.understood}", "corrected "))


def _happened(session: Session, text: str, taken: float | None, anyway: str | None, kept: Kept) -> None:
    name, member = _of(text)
    now = session.assess()
    check_event(session, now, name, member)
    why = _permitted(session, steps_of_event(now, name, member), taken, anyway, kept)
    line = happened(session, session.assess(), name, member, taken, why=why)
    kept.say(line, text.replace("_", " "))
    for line, said in finish_steps(session, now, name, taken):
        kept.say(line, said)


def _did(session: Session, text: str, taken: float | None, anyway: str | None, kept: Kept) -> None:
    name, member = _of(text)
    now = session.assess()
    check_step(session, now, name, member)
    why = _permitted(session, [Ref(name, member)], taken, anyway, kept)
    line = did(session, session.assess(), name, member, taken, why=why)
    words = Wording(now, session.zone())
    kept.say(line, f"done: {step_said(words, name, member)}")


def _permitted(
    session: Session,
    steps: list[Ref],
    taken: float | None,
    anyway: str | None,
    kept: Kept,
) -> str | None:
    """Why it was done though not permitted; None where it was permitted. Refused where it may not be."""
    refused = refusal(session, steps, taken)
    if refused is None:
        if anyway is not None:
            kept.texts.append(("--happened-anyway is not needed: it was permitted", ""))
        return None
    if anyway is None:
        raise Refused(refused)
    said = step_said(refused.words, refused.step, refused.member)
    kept.texts.append((f"{said} was not permitted; the trail says so", "CAUTION: "))
    return anyway.strip()


def _follow(session: Session, before: Assessment, screen: Screen) -> None:
    """What the entries changed, and what is next."""
    after = session.assess()
    zone = session.zone()
    words = Wording(after, zone)
    for mark, text in changes(Wording(before, zone), words):
        screen.say(text, mark)
    stood = {(s.rule, s.member) for s in safety_stops(before)}
    for state in safety_stops(after):
        if (state.rule, state.member) in stood:
            screen.say(rule_said(words, state)[1], "STOP still stands: ")
    for suspicion in after.suspicions:
        screen.say(suspicion.slip, f"does not fit: {suspicion.ref}: ")
    for said in say_stood(session, words):
        screen.say(said, "STOP stood: ")
    leave = after.stopping_all()
    if leave is not None:
        screen.say(f"nothing here but this: {rule_said(words, leave)[1]}", "next: ", bold=True)
        return
    action = after.next
    if action.kind == "settle" and disputed(after, action.facts[0]):
        for each in disputed(after, action.facts[0]):
            screen.say(dispute_said(session, after, each), f"does not fit: {action.facts[0]}: ")
        screen.say(f"say which is right: --correct {action.facts[0]}=… --why …", "help: ")
    title = step_said(words, action.step, action.member) if action.step is not None else action.kind
    asked = ", ".join(str(ref) for ref in action.facts if isinstance(ref, Ref))
    screen.say(f"{title} ({asked})" if asked else title, "next: ")
