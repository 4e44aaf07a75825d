"""`move`: what is said before, what is refused, and what a moved job is."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session, Settings
from stillair.condition.core import Ref
from stillair.job import Job, Line, verify
from stillair.job.line import canonical, digest

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"
PSI = 6894.757293168361
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=timezone(timedelta(hours=-4)))

FUMES = (
    "rules:\n  - {rule: fumes, stop: [filling], when: smell is yes, say: Leave the room., "
    "lifted by: The smell is gone and you answer again., why: Fumes come first., source: common practice}\n"
)
GATE = "gate: smell is no and every valve has (locked is yes)"
LATER = "quantity: gauge pressure, unit: psig, between: -15 psig .. 100 psig, read with: gauge}\n  lamp"
DARK = (
    "rules:\n",
    "rules:\n  - {rule: dark, stop: [filling], when: hatch is shut, say: Dark, lifted by: Open it.}\n",
)
HATCH = ("facts:\n", "facts:\n  hatch: {ask: Is the hatch open?, options: {shut: Shut, open: Open}}\n")
ASKED = ("ask: [liquid, depth, bottom]", "ask: [hatch, liquid, depth, bottom]")


class Tank:
    """A job of the tank, begun at nine, and a newer tank in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.job = folder / "visit.job"
        self.clock = FixedClock(NINE.timestamp(), NINE.tzinfo)  # type: ignore[arg-type]
        self.newer = Path(shutil.copytree(HERE / "tank", folder / "newer"))
        self.rewrite(("version: 2.1.0", "version: 2.2.0"), file="manifest.yaml")
        assert self.run("guide", self.job, "--pack", HERE / "tank").exit_code == 0

    def run(self, *args: object, typed: str = "", by: str = "A. Tech") -> Result:
        call = ["--plugin-dir", str(TOOLS), "--by", by, *map(str, args)]
        self.clock.at += 60
        return CliRunner().invoke(main, call, input=typed, obj=Settings(clock=self.clock))

    def ask(self, verb: str, *args: object, by: str = "A. Tech") -> Result:
        return self.run(verb, self.job, *args, by=by)

    def note(self, *args: str) -> None:
        result = self.ask("note", *args)
        assert result.exit_code == 0, result.output

    def rewrite(self, *changes: tuple[str, str], file: str = "tank.yaml") -> None:
        path = self.newer / file
        text = path.read_text(encoding="utf-8")
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path.write_text(text, encoding="utf-8")

    def begin_with(self, *changes: tuple[str, str]) -> None:
        """The job anew, by rules that differ so from the tank as it is."""
        self.job.unlink()
        self.job = self.folder / "anew.job"
        older = Path(shutil.copytree(HERE / "tank", self.folder / "older"))
        text = (older / "tank.yaml").read_text(encoding="utf-8")
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        (older / "tank.yaml").write_text(text, encoding="utf-8")
        assert self.run("guide", self.job, "--pack", older).exit_code == 0

    def move(self, *args: object, by: str = "A. Tech") -> Result:
        return self.ask("move", "--pack", self.newer, *args, by=by)

    def told(self, *args: object) -> dict[str, object]:
        return json.loads(self.move(*args, "--format", "json").stdout)  # type: ignore[no-any-return]

    def lines(self) -> list[Line]:
        with Job.open(self.job) as job:
            return list(job.lines)

    def kinds(self) -> list[str]:
        return [line.kind for line in self.lines()]


@pytest.fixture
def tank(tmp_path: Path) -> Tank:
    return Tank(tmp_path)


def flat(result: Result) -> str:
    return " ".join(result.output.split())


# -- what is said before -------------------------------------------------------------------------------------


