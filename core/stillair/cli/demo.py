"""`demo`: a whole job played from a scenario, with its own clock, into a job file and a trail."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from stillair.assess import Assessment, read_fact
from stillair.wording import Wording

from . import Mistake
from .clock import FixedClock
from .entering import cannot, correct, declare_instrument, did, happened, observe
from .labels import changes, step_said
from .naming import add_member
from .screen import Screen
from .session import Session, Settings

__all__ = ["demo"]

SCENARIO = Path("scenarios", "demo.yaml")


@click.command()
@click.option("--into", default="stillair-demo", metavar="FOLDER", show_default=True, help="Where it goes.")
@click.option("--pack", metavar="NAME", help="The pack whose demonstration is played.")
@click.pass_obj
def demo(settings: Settings, into: str, pack: str | None) -> None:
    """Play a whole job in a few seconds and keep its file and its trail."""
    from stillair.authoring.rehearse import read_scenario
    from stillair.hooks import Plugins
    from stillair.trail import write

    from .trail import document

    screen = Screen()
    folder = Path(into)
    job = folder / "demo.job"
    if job.exists():
        raise Mistake(f"`{job.as_posix()}` is there already", "--into another folder, or remove it")
    plugins = Plugins.load(settings.plugin_dirs)
    offered = [p / SCENARIO for p in plugins.packs if pack in (None, p.name)]
    path = next((p for p in offered if p.is_file()), None)
    if path is None:
        raise Mistake("no pack here has a demonstration", "a pack brings one in scenarios/demo.yaml")
    scenario = read_scenario(path)
    start = datetime.strptime(str(scenario["starts"]), "%Y-%m-%d %H:%M %z")
    clock = FixedClock(start.timestamp(), start.tzinfo or UTC)
    folder.mkdir(parents=True, exist_ok=True)
    title = str(scenario.get("scenario", "Demonstration"))
    by = str(scenario.get("by", "A. Tech"))
    with Session.start(
        job, settings.plugin_dirs, packs=[path.parent.parent.as_posix()], title=title, by=by, clock=clock
    ) as session:
        screen.say(title, bold=True)
        player = _Player(session, screen, clock, start)
        for part in scenario["does"]:
            player.turn(part)
        trail = folder / "demo.md"
        trail.write_text(write(document(session)), encoding="utf-8", newline="\n")
    screen.say()
    screen.say(job.as_posix(), "the job:   ")
    screen.say(trail.as_posix(), "its trail: ")


class _Player:
    """Enters what the scenario says, as a person would, and says what follows."""

    def __init__(self, session: Session, screen: Screen, clock: FixedClock, start: datetime) -> None:
        self.session = session
        self.screen = screen
        self.clock = clock
        self.day = start
        self.found = session.assess()
        self.shown: tuple[str, str | None] | None = None

    def turn(self, part: Mapping[str, Any]) -> None:
        if "at" in part:
            self._move(str(part["at"]))
        entered = [*self._entries(part)]
        if not entered:
            return
        self.screen.short("; ".join(entered), f"{self.session.said(self.clock.at)} ")
        before, self.found = self.found, self.session.assess()
        zone = self.session.zone()
        words = Wording(self.found, zone)
        for mark, text in changes(Wording(before, zone), words):
            self.screen.say(text, f"      {mark}")
        action = self.found.next
        if action.step is not None and (action.step, action.member) != self.shown:
            self.shown = (action.step, action.member)
            self.screen.short(step_said(words, *self.shown), "      next: ")

    def _move(self, text: str) -> None:
        if len(text) > 5:
            self.day = datetime.strptime(text, "%Y-%m-%d %H:%M").replace(tzinfo=self.day.tzinfo)
        else:
            hour, minute = text.split(":")
            self.day = self.day.replace(hour=int(hour), minute=int(minute))
        self.clock.at = self.day.timestamp()

    def _look(self) -> Assessment:
        return self.session.assess()

    def _entries(self, part: Mapping[str, Any]) -> Sequence[str]:
        session, said = self.session, list[str]()
        if "instrument" in part:
            given = {key: str(value) for key, value in part["instrument"].items()}
            declare_instrument(session, given["serial"], given["kind"], given, given.get("checked"))
            said.append(f"instrument {given['serial']}")
        serials = part.get("with", {})
        for name, value in part.get("note", {}).items():
            found = self._look()
            ref = read_fact(session.program, name, session.members(found))
            entry = observe(session, found, ref, str(value), serial=serials.get(name))
            session.append(entry)
            said.append(f"{ref} {entry.body.get('read', '')}")
        if "event" in part:
            event = str(part["event"])
            self._event(event, part.get("of"))
            said.append(event.replace("_", " "))
        if "did" in part:
            step, _, member = str(part["did"]).partition(" of ")
            did(session, self._look(), step, member or None)
            said.append(f"done: {part['did']}")
        for text, why in part.get("skip", {}).items():
            step, _, member = str(text).partition(" of ")
            session.write("skip", {"step": step, "why": str(why), **({"of": member} if member else {})})
            said.append(f"skipped: {text}")
        for name, why in part.get("cannot", {}).items():
            ref = read_fact(session.program, name, session.members(self._look()))
            cannot(session, ref, str(why))
            said.append(f"{ref} cannot be had: {why}")
        for name, labels in part.get("member", {}).items():
            for label in labels if isinstance(labels, list) else [labels]:
                add_member(session, self._look(), name, str(label))
                said.append(f"{name}: {label}")
        if "listed" in part:
            session.write("listed", {"list": part["listed"]})
            said.append(f"{part['listed']}: that is all")
        if "correct" in part:
            said += self._correct(part["correct"])
        if "handover" in part:
            session.write("handover", {"to": str(part["handover"])})
            session.by = str(part["handover"])
            said.append(f"handed over to {part['handover']}")
        if "emergency" in part:
            session.write("emergency", {})
            said.append("emergency")
        return said

    def _event(self, event: str, member: str | None) -> None:
        if event.endswith("_begun"):
            self.session.write("event", {"event": event})
        else:
            happened(self.session, self._look(), event, member)

    def _correct(self, given: Mapping[str, Any]) -> list[str]:
        said = []
        for name, value in given.items():
            if name != "why":
                found = self._look()
                ref = read_fact(self.session.program, name, self.session.members(found))
                latest = found.history.observations[ref.name, ref.member][-1]
                entry = observe(self.session, found, ref, str(value), serial=latest.instrument)
                correct(self.session, latest, entry, str(given.get("why", "entered wrongly")))
                said.append(f"{ref} corrected to {entry.understood}")
        return said
