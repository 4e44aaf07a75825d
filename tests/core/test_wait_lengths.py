"""A wait that lasts as long as a fact says: never over before that is known, however it is entered."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from textwrap import dedent

import pytest
from click.testing import CliRunner
from stillair import account
from stillair.assess import May
from stillair.assess.waits import lasting, time_left
from stillair.because import because
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.fault import StillairError
from stillair.margin import wait_says
from stillair.trail import markdown
from stillair.verdict import Verdict, Why
from stillair.wording import Wording

sys.path.insert(0, str(Path(__file__).parent))
from test_assess import START, Visit, program

HOLDS, FAILS, OPEN = Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN
ZONE = timezone(timedelta(hours=-4))
OVEN = """
    facts:
      label:
        {ask: Time on the label, quantity: duration, unit: min, between: 0 min .. 60 min, nature: fixed}
      door: {ask: Door, options: [cold, hot]}
      view: {ask: V, options: [clear, fogged]}
    events:
      off: {say: The oven was switched off}
      opened: {say: The door was opened}
    waits:
      cool: {title: Let it cool, for: label, since: [off], restarted by: [opened], witness: Was it opened?}
    activities:
      touching: {title: Touching, gate: cool is ready}
    steps:
      - {step: switch-off, title: Switch it off, do: Turn the knob., marks: [off]}
      - {step: let-cool, title: Let it cool, wait: cool}
      - {step: reach-in, title: Reach in, activity: touching, ask: [door]}
    rules:
      - {rule: safe, caution: Cold, when: cool is ready}
      - {rule: still-hot, caution: Hot, when: cool is running}
      - {rule: hot-door, finding: burnt, when: door is hot}
