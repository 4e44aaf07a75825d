"""What a guided session shows: the step, what stands, what runs, and the question."""

from __future__ import annotations

from collections.abc import Sequence

from stillair.assess import Action, Assessment
from stillair.assess.waits import time_left
from stillair.condition.core import OptionDomain, Ref
from stillair.wording import Wording

from .entering import serial_for
from .labels import fits, in_order, numbered, observed, rule_said, standing, step_said
from .naming import list_named
from .powering import ending
from .screen import Screen, bar
from .session import Session
from .settling import dispute_said, disputed, is_dispute
from .stops import say_stood

__all__ = ["Asking"]

KEYS = (
    ("1 2 …", "the answer with that number; y and n for yes and no"),
    ("217", "a number; write the unit if it is not the one shown; 7.5 with a point"),
    ("a, b", "several answers, in the order asked; 217 psia is one answer, and so is 2 d"),
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


class Asking:
    """Shows the next action of an assessment. `serials` are the instruments chosen, by kind."""

    def __init__(self, session: Session, screen: Screen) -> None:
        self.session = session
        self.screen = screen
        self.serials: dict[str, str] = {}
        self.as_of: float | None = None
        """When what follows was seen, while entries are made afterwards."""
        self.fresh: set[tuple[str, str | None]] = set()
        """Stops and cautions that were said in full a moment ago."""
        self._shown: tuple[object, ...] | None = None
        self._running: set[str] = set()

    def moment(self) -> float:
        return self.session.now() if self.as_of is None else self.as_of

    def anew(self) -> None:
        """Show the header again, whatever stands on the screen."""
        self._shown = None

    def show(self, found: Assessment) -> None:
        """The header where the step is another one, the waits where they are, and the question."""
        action = found.next
        kind = "step" if action.kind in ("ask", "do", "begin") else action.kind
        key = (kind, action.step, action.member, action.wait, action.list)
        running = {wait.name for wait in found.running()}
        if key != self._shown:
            self.header(found)
        elif running != self._running:
            self.waits(found)
        self._shown, self._running = key, running
        self.question(found)

    def _words(self, found: Assessment) -> Wording:
        return Wording(found, self.session.zone())

    def serial(self, found: Assessment, ref: Ref) -> str | None:
        """The instrument a fact is read with, if one is known."""
        read_with = found.program.facts[ref.name].spec.read_with
        if read_with is not None and read_with.text in self.serials:
            return self.serials[read_with.text]
        return serial_for(found, ref.name)

    def header(self, found: Assessment) -> None:
        """What begins a step: its title, what stands, what runs, what to do and why."""
        action = found.next
        screen, program, words = self.screen, found.program, self._words(found)
        if action.kind == "finished":
            screen.title("Nothing is left to do here")
        elif action.kind == "stopped":
            screen.title("No step may be done now")
        elif action.kind == "settle":
            screen.title("An entry does not fit")
        elif action.list is not None:
            screen.title(program.lists[action.list].title)
        elif action.step is not None:
            screen.title(step_said(self._words(found), action.step, action.member))
        if self.as_of is not None:
            seen = self.session.said(self.as_of)
            screen.say(f"Entering what was seen at {seen}; @ alone goes back to now.")
        for state in standing(found):
            if (state.rule, state.member) not in self.fresh:
                word, said = rule_said(words, state)
                screen.short(said, f"{word}: ")
        for said in say_stood(self.session, words):
            screen.say(said, "STOP stood: ", bold=True)
        self.powered(found)
        self.waits(found)
        if action.kind in ("finished", "stopped", "settle", "list") or action.step is None:
            return
        step = program.steps[action.step]
        spec = step.spec
        if spec.do and action.kind in ("do", "begin", "ask", "wait"):
            screen.say(spec.do)
        if action.why and action.kind != "begin":
            screen.say(action.why, "why: ")
        self.search(words)
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

    def search(self, words: Wording) -> None:
        """Why the place in hand is next. What says it is loaded only where there is a search."""
        if words.found.next.member is not None and words.found.search is not None:
            from .next_action import say_search

            say_search(self.screen, words)

    def powered(self, found: Assessment) -> None:
        """Powered states that have begun and whose end was not logged, against their limit."""
        for name, powered in found.program.powered.items():
            begun = found.history.on_since(name, found.view.moment)
            if begun is None:
                continue
            rest = powered.at_most - (found.at - begun[0])
            since = f"{powered.spec.title} has been on since {self.session.said(begun[0])}"
            if rest >= 0:
                self.screen.say(f"{since}, {time_left(rest)} left. Log its end with e.", "ON: ")
            else:
                self.screen.say(f"{since}. ITS TIME IS UP: switch it off, then log its end with e.", "STOP: ")

    def waits(self, found: Assessment) -> None:
        """Each running wait: when it is ready, what is left, how far it is."""
        for wait in found.running():
            title = found.program.waits[wait.name].spec.title
            assert wait.started is not None
            again = f" (started again: {wait.restarted_by})" if wait.restarted_by else ""
            if wait.ready_at is None:
                why = self._words(found).reasons(wait.options.reasons)
                self.screen.say(f"{title}: how long it lasts is not known – {why}{again}")
            elif found.at < wait.ready_at:
                share = (found.at - wait.started) / (wait.ready_at - wait.started)
                ready = self.session.said(wait.ready_at)
                left = time_left(wait.ready_at - found.at)
                self.screen.say(f"{title}: ready at {ready}, {left} left{again}")
                self.screen.say(bar(share), "  ")
            else:
                up = f"time is up since {self.session.said(wait.ready_at)}, by the clock alone"
                self.screen.say(f"{title}: {up}{again}")

    def question(self, found: Assessment) -> None:
        """What can be answered now, and how."""
        screen, action = self.screen, found.next
        match action.kind:
            case "ask":
                self.ask(found, action.facts)
            case "do":
                assert action.step is not None
                screen.say(ending(found, action.step))
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
                said = "; ".join(self._words(found).member(action.list, m) for m in members) or "none yet"
                screen.say(spec_list.ask or f"{spec_list.title}: any other?", "", bold=True)
                screen.say(f"so far: {said}", "  ")
                screen.say("n: no, that is all; or the name of one more", "  ")
                screen.say(f"found later: {action.list}=NAME, at any question", "  ")
            case "settle":
                self.ask_settle(found, action)
            case "wait":
                screen.say("Nothing else can be done meanwhile. Enter checks again.")
                screen.say("q leaves; the time runs on.")
            case "stopped":
                self.ask_stopped(found, action)
            case _:
                screen.say("z takes back, NAME=… adds, q leaves. Then: stillair trail, stillair close.")

    def ask(self, found: Assessment, facts: Sequence[Ref]) -> None:
        """The first question in full, and the names of those that follow."""
        if not facts:
            self.screen.say("Enter checks again")
            return
        screen, ref = self.screen, facts[0]
        fact = found.program.facts[ref.name]
        screen.say(self._words(found).question(ref), bold=True)
        options = numbered(found.program, ref)
        domain = fact.domain
        if options == ("yes", "no"):
            screen.say("y yes   n no   u cannot tell", "  ")
        elif options:
            assert isinstance(domain, OptionDomain)
            for number, name in enumerate(options, 1):
                screen.say(domain.labels.get(name, name), f"  {number} ")
            screen.say("cannot tell", "  u ")
        else:
            serial = self.serial(found, ref)
            screen.say(fits(found.program, ref) + (f"; read with {serial}" if serial else ""), "  ")
            screen.say("cannot get it", "  u ")
        if fact.spec.caution:
            screen.say(fact.spec.caution, "  CAUTION: ")
        if len(facts) > 1:
            screen.say(", ".join(str(r) for r in facts[1:]), "  then: ")

    def ask_settle(self, found: Assessment, action: Action) -> None:
        screen, suspicion = self.screen, action.suspicion
        assert suspicion is not None
        screen.say(self._words(found).question(suspicion.ref), bold=True)
        screen.say(suspicion.slip, "  ")
        if is_dispute(found, action):
            for number, entry in enumerate(disputed(found, suspicion.ref), 1):
                screen.say(dispute_said(self.session, found, entry), f"  {number} ")
            screen.say("the number of the one that is right, or the right answer in full", "  ")
            screen.say("The others are then corrected. Nothing rests on these until then.", "  ")
            return
        if suspicion.other is not None:
            screen.say(f"it was {suspicion.other}: correct it", "  1 ")
            screen.say(f"{suspicion.observation.read} is right", "  2 ")
            screen.say(
                "or type what was read; u cannot get it. Nothing rests on this entry until then.", "  "
            )
            return
        together = [s for s in found.suspicions if s.slip == suspicion.slip]
        for each in together:
            screen.say(observed(found.program, each.observation), "  ")
        if len(together) > 1:
            screen.say(f"Correct one by name, such as {together[-1].ref}=…", "  ")
        said = f"or type the right value of {suspicion.ref}; u cannot get it."
        screen.say(f"{said} Nothing rests on these until then.", "  ")

    def ask_stopped(self, found: Assessment, action: Action) -> None:
        screen = self.screen
        if action.step is not None:
            screen.say(f"The next would be: {step_said(self._words(found), action.step, action.member)}")
        for blocked in in_order(found.program, action.permission.blocked):
            screen.say(blocked.say, "STOP: ", bold=True)
            if blocked.lifted_by:
                screen.say(blocked.lifted_by, "  lifted when: ")
        for reason in action.permission.reasons:
            screen.say(self._words(found).reason(reason), "  open: ")
        lifting = self.lifting(found, action)
        for number, ref in enumerate(lifting, 1):
            latest = found.history.before((ref.name, ref.member), found.view.moment)
            was = f" (now {observed(found.program, latest[-1])})" if latest else ""
            screen.say(f"answer again: {self._words(found).question(ref)}{was}", f"  {number} ")

    @staticmethod
    def lifting(found: Assessment, action: Action) -> list[Ref]:
        """The facts whose new answer could lift what stands against the next step."""
        lines = {n for blocked in action.permission.blocked for n in blocked.lines}
        against = [
            Ref(o.fact, o.member)
            for observations in found.history.observations.values()
            for o in observations
            if o.line in lines
        ]
        return list(dict.fromkeys([*against, *action.permission.missing]))

    def explain(self, found: Assessment) -> None:
        """Why and how, then the keys."""
        screen, action, program = self.screen, found.next, found.program
        if action.step is not None:
            step = program.steps[action.step].spec
            if step.do:
                screen.say(step.do, "do: ")
            if step.why:
                screen.say(step.why, "why: ")
        for ref in action.facts[:1]:
            self.about(found, ref)
        for reason in action.permission.reasons:
            screen.say(self._words(found).reason(reason), "open: ")
        screen.say()
        for key, about in KEYS:
            screen.say(about, f"  {key:<7} ")
        for name in filter(lambda name: list_named(program, name), program.lists):
            screen.say(f"one more found late: {program.lists[name].title}", f"  {name}=… ")

    def about(self, found: Assessment, ref: Ref) -> None:
        """Why and how one fact is asked, and when it counts."""
        screen = self.screen
        fact = found.program.facts[ref.name]
        spec = fact.spec
        screen.say(f"{ref}: {self._words(found).question(ref)}", bold=True)
        for word, text in (("why", spec.why), ("how", spec.how), ("CAUTION", spec.caution)):
            if text:
                screen.say(text, f"  {word}: ")
        if spec.counts_when is not None and spec.counts_when.because:
            screen.say(spec.counts_when.because, "  does not count when: ")
        if spec.good_for is not None:
            screen.say(f"{spec.good_for}", "  good for: ")
        if spec.void_after:
            screen.say(", ".join(t.text.replace("_", " ") for t in spec.void_after), "  void after: ")
        if isinstance(fact.domain, OptionDomain) and fact.domain.catalogue is not None:
            screen.say(", ".join(fact.domain.names), "  one of: ")