def test_without_yes_it_is_only_said_what_would_come_of_it(tank: Tank) -> None:
    tank.note("smell=no", "bottom=14 psig")
    tank.rewrite(("least: {is: 20 psig,", "least: {is: 10 psig,"), HATCH, DARK, ASKED)
    before = {path: path.read_bytes() for path in tank.folder.glob("visit.job*") if path.is_file()}
    result = tank.move()
    said = flat(result)
    assert result.exit_code == 0
    assert "tank: 2.1.0" in said and "now 2.2.0" in said
    assert "otherwise: finding low: was confirmed, now none" in said
    assert "asked now: hatch: Is the hatch open?" in said
    assert "Nothing is moved yet." in said and "--yes" in said
    assert before == {path: path.read_bytes() for path in tank.folder.glob("visit.job*") if path.is_file()}


def test_with_yes_it_goes_over_and_the_old_entries_are_judged_anew(tank: Tank) -> None:
    tank.note("smell=no", "bottom=14 psig")
    tank.rewrite(("least: {is: 20 psig,", "least: {is: 10 psig,"), HATCH, DARK, ASKED)
    assert json.loads(tank.ask("why", "low", "--format", "json").stdout)["state"] == "confirmed"
    result = tank.move("--yes")
    assert result.exit_code == 0 and "moved, in line" in flat(result)
    assert json.loads(tank.ask("why", "low", "--format", "json").stdout)["state"] == "none"
    dark = json.loads(tank.ask("why", "dark", "--format", "json").stdout)
    assert dark["state"] == "open"
    assert verify(tank.job).ok


def test_the_same_packs_are_nothing_to_move_to(tank: Tank) -> None:
    before = tank.job.read_bytes()
    result = tank.ask("move", "--pack", HERE / "tank", "--yes")
    assert result.exit_code == 0 and "there is nothing to move" in flat(result)
    assert tank.job.read_bytes() == before


# -- what would be loosened ----------------------------------------------------------------------------------


def stop_gone(tank: Tank) -> str:
    tank.note("smell=yes")
    tank.rewrite((FUMES, "rules:\n"))
    return "the stop fumes stood and now is not among the rules: Leave the room."


def stop_weaker(tank: Tank) -> str:
    tank.note("smell=yes", "lamp=good")
    tank.rewrite(("when: smell is yes, say", "when: smell is yes and lamp is weak, say"))
    return "the stop fumes stood and now fails: Leave the room."


def stop_kept_open(tank: Tank) -> str:
    """While nobody has told whether it smells, the stop stands against filling as well."""
    tank.rewrite((FUMES, "rules:\n"))
    return "the stop fumes was open and now is not among the rules: Leave the room."


def stop_of_less(tank: Tank) -> str:
    tank.note("smell=yes")
    tank.rewrite(
        ("{rule: fumes, stop: [filling]", "{rule: fumes, stop: [topping]"),
        ("activities:\n", "activities:\n  topping: {title: Topping up, gate: never}\n"),
    )
    return "the stop fumes no longer stops filling: Leave the room."


def gate_opens(tank: Tank) -> str:
    tank.note("smell=no")
    tank.rewrite((GATE, "gate: smell is no"))
    return "the activity filling was not allowed and now is: Filling"


def gate_of_a_step_opens(tank: Tank) -> str:
    tank.note("smell=no")
    tank.rewrite((", gate: lamp is good}", ", gate: smell is no}"))
    return "the step walk of seam was not allowed and now is: Walk round it"


def under_another_name(tank: Tank) -> str:
    """What was closed is called otherwise, and stands open."""
    tank.note("smell=no")
    tank.rewrite(
        (f"filling: {{title: Filling, {GATE}}}", "topping: {title: Topping up, gate: smell is no}"),
        ("activity: filling", "activity: topping"),
        ("stop: [filling]", "stop: [topping]"),
    )
    return "the activity topping was not allowed and now is: Topping up"


def left_on(tank: Tank) -> str:
    tank.note("smell=no")
    tank.ask("note", "--event", "stir_begun", "--happened-anyway", "it was on when I came")
    text = (tank.newer / "tank.yaml").read_text(encoding="utf-8")
    powered = next(part for part in text.split("\n") if "state: stir" in part)
    tank.rewrite((f"powered:\n{powered}\n", ""))
    return "it is no longer asked to be proved off: Stirring has"


