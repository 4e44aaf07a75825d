"""Stops at their turning points: a handover, a close, a powered state's end, and which is said first."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.job import Job

pytestmark = pytest.mark.usefixtures("own_cache")

NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MINUTE = 60.0

MANIFEST = """\
pack: oven
version: 1.0.0
title: Mend an oven
engine: ">=0.1,<1"
checklists: [oven.yaml]
"""
OVEN = """\
checklist: oven
title: Mend an oven
lists:
  plug: {title: Plugs, ask: Any other plug?, members: {wall: Wall plug}, open: true}
facts:
  wet: {ask: Is the floor wet?, kind: yes-no, safety: true, void after: [handover]}
  smoke: {ask: Any smoke?, kind: yes-no, safety: true, void after: [handover, emergency]}
  unplugged: {ask: Is it pulled out?, kind: yes-no, per: plug, safety: true, void after: [handover]}
  fan: {ask: What does the fan do?, options: {still: It stands, turning: It turns}, void after: [warm_begun]}
  inside: {ask: How is it inside?, options: {clean: Clean, sooty: Sooty}}
  door: {ask: How is the door hung?, options: {left: On the left, right: On the right}, nature: fixed}
events:
  brushed: {say: The oven was brushed}
activities:
  opening: {title: Opening it, gate: every plug has (unplugged is yes)}
  looking: {title: Looking from outside}
  spraying: {title: Spraying}
steps:
  - {step: first-look, title: Look first, ask: [smoke, wet]}
  - {step: unplug, title: Pull the plug, ask: [unplugged]}
  - {step: warm-it, title: Warm it up, do: Let it warm., marks: [brushed]}
  - {step: open-it, title: Open it, activity: opening, ask: [inside]}
  - {step: see-fan, title: See the fan stop, ask: [fan]}
  - {step: see-door, title: See the door, activity: looking, ask: [door]}
  - {step: plug-in, title: Put the plug back, do: Plug it in.}
  - {step: spray-it, title: Spray it, activity: spraying, never: The spray burns.}
powered:
  - state: warm
    title: Warming up
    frees: [wall]
    of: plug
    gate: smoke is no
    steps: [warm-it]
    at most: 60 s
    proof: [unplugged, fan is still]
rules:
  - {rule: puddle, stop: [opening], when: wet is yes, say: Dry the floor first., lifted by: The floor is dry.}
  - {rule: leave, stop: [opening, looking], when: smoke is yes, say: Leave now., lifted by: No more smoke.}
