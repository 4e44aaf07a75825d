"""The trail: what it says of whole, partial and stopped jobs, and that nothing typed becomes structure."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from stillair.fault import StillairError, printable
from stillair.hooks import Plugins, View
from stillair.trail import Document, escape, make, markdown, prose, to_json, write
from stillair.trail.document import Code, Item, Part, Strong, line

Tank = Any  # the job of `conftest`

PARTS = [
    "What this is, and what it is not",
    "In short",
    "Stops and cautions",
    "Findings",
    "What could not be decided, and what would decide it",
    "Places",
    "Who, with what",
    "Left open, and what comes next",
    "Calculations",
    "Limits in force",
    "Waits and powered states",
    "Every entry, in order",
    "Versions and hash",
    "Signatures",
]
#: A part that is there only when there is something to say in it.
AHEAD = "Left open, and what comes next"


def text(tank: Tank) -> str:
    return markdown(tank.assess(), tank.lines, tank.zone)


def part(trail: str, title: str) -> str:
    """One part of a trail, on one line."""
    return " ".join(trail.split(f"\n## {title}\n")[1].split("\n## ")[0].split())


def worked(tank: Tank) -> Tank:
    """A job with something of everything."""
    tank.gauge("G1", 2, 1, checked="2026-01-05")
    tank.note("smell", "no")
    tank.add("listed", list="valve")
    tank.note("locked of inlet", "yes")
    tank.note("locked of outlet", "yes")
    tank.add("event", event="valve_shut")
    tank.note("liquid", "oil")
    tank.note("depth", "20 ft")
    tank.note("lamp", "good")
    tank.minutes(4)
    tank.add("event", event="valve_opened")
    tank.minutes(15)
    tank.note("rest_witness", "no")
    tank.note("look of seam", "drop")
    tank.note("look of roof", "dry")
    tank.add("unavailable", fact="look", of="flange", reason="cannot be had", why="behind a wall")
    tank.note("bottom", "61 psig", "G1")
    tank.minutes(17)
    tank.add("correct", line=len(tank.lines), why="digits swapped", body=_body(tank, "16 psig"))
    tank.add("event", event="stir_begun")
    tank.minutes(19)
    tank.add("event", event="stir_ended")
    tank.note("locked of inlet", "yes")
    tank.add("skip", step="walk", why="done already")
    tank.add("note", text="owner at home")
    return tank


def _body(tank: Tank, value: str) -> dict[str, Any]:
    body = dict(tank.note("bottom", value, "G1").body)
    tank.lines.pop()
    return body


# -- its parts -----------------------------------------------------------------------------------------------


def test_the_parts_come_in_their_order(tank: Tank) -> None:
    assert re.findall(r"^## (.*)$", text(worked(tank)), re.MULTILINE) == PARTS


def test_an_empty_job_and_a_stopped_one_have_every_part(tank: Tank) -> None:
    """The deferral and the cautions are in every trail, and a stop names what lifts it."""
    empty = text(tank)
    tank.note("smell", "yes")
    stopped = text(tank)
    for trail in (empty, stopped):
        assert re.findall(r"^## (.*)$", trail, re.MULTILINE) == [each for each in PARTS if each != AHEAD]
        assert "Where two of them differ, the stricter wins." in trail
        assert "Permits are ruled locally. Ask the authority having jurisdiction." in trail
        assert "Wear gloves." in part(trail, "Stops and cautions")
    assert "Stops not ruled out" in part(empty, "Stops and cautions")
    said = part(stopped, "Stops and cautions")
    assert "**Leave the room.**" in said
    assert "Stopped: Filling" in said
    assert "Lifted by: The smell is gone and you answer again." in said
    assert "nothing overrides it" in said


# -- in short ------------------------------------------------------------------------------------------------


def short(tank: Tank) -> list[str]:
    """The lines of the part for the owner."""
    trail = text(tank).split("\n## In short\n")[1].split("\n## ")[0]
    return [each.removeprefix("- ") for each in trail.strip().splitlines()]


def test_in_short_names_what_was_found_what_was_not_reached_and_what_is_next(tank: Tank) -> None:
    said = short(worked(tank))
    assert said[1] == "**Bottom seam:** It drips here – confirmed."
    margin = "`bottom = 16.0 psig ± 2.2 psi, wholly below 20 psig, 1.8 psi to spare`"
    assert said[2] == f"**Too little is inside** – confirmed: {margin} at 95 %."
    assert "**Not reached:** Flange behind the wall." in said
    assert any(each.startswith("**Still open:**") and "losing" in each for each in said)
    assert said[-1].startswith("**Next:**")
    assert not any("line " in each.casefold() for each in said)


def test_in_short_begins_with_the_stops_in_force(tank: Tank) -> None:
    tank.note("smell", "yes")
    said = short(tank)
    assert said[0] == "**Stop in force:** Leave the room."
    assert "Nothing has been found at any place so far." in said


def test_in_short_says_that_a_stop_is_not_ruled_out(tank: Tank) -> None:
    assert short(tank)[0] == "Not every stop is ruled out: see Stops and cautions."
    tank.note("smell", "no")
    assert short(tank)[0] == "No stop is in force, and every stop that rests on safety is ruled out."


def test_in_short_is_never_longer_than_eight_lines(tank: Tank) -> None:
    worked(tank)
    for number in range(9):
        tank.minutes(20 + number)
        tank.note("look of roof", "drop")
        tank.note("look of flange", "drop")
        tank.note("later", "1 psig")
        tank.add("event", event="stir_begun")
        assert len(short(tank)) <= 8
    tank.note("smell", "yes")
    assert len(short(tank)) <= 8


def test_a_closed_job_ends_in_short_with_its_outcome(tank: Tank) -> None:
    tank.add("close", checklist=None, outcome="seam to be welded")
    assert short(tank)[-1] == "**The job is closed:** seam to be welded"


def test_findings_are_told_by_place_and_then_surest_first(tank: Tank) -> None:
    tank.note("lamp", "good")
    tank.add("event", event="valve_shut")
    tank.minutes(11)
    tank.note("rest_witness", "no")
    tank.note("look of roof", "dry")
    tank.note("bottom", "30 psig")
    tank.note("later", "16 psig")
    tank.minutes(12)
    tank.note("bottom", "15 psig")
    tank.note("later", "1 psig")
    tank.minutes(13)
    tank.note("look of seam", "drop")
    grades = re.findall(r"^- \*\*(.*)\*\* – (\w+ ?\w*)", text(tank).split("## Findings")[1], re.MULTILINE)
    assert grades == [
        ("Bottom seam: It drips here", "confirmed"),
        ("Too little is inside", "confirmed"),
        ("The pressure falls", "probable"),
        ("No drip under these limits", "not found"),
    ]


def test_the_waits_say_that_they_are_by_the_clock_alone(tank: Tank) -> None:
    said = part(text(tank), "Waits and powered states")
    assert "Times are by the clock alone, that of the device, also while the program was shut." in said
    assert "Where `verify` says that the clock went back, they are in doubt." in said


# -- what it never says, and how it says the rest ------------------------------------------------------------


def test_it_never_says_that_anything_complies(tank: Tank) -> None:
    trail = text(worked(tank)).casefold()
    assert "it never says that anything complies with a code" in trail
    assert trail.count("compl") == trail.count("complies with a code") + trail.count("is complete")


def test_a_finding_has_its_grade_its_time_its_margin_and_its_source(tank: Tank) -> None:
    said = part(text(worked(tank)), "Findings")
    assert "**Too little is inside** – confirmed, 2026-04-15 09:15 -04:00" in said
    assert "wholly below 20 psig, 1.8 psi to spare: holds" in said
    assert "Source: judgement, no source" in said
    assert "**Bottom seam: It drips here** – confirmed" in said
    assert "**No drip under these limits** – not found - At: Roof" in said


def test_what_is_open_says_what_would_decide_it(tank: Tank) -> None:
    said = part(text(worked(tank)), "What could not be decided, and what would decide it")
    assert "`losing`" in said
    assert "later: The same gauge later" in said
    assert "**Flange behind the wall**" in said
    assert "cannot be had (behind a wall)" in said


def test_what_is_too_close_to_call_names_the_instrument_that_would_settle_it(tank: Tank) -> None:
    tank.gauge("G1", 2, 1)
    tank.note("bottom", "21 psig", "G1")
    said = part(text(tank), "What could not be decided, and what would decide it")
    assert "G1 good to ±0.99 psi instead of ±2.236 psi would settle it" in said


def test_places_are_named_checked_void_or_not_reached(tank: Tank) -> None:
    said = part(text(worked(tank)), "Places")
    assert "**Bottom seam**: A drop, 09:15" in said
    assert "**Not reached:** - **Flange behind the wall**: cannot be had (behind a wall)" in said


def test_a_voided_place_says_why(tank: Tank) -> None:
    tank.note("lamp", "weak")
    tank.note("look of roof", "dry")
    said = part(text(tank), "Places")
    assert "**Looked at, but void: it proves nothing.** It rests on:" in said
    assert "**not so:** lamp: It is weak (line 3, 09:00)" in said
    assert "**not so:** Let it rest: not started" in said
    assert "Why: without light and rest a dry look says nothing." in said
    assert "| Roof | Dry, 09:00, line 4 |" in said


def test_a_calculation_can_be_redone_by_hand(tank: Tank) -> None:
    """800 kg/m3 x 9.80665 m/s2 x 6.096 m = 47825 Pa = 6.93644 psi; 1 in more or less is 0.0289 psi."""
    said = part(text(worked(tank)), "Calculations")
    weight = 800 * 9.80665 * 6.096 / 6894.757293
    assert weight == pytest.approx(6.93644, abs=1e-5)
    assert "`weight_pressure(oil, 240 in) = 6.93644 psig`" in said
    assert "`expected = 6.936 psig ± 0.029 psi`" in said
    assert "Formula: `weight_pressure: pressure = density x 9.80665 m/s2 x depth`" in said
    assert "Source: Pascal's law" in said


def test_waits_are_given_as_required_and_as_achieved(tank: Tank) -> None:
    said = part(text(worked(tank)), "Waits and powered states")
    assert "**Let it rest**: required 10 min, began 09:00, broken off 09:04 after 4 min." in said
    assert "began 09:04 again (valve opened), achieved 11 min, ready 09:15." in said


def test_a_powered_state_says_how_long_and_how_it_was_proved_off(tank: Tank) -> None:
    said = part(text(worked(tank)), "Waits and powered states")
    assert "after 2 min, at most 1 min allowed, longer than allowed" in said
    assert "Freed: Inlet valve" in said
    assert "`locked of inlet`: yes, 09:19" in said.replace("Yes", "yes")


def test_a_powered_state_that_was_not_proved_off_says_so(tank: Tank) -> None:
    tank.note("smell", "no")
    tank.add("event", event="stir_begun")
    said = part(text(tank), "Waits and powered states")
    assert "no end entered; at most 1 min was allowed" in said
    assert "Not proved off again yet." in said


def test_every_entry_stands_there_as_read_and_as_used_with_its_correction(tank: Tank) -> None:
    worked(tank)
    said = part(text(tank), "Every entry, in order")
    wrong = next(each.n for each in tank.lines if each.body.get("read") == "61 psig")
    correction = next(each for each in tank.lines if each.kind == "correct")
    assert f"**Line {wrong}**, 09:15: Gauge at the bottom `bottom`: as read `61 psig`" in said
    assert f"Corrected by line {correction.n}; nothing rests on this entry any more." in said
    assert f"line {wrong} is corrected to: Gauge at the bottom `bottom`: as read `16 psig`" in said
    assert "used as 16.0 psig ± 2.2 psi, with G1, because: “digits swapped”" in said
    assert all(f"**Line {each.n}**" in said for each in tank.lines)
    assert "skipped: `walk`, because: “done already”" in said
    assert "note: “owner at home”" in said


def test_an_entry_made_later_gives_both_times(tank: Tank) -> None:
    taken = tank.at
    tank.minutes(50)
    tank.add("event", event="valve_shut", taken=taken)
    assert "taken 09:00, entered 09:50: event `valve_shut`" in part(text(tank), "Every entry, in order")


def test_times_are_in_the_zone_of_the_job_with_a_heading_for_each_day(tank: Tank) -> None:
    tank.minutes(60 * 15 + 30)
    tank.note("smell", "no")
    said = text(tank)
    assert "### 2026-04-15, UTC-04:00" in said
    assert "### 2026-04-16, UTC-04:00" in said
    assert "00:30: Any smell of fumes? `smell`" in said


def test_what_is_left_out_of_a_copy_is_said_to_be(tank: Tank) -> None:
    tank.note("owner", "C. Owner")
    body = {"fact": "owner"}
    tank.lines[-1] = replace(tank.lines[-1], body=body, left_out=frozenset({"value", "read"}))
    said = part(text(tank), "Every entry, in order")
    assert "`owner` (left out of this copy)" in said
    assert "C. Owner" not in said


def test_versions_digests_and_the_last_hash_end_it(tank: Tank) -> None:
    found = tank.assess()
    document = make(
        found, tank.lines, tank.zone, last_hash="ab" * 32, torn=7, differs=("the plugin is gone",)
    )
    said = part(write(document), "Versions and hash")
    assert f"Pack **tank** 2.1.0, SHA-256 `{tank.program.packs['tank'][1]}`" in said
    assert f"Hash of the last line: `{'ab' * 32}`" in said
    assert "**This cannot be re-derived with these plugins:** the plugin is gone" in said
    assert "Torn: 7 bytes" in said


def test_views_of_plugins_come_before_the_signatures(tank: Tank, tank_plugins: Plugins) -> None:
    trail = write(make(tank.assess(), tank.lines, tank.zone, plugins=tank_plugins))
    view = "## Tally of the plugin\n\n### Tally\n\nA *view* of the plugin.\n\n## Signatures"
    assert view in trail


@pytest.mark.parametrize("answer", [ValueError("no luck"), 7])
def test_a_view_that_fails_makes_no_trail_and_is_named(
    tank: Tank, tank_plugins: Plugins, answer: Any
) -> None:
    def render(_: object) -> Any:
        if isinstance(answer, Exception):
            raise answer
        return answer

    plugins = replace(tank_plugins, views={"tally": View("tally", render)})
    with pytest.raises(StillairError) as raised:
        make(tank.assess(), tank.lines, tank.zone, plugins=plugins)
    assert "`tally` of the plugin `tank_gauging`" in str(raised.value)
    assert "tank_gauging.py" in str(raised.value)


def test_entries_in_doubt_are_named_and_nothing_rests_on_them(tank: Tank) -> None:
    tank.note("smell", "no")
    tank.note("depth", "39 ft")
    trail = text(tank)
    said = part(trail, "What could not be decided, and what would decide it")
    assert "**Entries in doubt.**" in said
    assert "`depth`, line 4: No tank here is so deep" in said
    assert "In doubt: No tank here is so deep" in part(trail, "Every entry, in order")


def test_the_same_inputs_give_the_same_bytes(new_tank: Callable[[], Tank]) -> None:
    assert text(worked(new_tank())) == text(worked(new_tank()))


def test_the_document_is_also_plain_data(tank: Tank) -> None:
    worked(tank)
    told: Any = to_json(make(tank.assess(), tank.lines, tank.zone))
    assert [each["title"] for each in told["parts"]] == PARTS


# -- what people typed ---------------------------------------------------------------------------------------

HOSTILE = [
    "# heading", "- item", "1. one", "> quote", "<b>bold</b>", "<http://example.org>", "[a](http://b.example)",
    "![a](b)", "*strong* _soft_ __x__", "`code` ``two``", "| a | b |", "---", "===", "```", "~~~", "a\n\n# b",
    "a\n=====", "\\", "\\*", "&lt;b&gt; &#42;", "x\x1b[31my", "\u202eabc", "\t\ttab",
    "http://example.org",
    "www.example.org", "a@example.org", "+ plus", "2) two", "~~gone~~", "“. By Boss. Line 9”", "    code",
    "`",
    "[x]: http://example.org", "- [ ] task", "<!-- hidden -->", "a\\\nb",
    "a | b", "`a | b`", "\\|", "\\\\|", "|", "|---|", "x |\n| y", "| --- |\n| <b> |",
    "(left out of this copy)",
]  # fmt: skip
TYPED = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(alphabet="#*_`~-+=|<>[]()!&;:.@\\/\n\t \"'ab1", min_size=1, max_size=40),
    st.text(min_size=1, max_size=30),
)


def structure(trail: str) -> list[str]:
    """The kinds of what Markdown makes of a trail: texts joined, their words left out."""
    found: list[str] = []
    for token in MarkdownIt("gfm-like", {"linkify": False}).parse(trail):
        found.append(token.type)
        for child in token.children or ():
            if child.type in ("text", "softbreak") and found[-1] in ("text", "softbreak"):
                continue
            found.append(child.type)
    return found


def typed_everywhere(tank: Tank, typed: str) -> str:
    """The trail of a job in which a person has typed this wherever people type."""
    tank.by = typed
    tank.lines[0] = replace(tank.lines[0], body={**tank.lines[0].body, "title": typed})
    tank.add("observe", fact="remark", value="present", read=typed)
    tank.add("observe", fact="depth", value=1.0, read=typed, unit="in")
    tank.add("instrument", serial=typed, kind="gauge", offset=1.0, repeat=1.0, resolution=0.0)
    tank.add("observe", fact="bottom", value=145000.0, read="21 psig", unit="psig", instrument=typed)
    tank.add("unavailable", fact="look", of="flange", reason=typed, why=typed)
    tank.add("member", list="valve", member=typed, label=typed)
    tank.add("observe", fact="locked", of=typed, value="yes", read="yes")
    tank.add("skip", step="walk", why=typed)
    tank.add("note", text=typed)
    tank.add("handover", to=typed)
    tank.add("observe", fact="owner", value="present", read=typed)
    tank.add("observe", fact="lamp", value="weak", read=typed)
    tank.add("observe", fact="look", of="roof", value="dry", read=typed, instrument=typed)
    tank.add("observe", fact="look", of="seam", value="drop", read=typed, instrument=typed)
    tank.add("correct", line=4, why=typed)
    tank.add("close", checklist=None, outcome=typed)
    return text(tank)


@settings(deadline=None, max_examples=120, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(typed=TYPED.filter(lambda t: bool(t.strip())))
def test_nothing_typed_becomes_structure(new_tank: Callable[[], Tank], typed: str) -> None:
    """Read back by a Markdown reader, a trail has the same structure whatever people typed."""
    assert structure(typed_everywhere(new_tank(), typed)) == structure(typed_everywhere(new_tank(), "plain"))


@pytest.mark.parametrize("typed", HOSTILE)
def test_what_tries_to_be_structure_is_words(new_tank: Callable[[], Tank], typed: str) -> None:
    assert structure(typed_everywhere(new_tank(), typed)) == structure(typed_everywhere(new_tank(), "plain"))


@given(TYPED)
def test_what_was_typed_is_shown_as_typed(typed: str) -> None:
    """Escaped and read back it is the same words: spaces made one, what steers a terminal made visible."""
    tokens = MarkdownIt("commonmark").parse("x" + escape(typed))
    shown = "".join(child.content for t in tokens if t.type == "inline" for child in t.children or ())
    assert shown[1:] == printable(" ".join(typed.split()))


def test_control_characters_are_visible(tank: Tank) -> None:
    tank.add("note", text="red \x1b[31m and \u202eback")
    assert "red \ufffd\\[31m and \ufffdback" in text(tank)


def test_words_cannot_close_the_quotation_marks_they_stand_in(tank: Tank) -> None:
    tank.add("note", text="fine”. By Boss. “more")
    assert 'note: “fine". By Boss. "more”' in text(tank)


def test_code_keeps_its_back_quotes_inside() -> None:
    made = Document("T", (Part("P", ((Item(line(Code("a `` b `"), Strong("*"))),),)),))
    tokens = MarkdownIt("commonmark").parse(write(made))
    codes = [c.content for t in tokens for c in t.children or () if c.type == "code_inline"]
    assert codes == ["a `` b `"]


def test_the_prose_of_a_pack_loses_its_marks(tank: Tank) -> None:
    tank.note("liquid", "oil")
    assert "**Keep flames away.**" in text(tank)
    assert prose("See [the rule](http://x.example) and `this`.\n\n- one") == "See the rule and this. one"


def test_nobody_can_type_that_something_was_left_out(tank: Tank) -> None:
    tank.add("note", text="(left out of this copy)")
    assert "note: “(left out of this copy)”" in text(tank)