def another_question(tank: Tank) -> str:
    tank.note("smell=no")
    tank.rewrite(("ask: Any smell of fumes?", "ask: Any strong smell of fumes?"))
    return "the answer to smell was given to another question: Any smell of fumes?"


def turned_round_and_no_safety(tank: Tank) -> str:
    tank.note("smell=no")
    tank.rewrite(
        ("ask: Any smell of fumes?", "ask: Is the air free of fumes?"),
        ("    safety: true\n    void", "    void"),
    )
    return "the answer to smell was given to another question: Any smell of fumes?"


def safety_dropped(tank: Tank) -> str:
    tank.note("smell=no")
    tank.rewrite(("    safety: true\n    void", "    void"))
    return "smell no longer counts as safety: Any smell of fumes?"


def a_question_of_a_gate(tank: Tank) -> str:
    """The lamp is no safety fact; the gate of the walk rests on it."""
    tank.note("lamp=good")
    tank.rewrite(("ask: Is the lamp in order?", "ask: Is the lamp at fault?"))
    return "the answer to lamp was given to another question: Is the lamp in order?"


def answers_of_a_gate(tank: Tank) -> str:
    tank.note("lamp=good")
    tank.rewrite(("{good: It shines, weak: It is weak}", "{good: It is weak, weak: It shines}"))
    return "the answer to lamp was given to another question: Is the lamp in order?"


def a_standing_stop_of_less(tank: Tank) -> str:
    """It stood, though on no safety fact; what else keeps filling closed may be gone in a minute."""
    dim = "rules:\n  - {rule: dim, stop: [filling], when: lamp is weak, say: Dim, lifted by: Light.}\n"
    tank.begin_with(("rules:\n", dim))
    tank.note("lamp=weak")
    tank.rewrite(
        ("rules:\n", dim.replace("[filling]", "[topping]")),
        ("activities:\n", "activities:\n  topping: {title: Topping up, gate: never}\n"),
    )
    return "the stop dim no longer stops filling: Dim"


def other_proof(tank: Tank) -> str:
    tank.note("smell=no", "locked of inlet=yes")
    tank.ask("note", "--event", "stir_begun", "--happened-anyway", "it was on when I came")
    tank.rewrite(
        ("proof: [locked]", "proof: [lamp]"),
        ("gate: smell is no, steps: [stir-it]", "gate: smell is no and lamp is good, steps: [stir-it]"),
    )
    return "locked of inlet is no longer asked as proof: Stirring has"


def more_is_proof(tank: Tank) -> str:
    lamp = ("gate: smell is no, steps: [stir-it]", "gate: smell is no and lamp is good, steps: [stir-it]")
    tank.begin_with(("proof: [locked]", "proof: [locked, lamp is good]"), lamp)
    tank.note("smell=no")
    tank.ask("note", "--event", "stir_begun", "--happened-anyway", "it was on when I came")
    tank.rewrite(("proof: [locked]", "proof: [locked, lamp]"), lamp)
    return "lamp is proof now if it is weak: Stirring has"


def on_for_longer(tank: Tank) -> str:
    tank.note("smell=no")
    tank.ask("note", "--event", "stir_begun", "--happened-anyway", "it was on when I came")
    tank.rewrite(("at most: 60 s", "at most: 90 s"))
    return "it may last 90 s, and not 60 s only: Stirring has"


def a_step_under_another_name(tank: Tank) -> str:
    tank.rewrite(
        (
            "{step: walk, title: Walk round it, ask: [look], gate: lamp is good}",
            "{step: round, title: Go round it, ask: [look]}",
        )
    )
    return "the step round has no gate, and does what walk did behind one: asks look"


def work_under_another_name(tank: Tank) -> str:
    """It asks nothing and marks nothing: what it says to do is the same."""
    tank.rewrite(("{step: fill, title: Fill it, activity: filling,", "{step: pour, title: Pour it in,"))
    return "the step pour has no gate, and does what fill did behind one: “Fill slowly.”"