"""


class Oven:
    """A job of the oven, under a clock that stands until it is moved."""

    def __init__(self, folder: Path) -> None:
        self.pack = folder / "oven"
        self.pack.mkdir()
        (self.pack / "manifest.yaml").write_text(MANIFEST, encoding="utf-8")
        (self.pack / "oven.yaml").write_text(OVEN, encoding="utf-8")
        self.path = folder / "visit.job"
        self.clock = FixedClock(NINE)
        self.run("--by", "A. Tech", "guide", str(self.path), "--pack", str(self.pack))

    def run(self, *args: str, typed: str = "") -> Result:
        return CliRunner().invoke(main, list(args), input=typed, obj=Settings(clock=self.clock))

    def ask(self, verb: str, *args: str, after: float = 1.0) -> Result:
        self.clock.at += after * MINUTE
        return self.run(verb, str(self.path), *args)

    def guide(self, *typed: str, by: str = "A. Tech") -> Result:
        self.clock.at += MINUTE
        return self.run("--by", by, "guide", str(self.path), typed="".join(f"{line}\n" for line in typed))

    def entries(self) -> list[tuple[str, dict[str, object]]]:
        with Job.open(self.path) as job:
            return [(line.kind, dict(line.body)) for line in job.lines if line.kind not in ("job", "open")]

    def last(self, count: int = 1) -> list[tuple[str, dict[str, object]]]:
        return self.entries()[-count:]

    def switch_on(self) -> None:
        """Nothing stands against it, the plug is pulled, and then it is warmed up."""
        self.ask("note", "smoke=no", "wet=no", "unplugged of wall=yes", "fan=still")
        self.run("--by", "A. Tech", "guide", str(self.path), typed="n\n")
        self.ask("note", "--event", "warm_begun")


def flat(result: Result) -> str:
    return " ".join(result.output.split())


@pytest.fixture
def oven(tmp_path: Path) -> Oven:
    return Oven(tmp_path)


# -- a handover --------------------------------------------------------------------------------------------


def test_a_handover_names_the_standing_stop_to_both(oven: Oven) -> None:
    oven.ask("note", "smoke=yes", "wet=no")
    said = flat(oven.ask("handover", "--to", "B. Next"))
    assert "STOP stands: Leave now. Tell B. Next now. It stands until it is answered anew." in said
    assert oven.last() == [("handover", {"to": "B. Next"})]
    stood = "STOP stood: Leave now. So it stood when the job was handed on. Answer anew first."
    assert stood in flat(oven.ask("next"))
    assert json.loads(oven.ask("next", "--format", "json").stdout)["stood"] == [stood[12:]]
    assert stood in flat(oven.guide(by="B. Next"))
    # Another answer does not end it, and another handover carries it on.
    assert stood in flat(oven.ask("note", "door=left"))
    again = flat(oven.ask("handover", "--to", "C. Third"))
    assert "STOP stands: Leave now. So it stood" in again
    assert stood in flat(oven.guide(by="C. Third"))
    answered = flat(oven.guide("n", by="C. Third"))
    assert answered.count(stood) == 1
    assert answered.index(stood) < answered.index("kept")
    assert "STOP stood" not in flat(oven.ask("next"))


def test_what_was_lifted_before_a_handover_is_not_said_to_have_stood(oven: Oven) -> None:
    oven.ask("note", "smoke=yes", "wet=yes")
    oven.ask("note", "smoke=no")
    said = flat(oven.ask("handover", "--to", "B. Next"))
    assert "Dry the floor first." in said and "Leave now" not in said
    assert "Leave now" not in flat(oven.ask("next"))
    oven.ask("note", "--correct", "wet=no", "--why", "seen wrongly")
    assert "STOP stood" not in flat(oven.ask("next"))


@pytest.mark.parametrize("minutes", [0.5, 5.0])
def test_nothing_that_is_on_is_handed_over_unsaid(oven: Oven, minutes: float) -> None:
    oven.switch_on()
    refused = oven.ask("handover", "--to", "B. Next", after=minutes)
    assert refused.exit_code == 3
    state = "has run over its time" if minutes > 1 else "has begun"
    assert f"STOP: Warming up {state}; lock out again and prove it first" in flat(refused)
    assert "not handed over" in refused.output and "--still-on WHY" in flat(refused)
    assert oven.last()[0][0] == "event"
    agreed = oven.ask("handover", "--to", "B. Next", "--still-on", "the first one is hurt", after=0)
    assert agreed.exit_code == 0
    (kind, body), handed = oven.last(2)
    assert kind == "note" and "the first one is hurt" in str(body["text"]) and "Warming up" in str(body)
    assert handed == ("handover", {"to": "B. Next"})


# -- a close -----------------------------------------------------------------------------------------------


def test_no_job_is_closed_under_a_safety_stop_unsaid(oven: Oven) -> None:
    oven.ask("note", "smoke=yes", "wet=no")
    refused = oven.ask("close", "--outcome", "left")
    assert refused.exit_code == 3
    assert "STOP stands: Leave now. not closed: a safety stop stands" in flat(refused)
    assert oven.last()[0][0] == "observe"
    closed = oven.ask("close", "--outcome", "left", "--stop-stands", "the fire service took over")
    assert closed.exit_code == 0 and "STOP stands: Leave now." in closed.output
    (kind, body), (ended, _) = oven.last(2)
    assert (kind, ended) == ("note", "close")
    assert "the fire service took over" in str(body["text"]) and "Leave now." in str(body["text"])


def test_a_stop_that_was_handed_on_unanswered_holds_the_close_too(oven: Oven) -> None:
    oven.ask("note", "smoke=yes", "wet=no")
    oven.ask("handover", "--to", "B. Next")
    assert oven.ask("close", "--outcome", "left").exit_code == 3


def test_a_close_names_what_is_not_done(oven: Oven) -> None:
    oven.ask("note", "smoke=no", "wet=no", "unplugged of wall=yes", "door=left")
    said = flat(oven.ask("close", "--outcome", "given up"))
    assert "NOT DONE: Put the plug back" in said and "NOT DONE: Open it" in said
    assert "NOT DONE: See the door" not in said


def test_under_a_stop_what_is_on_still_holds_the_close(oven: Oven) -> None:
    oven.switch_on()
    oven.ask("note", "smoke=yes", after=0.2)
    refused = oven.ask("close", "--outcome", "left", "--stop-stands", "fire service", after=0.2)
    assert refused.exit_code == 3 and "prove again first that it is off" in refused.output


# -- which stop is said, and what then ---------------------------------------------------------------------


def test_the_stop_that_stops_most_is_said_first(oven: Oven) -> None:
    noted = flat(oven.ask("note", "smoke=yes", "wet=yes"))
    for said in (
        noted,
        *(flat(oven.ask(*v)) for v in (("next",), ("may", "open-it"), ("note", "door=left"))),
    ):
        assert 0 <= said.index("Leave now.") < said.index("Dry the floor first."), said
    for said in (flat(oven.guide()), flat(oven.guide("w"))):
        assert 0 <= said.index("Leave now.") < said.index("Dry the floor first."), said


def test_after_a_stop_of_everything_nothing_else_is_next(oven: Oven) -> None:
    said = flat(oven.ask("note", "smoke=yes", "wet=no"))
    assert said.endswith("next: nothing here but this: Leave now.")
    wet = flat(oven.ask("note", "smoke=no", "wet=yes"))
    assert "nothing here but this" not in wet and wet.endswith(
        "next: Pull the plug: Wall plug (unplugged of wall)"
    )


def test_a_fact_of_what_was_not_permitted_is_kept_and_told(oven: Oven) -> None:
    oven.ask("note", "smoke=no", "wet=no")
    early = oven.ask("note", "inside=sooty")
    assert early.exit_code == 0
    assert "CAUTION: inside: “Open it” was not permitted then." in flat(early)
    assert oven.last() == [("observe", {"fact": "inside", "value": "sooty", "read": "sooty"})]
    assert "not permitted" not in flat(oven.ask("note", "door=left"))
    oven.ask("note", "unplugged of wall=yes")
    oven.guide("n")
    assert "not permitted" not in flat(oven.ask("note", "inside=clean"))


def test_a_fact_given_by_name_in_a_session_is_told_the_same(oven: Oven) -> None:
    oven.ask("note", "smoke=no", "wet=no")
    early = oven.guide("inside=sooty")
    assert "CAUTION: inside: “Open it” was not permitted then." in flat(early)
    assert oven.last() == [("observe", {"fact": "inside", "value": "sooty", "read": "sooty"})]
    assert "not permitted" not in flat(oven.guide("door=left"))


# -- what is on --------------------------------------------------------------------------------------------


def until_begin(oven: Oven) -> None:
    oven.ask("note", "smoke=no", "wet=no", "unplugged of wall=yes")
    assert "Any other plug?" in oven.guide("n").output


@pytest.mark.parametrize("typed", ["1", "0", "2", "done", "yy"])
def test_only_yes_switches_on(oven: Oven, typed: str) -> None:
    until_begin(oven)
    said = oven.guide(typed)
    assert "y when it is on; its time runs from then" in said.output
    assert f"`{typed}` is not an answer here" in flat(said)
    assert oven.last()[0][0] == "listed"
    assert oven.guide("y").output.count("switched on: Warming up") == 1
    assert oven.last() == [("event", {"event": "warm_begun"})]


def test_done_is_done_and_off_again(oven: Oven) -> None:
    until_begin(oven)
    oven.guide("y")
    oven.clock.at -= 30
    said = flat(oven.run("guide", str(oven.path), typed="y\n"))
    assert "y when it is done, and off again: Warming up" in said
    assert "done: Warm it up; off again: Warming up" in said
    assert "ON: Warming up" not in said.split("off again: Warming up")[-1]
    assert oven.last(2) == [("done", {"step": "warm-it"}), ("event", {"event": "warm_ended"})]


@pytest.mark.parametrize("how", ["key", "note"])
def test_the_end_of_what_is_on_finishes_its_step(oven: Oven, how: str) -> None:
    until_begin(oven)
    oven.guide("y")
    if how == "key":
        said = flat(oven.guide("e", "1"))
        assert "z if it was not done" in said
    else:
        said = flat(oven.ask("note", "--event", "warm_ended"))
    assert "done by its end: Warm it up" in said
    assert oven.last(2) == [("event", {"event": "warm_ended"}), ("done", {"step": "warm-it"})]
    after = flat(oven.guide())
    assert "This switches on" not in after and "y when it is done, and off" not in after
    begun = [body for kind, body in oven.entries() if body.get("event") == "warm_begun"]
    assert len(begun) == 1


def test_three_is_said_after_the_time_is_over(oven: Oven) -> None:
    until_begin(oven)
    oven.guide("y")
    oven.ask("note", "--event", "warm_ended", after=5)
    left = oven.guide()
    assert left.exit_code == 3
    why = "Warming up has run over its time; lock out again and prove it first"
    assert f"STOP stands: {why}" in flat(left)
    then = oven.ask("next")
    assert then.exit_code == 3 and f"STOP: {why}" in flat(then)


# -- entries of what cannot change -------------------------------------------------------------------------


def dispute(oven: Oven) -> None:
    oven.ask("note", "smoke=no", "wet=no", "unplugged of wall=yes", "fan=still", "inside=clean", "door=left")
    oven.guide("n")
    oven.ask("note", "door=right")


@pytest.mark.parametrize(
    ("typed", "right"), [("1", "left"), ("2", "right"), ("left", "left"), ("door=left", "left")]
)
def test_entries_that_differ_are_settled_by_saying_which_is_right(oven: Oven, typed: str, right: str) -> None:
    dispute(oven)
    oven.guide("y", "y")
    oven.ask("note", "unplugged of wall=yes", "fan=still")
    asked = oven.ask("next")
    assert "entry: door: left, at 09:01 by A. Tech (line" in flat(asked)
    said = flat(oven.guide(typed))
    assert "Which is right?" in said
    assert "1 door: left, at 09:01 by A. Tech (line" in said and "2 door: right, at 09:03" in said
    corrected = [body for kind, body in oven.entries() if kind == "correct"]
    assert len(corrected) == 1
    body = corrected[0]["body"]
    assert isinstance(body, dict) and body["value"] == right
    assert str(corrected[0]["why"]).startswith("settled: ")
    assert "Which is right?" not in flat(oven.guide())


def test_a_note_settles_entries_that_differ_too(oven: Oven) -> None:
    dispute(oven)
    oven.guide("y", "y")
    told = flat(oven.ask("note", "unplugged of wall=yes", "fan=still"))
    assert "does not fit: door: door: left, at 09:01" in told and "--correct door=… --why …" in told
    settled = flat(oven.ask("note", "--correct", "door=right", "--why", "seen from the front"))
    assert "settled door: On the right is right (line" in settled and "does not fit" not in settled
    assert "Which is right?" not in flat(oven.guide())


# -- lists -------------------------------------------------------------------------------------------------


def test_one_found_late_is_added_when_its_list_was_closed(oven: Oven) -> None:
    oven.ask("note", "smoke=no", "wet=no", "unplugged of wall=yes", "fan=still")
    closed = flat(oven.guide("n"))
    assert "Plugs: that is all; one found later: plug=NAME" in closed
    assert oven.ask("may", "open-it").output.startswith("yes")
    late = oven.ask("note", "plug=Behind the oven")
    assert "Plugs: Behind the oven (as behind_the_oven)" in flat(late)
    assert oven.last() == [
        ("member", {"list": "plug", "member": "behind_the_oven", "label": "Behind the oven"})
    ]
    assert oven.ask("may", "open-it").output.startswith("not yet")
    both = flat(oven.guide("plug=attic unplugged of attic=yes", "?"))
    assert "Plugs: attic (as attic)" in both and "unplugged of attic: " in both
    assert "plug=… one more found late: Plugs" in both
    assert "Any other plug?" in both


def test_one_found_late_and_its_proof_are_entered_in_one_note_or_not_at_all(oven: Oven) -> None:
    before = oven.entries()
    wrong = oven.ask("note", "plug=attic", "unplugged of attic=perhaps")
    assert wrong.exit_code == 2 and oven.entries() == before
    oven.ask("note", "plug=attic", "unplugged of attic=yes")
    assert [kind for kind, _ in oven.last(2)] == ["member", "observe"]
    again = oven.ask("note", "plug=Attic")
    assert again.exit_code == 2 and "on the list already" in again.output


def test_a_member_that_is_not_there_names_the_way_to_add_it(oven: Oven) -> None:
    for said in (oven.ask("note", "unplugged of attic=no"), oven.guide("unplugged of attic=no")):
        assert "`attic` is not in the list plug" in flat(said)
        assert "one found later is added with plug=NAME" in flat(said)


def test_an_event_of_a_place_asks_for_the_place_afterwards(tmp_path: Path) -> None:
    pack = tmp_path / "hall"
    pack.mkdir()
    (pack / "manifest.yaml").write_text(MANIFEST.replace("oven", "hall"), encoding="utf-8")
    (pack / "hall.yaml").write_text(HALL, encoding="utf-8")
    job, clock = tmp_path / "hall.job", FixedClock(NINE)

    def guide(*typed: str) -> str:
        lines = "".join(f"{line}\n" for line in typed)
        new = [] if job.exists() else ["--pack", str(pack)]
        args = ["--by", "A. Tech", "guide", str(job), *new]
        return flat(CliRunner().invoke(main, args, input=lines, obj=Settings(clock=clock)))

    asked = guide("e", "1", "2")
    assert "What happened? 1 A lamp went out … 2 A break was taken" in asked
    assert "1 At the door 2 At the stair" in asked
    assert "kept 09:00 A lamp went out: At the stair" in asked
    with Job.open(job) as found:
        assert found.lines[-1].body == {"event": "lamp_out", "of": "stair"}
    assert "Enter: At the door; z goes back" in guide("e", "1", "")
    with Job.open(job) as found:
        assert found.lines[-1].body == {"event": "lamp_out", "of": "door"}
        count = len(found.lines)
    guide("e", "1", "z")
    with Job.open(job) as found:
        assert len(found.lines) == count


HALL = """\
checklist: hall
title: Look at the hall
lists:
  lamp: {title: Lamps, members: {door: At the door, stair: At the stair}}
facts:
  shines: {ask: Does it shine?, kind: yes-no, per: lamp}
events:
  lamp_out: {say: A lamp went out, per: lamp}
steps:
  - {step: look, title: Look at the lamps, ask: [shines]}
"""
