"""What the keys of a guided session do, other than to answer."""

from __future__ import annotations

from stillair.assess import Assessment, EntryError
from stillair.carried import check_every, in_doubt
from stillair.wording import Wording

from .answers import Answers
from .entering import (
    check_event,
    declare_instrument,
    events,
    happened,
    last_entry,
    needs_reason,
    take_back,
)
from .labels import step_said
from .permitting import refusal, say_refusal, steps_of_event
from .powering import finish_steps
from .typed import number_of

__all__ = ["Keys"]

_SKIPS = ("not needed here", "not possible here", "no time on this visit")
"""Why a step is skipped, most often (judgement, no source)."""


class Keys:
    """One method for each key."""

    def __init__(self, answers: Answers) -> None:
        self.answers = answers
        self.asking = answers.asking
        self.session = answers.session
        self.screen = answers.screen
        self._meant: float | None = None
        """The earliest time that was said to be meant, though it lies far back."""

    def _words(self, found: Assessment) -> Wording:
        return Wording(found, self.session.zone())

    def unknown(self, found: Assessment) -> None:
        action = found.next
        if action.suspicion is not None:
            ref = action.suspicion.ref
        elif action.kind == "ask" and action.facts:
            ref = action.facts[0]
        else:
            raise EntryError("nothing is asked here", "s skips a step where allowed; w shows what is open")
        self.answers.say_why(found, ref)

    def undo(self, found: Assessment) -> None:
        line = last_entry(self.session)
        if line is None:
            raise EntryError(
                "there is no entry to take back", "a handover or an emergency stays on the record"
            )
        said = _line_said(line.kind, line.body)
        why = None
        if needs_reason(self.session, line):
            self.screen.say(f"{said}, entered at {self.session.said(line.entered)}, more than a minute ago.")
            why = self.answers.reason(
                "Why take it back?", ("typed wrongly", "read wrongly", "meant for another")
            )
            if not why:
                return
        take_back(self.session, line, why)
        self.asking.anew()
        self.screen.say(said, "taken back: ")

    def skip(self, found: Assessment) -> None:
        action = found.next
        if action.step is None or action.kind not in ("ask", "do", "begin", "wait"):
            raise EntryError("there is no step here to skip", "w shows what is open")
        step = found.program.steps[action.step]
        if not step.spec.optional:
            raise EntryError(
                f"`{step.spec.title or action.step}` cannot be skipped",
                "u says that a fact cannot be had, and why; q leaves",
            )
        why = self.answers.reason("Why skip it?", _SKIPS)
        if why:
            body = {"step": action.step, "why": why, **({"of": action.member} if action.member else {})}
            self.session.write("skip", body, taken=self.asking.as_of)
            said = step_said(self._words(found), action.step, action.member)
            self.screen.say(f"{said} ({why})", "skipped: ")

    def event(self, found: Assessment) -> None:
        screen = self.screen
        words = self._words(found)
        choices = list(events(found))
        screen.say("What happened?")
        for number, (_, said, per) in enumerate(choices, 1):
            screen.say(f"{said} …" if per is not None else said, f"  {number} ")
        screen.say("the number, and the time if it was not now (2 9:40); Enter goes back", "  ")
        number_text, _, time_text = screen.ask().partition(" ")
        if not number_text:
            return
        name, said, per = choices[number_of(number_text, len(choices)) - 1]
        member = None
        if per is not None:
            member = self._member(found, words, per)
            if member is None:
                return
            said = f"{said}: {words.member(per, member)}"
        taken = self.asking.as_of
        if time_text.strip():
            taken = self._seen_at(time_text.strip())
            if taken is None:
                return
        check_event(self.session, found, name, member)
        refused = refusal(self.session, steps_of_event(found, name, member), taken)
        why = None
        if refused is not None:
            say_refusal(screen, refused)
            why = self.answers.reason("Did it happen all the same? Say why it was done.", ())
            if not why:
                return
        with self.session.together():
            line = happened(self.session, found, name, member, taken, why=why)
            done = finish_steps(self.session, found, name, taken)
        self.asking.anew()
        screen.say(said, f"kept {self.session.said(line.taken)} ")
        for line, text in done:
            screen.say(text, f"kept {self.session.said(line.taken)} ")
        if done:
            screen.say("z if it was not done", "  ")

    def _member(self, found: Assessment, words: Wording, per: str) -> str | None:
        """Which member of a list an event is about: the one in hand with Enter, or one by its number."""
        members = found.view.members(per)[0]
        at_hand = found.next.member if found.next.member in members else None
        self.screen.say("Where?" if per == "place" else "Which one?")
        for number, each in enumerate(members, 1):
            self.screen.say(words.member(per, each), f"  {number} ")
        here = f"Enter: {words.member(per, at_hand)}; z goes back" if at_hand else "Enter goes back"
        self.screen.say(here, "  ")
        typed = self.screen.ask()
        if typed.lower() in ("", "z"):
            return at_hand if not typed else None
        return members[number_of(typed, len(members)) - 1]

    def instrument(self, found: Assessment) -> None:
        screen, kinds = self.screen, found.program.kinds
        if not kinds:
            raise EntryError("no kind of instrument is declared by this pack")
        for number, kind in enumerate(kinds.values(), 1):
            screen.say(kind.title, f"  {number} ")
        typed = screen.ask("kind: ")
        if not typed:
            return
        kind = list(kinds.values())[number_of(typed, len(kinds)) - 1]
        serial = screen.ask("its serial: ")
        if not serial:
            return
        known = found.history.instruments.get(serial)
        if known is None:
            screen.say("How far may it be off? Enter takes what is usual for its kind.")
            asked = ["offset", "repeat", "resolution", *(["of reading"] if kind.of_reading else [])]
            given = {name: screen.ask(f"{name}: ") for name in asked}
            checked = None
            if check_every(found.program, kind.name) is not None:
                checked = screen.ask("checked on (2026-01-31; Enter: not known): ") or None
            declare_instrument(self.session, serial, kind.name, given, checked)
        elif known.kind != kind.name:
            raise EntryError(f"`{serial}` is declared as {known.kind}", "give the other its own serial")
        self.asking.serials[kind.name] = serial
        screen.say(f"{kind.title}: {serial}", "in use: ")
        words = self._words(self.session.assess(self.asking.moment()))
        doubt = in_doubt(words, serial, self.session.now())
        if doubt is not None:
            screen.say(doubt, "CAUTION: ")

    def set_time(self, text: str) -> None:
        """Enter what follows as seen at a time, or now again."""
        at = self._seen_at(text) if text and text != "now" else None
        if at is None and text and text != "now":
            return
        self.asking.as_of = at
        self.asking.anew()

    def _seen_at(self, text: str) -> float | None:
        """The time typed; None if it lies far back and is not meant."""
        at = self.session.at(text)
        far = self.session.far_back(at)
        if far is None or (self._meant is not None and self._meant <= at):
            return at
        self.screen.say(f"{self.session.said(at)} is {far}. Was it seen then?")
        self.screen.say("y yes   Enter goes back", "  ")
        if self.screen.ask().lower() not in ("y", "yes"):
            return None
        self._meant = at
        return at


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