def a_question_taken_from_behind_a_gate(tank: Tank) -> str:
    tank.rewrite(("ask: [liquid, depth, bottom]", "ask: [liquid, depth, bottom, look]"))
    return "the step measure has no gate, and does what walk did behind one: asks look"


def a_step_means_more(tank: Tank) -> str:
    tank.note("--did", "shut")
    tank.rewrite(
        ("marks: [valve_shut]", "marks: [valve_shut, drained]"),
        (
            "valve_shut: {say: The valve was shut}",
            "valve_shut: {say: Shut}\n  drained: {say: It was drained}",
        ),
    )
    return "the step shut was done, and is now taken to mean also: drained"


def an_older_version(tank: Tank) -> str:
    tank.rewrite(("version: 2.2.0", "version: 2.0.0"), file="manifest.yaml")
    return "the pack tank goes back from 2.1.0 to 2.0.0"


def another_plugin(tank: Tank) -> str:
    """Both rules are worked out with the plugins of now, so what these change shows nowhere."""
    rows = [json.loads(row) for row in tank.job.read_text("utf-8").splitlines()]
    rows[0]["body"]["plugins"]["tank_gauging"]["digest"] = "0" * 64
    prev = None
    with tank.job.open("wb") as file:
        for row in rows:
            data = canonical({**row, "prev": prev}) + b"\n"
            prev = digest(data)
            file.write(data)
    return (
        "the files of the plugin `tank_gauging` are not those the job was begun with: what follows from that"
    )


def texts_gone(tank: Tank) -> str:
    """Without the older rules nothing can be shown to be as strict."""
    shutil.rmtree(tank.folder / "visit.job.packs")
    return "what stood by the older rules cannot be worked out here"


LOOSER = [
    stop_gone, stop_weaker, stop_kept_open, stop_of_less, gate_opens, gate_of_a_step_opens,
    under_another_name, left_on, another_question, turned_round_and_no_safety, safety_dropped,
    a_question_of_a_gate, answers_of_a_gate, a_standing_stop_of_less, other_proof, more_is_proof,
    on_for_longer,
    a_step_under_another_name, work_under_another_name, a_question_taken_from_behind_a_gate,
    a_step_means_more, an_older_version, another_plugin, texts_gone,
]  # fmt: skip


@pytest.mark.parametrize("loosen", LOOSER)
def test_what_is_loosened_is_said_and_needs_a_reason(tank: Tank, loosen: Callable[[Tank], str]) -> None:
    said = loosen(tank)
    before = tank.job.read_bytes()
    looked = tank.move()
    assert looked.exit_code == 0 and f"LOOSER: {said}" in flat(looked)
    refused = tank.move("--yes")
    assert refused.exit_code == 3 and "what is looser needs a reason" in flat(refused)
    assert tank.job.read_bytes() == before
    moved = tank.move("--yes", "--why", "the chief has seen it")
    assert moved.exit_code == 0
    notes = [str(line.body["text"]) for line in tank.lines() if line.kind == "note"]
    assert any(note.startswith(f"Moved all the same, the chief has seen it: {said}") for note in notes)
    assert verify(tank.job).ok


def test_what_is_stricter_needs_no_reason(tank: Tank) -> None:
    tank.note("smell=no", "locked of inlet=yes")
    tank.rewrite((GATE, GATE + " and lamp is good"))
    assert tank.told()["loosened"] == []
    assert tank.move("--yes").exit_code == 0


def test_what_no_guard_rests_on_may_be_asked_in_other_words(tank: Tank) -> None:
    tank.note("smell=no", "remark=two dents")
    tank.rewrite(
        ("ask: Anything else?", "ask: Is there anything else?"),
        ("title: Measure, ask", "title: Measure it, ask"),
        ("proof: [locked]", "proof: [locked, lamp]"),
        ("gate: smell is no, steps: [stir-it]", "gate: smell is no and lamp is good, steps: [stir-it]"),
    )
    assert tank.told()["loosened"] == []