"""
UNWATCHED = OVEN.replace(", restarted by: [opened], witness: Was it opened?", "").replace(
    "between: 0 min", "between: 1 min"
)


def off(text: str = OVEN) -> Visit:
    """The oven was switched off at minute 0."""
    visit = Visit(text)
    visit.note("done", step="switch-off")
    visit.happen("off")
    return visit


def may(visit: Visit) -> May:
    return visit.judge().permission("reach-in").may


def state(visit: Visit) -> dict[str, object]:
    told = json.loads(json.dumps(account.assessment(Wording(visit.judge(), ZONE))))
    return dict(told["waits"][0])


def minutes(number: float) -> float:
    return number * 60.0


# -- while it is not known -----------------------------------------------------------------------------------


def test_nothing_is_ready_while_nobody_has_read_how_long_it_takes() -> None:
    """Not even after longer than it can take: the label is asked, and is the reason."""
    for text in (OVEN, UNWATCHED):
        visit = off(text)
        for minute in (0, 1, 59, 61, 600):
            visit.at(minute)
            assert (visit.rule("safe"), visit.rule("still-hot")) == (OPEN, OPEN)
            assert visit.whys("safe") == {Why.NOT_ASKED}
            assert may(visit) is May.NOT_YET
            assert [str(ref) for ref in visit.judge().permission("reach-in").missing] == ["label"]
            assert visit.next() == ("ask", "let-cool", ["label"])


def test_the_label_is_asked_before_the_start_too() -> None:
    visit = Visit(OVEN)
    assert visit.rule("safe") is FAILS
    assert visit.next() == ("do", "switch-off", [])
    assert [str(ref) for ref in visit.judge().permission("reach-in").missing] == ["label"]


def test_a_label_read_before_the_start_counts_from_the_start() -> None:
    """Its time runs from the start, not from when it was read."""
    visit = Visit(UNWATCHED)
    visit.see(label=minutes(10))
    visit.at(30).happen("off")
    assert may(visit.at(39)) is May.NOT_YET
    assert may(visit.at(40)) is May.YES


def test_the_time_left_is_in_whole_minutes_and_never_too_short() -> None:
    left = {40: "40 s", 59.2: "1 min", 61: "2 min", 899: "15 min", 7200: "2 h", 48395: "13 h 27 min"}
    assert {seconds: time_left(seconds) for seconds in left} == left
    assert [lasting(s) for s in (100, 899, 5400, 7200)] == ["1 min 40 s", "14 min 59 s", "90 min", "2 h"]
    visit = off()
    visit.at(2).see(label=minutes(10))
    visit.at(2 + 1 / 60)
    assert "8 min left" in str(visit.judge().activity("touching").reasons)


def test_known_it_is_a_wait_like_any_other() -> None:
    """Running with the time left, then its question, then ready."""
    visit = off()
    visit.at(2).see(label=minutes(10))
    assert visit.next()[0] == "wait"
    assert visit.rule("safe") is FAILS
    told = state(visit)
    assert (told["state"], told["required_s"], told["required_by"], told["left_s"]) == (
        "running",
        600.0,
        "label",
        480.0,
    )
    assert "8 min left" in wait_says(Wording(visit.judge(), ZONE), visit.judge().view, "cool")
    visit.at(10)
    assert visit.next() == ("ask", "let-cool", ["cool_witness"])
    visit.see(cool_witness="no")
    assert may(visit) is May.YES


def test_read_after_the_time_it_is_ready_since_it_was_read() -> None:
    """Nobody could know before; the trail does not say otherwise."""
    visit = off(UNWATCHED)
    visit.at(20).see(label=minutes(5))
    assert visit.rule("safe") is HOLDS
    assert visit.judge().waits["cool"].options.taken == START + minutes(20)
    assert visit.judge().waits["cool"].ready_at == START + minutes(5)


# -- ways to get past it -------------------------------------------------------------------------------------


def test_a_wrong_label_corrected_is_judged_anew() -> None:
    """Read as 1 minute, the door was opened to; it says 30: not ready, and the witness is asked again."""
    visit = off()
    line = visit.see(label=minutes(1))
    visit.at(2).see(cool_witness="no")
    assert may(visit) is May.YES
    visit.at(3).correct(line, label=minutes(30))
    assert may(visit) is May.NOT_YET
    assert visit.rule("safe") is FAILS
    assert visit.next()[0] == "wait"
    visit.at(30)
    assert may(visit) is May.NOT_YET
    assert visit.next() == ("ask", "let-cool", ["cool_witness"])
    visit.see(cool_witness="no")
    assert may(visit) is May.YES


def test_a_label_taken_back_leaves_it_open() -> None:
    visit = off(UNWATCHED)
    line = visit.see(label=minutes(1))
    visit.at(2)
    assert may(visit) is May.YES
    visit.at(3).note("correct", line=line, why="another oven", body=None)
    assert (may(visit), visit.whys("safe")) == (May.NOT_YET, {Why.NOT_ASKED})


def test_what_a_gate_alone_waits_for_is_asked_and_settled_there() -> None:
    """No step waits and none asks the label: it is asked before what needs it, and a dispute is settled."""
    alone = UNWATCHED.replace("      - {step: let-cool, title: Let it cool, wait: cool}\n", "")
    visit = off(alone)
    assert visit.next() == ("ask", None, ["label"])
    visit.see(label=minutes(30))
    visit.at(1).see(label=minutes(2))
    assert visit.next() == ("settle", None, ["label"])
    visit.correct(len(visit.lines) - 1, label=minutes(2))
    assert visit.at(2).next() == ("ask", "reach-in", ["door"])


def test_a_second_and_shorter_label_does_not_shorten_it() -> None:
    """Two readings of what cannot change dispute: neither wins, at no time, until one is corrected."""
    visit = off(UNWATCHED)
    first = visit.see(label=minutes(30))
    visit.at(1).see(label=minutes(2))
    for minute in (2, 29, 31, 100):
        visit.at(minute)
        assert (may(visit), visit.whys("safe")) == (May.NOT_YET, {Why.DISPUTED})
        assert visit.next() == ("settle", "let-cool", ["label"])
    visit.correct(first, label=minutes(2))
    assert may(visit) is May.YES


def test_who_cannot_tell_never_gets_past_it_and_is_not_asked_for_ever() -> None:
    visit = off(UNWATCHED)
    visit.cannot("label", "painted over")
    for minute in (1, 61, 600):
        visit.at(minute)
        assert (may(visit), visit.whys("safe")) == (May.NOT_YET, {Why.UNAVAILABLE})
        kind, step, asked = visit.next()
        assert (kind, step, asked) == ("stopped", "let-cool", [])
        reasons = [str(reason) for reason in visit.judge().next.permission.reasons]
        assert reasons == ["label: painted over"]
    visit.at(601).see(label=minutes(10))
    assert may(visit) is May.YES


def test_cannot_tell_after_a_reading_leaves_the_reading() -> None:
    """As with any fixed fact: who cannot read it now does not undo who could."""
    visit = off(UNWATCHED)
    visit.see(label=minutes(10))
    visit.at(5).cannot("label")
    assert may(visit.at(9)) is May.NOT_YET
    assert may(visit.at(10)) is May.YES


def test_of_a_state_cannot_tell_takes_the_reading_away() -> None:
    visit = off(UNWATCHED.replace(", nature: fixed", ""))
    visit.see(label=minutes(10))
    visit.at(5).cannot("label")
    assert (may(visit.at(20)), visit.whys("safe")) == (May.NOT_YET, {Why.UNAVAILABLE})


def test_a_label_gone_stale_closes_the_gate_again() -> None:
    visit = off(UNWATCHED.replace(", nature: fixed", ", good for: 30 min"))
    visit.see(label=minutes(10))
    assert may(visit.at(30)) is May.YES
    assert (may(visit.at(31)), visit.whys("safe")) == (May.NOT_YET, {Why.STALE})
    visit.see(label=minutes(10))
    assert may(visit) is May.YES


def test_started_again_it_lasts_its_whole_time_again() -> None:
    visit = off()
    visit.see(label=minutes(10))
    visit.at(9).happen("opened")
    assert may(visit.at(11)) is May.NOT_YET
    visit.at(19).see(cool_witness="no")
    assert may(visit) is May.YES


def test_a_witness_before_the_longest_time_is_no_witness() -> None:
    """Answered by the time of a label that was wrong, it is not taken for the right one."""
    visit = off()
    visit.at(5).see(cool_witness="no")
    visit.see(label=minutes(10))
    visit.at(10)
    assert may(visit) is May.NOT_YET
    assert visit.next() == ("ask", "let-cool", ["cool_witness"])


# -- give or take --------------------------------------------------------------------------------------------

ROUGH = UNWATCHED.replace("nature: fixed", "nature: fixed, tolerance: 2 min")


@pytest.mark.parametrize(
    ("minute", "safe", "hot"),
    [
        (7, FAILS, HOLDS),
        (7.99, FAILS, HOLDS),
        (8, OPEN, OPEN),
        (10, OPEN, OPEN),
        (11.99, OPEN, OPEN),
        (12, HOLDS, FAILS),
    ],
)
def test_the_longest_it_may_be_counts(minute: float, safe: Verdict, hot: Verdict) -> None:
    """10 min give or take 2: surely running before 8, surely ready from 12, and open between."""
    visit = off(ROUGH)
    visit.see(label=minutes(10))
    visit.at(minute)
    assert (visit.rule("safe"), visit.rule("still-hot")) == (safe, hot)
    assert may(visit) is (May.YES if safe is HOLDS else May.NOT_YET)
    if safe is not HOLDS:
        assert visit.next()[0] == "wait"
        assert visit.judge().waits["cool"].ready_at == START + minutes(12)


def test_a_job_that_grows_is_judged_as_one_read_anew() -> None:
    """At each minute, with every entry: what is followed is what is assessed in full."""
    from stillair.assess import follow

    for text in (OVEN, UNWATCHED, ROUGH, UNWATCHED.replace(", nature: fixed", ", good for: 6 min")):
        visit = Visit(text)
        found = visit.judge()
        entries = {
            1: lambda visit=visit: visit.happen("off"),
            3: lambda visit=visit: visit.see(label=minutes(5)),
            6: lambda visit=visit: visit.see(label=minutes(9)),
            8: lambda visit=visit: visit.cannot("label"),
            9: lambda visit=visit: visit.see(label=minutes(5)),
        }
        for minute in range(1, 20):
            visit.at(minute)
            if minute in entries:
                entries[minute]()
            found = follow(found, visit.lines, START + minutes(minute))
            whole = visit.judge()
            assert found.waits == whole.waits, (text, minute)
            assert [r.verdict for r in found.rules] == [r.verdict for r in whole.rules]
            assert found.next == whole.next


COUNTED = UNWATCHED.replace(
    "view: {ask: V, options: [clear, fogged]}",
    "view: {ask: V, options: [clear, fogged], counts when: {is: cool is ready, for: [clear]}}",
).replace(
    "rules:",
    "rules:\n      - {rule: seen, caution: c, when: view is clear}"
    "\n      - {rule: twice, caution: c, when: count of view >= 2}",
)


def test_what_counts_only_after_the_wait_is_judged_by_the_label_of_its_moment() -> None:
    """Looks of one stretch are not taken together across the end of such a wait."""
    visit = off(COUNTED)
    visit.see(label=minutes(10))
    visit.at(9).see(view="clear")
    assert visit.rule("seen") is OPEN
    visit.at(11).see(view="clear")
    assert (visit.rule("seen"), visit.rule("twice")) == (HOLDS, FAILS)
    visit.at(12).see(view="clear")
    assert visit.rule("twice") is HOLDS


# -- where it is told ----------------------------------------------------------------------------------------


def part(visit: Visit) -> str:
    trail = markdown(visit.judge(), visit.lines, ZONE)
    return trail.split("\n## Waits and powered states\n")[1].split("\n## ")[0]


def test_the_trail_says_what_was_required_and_by_which_fact() -> None:
    visit = off(UNWATCHED)
    assert "required a time that is not known (by label), began" in part(visit.at(5))
    visit.see(label=minutes(10))
    assert "required 10 min (by label), began" in part(visit)
    assert "not ready: 5 min so far" in part(visit)
    assert "achieved 10 min, ready" in part(visit.at(12))


def test_the_trail_takes_back_what_was_ready_by_a_label_replaced_since() -> None:
    visit = off(UNWATCHED.replace(", nature: fixed", ""))
    visit.see(label=minutes(5))
    visit.at(6).see(door="cold")
    visit.at(7).see(label=minutes(30))
    told = part(visit.at(8))
    assert "required 30 min (by label)" in told
    assert "not ready: 8 min so far" in told
    assert "achieved 5 min" not in told


def test_why_and_the_json_name_the_fact() -> None:
    visit = off(UNWATCHED)
    told = because(Wording(visit.at(3).judge(), ZONE), "cool")
    assert told.state == "running"
    assert "how long it lasts is not known, by label" in told.says
    assert told.decides == ("label: Time on the label",)
    waiting = state(visit)
    assert (waiting["required_s"], waiting["left_s"], waiting["ready_at"]) == (None, None, None)
    assert waiting["required_by"] == "label"
    visit.see(label=minutes(10))
    assert "lasts 10 min, by label" in because(Wording(visit.judge(), ZONE), "cool").says


def test_a_label_of_nothing_is_over_only_with_its_witness() -> None:
    visit = off()
    visit.see(label=0.0)
    for minute in (0, 1, 600):
        visit.at(minute)
        assert may(visit) is May.NOT_YET
        assert visit.next() == ("ask", "let-cool", ["cool_witness"])
    visit.see(cool_witness="no")
    assert may(visit) is May.YES


# -- what is refused -----------------------------------------------------------------------------------------

NEITHER = "is neither a limit nor a fact with a duration [SA302]"
REFUSED = [
    ("a name of nothing", "for: label", "for: lable", "there is no limit and no fact `lable`", "label"),
    ("a fact with options", "for: label", "for: door", f"`door` {NEITHER}", "name one"),
    ("an event", "for: label", "for: off", f"`off` {NEITHER}", "name one"),
    (
        "a fact of another quantity",
        "quantity: duration, unit: min, between: 0 min .. 60 min",
        "quantity: mass, between: 0 kg .. 60 kg",
        "`label` is a mass, and a wait lasts a duration [SA303]",
        "give the fact `quantity: duration`",
    ),
    (
        "a fact that may be negative",
        "between: 0 min",
        "between: -1 min",
        "`label` may be less than nothing, and a wait may not [SA303]",
        "let its `between` begin with 0 or more",
    ),
    (
        "a fact that may be nothing, and nobody is asked",
        ", restarted by: [opened], witness: Was it opened?",
        "",
        "`label` may be 0, and without a witness the wait is then over at once [SA303]",
        "let its `between` begin with more than 0, or give the wait a `witness`",
    ),
    (
        "a fact kept per a list",
        "nature: fixed",
        "nature: fixed, per: place",
        "`label` is kept per place, and a wait would not know whose it is [SA302]",
        "use a fact of its own",
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "message", "help"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED]
)
def test_what_cannot_say_how_long_is_refused(old: str, new: str, message: str, help: str) -> None:
    assert OVEN.count(old) == 1
    with pytest.raises(StillairError) as raised:
        program(OVEN.replace(old, new))
    said = str(raised.value)
    assert said.startswith("small/small.yaml:")
    assert message in said
    assert help in said.split("help: ")[1]


def test_a_limit_of_another_quantity_is_refused() -> None:
    limits = "    limits: {weight: {is: 3 kg, safer: neither, source: s}}\n"
    with pytest.raises(StillairError) as raised:
        program(limits + OVEN.replace("for: label", "for: weight"))
    assert "the limit `weight` is 3 kg, and this is a duration [SA303]" in str(raised.value)


def test_a_fact_that_rests_on_its_own_wait_is_a_circle() -> None:
    text = dedent(OVEN).replace("nature: fixed", "nature: fixed, counts when: cool is ready")
    with pytest.raises(StillairError) as raised:
        program(text)
    assert "SA307" in str(raised.value)


# -- at the command line -------------------------------------------------------------------------------------

NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()


class Oven:
    """A job of the oven on disk, and the verbs run on it under a clock that stands until it is moved."""

    def __init__(self, folder: Path, text: str = OVEN) -> None:
        pack = folder / "oven"
        pack.mkdir()
        manifest = "pack: oven\nversion: 1.0.0\ntitle: Oven\nengine: '>=0.1'\nchecklists: [oven.yaml]\n"
        (pack / "manifest.yaml").write_text(manifest, encoding="utf-8")
        (pack / "oven.yaml").write_text("checklist: oven\ntitle: Oven\n" + dedent(text), encoding="utf-8")
        self.path = folder / "visit.job"
        self.pack = pack
        self.clock = FixedClock(NINE)

    def run(self, *args: str, typed: str = "") -> str:
        asked = ["--by", "A. Tech", *args]
        result = CliRunner().invoke(main, asked, input=typed, obj=Settings(clock=self.clock))
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return " ".join(result.output.split())

    def guide(self, *typed: str) -> str:
        new = [] if self.path.exists() else ["--pack", str(self.pack)]
        return self.run("guide", str(self.path), *new, typed="".join(f"{line}\n" for line in typed))

    def ask(self, verb: str, *args: str) -> str:
        return self.run(verb, str(self.path), *args)

    def minutes(self, after_nine: float) -> None:
        self.clock.at = NINE + 60 * after_nine


@pytest.mark.usefixtures("own_cache")
def test_guide_asks_how_long_and_then_shows_the_time_left(tmp_path: Path) -> None:
    oven = Oven(tmp_path)
    shown = oven.guide("y", "q")
    assert "Let it cool: how long it lasts is not known – label: not asked" in shown
    assert "Time on the label" in shown
    assert "how long it lasts is not known" in oven.ask("next")
    assert "Let it cool: how long it lasts is not known" in oven.run("jobs", str(tmp_path))
    assert "how long it lasts is not known" in oven.ask("whatif", "label=20 min")
    oven.minutes(4)
    shown = oven.guide("20 min", "q")
    assert "Let it cool: ready at 09:20, 16 min left" in shown
    assert "16 min left" in oven.ask("next")
    assert "16 min left" in oven.run("jobs", str(tmp_path))
    assert "not yet" in oven.ask("may", "reach-in")


@pytest.mark.usefixtures("own_cache")
def test_guide_says_why_it_stops_where_the_label_cannot_be_read(tmp_path: Path) -> None:
    """It does not ask again for ever, and what comes later can still be entered."""
    oven = Oven(tmp_path)
    oven.guide("y", "u", "painted over", "q")
    told = oven.ask("next")
    assert "Stopped before: Let it cool" in told
    assert "painted over" in told
    oven.minutes(500)
    assert "not yet" in oven.ask("may", "reach-in")
    closed = oven.ask("close", "--outcome", "left")
    assert "still running: Let it cool: how long it lasts is not known" in closed
