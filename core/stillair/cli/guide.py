"""`guide`: one next action at a time, answered with one key or a few."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence

import click

from stillair.assess import Action, Assessment, Entry, EntryError, May, read_fact
from stillair.carried import check_every, in_doubt
from stillair.condition.core import NumberDomain, Ref
from stillair.job import JobError
from stillair.wording import Wording

from . import STOPPED, Answer, Mistake
from .asking import Asking
from .entering import (
    REASONS,
    add_member,
    cannot,
    check_event,
    correct,
    declare_instrument,
    did,
    events,
    happened,
    last_entry,
    needs_reason,
    observe,
    take_back,
)
from .journal import reopen
from .labels import (
    changes,
    finding_said,
    is_found,
    numbered,
    rule_said,
    standing,
    step_said,
)
from .permitting import open_only, refusal, say_refusal, steps_of_event
from .screen import Emergency, Leave, Screen, time_left
from .session import Session, Settings

__all__ = ["Guide", "guide", "pairs"]

_NAMED = re.compile(r"(?:^|[\s,;])([a-z][a-z0-9_]*(?: of [A-Za-z0-9_-]+|\.[A-Za-z0-9_-]+)?)\s*=")

LEAVE_NOW = (
    "LEAVE NOW.",
    "Take everyone out with you.",
    "Do not switch anything on or off.",
    "Call for help from outside.",
)

_MOST_STEPS, _MOST_REASONS, _MOST_FACTS = 4, 3, 9
"""How much `w` shows at once: what fits a small screen (judgement)."""
_SHUT = 60.0
"""Seconds without an entry from which it is said that a wait ran on unseen (judgement)."""
_SKIPS = ("not needed here", "not possible here", "no time on this visit")
"""Why a step is skipped, most often (judgement, no source)."""


@click.command()
@click.argument("job", type=click.Path())
@click.option("--pack", "packs", multiple=True, metavar="NAME", help="New job: a pack, by name or folder.")
@click.option("--title", metavar="TEXT", help="New job: what it is called. Kept apart, as personal.")
@click.option("--reopen", "again", is_flag=True, help="Open a closed job again, on the record.")
@click.pass_obj
def guide(settings: Settings, job: str, packs: tuple[str, ...], title: str | None, again: bool) -> None:
    """Start or resume JOB: one next action at a time.

    Lines may also come from a file: `stillair guide JOB < lines`.
    """
    screen = Screen()
    new = not os.path.lexists(job)
    if not new and (packs or title):
        raise Mistake("the job has begun: --pack and --title are for a new one", "leave them out")
    if new and again:
        raise Mistake("there is no job to open again", "leave --reopen out, or name a job that is there")
    dirs, by, clock = settings.plugin_dirs, settings.by, settings.clock
    try:
        if new:
            session = Session.start(
                job, dirs, packs=packs, title=title, by=by or _name(screen), clock=clock
            )
        else:
            session = Session.load(job, dirs, write=True, by=by, clock=clock)
    except Leave:
        raise Mistake("nobody is named, so no job was begun", "stillair --by NAME guide JOB") from None
    except Emergency:
        _leave_now(screen)
        raise Answer(STOPPED) from None
    with session:
        if by is not None and session.in_charge is not None and by != session.in_charge:
            raise Mistake(
                f"the job is with {session.in_charge}",
                f"hand it over first: stillair handover {job} --to '{by}'",
            )
        found = session.assess()
        if again:
            for line in reopen(session, found):
                screen.say("opened again", f"kept {session.said(line.taken)} ")
        else:
            open_only(session, found, job)
        code = Guide(session, screen, job).run(new)
    raise Answer(code)


def _leave_now(screen: Screen) -> None:
    for text in LEAVE_NOW:
        screen.say(text, "!! ", bold=True)


def _name(screen: Screen) -> str:
    while True:
        name = screen.ask("Your name: ")
        if name:
            return name


def pairs(text: str) -> list[tuple[str, str]]:
    """`NAME=VALUE NAME2=VALUE2` taken apart; empty where it does not begin with a name and `=`.

    >>> pairs("static_pressure=217 psig, dead of indoor=yes")
    [('static_pressure', '217 psig'), ('dead of indoor', 'yes')]
    """
    found = list(_NAMED.finditer(text))
    if not found or found[0].start(1) != 0:
        return []
    ends = [match.start() for match in found[1:]] + [len(text)]
    return [(m[1], text[m.end() : end].strip(" \t,;")) for m, end in zip(found, ends, strict=True)]


class Guide:
    """A guided session: shows the next action, takes what is typed, until the person leaves."""

    def __init__(self, session: Session, screen: Screen, path: str) -> None:
        self.session = session
        self.screen = screen
        self._path = path
        self.as_of: float | None = None
        """When what follows was seen, while entries are made afterwards."""
        self.asking = Asking(session, screen)
        self._before: Assessment | None = None
        self._fresh: set[tuple[str, str | None]] = set()
        self._shown: tuple[object, ...] | None = None
        self._running: set[str] = set()

    def run(self, new: bool) -> int:
        """Until the person leaves. The exit code: 3 after an emergency, else 0."""
        try:
            self._greet(new)
            while True:
                assessment = self._look()
                self._show(assessment)
                typed = self.screen.ask()
                try:
                    self._take(assessment, typed)
                except EntryError as error:
                    self.screen.error(error.message, error.help)
                except JobError as error:
                    self.screen.error(f"not kept: {error.message}", error.help)
        except Leave:
            self.screen.say(f"Left. Everything entered is kept. Resume: stillair guide {self._path}")
            return 0
        except Emergency:
            return self._emergency()

    def _greet(self, new: bool) -> None:
        session, screen = self.session, self.screen
        title = session.lines[0].body.get("title", "")
        if new:
            screen.say(f"New job {title}, kept in {self._path}.")
            screen.say("? explains, ! is for an emergency, q leaves.")
        else:
            last = session.lines[-1]
            screen.say(f"Job {title}: {len(session.lines)} lines, the last at {session.said(last.entered)}.")
            if last.kind == "repaired":
                screen.say(
                    f"An interrupted entry was set aside in {last.body['kept']}; enter it again.", "CAUTION: "
                )
        screen.say(f"Entries are by {session.by or 'nobody named'}.")
        if not new and session.now() - session.last > _SHUT and session.assess().running():
            screen.say("Waits ran on by the clock alone while nothing was entered here.", "CAUTION: ")
        behind = session.behind()
        if behind:
            gap = time_left(behind).removesuffix(" left")
            text = f"The clock of this device stands {gap} before the last entry"
            session.write("note", {"text": f"{text}; times do not go back"})
            screen.say(f"{text}. Set it right: waits go by it.", "CAUTION: ")

    # -- looking -----------------------------------------------------------------------------------------

    def _moment(self) -> float:
        return self.session.now() if self.as_of is None else self.as_of

    def _words(self, found: Assessment) -> Wording:
        return Wording(found, self.session.zone())

    def _look(self) -> Assessment:
        """Assess, and say what has changed since the last look."""
        found = self.session.assess(self._moment())
        before, self._before = self._before, found
        words = self._words(found)
        self._fresh = set()
        if before is None:
            for finding in found.findings:
                if is_found(finding):
                    self.screen.say(finding_said(words, finding), "found: ")
            return found
        known = {(s.rule, s.member) for s in standing(before)}
        self._fresh = {(s.rule, s.member) for s in standing(found)} - known
        for mark, text in changes(self._words(before), words):
            self.screen.say(text, mark, bold=mark == "STOP: ")
        return found

    # -- showing -----------------------------------------------------------------------------------------

    def _show(self, found: Assessment) -> None:
        action = found.next
        kind = "step" if action.kind in ("ask", "do", "begin") else action.kind
        key = (kind, action.step, action.member, action.wait, action.list)
        running = {wait.name for wait in found.running()}
        if key != self._shown:
            self.asking.header(found, self._fresh, self.as_of)
        elif running != self._running:
            self.asking.waits(found)
        self._shown, self._running = key, running
        self.asking.question(found)

    # -- taking ------------------------------------------------------------------------------------------

    def _take(self, found: Assessment, typed: str) -> None:
        commands: dict[str, Callable[[Assessment], None]] = {
            "?": self.asking.explain,
            "u": self._unknown,
            "z": self._undo,
            "s": self._skip,
            "e": self._event,
            "i": self._instrument,
            "w": self._missing,
        }
        if not typed:
            self._shown = None
        elif typed.lower() in commands:
            commands[typed.lower()](found)
        elif typed.startswith("@"):
            self._set_time(typed[1:].strip())
        elif named := pairs(typed):
            self._named(found, named)
        else:
            self._answer(found, typed)

    def _answer(self, found: Assessment, typed: str) -> None:
        action = found.next
        match action.kind:
            case "ask" if action.facts:
                self._several(found, action.facts, typed)
            case "do" | "begin":
                self._done(found, action, typed)
            case "list":
                self._listed(found, action, typed)
            case "settle":
                self._settle(found, action, typed)
            case "stopped":
                lifting = self.asking.lifting(found, action)
                ref = lifting[_number(typed, len(lifting)) - 1]
                self._one(found, ref)
            case _:
                raise EntryError(f"`{typed}` answers nothing here", "Enter checks again; ? shows the keys")

    def _several(self, found: Assessment, facts: Sequence[Ref], typed: str) -> None:
        """One answer, or several in the order asked; all of them or none."""
        try:
            answers = [(facts[0], self._read(found, facts[0], typed))]
        except EntryError:
            parts = [p for p in re.split(r"\s*[,;]\s*" if re.search("[,;]", typed) else r"\s+", typed) if p]
            if len(facts) == 1 or len(parts) < 2:
                raise
            if len(parts) > len(facts):
                raise EntryError(
                    f"{len(parts)} answers to {len(facts)} questions", "one for each, in the order asked"
                ) from None
            answers = []
            for ref, part in zip(facts, parts, strict=False):
                try:
                    answers.append((ref, self._read(found, ref, part)))
                except EntryError as error:
                    raise EntryError(f"{ref}: {error.message}; nothing is kept", error.help) from None
        for ref, entry in answers:
            self._keep(found, ref, entry)

    def _read(self, found: Assessment, ref: Ref, typed: str) -> Entry:
        options = numbered(found.program, ref)
        if options and typed.isdigit():
            typed = options[_number(typed, len(options)) - 1]
        return self._entry(found, ref, typed)

    def _entry(self, found: Assessment, ref: Ref, typed: str) -> Entry:
        serial = self.asking.serial(found, ref)
        return observe(self.session, found, ref, typed, serial=serial, taken=self.as_of)

    def _keep(self, found: Assessment, ref: Ref, entry: Entry) -> None:
        line = self.session.append(entry, taken=self.as_of)
        typed = str(entry.body.get("read", ""))
        number = isinstance(found.program.facts[ref.name].domain, NumberDomain)
        as_typed = f" (typed {typed})" if number and typed != entry.understood else ""
        self.screen.say(f"{ref}: {entry.understood}{as_typed}", f"kept {self.session.said(line.taken)} ")

    def _one(self, found: Assessment, ref: Ref) -> None:
        """Ask one fact out of turn; an empty line goes back."""
        self.asking.ask(found, (ref,))
        typed = self.screen.ask()
        if typed == "u":
            self._say_why(found, ref)
        elif typed:
            self._keep(found, ref, self._read(found, ref, typed))

    def _named(self, found: Assessment, named: list[tuple[str, str]]) -> None:
        members = self.session.members(found)
        refs = [read_fact(found.program, name, members) for name, _ in named]
        entries = [
            (ref, self._entry(found, ref, value)) for ref, (_, value) in zip(refs, named, strict=True)
        ]
        suspect = {s.ref: s.observation for s in found.suspicions}
        for ref, entry in entries:
            if ref in suspect:
                correct(self.session, suspect[ref], entry, "read again")
                self.screen.say(f"{ref}: {entry.understood}", "corrected ")
            else:
                self._keep(found, ref, entry)

    def _done(self, found: Assessment, action: Action, typed: str) -> None:
        if typed.lower() not in ("y", "yes", "1", "done"):
            raise EntryError(f"`{typed}` is not an answer here", "y when it is done; s skips where allowed")
        assert action.step is not None
        # What it rests on may have gone stale while the question stood on the screen.
        permission = self.session.assess(self._moment()).permission(action.step, action.member)
        if permission.may is not May.YES:
            words = self._words(found)
            against = [*(b.say for b in permission.blocked), *map(words.reason, permission.reasons)]
            raise EntryError("it may no longer be done", "; ".join(against) or None)
        state = found.program.steps[action.step].powered
        said = f"done: {step_said(self._words(found), action.step, action.member)}"
        if action.kind == "begin":
            said = f"switched on: {action.why}"
            self._shown = None
            line = self.session.write("event", {"event": f"{state}_begun"}, taken=self.as_of)
        else:
            line = did(self.session, found, action.step, action.member, self.as_of)
        self.screen.say(said, f"kept {self.session.said(line.taken)} ")

    def _listed(self, found: Assessment, action: Action, typed: str) -> None:
        assert action.list is not None
        title = found.program.lists[action.list].title
        if typed.lower() in ("n", "no"):
            line = self.session.write("listed", {"list": action.list}, taken=self.as_of)
            self.screen.say(f"{title}: that is all", f"kept {self.session.said(line.taken)} ")
            return
        if typed.lower() in ("y", "yes") or typed.isdigit():
            raise EntryError(f"`{typed}` is no name", "type what it is called, such as `second panel`")
        line, short = add_member(self.session, found, action.list, typed)
        self.screen.say(f"{title}: {typed} (as {short})", f"kept {self.session.said(line.taken)} ")

    def _settle(self, found: Assessment, action: Action, typed: str) -> None:
        suspicion = action.suspicion
        assert suspicion is not None
        why = "read again"
        if suspicion.other is not None and typed == "1":
            typed, why = suspicion.other, f"unit slip: {suspicion.other} was read"
        elif suspicion.other is not None and typed == "2":
            typed = suspicion.observation.read
        ref, serial = suspicion.ref, suspicion.observation.instrument
        entry = observe(self.session, found, ref, typed, serial=serial, taken=self.as_of)
        if suspicion.other is not None and entry.body.get("value") == suspicion.observation.value:
            # The same once more confirms it.
            self._keep(found, suspicion.ref, entry)
            return
        correct(self.session, suspicion.observation, entry, why)
        self.screen.say(f"{suspicion.ref}: {entry.understood}", "corrected ")

    # -- keys --------------------------------------------------------------------------------------------

    def _unknown(self, found: Assessment) -> None:
        action = found.next
        if action.suspicion is not None:
            ref = action.suspicion.ref
        elif action.kind == "ask" and action.facts:
            ref = action.facts[0]
        else:
            raise EntryError("nothing is asked here", "s skips a step where allowed; w shows what is open")
        self._say_why(found, ref)

    def _say_why(self, found: Assessment, ref: Ref) -> None:
        reason = self._reason(f"Why can {ref} not be had?", REASONS)
        if not reason:
            return
        for suspicion in found.suspicions:
            if suspicion.ref == ref:
                take_back(self.session, self.session.lines[suspicion.observation.line - 1], reason)
        line = cannot(self.session, ref, reason, self.as_of)
        said = f"{ref}: cannot be had ({reason}); it stays open"
        self.screen.say(said, f"kept {self.session.said(line.taken)} ")

    def _reason(self, question: str, common: Sequence[str]) -> str:
        """A reason by number or in words; empty to go back."""
        self.screen.say(question)
        for number, text in enumerate(common, 1):
            self.screen.say(text, f"  {number} ")
        self.screen.say("or in your own words; Enter goes back", "  ")
        typed = self.screen.ask()
        return common[_number(typed, len(common)) - 1] if typed.isdigit() else typed

    def _undo(self, found: Assessment) -> None:
        line = last_entry(self.session)
        if line is None:
            raise EntryError(
                "there is no entry to take back", "a handover or an emergency stays on the record"
            )
        said = _line_said(line.kind, line.body)
        why = None
        if needs_reason(self.session, line):
            self.screen.say(f"{said}, entered at {self.session.said(line.entered)}, more than a minute ago.")
            why = self._reason("Why take it back?", ("typed wrongly", "read wrongly", "meant for another"))
            if not why:
                return
        take_back(self.session, line, why)
        self._shown = None
        self.screen.say(said, "taken back: ")

    def _skip(self, found: Assessment) -> None:
        action = found.next
        if action.step is None or action.kind not in ("ask", "do", "begin", "wait"):
            raise EntryError("there is no step here to skip", "w shows what is open")
        step = found.program.steps[action.step]
        if not step.spec.optional:
            raise EntryError(
                f"`{step.spec.title or action.step}` cannot be skipped",
                "u says that a fact cannot be had, and why; q leaves",
            )
        why = self._reason("Why skip it?", _SKIPS)
        if why:
            body = {"step": action.step, "why": why, **({"of": action.member} if action.member else {})}
            self.session.write("skip", body, taken=self.as_of)
            said = step_said(self._words(found), action.step, action.member)
            self.screen.say(f"{said} ({why})", "skipped: ")

    def _event(self, found: Assessment) -> None:
        screen = self.screen
        words = self._words(found)
        choices: list[tuple[str, str, str | None]] = []
        for name, said, per in events(found):
            if per is None:
                choices.append((name, said, None))
                continue
            choices += [(name, f"{said}: {words.member(per, m)}", m) for m in found.view.members(per)[0]]
        screen.say("What happened?")
        for number, (_, said, _) in enumerate(choices, 1):
            screen.say(said, f"  {number} ")
        screen.say("the number, and the time if it was not now (2 9:40); Enter goes back", "  ")
        number_text, _, time_text = screen.ask().partition(" ")
        if not number_text:
            return
        name, said, member = choices[_number(number_text, len(choices)) - 1]
        taken = self.session.at(time_text) if time_text.strip() else self.as_of
        check_event(self.session, found, name, member)
        refused = refusal(self.session, steps_of_event(found, name, member), taken)
        why = None
        if refused is not None:
            say_refusal(screen, refused)
            screen.say("Did it happen all the same? Say why it was done; Enter goes back.")
            why = screen.ask()
            if not why:
                return
        line = happened(self.session, found, name, member, taken, why=why)
        self._shown = None
        screen.say(said, f"kept {self.session.said(line.taken)} ")

    def _instrument(self, found: Assessment) -> None:
        screen, kinds = self.screen, found.program.kinds
        if not kinds:
            raise EntryError("no kind of instrument is declared by this pack")
        for number, kind in enumerate(kinds.values(), 1):
            screen.say(kind.title, f"  {number} ")
        typed = screen.ask("kind: ")
        if not typed:
            return
        kind = list(kinds.values())[_number(typed, len(kinds)) - 1]
        serial = screen.ask("its serial: ")
        if not serial:
            return
        known = found.history.instruments.get(serial)
        if known is None:
            screen.say("How far may it be off? Enter takes what is usual for its kind.")
            given = {name: screen.ask(f"{name}: ") for name in ("offset", "repeat", "resolution")}
            checked = None
            if check_every(found.program, kind.name) is not None:
                checked = screen.ask("checked on (2026-01-31; Enter: not known): ") or None
            declare_instrument(self.session, serial, kind.name, given, checked)
        elif known.kind != kind.name:
            raise EntryError(f"`{serial}` is declared as {known.kind}", "give the other its own serial")
        self.asking.serials[kind.name] = serial
        screen.say(f"{kind.title}: {serial}", "in use: ")
        words = self._words(self.session.assess(self._moment()))
        doubt = in_doubt(words, serial, self.session.now())
        if doubt is not None:
            screen.say(doubt, "CAUTION: ")

    def _missing(self, found: Assessment) -> None:
        """What is open, and facts to answer out of turn."""
        screen, words = self.screen, self._words(found)
        for state in standing(found):
            word, said = rule_said(words, state)
            screen.say(said, f"{word}: ", bold=word == "STOP")
            lifted = found.program.rules[state.rule].spec.lifted_by
            if lifted:
                screen.say(lifted, "  lifted when: ")
        self.asking.waits(found)
        open_refs: dict[Ref, None] = dict.fromkeys(found.next.facts)
        told = 0
        for step in found.steps:
            if step.status in ("ready", "waiting"):
                open_refs.update(dict.fromkeys(step.asks))
            elif step.status in ("stopped", "not yet", "held"):
                told += 1
                if told > _MOST_STEPS:
                    continue
                word = "stopped" if step.status == "stopped" else "not yet"
                screen.short(step_said(words, step.step, step.member), f"{word}: ")
                for reason in step.permission.reasons[:_MOST_REASONS]:
                    screen.short(words.reason(reason), "  ")
                open_refs.update(dict.fromkeys(step.permission.missing))
        if told > _MOST_STEPS:
            screen.say(f"and {told - _MOST_STEPS} more steps after these")
        had: list[Ref] = []
        for (name, member), observations in found.history.observations.items():
            if observations[-1].value is None and name in found.program.facts:
                had.append(Ref(name, member))
        refs = [*[r for r in open_refs if r not in had][:_MOST_FACTS], *had]
        if not refs:
            screen.say("No fact is missing.")
            return
        left = len(open_refs.keys() - set(had)) - _MOST_FACTS
        for number, ref in enumerate(refs, 1):
            why = ""
            if ref in had:
                why = f" (could not be had: {found.history.observations[ref.name, ref.member][-1].why})"
            screen.say(f"{self._words(found).question(ref)}{why}", f"  {number} ")
        if left > 0:
            screen.say(f"and {left} more after these", "  ")
        screen.say("a number to answer one now; Enter goes back", "  ")
        typed = screen.ask()
        if typed:
            self._one(found, refs[_number(typed, len(refs)) - 1])

    def _set_time(self, text: str) -> None:
        self.as_of = self.session.at(text) if text and text != "now" else None
        self._shown = None

    def _emergency(self) -> int:
        # Said before anything is written: a full disk must not stand between a person and the door.
        _leave_now(self.screen)
        try:
            line = self.session.write("emergency", {})
        except (JobError, OSError) as error:
            self.screen.say(f"The time could not be kept: {error}")
        else:
            self.screen.say(f"The time is kept: {self.session.said(line.taken)}.")
        self.screen.say(f"When those in charge say that it is safe: stillair guide {self._path}")
        return STOPPED


def _line_said(kind: str, body: object) -> str:
    """An entry in a few words, to say what is taken back."""
    assert isinstance(body, dict)
    of = f" of {body['of']}" if body.get("of") else ""
    match kind:
        case "observe":
            return f"{body['fact']}{of}: {body.get('read', body.get('value', ''))}"
        case "unavailable":
            return f"{body['fact']}{of}: cannot be had"
        case "event":
            return f"{str(body['event']).replace('_', ' ')}{of}"
        case "done" | "skip":
            return f"{kind}: {body['step']}{of}"
        case "listed":
            return f"{body['list']}: that is all"
        case "member":
            return f"{body['list']}: {body.get('label', body['member'])}"
        case "instrument":
            return f"instrument {body.get('serial', '')}"
        case _:
            return f"the correction of line {body.get('line')}"


def _number(typed: str, most: int) -> int:
    """A number typed for one of `most` choices."""
    if not (typed.isascii() and typed.isdigit() and 1 <= int(typed[:4]) <= most):
        known = f"a number from 1 to {most}" if most else "? shows the keys"
        raise EntryError(f"`{typed}` is none of the choices", known)
    return int(typed)