def test_a_reason_is_more_than_a_letter(tank: Tank) -> None:
    assert tank.move("--yes", "--why", "y").exit_code == 2
    assert "move" not in tank.kinds()


# -- entries without a place ---------------------------------------------------------------------------------


def test_an_entry_whose_fact_is_gone_is_named_and_stays_in_the_record(tank: Tank) -> None:
    tank.note("remark=two dents")
    line = tank.lines()[-1].n
    tank.rewrite(("  remark: {ask: Anything else?, kind: text}\n", ""))
    assert f"no place: line {line}, remark: no such fact" in flat(tank.move())
    assert tank.move("--yes").exit_code == 0
    assert "correct" not in tank.kinds()
    assert "`remark`: as read `two dents`" in flat(tank.ask("trail"))


@pytest.mark.parametrize(
    ("noted", "old", "new", "why"),
    [
        ("lamp=weak", "weak: It is weak}", "dim: Dim}", "weak is no answer to it"),
        ("depth=3 ft", "0 in .. 40 ft, tolerance", "0 in .. 2 ft, tolerance", "lies outside its range"),
        (
            "later=20 psig",
            LATER,
            "quantity: absolute pressure, unit: psia, between: 0 psia .. 100 psia}\n  lamp",
            "it is a number of another kind there",
        ),
        (
            "lamp=weak",
            "options: {good: It shines, weak: It is weak}",
            "quantity: duration, between: 0 min .. 60 min",
            "it is a number there",
        ),
    ],
)
def test_a_value_that_would_be_read_as_something_else_is_withdrawn(
    tank: Tank, noted: str, old: str, new: str, why: str
) -> None:
    tank.note(noted)
    line = tank.lines()[-1].n
    tank.rewrite((old, new))
    if "quantity" in new:
        text = (tank.newer / "tank.yaml").read_text(encoding="utf-8")
        text = text.replace("lamp is good", "smell is no").replace(
            "bottom - later > 3 psi", "bottom < 1 psig"
        )
        (tank.newer / "tank.yaml").write_text(text, encoding="utf-8")
    said = flat(tank.move())
    assert f"no place: line {line}, {noted.split('=')[0]}: " in said and f"{why}; it is withdrawn" in said
    assert tank.move("--yes", "--why", "tried on two sites").exit_code == 0
    withdrawn = [x for x in tank.lines() if x.kind == "correct"]
    assert [x.body["line"] for x in withdrawn] == [line] and why in str(withdrawn[0].body["why"])
    fact = json.loads(tank.ask("trail", "--format", "json").stdout)["assessment"]["facts"]
    about = next(each for each in fact if each["fact"] == noted.split("=")[0])
    assert about["value"] is None and about["lines"] == []


def test_an_instrument_of_no_kind_known_is_withdrawn_and_never_exact(tank: Tank) -> None:
    """Without its kind its tolerances would be taken as nought."""
    with Session.load(tank.job, [TOOLS], write=True, clock=tank.clock) as session:
        unknown = {"offset": None, "repeat": None, "resolution": None}
        declared = session.write("instrument", {"serial": "G1", "kind": "gauge", **unknown}).n
    tank.note("bottom=14 psig", "--with", "G1")
    text = (
        (tank.newer / "tank.yaml").read_text(encoding="utf-8").replace("read with: gauge", "read with: dial")
    )
    (tank.newer / "tank.yaml").write_text(text.replace("  gauge: {title", "  dial: {title"), encoding="utf-8")
    assert tank.move("--yes", "--why", "named anew").exit_code == 0
    assert [x.body["line"] for x in tank.lines() if x.kind == "correct"] == [declared]
    with Session.load(tank.job, [TOOLS], clock=tank.clock) as session:
        assert session.assess().view.number(Ref("bottom")).tolerance > 2 * PSI


