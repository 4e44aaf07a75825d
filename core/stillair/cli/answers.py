"""What an answer typed in a guided session does to the job."""

from __future__ import annotations

import re
from collections.abc import Sequence

from stillair.assess import Action, Assessment, Entry, EntryError, May
from stillair.condition.core import NumberDomain, Ref
from stillair.wording import Wording

from .asking import Asking
from .entering import (
    REASONS,
    cannot,
    check_once,
    check_reason,
    correct,
    did,
    observe,
    take_back,
    taken_as,
)
from .labels import choices, fits, numbered, step_said
from .naming import add_member, fact_named, list_named
from .permitting import early
from .powering import ended_by, ending
from .settling import as_entered, disputed, is_dispute, settle
from .typed import is_number, number_of, parts

__all__ = ["Answers"]


class Answers:
    """Takes the answer to what is asked, and what is given by name."""

    def __init__(self, asking: Asking) -> None:
        self.asking = asking
        self.session = asking.session
        self.screen = asking.screen

    def _words(self, found: Assessment) -> Wording:
        return Wording(found, self.session.zone())

    def take(self, found: Assessment, typed: str) -> None:
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
                ref = lifting[number_of(typed, len(lifting)) - 1]
                self.one(found, ref)
            case _:
                raise EntryError(f"`{typed}` answers nothing here", "Enter checks again; ? shows the keys")

    def _several(self, found: Assessment, facts: Sequence[Ref], typed: str) -> None:
        """One answer, or several in the order asked; those before one that cannot be read are kept."""
        try:
            entry = self._read(found, facts[0], typed)
        except EntryError:
            said = parts(typed)
            if len(facts) == 1 or len(said) < 2:
                raise
            if len(said) > len(facts):
                raise EntryError(
                    f"{len(said)} answers to {len(facts)} questions; nothing is kept",
                    "one for each, in the order asked",
                ) from None
            self._in_order(found, list(zip(facts, said, strict=False)), apart=bool(re.search("[,;]", typed)))
        else:
            self._keep(found, facts[0], entry)

    def _in_order(self, found: Assessment, said: Sequence[tuple[Ref, str]], apart: bool) -> None:
        """Read answers, keep them up to the first that cannot be read, and raise what is wrong with that.

        `apart`: commas stood between them.
        """
        answers: list[tuple[Ref, Entry]] = []
        fault: EntryError | None = None
        for number, (ref, text) in enumerate(said):
            try:
                answers.append((ref, self._read(found, ref, text)))
            except EntryError as error:
                fault = EntryError(f"{ref}: {error.message}", error.help)
                before = said[number - 1] if answers else None
                slip = before is not None and not apart and not is_number(text)
                if before is not None and slip and self._lacks_unit(found, *before):
                    # `217 psai` is one answer with a slip, never 217 of the usual unit.
                    answers.pop()
                    fault = EntryError(
                        f"{before[0]}: `{before[1]} {text}` is no number with its unit, nor two answers",
                        f"{fits(found.program, before[0])}; a comma parts two answers",
                    )
                break
        for ref, entry in answers:
            self._keep(found, ref, entry)
        if fault is not None:
            kept = ", ".join(str(ref) for ref, _ in answers)
            rest = f"kept before it: {kept}" if kept else "nothing is kept"
            raise EntryError(f"{fault.message}; {rest}", fault.help)

    @staticmethod
    def _lacks_unit(found: Assessment, ref: Ref, text: str) -> bool:
        return isinstance(found.program.facts[ref.name].domain, NumberDomain) and is_number(text)

    def _read(self, found: Assessment, ref: Ref, typed: str) -> Entry:
        options = numbered(found.program, ref)
        if options and typed.isdigit():
            typed = options[number_of(typed, len(options)) - 1]
        return self._entry(found, ref, typed)

    def _entry(self, found: Assessment, ref: Ref, typed: str) -> Entry:
        serial = self.asking.serial(found, ref)
        try:
            return observe(self.session, found, ref, typed, serial=serial, taken=self.asking.as_of)
        except EntryError as error:
            raise EntryError(error.message, choices(found.program, ref) or error.help) from None

    def _keep(self, found: Assessment, ref: Ref, entry: Entry) -> None:
        line = self.session.append(entry, taken=self.asking.as_of)
        typed = str(entry.body.get("read", ""))
        number = isinstance(found.program.facts[ref.name].domain, NumberDomain)
        said = f"{ref}: {entry.understood}"
        if taken_as(found.program, entry):
            said = f"{ref}: `{typed}` taken as {entry.understood}; undo with z"
        elif number and typed != entry.understood:
            said += f" (typed {typed})"
        self.screen.say(said, f"kept {self.session.said(line.taken)} ")

    def one(self, found: Assessment, ref: Ref) -> None:
        """Ask one fact out of turn; an empty line, or z, goes back."""
        self.asking.ask(found, (ref,))
        typed = self.screen.ask()
        while typed == "?":
            self.asking.about(found, ref)
            typed = self.screen.ask()
        if typed.lower() == "u":
            self.say_why(found, ref)
        elif typed.lower() not in ("", "z"):
            self._keep(found, ref, self._read(found, ref, typed))

    def named(self, found: Assessment, named: Sequence[tuple[str, str]]) -> None:
        """Facts given by name, and members found late; those before one that cannot be read are kept."""
        program = found.program
        for name, label in [each for each in named if list_named(program, each[0])]:
            self._add(found, name, label)
            found = self.session.assess(self.asking.moment())
        named = [each for each in named if not list_named(program, each[0])]
        members = self.session.members(found)
        refs = [fact_named(program, name, members) for name, _ in named]
        check_once((ref, value) for ref, (_, value) in zip(refs, named, strict=True))
        suspect = {s.ref: s.observation for s in found.suspicions}
        kept: list[str] = []
        then = found if self.asking.as_of is None else self.session.assess(self.asking.as_of)
        for ref, (_, value) in zip(refs, named, strict=True):
            try:
                entry = self._entry(found, ref, value)
            except EntryError as error:
                rest = f"kept before it: {', '.join(kept)}" if kept else "nothing is kept"
                raise EntryError(f"{error.message}; {rest}", error.help) from None
            if disputed(found, ref):
                self._settled(found, ref, entry)
            elif ref in suspect:
                correct(self.session, suspect[ref], entry, "read again")
                self.screen.say(f"{ref}: {entry.understood}", "corrected ")
            else:
                self._keep(found, ref, entry)
            kept.append(str(ref))
        after = self.session.assess(self.asking.moment())
        for caution in early(self.session, then, after, refs):
            self.screen.say(caution, "CAUTION: ", bold=True)

    def _done(self, found: Assessment, action: Action, typed: str) -> None:
        assert action.step is not None
        if typed.lower() not in ("y", "yes"):
            # Never a digit: one meant for another question must not switch anything on.
            help = "y when it is on" if action.kind == "begin" else ending(found, action.step)
            raise EntryError(f"`{typed}` is not an answer here", f"{help}; s skips where allowed")
        # What it rests on may have gone stale while the question stood on the screen.
        permission = self.session.assess(self.asking.moment()).permission(action.step, action.member)
        if permission.may is not May.YES:
            words = self._words(found)
            against = [*(b.say for b in permission.blocked), *map(words.reason, permission.reasons)]
            raise EntryError("it may no longer be done", "; ".join(against) or None)
        state = found.program.steps[action.step].powered
        said = f"done: {step_said(self._words(found), action.step, action.member)}"
        if action.kind == "begin":
            said = f"switched on: {action.why}"
            self.asking.anew()
            line = self.session.write("event", {"event": f"{state}_begun"}, taken=self.asking.as_of)
        else:
            off = ended_by(found, action.step)
            with self.session.together():
                line = did(self.session, found, action.step, action.member, self.asking.as_of)
                if off is not None:
                    self.session.write("event", {"event": f"{off}_ended"}, taken=self.asking.as_of)
            if off is not None:
                said = f"{said}; off again: {found.program.powered[off].spec.title}"
        self.screen.say(said, f"kept {self.session.said(line.taken)} ")

    def _listed(self, found: Assessment, action: Action, typed: str) -> None:
        assert action.list is not None
        title = found.program.lists[action.list].title
        if typed.lower() in ("n", "no"):
            line = self.session.write("listed", {"list": action.list}, taken=self.asking.as_of)
            late = f"{title}: that is all; one found later: {action.list}=NAME"
            self.screen.say(late, f"kept {self.session.said(line.taken)} ")
            return
        self._add(found, action.list, typed)

    def _add(self, found: Assessment, name: str, label: str) -> None:
        title = found.program.lists[name].title
        line, short = add_member(self.session, found, name, label, self.asking.as_of)
        self.screen.say(f"{title}: {label} (as {short})", f"kept {self.session.said(line.taken)} ")

    def _settle(self, found: Assessment, action: Action, typed: str) -> None:
        suspicion = action.suspicion
        assert suspicion is not None
        if is_dispute(found, action):
            ref, entries = suspicion.ref, disputed(found, suspicion.ref)
            if typed.isdigit() and 1 <= int(typed[:4]) <= len(entries):
                entry = as_entered(self.session, found, ref, entries[int(typed) - 1])
            else:
                entry = self._entry(found, ref, typed)
            self._settled(found, ref, entry)
            return
        why = "read again"
        if suspicion.other is not None and typed == "1":
            typed, why = suspicion.other, f"unit slip: {suspicion.other} was read"
        elif suspicion.other is not None and typed == "2":
            typed = suspicion.observation.read
        ref, serial = suspicion.ref, suspicion.observation.instrument
        entry = observe(self.session, found, ref, typed, serial=serial, taken=self.asking.as_of)
        if suspicion.other is not None and entry.body.get("value") == suspicion.observation.value:
            # The same once more confirms it.
            self._keep(found, suspicion.ref, entry)
            return
        correct(self.session, suspicion.observation, entry, why)
        self.screen.say(f"{suspicion.ref}: {entry.understood}", "corrected ")

    def _settled(self, found: Assessment, ref: Ref, entry: Entry) -> None:
        lines = settle(self.session, found, ref, entry)
        which = ", ".join(f"line {line}" for line in lines) or "no other entry"
        self.screen.say(f"{ref}: {entry.understood} is right ({which} corrected)", "settled ")

    # -- reasons -----------------------------------------------------------------------------------------

    def say_why(self, found: Assessment, ref: Ref) -> None:
        """Ask why a fact cannot be had, and keep that."""
        reason = self.reason(f"Why can {ref} not be had?", REASONS)
        if not reason:
            return
        for suspicion in found.suspicions:
            if suspicion.ref == ref:
                take_back(self.session, self.session.lines[suspicion.observation.line - 1], reason)
        line = cannot(self.session, ref, reason, self.asking.as_of)
        said = f"{ref}: cannot be had ({reason}); it stays open"
        self.screen.say(said, f"kept {self.session.said(line.taken)} ")

    def reason(self, question: str, common: Sequence[str]) -> str:
        """A reason by number or in words; empty to go back, as z does."""
        while True:
            self.screen.say(question)
            for number, text in enumerate(common, 1):
                self.screen.say(text, f"  {number} ")
            own = "or in your own words" if common else "in your own words"
            self.screen.say(f"{own}; Enter goes back", "  ")
            typed = self.screen.ask()
            if typed.lower() in ("", "z"):
                return ""
            try:
                if common and typed.isdigit():
                    return common[number_of(typed, len(common)) - 1]
                return check_reason(typed)
            except EntryError as error:
                self.screen.error(error.message, "a few words, or a number of the list; Enter goes back")
