"""`guide`: one next action at a time, answered with one key or a few."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence

import click

from stillair.assess import Action, Assessment, Entry, EntryError, May, RuleState, read_fact
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.job import JobError
from stillair.verdict import Verdict

from . import STOPPED, Mistake
from .entering import (
    REASONS,
    add_member,
    cannot,
    correct,
    declare_instrument,
    did,
    events,
    happened,
    last_entry,
    needs_reason,
    observe,
    serial_for,
    take_back,
)
from .screen import Emergency, Leave, Screen, bar, time_left
from .session import Session, Settings
from .wording import asked, finding_said, fits, member_said, numbered, observed, step_said

__all__ = ["Guide", "guide", "pairs"]

_NAMED = re.compile(r"(?:^|[\s,;])([a-z][a-z0-9_]*(?: of [A-Za-z0-9_-]+|\.[A-Za-z0-9_-]+)?)\s*=")

KEYS = (
    ("1 2 …", "the answer with that number; y and n for yes and no"),
    ("217", "a number; write the unit if it is not the one shown"),
    ("a, b", "several answers, in the order asked"),
    ("NAME=…", "any fact by name; several on one line"),
    ("u", "cannot tell, cannot get it"),
    ("z", "take back the last entry"),
    ("s", "skip the step, where that is allowed"),
    ("e", "something happened"),
    ("i", "use another instrument"),
    ("w", "what is still missing"),
    ("@9:40", "what follows was seen at 9:40; @ alone: now"),
    ("?", "why, how, and these keys"),
    ("!", "emergency"),
    ("q", "leave; everything is kept"),
)

LEAVE_NOW = (
    "LEAVE NOW.",
    "Take everyone out with you.",
    "Do not switch anything on or off.",
    "Call for help from outside.",
)

_SKIPS = ("not needed here", "not possible here", "no time on this visit")
"""Why a step is skipped, most often (judgement, no source)."""


@click.command()
@click.argument("job", type=click.Path())
@click.option("--pack", "packs", multiple=True, metavar="NAME", help="For a new job: a pack, by name or folder.")
@click.option("--title", metavar="TEXT", help="For a new job: what it is called. Kept apart, as personal.")
@click.pass_obj
def guide(settings: Settings, job: str, packs: tuple[str, ...], title: str | None) -> None:
    """Start or resume JOB: one next action at a time.

    Lines may also come from a file: `stillair guide JOB < lines`.
    """
    screen = Screen()
    new = not os.path.lexists(job)
    if not new and (packs or title):
        raise Mistake("the job has begun: --pack and --title are for a new one", "leave them out")
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
    with session:
        if by is not None and session.in_charge is not None and by != session.in_charge:
            raise Mistake(
                f"the job is with {session.in_charge}",
                f"hand it over first: stillair handover {job} --to '{by}'",
            )
        code = Guide(session, screen).run(new)
    raise click.exceptions.Exit(code)


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

    def __init__(self, session: Session, screen: Screen) -> None:
        self.session = session
        self.screen = screen
        self.as_of: float | None = None
        """When what follows was seen, while entries are made afterwards."""
        self._serials: dict[str, str] = {}
        self._before: Assessment | None = None
        self._fresh: set[tuple[str, str | None]] = set()
        self._shown: tuple[object, ...] | None = None

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
            self.screen.say(f"Left. Everything entered is kept. Resume: stillair guide {self._path()}")
            return 0
        except Emergency:
            return self._emergency()

    def _path(self) -> str:
        return os.path.relpath(self.session.job.path)

    def _greet(self, new: bool) -> None:
        session, screen = self.session, self.screen
        title = session.lines[0].body.get("title", "")
        if new:
            screen.say(f"New job {title}, kept in {self._path()}.")
            screen.say("? explains, ! is for an emergency, q leaves.")
        else:
            last = session.lines[-1]
            screen.say(f"Job {title}: {len(session.lines)} lines, the last at {session.said(last.entered)}.")
            if last.kind == "repaired":
                screen.say(
                    f"An interrupted entry was set aside in {last.body['kept']}; enter it again.", "CAUTION: "
                )
        screen.say(f"Entries are by {session.by or 'nobody named'}.")
        behind = session.behind()
        if behind:
            text = f"The clock of this device stands {time_left(behind).removesuffix(' left')} before the last entry"
            session.write("note", {"text": f"{text}; times do not go back"})
            screen.say(f"{text}. Set it right: waits go by it.", "CAUTION: ")

    # -- looking -----------------------------------------------------------------------------------------

    def _moment(self) -> float:
        return self.session.now() if self.as_of is None else self.as_of

    def _look(self) -> Assessment:
        """Assess, and say what has changed since the last look."""
        found = self.session.assess(self._moment())
        before, self._before = self._before, found
        self._fresh = set()
        if before is None:
            for finding in found.findings:
                if finding.grade not in ("open", "none"):
                    self.screen.say(finding_said(found, finding), "found: ")
            return found
        self._tell_rules(before, found)
        earlier = {(f.name, f.member): f.grade for f in before.findings}
        for finding in found.findings:
            was = earlier.get((finding.name, finding.member), "none")
            if finding.grade == was:
                continue
            if finding.grade not in ("open", "none"):
                self.screen.say(finding_said(found, finding), "FOUND: ")
            elif was not in ("open", "none"):
                name = finding.name.replace("_", " ") + (f" of {finding.member}" if finding.member else "")
                reason = f", {finding.reasons[0]}" if finding.reasons else ""
                self.screen.say(f"{name} ({finding.grade}{reason})", "no longer found: ")
        return found

    def _tell_rules(self, before: Assessment, found: Assessment) -> None:
        was = {(s.rule, s.member) for s in _standing(before)}
        for state in _standing(found):
            if (state.rule, state.member) not in was:
                self._fresh.add((state.rule, state.member))
                self._tell(found, state)
        now = {(s.rule, s.member) for s in _standing(found)}
        for state in _standing(before):
            if (state.rule, state.member) not in now:
                self.screen.short(_rule_said(before, state)[1], "lifted: ")

    def _tell(self, found: Assessment, state: RuleState) -> None:
        word, said = _rule_said(found, state)
        self.screen.say(said, f"{word}: ", bold=True)
        lifted = found.program.rules[state.rule].spec.lifted_by
        if lifted:
            self.screen.say(lifted, "  lifted when: ")

    # -- showing -----------------------------------------------------------------------------------------

    def _show(self, found: Assessment) -> None:
        action = found.next
        key = (action.kind, action.step, action.member, action.wait, action.list)
        if key != self._shown:
            self._shown = key
            self._header(found, action)
        self._question(found, action)

    def _header(self, found: Assessment, action: Action) -> None:
        screen, program = self.screen, found.program
        if action.kind == "finished":
            screen.title("Nothing is left to do here")
        elif action.kind == "stopped":
            screen.title("No step may be done now")
        elif action.kind == "settle":
            screen.title("An entry does not fit")
        elif action.step is not None:
            screen.title(step_said(found, action.step, action.member))
        if self.as_of is not None:
            screen.say(f"Entering what was seen at {self.session.said(self.as_of)}; @ alone goes back to now.")
        for state in _standing(found):
            if (state.rule, state.member) not in self._fresh:
                word, said = _rule_said(found, state)
                screen.short(said, f"{word}: ")
        self._powered(found)
        self._waits(found)
        if action.kind in ("finished", "stopped", "settle") or action.step is None:
            return
        step = program.steps[action.step]
        spec = step.spec
        if spec.do and action.kind in ("do", "begin", "ask", "wait"):
            screen.say(spec.do)
        if action.why:
            screen.say(action.why, "why: ")
        for activity in [spec.activity.text] if spec.activity is not None else []:
            caution = program.activities[activity].spec.caution
            if caution:
                screen.say(caution, "CAUTION: ")
        if spec.caution:
            screen.say(spec.caution, "CAUTION: ")
        if step.per == "place" and action.member is not None:
            place = program.places[action.member].spec
            if place.how:
                screen.say(place.how, "how: ")
            if place.caution:
                screen.say(place.caution, "CAUTION: ")

    def _powered(self, found: Assessment) -> None:
        """Powered states that have begun and whose end was not logged, against their limit."""
        for name, powered in found.program.powered.items():
            begun = found.history.latest_event((f"{name}_begun", None), found.at)
            ended = found.history.latest_event((f"{name}_ended", None), found.at)
            if begun is None or (ended is not None and ended > begun):
                continue
            rest = powered.at_most - (found.at - begun[0])
            since = f"{powered.spec.title} has been on since {self.session.said(begun[0])}"
            if rest >= 0:
                self.screen.say(f"{since}, {time_left(rest)}. Log its end with e.", "ON: ")
            else:
                self.screen.say(f"{since}. ITS TIME IS UP: switch it off, then log its end with e.", "STOP: ")

    def _waits(self, found: Assessment) -> None:
        for wait in found.running():
            title = found.program.waits[wait.name].spec.title
            assert wait.started is not None and wait.ready_at is not None
            again = f" (started again: {wait.restarted_by})" if wait.restarted_by else ""
            if found.at < wait.ready_at:
                share = (found.at - wait.started) / (wait.ready_at - wait.started)
                ready = self.session.said(wait.ready_at)
                self.screen.say(f"{title}: ready at {ready}, {time_left(wait.ready_at - found.at)}{again}")
                self.screen.say(bar(share), "  ")
            else:
                self.screen.say(f"{title}: time is up since {self.session.said(wait.ready_at)}{again}")

    def _question(self, found: Assessment, action: Action) -> None:
        screen = self.screen
        match action.kind:
            case "ask":
                self._ask(found, action.facts)
            case "do":
                screen.say("y when it is done")
            case "begin":
                assert action.step is not None
                state = found.program.steps[action.step].powered
                assert state is not None
                spec = found.program.powered[state].spec
                screen.say(f"This switches on: {spec.title}, at most {spec.at_most}.")
                if spec.caution:
                    screen.say(spec.caution, "CAUTION: ")
                screen.say("y when it is on; its time runs from then")
            case "list":
                assert action.list is not None
                spec_list = found.program.lists[action.list]
                members = found.view.members(action.list)[0]
                said = "; ".join(member_said(found, action.list, m) for m in members) or "none yet"
                screen.say(spec_list.ask or f"{spec_list.title}: any other?", "", bold=True)
                screen.say(f"so far: {said}", "  ")
                screen.say("n: no, that is all; or the name of one more", "  ")
            case "settle":
                self._ask_settle(found, action)
            case "wait":
                screen.say("Nothing else can be done meanwhile. Enter checks again; q leaves, the time runs on.")
            case "stopped":
                self._ask_stopped(found, action)
            case _:
                screen.say("z takes back, NAME=… adds, q leaves. Then: stillair trail, stillair close.")

    def _ask(self, found: Assessment, facts: Sequence[Ref]) -> None:
        """The first question in full, and the names of those that follow."""
        if not facts:
            self.screen.say("Enter checks again")
            return
        screen, ref = self.screen, facts[0]
        fact = found.program.facts[ref.name]
        screen.say(asked(found, ref), bold=True)
        options = numbered(found.program, ref)
        domain = fact.domain
        if options == ("yes", "no"):
            screen.say("y yes   n no   u cannot tell", "  ")
        elif options:
            assert isinstance(domain, OptionDomain)
            for number, name in enumerate(options, 1):
                label = domain.labels.get(name, name)
                screen.say(label if label.casefold() == name.replace("_", " ") else f"{label}", f"  {number} ")
        else:
            serial = self._serial(found, ref)
            screen.say(fits(found.program, ref) + (f"; read with {serial}" if serial else ""), "  ")
        if fact.spec.caution:
            screen.say(fact.spec.caution, "  CAUTION: ")
        if len(facts) > 1:
            screen.say(", ".join(str(r) for r in facts[1:]), "  then: ")

    def _ask_settle(self, found: Assessment, action: Action) -> None:
        screen, suspicion = self.screen, action.suspicion
        assert suspicion is not None
        screen.say(asked(found, suspicion.ref), bold=True)
        screen.say(suspicion.slip, "  ")
        if suspicion.other is not None:
            screen.say(f"it was {suspicion.other}: correct it", "  1 ")
            screen.say(f"{suspicion.observation.read} is right", "  2 ")
            screen.say("or type what was read. Nothing rests on this entry until then.", "  ")
            return
        together = [s for s in found.suspicions if s.slip == suspicion.slip]
        for each in together:
            screen.say(observed(found.program, each.observation), "  ")
        if len(together) > 1:
            screen.say(f"Correct one by name, such as {together[-1].ref}=…", "  ")
        screen.say(f"or type the right value of {suspicion.ref}. Nothing rests on these until then.", "  ")

    def _ask_stopped(self, found: Assessment, action: Action) -> None:
        screen = self.screen
        if action.step is not None:
            screen.say(f"The next would be: {step_said(found, action.step, action.member)}")
        for blocked in action.permission.blocked:
            screen.say(blocked.say, "STOP: ", bold=True)
            if blocked.lifted_by:
                screen.say(blocked.lifted_by, "  lifted when: ")
        for reason in action.permission.reasons:
            screen.say(str(reason), "  open: ")
        lifting = self._lifting(found, action)
        for number, ref in enumerate(lifting, 1):
            latest = found.history.before((ref.name, ref.member), found.at)
            was = f" (now {observed(found.program, latest[-1])})" if latest else ""
            screen.say(f"answer again: {asked(found, ref)}{was}", f"  {number} ")

    @staticmethod
    def _lifting(found: Assessment, action: Action) -> list[Ref]:
        """The facts whose new answer could lift what stands against the next step."""
        lines = {n for blocked in action.permission.blocked for n in blocked.lines}
        against = [
            Ref(o.fact, o.member)
            for observations in found.history.observations.values()
            for o in observations
            if o.line in lines
        ]
        return list(dict.fromkeys([*against, *action.permission.missing]))

    # -- taking ------------------------------------------------------------------------------------------

    def _take(self, found: Assessment, typed: str) -> None:
        commands: dict[str, Callable[[Assessment], None]] = {
            "?": self._explain,
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
                lifting = self._lifting(found, action)
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
            answers = [(ref, self._read(found, ref, part)) for ref, part in zip(facts, parts, strict=False)]
        for ref, entry in answers:
            self._keep(found, ref, entry)

    def _read(self, found: Assessment, ref: Ref, typed: str) -> Entry:
        options = numbered(found.program, ref)
        if options and typed.isdigit():
            typed = options[_number(typed, len(options)) - 1]
        return observe(
            self.session, found, ref, typed, serial=self._serial(found, ref), taken=self.as_of
        )

    def _keep(self, found: Assessment, ref: Ref, entry: Entry) -> None:
        line = self.session.append(entry, taken=self.as_of)
        typed = str(entry.body.get("read", ""))
        number = isinstance(found.program.facts[ref.name].domain, NumberDomain)
        as_typed = f" (typed {typed})" if number and typed != entry.understood else ""
        self.screen.say(f"{ref}: {entry.understood}{as_typed}", f"kept {self.session.said(line.taken)} ")

    def _one(self, found: Assessment, ref: Ref) -> None:
        """Ask one fact out of turn; an empty line goes back."""
        self._ask(found, (ref,))
        typed = self.screen.ask()
        if typed == "u":
            self._say_why(found, ref)
        elif typed:
            self._keep(found, ref, self._read(found, ref, typed))

    def _named(self, found: Assessment, named: list[tuple[str, str]]) -> None:
        members = self.session.members(found)
        refs = [read_fact(found.program, name, members) for name, _ in named]
        entries = [
            (ref, observe(self.session, found, ref, value, serial=self._serial(found, ref), taken=self.as_of))
            for ref, (_, value) in zip(refs, named, strict=True)
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
        if action.kind == "begin":
            state = found.program.steps[action.step].powered
            line = self.session.write("event", {"event": f"{state}_begun"}, taken=self.as_of)
            self.screen.say(f"switched on: {action.why}", f"kept {self.session.said(line.taken)} ")
            self._shown = None
            return
        # The stops may have changed while the question stood on the screen.
        now = self.session.assess(self._moment())
        permission = did(self.session, now, action.step, action.member, self.as_of)
        if permission.may is not May.YES:
            raise EntryError(
                "it may no longer be done",
                "; ".join([*(b.say for b in permission.blocked), *map(str, permission.reasons)]) or None,
            )
        said = self.session.said(self._moment())
        self.screen.say(f"done: {step_said(found, action.step, action.member)}", f"kept {said} ")

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
        entry = observe(
            self.session, found, suspicion.ref, typed, serial=suspicion.observation.instrument, taken=self.as_of
        )
        if suspicion.other is not None and entry.body.get("value") == suspicion.observation.value:
            # The same once more confirms it.
            self._keep(found, suspicion.ref, entry)
            return
        correct(self.session, suspicion.observation, entry, why)
        self.screen.say(f"{suspicion.ref}: {entry.understood}", "corrected ")

    # -- keys --------------------------------------------------------------------------------------------

    def _explain(self, found: Assessment) -> None:
        screen, action, program = self.screen, found.next, found.program
        if action.step is not None:
            step = program.steps[action.step].spec
            if step.do:
                screen.say(step.do, "do: ")
            if step.why:
                screen.say(step.why, "why: ")
        for ref in action.facts[:1]:
            fact = program.facts[ref.name]
            spec = fact.spec
            screen.say(f"{ref}: {asked(found, ref)}", bold=True)
            for word, text in (("why", spec.why), ("how", spec.how), ("CAUTION", spec.caution)):
                if text:
                    screen.say(text, f"  {word}: ")
            if spec.counts_when is not None and spec.counts_when.because:
                screen.say(spec.counts_when.because, "  counts only when: ")
            if spec.good_for is not None:
                screen.say(f"{spec.good_for}", "  good for: ")
            if spec.void_after:
                screen.say(", ".join(t.text.replace("_", " ") for t in spec.void_after), "  void after: ")
            if isinstance(fact.domain, OptionDomain) and fact.domain.catalogue is not None:
                screen.say(", ".join(fact.domain.names), "  one of: ")
        for reason in action.permission.reasons:
            screen.say(str(reason), "open: ")
        screen.say()
        for key, about in KEYS:
            screen.say(about, f"  {key:<7} ")

    def _unknown(self, found: Assessment) -> None:
        action = found.next
        if action.suspicion is not None:
            ref = action.suspicion.ref
        elif action.kind == "ask" and action.facts:
            ref = action.facts[0]
        else:
            raise EntryError("nothing is asked here", "s skips a step where that is allowed; w shows what is open")
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
            raise EntryError("there is no entry to take back", "a handover or an emergency stays on the record")
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
            self.screen.say(f"{step_said(found, action.step, action.member)} ({why})", "skipped: ")

    def _event(self, found: Assessment) -> None:
        screen = self.screen
        choices = [
            (name, said, member)
            for name, said, per in events(found)
            for member in (found.view.members(per)[0] if per is not None else [None])
        ]
        screen.say("What happened?")
        for number, (name, said, member) in enumerate(choices, 1):
            per = {n: p for n, _, p in events(found)}[name]
            screen.say(f"{said}{': ' + member_said(found, per, member) if member else ''}", f"  {number} ")
        screen.say("the number, and the time if it was not now (2 9:40); Enter goes back", "  ")
        number_text, _, time_text = screen.ask().partition(" ")
        if not number_text:
            return
        name, said, member = choices[_number(number_text, len(choices)) - 1]
        taken = self.session.at(time_text) if time_text.strip() else self.as_of
        line = happened(self.session, found, name, member, taken)
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
            declare_instrument(self.session, serial, kind.name, given)
        elif known.kind != kind.name:
            raise EntryError(f"`{serial}` is declared as {known.kind}", "give the other its own serial")
        self._serials[kind.name] = serial
        screen.say(f"{kind.title}: {serial}", "in use: ")

    def _serial(self, found: Assessment, ref: Ref) -> str | None:
        read_with = found.program.facts[ref.name].spec.read_with
        if read_with is not None and read_with.text in self._serials:
            return self._serials[read_with.text]
        return serial_for(found, ref.name)

    def _missing(self, found: Assessment) -> None:
        """What is open, and facts to answer out of turn."""
        screen = self.screen
        for state in _standing(found):
            self._tell(found, state)
        self._waits(found)
        open_refs: dict[Ref, None] = {}
        for step in found.steps:
            if step.status in ("ready", "waiting"):
                open_refs.update(dict.fromkeys(step.asks))
            elif step.status == "stopped":
                screen.short(step_said(found, step.step, step.member), "stopped: ")
            elif step.status == "not yet":
                screen.short(step_said(found, step.step, step.member), "not yet: ")
                open_refs.update(dict.fromkeys(step.permission.missing))
        had: list[Ref] = []
        for (name, member), observations in found.history.observations.items():
            if observations[-1].value is None and name in found.program.facts:
                had.append(Ref(name, member))
        refs = [*(r for r in open_refs if r not in had), *had]
        if not refs:
            screen.say("No fact is missing for any step.")
            return
        for number, ref in enumerate(refs, 1):
            why = ""
            if ref in had:
                why = f" (could not be had: {found.history.observations[ref.name, ref.member][-1].why})"
            screen.say(f"{asked(found, ref)}{why}", f"  {number} ")
        screen.say("a number to answer one now; Enter goes back", "  ")
        typed = screen.ask()
        if typed:
            self._one(found, refs[_number(typed, len(refs)) - 1])

    def _set_time(self, text: str) -> None:
        self.as_of = self.session.at(text) if text and text != "now" else None
        self._shown = None

    def _emergency(self) -> int:
        # Said before anything is written: a full disk must not stand between a person and the door.
        for text in LEAVE_NOW:
            self.screen.say(text, "!! ", bold=True)
        try:
            line = self.session.write("emergency", {})
        except (JobError, OSError) as error:
            self.screen.say(f"The time could not be kept: {error}")
        else:
            self.screen.say(f"The time is kept: {self.session.said(line.taken)}.")
        self.screen.say(f"When those in charge say that it is safe: stillair guide {self._path()}")
        return STOPPED


def _standing(found: Assessment) -> list[RuleState]:
    """The stops and cautions that hold, stops first."""
    return [s for s in (*found.stops, *found.cautions) if s.verdict is Verdict.HOLDS]


def _rule_said(found: Assessment, state: RuleState) -> tuple[str, str]:
    rule = found.program.rules[state.rule]
    where = member_said(found, rule.per, state.member)
    said = rule.spec.caution or rule.spec.say or rule.spec.name
    return ("CAUTION" if rule.spec.caution else "STOP"), f"{where}: {said}" if where else said


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