def test_a_checklist_that_is_new_is_opened_and_one_that_is_gone_is_closed(tank: Tank) -> None:
    tank.rewrite(("checklist: tank", "checklist: vessel"))
    assert tank.move("--yes", "--why", "renamed").exit_code == 0
    told = [(x.kind, x.body.get("checklist")) for x in tank.lines() if x.kind in ("open", "close")]
    assert told == [("open", "tank"), ("close", "tank"), ("open", "vessel")]
    assert tank.ask("next").exit_code == 0 and "Any smell of fumes?" in tank.ask("next").output


# -- the record ----------------------------------------------------------------------------------------------


@pytest.fixture
def moved(tank: Tank) -> Tank:
    tank.note("smell=no", "bottom=14 psig")
    tank.rewrite(("least: {is: 20 psig,", "least: {is: 10 psig,"), HATCH, DARK, ASKED)
    assert tank.move("--yes", "--why", "the limit was too high").exit_code == 0
    return tank


def test_the_line_names_versions_who_and_why(moved: Tank) -> None:
    line = next(line for line in moved.lines() if line.kind == "move")
    packs = line.body["packs"]
    assert isinstance(packs, dict) and packs["tank"]["version"] == "2.2.0"
    assert (line.by, line.body["why"], line.body["engine"]) == (
        "A. Tech",
        "the limit was too high",
        "stillair 0.1.0",
    )


def test_verify_and_trail_say_which_version_until_when_which_after_by_whom_and_why(moved: Tank) -> None:
    line = next(line for line in moved.lines() if line.kind == "move")
    said = flat(moved.ask("verify"))
    assert "whole:" in said
    assert (f"line {line.n} of 2026-04-15T09:03:00-04:00 moves the job to other rules by A. Tech: ") in said
    first, now = (line.body["packs"] for line in (moved.lines()[0], line))
    assert isinstance(first, dict) and isinstance(now, dict)
    old, new = (each["tank"]["digest"][:12] for each in (first, now))
    ends = f"tank 2.1.0, text {old} before, 2.2.0, text {new} after, because: the limit was too high"
    assert ends in said
    trail = flat(moved.ask("trail"))
    assert (
        f"Moved in line {line.n}, 2026-04-15" in trail
        and "by A. Tech, because: “the limit was too high”" in trail
    )
    assert f"until then: 2.1.0, kept as `{first['tank']['digest']}`; since: 2.2.0, kept as" in trail


def test_the_trail_of_an_earlier_moment_goes_by_the_rules_of_then(tank: Tank) -> None:
    tank.note("smell=no", "bottom=14 psig")
    at = datetime.fromtimestamp(tank.clock.at, NINE.tzinfo).strftime("%H:%M")
    before = json.loads(tank.ask("trail", "--at", at, "--format", "json").stdout)["assessment"]
    tank.rewrite(("least: {is: 20 psig,", "least: {is: 10 psig,"))
    assert tank.move("--yes").exit_code == 0
    assert json.loads(tank.ask("trail", "--at", at, "--format", "json").stdout)["assessment"] == before
    now = json.loads(tank.ask("trail", "--format", "json").stdout)["assessment"]
    assert (before["packs"]["tank"]["version"], now["packs"]["tank"]["version"]) == ("2.1.0", "2.2.0")


def test_a_moved_job_goes_on(moved: Tank) -> None:
    """Every verb that reads or writes a job works on one that was moved."""
    assert moved.ask("next").exit_code == 0
    assert moved.ask("whatif", "hatch=shut").exit_code == 0
    assert "Dark" in flat(moved.ask("whatif", "hatch=shut"))
    assert moved.ask("trail", "--for", "owner").exit_code == 0
    assert moved.run("jobs", moved.folder).exit_code == 0
    assert moved.ask("instruments").exit_code == 0
    assert moved.run("rehearse", "--record", moved.job).exit_code == 0
    assert "1 job, 1 come out otherwise" in moved.ask("replay", "--pack", HERE / "tank").output
    moved.note("hatch=open")
    assert moved.ask("handover", "--to", "B. Next").exit_code == 0
    assert moved.ask("note", "smell=no", by="B. Next").exit_code == 0
    assert moved.run("guide", moved.job, by="B. Next").exit_code == 0
    assert moved.ask("close", "--outcome", "all well", by="B. Next").exit_code == 0
    assert verify(moved.job).ok


def test_it_can_be_moved_again(moved: Tank) -> None:
    moved.rewrite(("version: 2.2.0", "version: 2.3.0"), file="manifest.yaml")
    assert moved.move("--yes").exit_code == 0
    assert [line.kind for line in moved.lines()].count("move") == 2
    said = flat(moved.ask("verify"))
    assert said.count("moves the job to other rules by A. Tech: tank 2.") == 2
    assert said.index("2.2.0, text") < said.index("2.3.0, text")


def test_a_closed_job_is_not_moved(tank: Tank) -> None:
    assert tank.ask("close", "--outcome", "sent away").exit_code == 0
    before = tank.job.read_bytes()
    for args in ((), ("--yes", "--why", "for the record")):
        result = tank.move(*args)
        assert result.exit_code == 1 and "the job was closed" in flat(result)
    assert tank.job.read_bytes() == before


def test_only_whoever_has_the_job_moves_it(tank: Tank) -> None:
    result = tank.move("--yes", "--why", "it is better", by="B. Other")
    assert result.exit_code == 2 and "the job is with A. Tech" in flat(result)
    assert "move" not in tank.kinds()


def test_what_cannot_be_written_leaves_the_job_and_its_texts_as_they_were(
    tank: Tank, monkeypatch: pytest.MonkeyPatch
) -> None:
    tank.rewrite(("least: {is: 20 psig,", "least: {is: 10 psig,"))
    before = tank.job.read_bytes()
    texts = sorted(path.name for path in (tank.folder / "visit.job.packs").iterdir())

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", str(tank.job))

    with monkeypatch.context() as patch:
        patch.setattr("stillair.job.file.Job._put", full)
        assert tank.move("--yes").exit_code == 1
    assert tank.job.read_bytes() == before
    assert sorted(path.name for path in (tank.folder / "visit.job.packs").iterdir()) == texts


def test_a_company_that_seals_moves_to_what_is_sealed_only(tank: Tank) -> None:
    packs = tank.folder / "packs"
    packs.mkdir()
    shutil.copytree(tank.newer, packs / "tank")
    assert tank.run("seal", packs).exit_code == 0
    assert "2.2.0" in tank.run("--sealed", packs, "move", tank.job).output
    result = tank.run("--sealed", packs, "move", tank.job, "--pack", tank.newer)
    assert result.exit_code == 1 and "[SA411]" in result.output
    (packs / "tank" / "spare.txt").write_text("x", encoding="utf-8")
    result = tank.run("--sealed", packs, "move", tank.job, "--yes")
    assert result.exit_code == 1 and "[SA409]" in result.output
    assert "move" not in tank.kinds()


def test_the_help_typed_as_it_is_goes_over_to_what_was_shown_and_nothing_else(tank: Tank) -> None:
    shown = next(line for line in tank.move().output.splitlines() if line.startswith("help: to go over: "))
    verb, *typed = shlex.split(shown.removeprefix("help: to go over: "))
    assert verb == "stillair" and str(tank.newer) in typed and str(TOOLS) in typed
    tank.rewrite(("is: 10 min", "is: 9 min"))
    changed = tank.run(*typed)
    assert changed.exit_code == 2 and "what it would go over to is no longer" in flat(changed)
    tank.rewrite(("is: 9 min", "is: 10 min"))
    assert tank.run(*typed).exit_code == 0
    assert "move" in tank.kinds()


def test_a_pack_that_is_not_installed_is_not_taken_from_where_one_happens_to_be(
    tank: Tank, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(tank.newer, tank.folder / "tank")
    monkeypatch.chdir(tank.folder)
    told = tank.ask("move")
    assert told.exit_code == 1
    assert "the pack `tank` of the job is not installed" in flat(told) + " ".join(told.stderr.split())
