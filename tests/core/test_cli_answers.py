"""What a new user types in a guided session, and what is made of it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.cli.typed import parts
from stillair.job import Job, Line

pytestmark = pytest.mark.usefixtures("own_cache")

NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()
MINUTE = 60.0
MANIFEST = 'pack: shed\nversion: 1.0.0\ntitle: Shed\nengine: ">=0.1"\nchecklists: [shed.yaml]\n'
SHED = """
checklist: shed
title: Look after a shed
lists:
  source: {title: Sources, ask: Any other source?, members: {panel: Panel}, open: true}
  shelf: {title: Shelves, ask: Any other shelf?, members: {top: Top shelf, low: Low shelf}}
facts:
  clean: {ask: Is it clean?, kind: yes-no, per: shelf}
  dry: {ask: Is it dry?, kind: yes-no}
  pressure: {ask: The gauge, quantity: gauge pressure, unit: psig, between: 0 psig .. 600 psig}
  air: {ask: Air, quantity: temperature, unit: °F, between: -40 °F .. 150 °F}
  door: {ask: The door?, options: {shut: It is shut, ajar: It stands ajar}}
  filled: {ask: What is it filled with?, catalogue: refrigerant}
  spot: {ask: Where exactly?, kind: text}
  picture: {ask: Take a photo, kind: photo}
  off: {ask: Is it off?, kind: yes-no, per: source}
  d1: {ask: One?, kind: yes-no}
  d2: {ask: Two?, kind: yes-no}
  d3: {ask: Three?, kind: yes-no}
  d4: {ask: Four?, kind: yes-no}
  d5: {ask: Five?, kind: yes-no}
  d6: {ask: Six?, kind: yes-no}
steps:
  - {step: look, title: Look, ask: [dry, pressure, air, door]}
  - {step: label, title: Read the label, ask: [filled]}
  - {step: find, title: Find it, ask: [spot, picture]}
  - {step: off-it, title: Switch off, ask: [off]}
  - {step: sweep, title: Sweep, gate: every source has (off is yes), do: Sweep., optional: true}
  - {step: paint, title: Paint, gate: d1 is yes and d2 is yes, do: Paint it.}
  - {step: nail, title: Nail, gate: d3 is yes and d4 is yes, do: Nail it.}
  - {step: roof, title: Roof, gate: d5 is yes and d6 is yes, do: Cover it.}
  - {step: wipe, title: Wipe it, gate: d1 is yes, ask: [clean]}
  - {step: gutter, title: Gutter, gate: d1 is yes and d6 is yes, do: Hang it.}
"""


class Shed:
    """A job of the shed, under a clock that stands until it is moved."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "visit.job"
        self.pack = folder / "shed"
        self.pack.mkdir()
        (self.pack / "manifest.yaml").write_text(MANIFEST, encoding="utf-8")
        (self.pack / "shed.yaml").write_text(SHED, encoding="utf-8")
        self.clock = FixedClock(NINE)

    def run(self, *args: str, typed: str = "") -> Result:
        return CliRunner().invoke(main, list(args), input=typed, obj=Settings(clock=self.clock))

    def guide(self, *typed: str) -> str:
        new = [] if self.path.exists() else ["--pack", str(self.pack)]
        lines = "".join(f"{line}\n" for line in typed)
        return flat(self.run("--by", "A. Tech", "guide", str(self.path), *new, typed=lines))

    def note(self, *args: str) -> str:
        return flat(self.run("note", str(self.path), *args))

    def lines(self) -> list[Line]:
        with Job.open(self.path) as job:
            return [line for line in job.lines if line.kind not in ("job", "open")]

    def read(self) -> dict[str, object]:
        """What was read of each fact, last entry first."""
        return {str(line.body["fact"]): line.body["read"] for line in self.lines() if line.kind == "observe"}


def flat(result: Result) -> str:
    return " ".join(result.output.split())


@pytest.fixture
def shed(tmp_path: Path) -> Shed:
    return Shed(tmp_path)


# -- several answers on one line -------------------------------------------------------------------------


def test_what_stands_before_an_unreadable_answer_is_kept_and_it_is_asked_again(shed: Shed) -> None:
    said = shed.guide("y 217 warm 1")
    assert shed.read() == {"dry": "y"}  # `217 warm` may be a slip of a unit: it is asked again too
    assert "kept before it: dry" in said
    assert said.rindex("kept before it: dry") < said.rindex("The gauge")
    said = shed.guide("217, warm, 1")
    assert "kept before it: pressure" in said
    assert shed.read() == {"dry": "y", "pressure": "217"}
    said = shed.guide("70 ajar")
    assert shed.read() == {"dry": "y", "pressure": "217", "air": "70", "door": "ajar"}


def test_by_name_too_the_readable_ones_before_are_kept(shed: Shed) -> None:
    said = shed.guide("dry=yes door=shut air=warm pressure=217")
    assert shed.read() == {"dry": "yes", "door": "shut"}
    assert "kept before it: dry, door" in said


def test_a_fact_given_twice_on_a_line_keeps_nothing(shed: Shed) -> None:
    said = shed.guide("door=shut dry=yes door=ajar")
    assert "`door` is given twice, as `shut` and as `ajar`; nothing is kept" in said
    assert shed.lines() == []


@pytest.mark.parametrize(
    ("typed", "apart"),
    [
        ("217 psia", ["217 psia"]),
        ("y 217 psig 72 °F 1", ["y", "217 psig", "72 °F", "1"]),
        ("-3 in w.c. 72", ["-3 in w.c.", "72"]),
        ("12 inHg vac n", ["12 inHg vac", "n"]),
        ("217 ± 2 psig n", ["217 ± 2 psig", "n"]),
        ("2026-04-15 09:40 y", ["2026-04-15 09:40", "y"]),
        ("24 72", ["24", "72"]),
        ("1 y 2 n", ["1", "y", "2", "n"]),
        ("217 psig, n", ["217 psig", "n"]),
    ],
)
def test_a_number_and_its_unit_are_one_answer(typed: str, apart: list[str]) -> None:
    assert parts(typed) == apart


def test_a_unit_that_does_not_fit_is_never_left_off(shed: Shed) -> None:
    said = shed.guide("y", "217 psia")
    assert "`psia` is an absolute pressure, not a gauge pressure" in said
    assert shed.read() == {"dry": "y"}
    said = shed.guide("217 psai")
    assert shed.read() == {"dry": "y"}
    assert "`217 psai` is no number with its unit, nor two answers; nothing is kept" in said
    shed.guide("1.5 MPag 72 F shut")
    assert shed.read() == {"dry": "y", "pressure": "1.5 MPag", "air": "72 F", "door": "shut"}


def test_a_tolerance_typed_with_a_reading_names_the_instrument(shed: Shed) -> None:
    for said in (shed.guide("y", "217 ± 2 psig", "217 +/- 2"), shed.note("pressure=217 ± 2 psig")):
        assert "the tolerance is that of the instrument, not typed with the reading" in said
        assert "`stillair instruments` shows it" in said
    assert shed.read() == {"dry": "y"}


# -- a part of a name ------------------------------------------------------------------------------------

AT_THE_LABEL = ("y 217 72 shut",)


def test_a_name_is_never_taken_from_a_letter_or_two(shed: Shed) -> None:
    said = shed.guide(*AT_THE_LABEL, "n", "y", "a", "22", "R", "ym")
    assert "filled" not in shed.read()
    assert "is too short to tell which" in said
    for typed in ("c", "1", "R-"):
        assert "help:" in shed.note(f"filled={typed}")
    assert "filled" not in shed.read()


def test_what_a_part_of_a_name_was_taken_as_is_said(shed: Shed) -> None:
    said = shed.guide(*AT_THE_LABEL, "410")
    assert "filled: `410` taken as R-410A; undo with z" in said
    assert shed.lines()[-1].body["value"] == "R-410A"
    said = shed.guide("z", "404a")
    assert "taken as R-404A" in said
    said = shed.note("filled=r-410a")
    assert "kept 09:00 filled: R-410A" in said and "taken as" not in said
    assert "`410a` taken as R-410A; --correct puts another" in shed.note("filled=410a")


def test_several_that_fit_are_named(shed: Shed) -> None:
    said = shed.guide(*AT_THE_LABEL, "R-4")
    assert "is too short" in said or "may be several" in said
    assert "R-410A" in said and "filled" not in shed.read()


# -- reasons and texts -----------------------------------------------------------------------------------


def test_every_question_says_that_it_may_not_be_had(shed: Shed) -> None:
    said = shed.guide("y", "217", "72", "shut", "R-410A", "left of it", "p.jpg")
    questions = said.split("> ")
    for ask, way in (
        ("Is it dry?", "u cannot tell"), ("The gauge", "u cannot get it"), ("The door?", "u cannot tell"),
        ("What is it filled with?", "u cannot get it"), ("Where exactly?", "u cannot get it"),
        ("Take a photo", "u cannot get it"), ("Is it off?", "u cannot tell"),
    ):  # fmt: skip
        assert any(ask in each and way in each for each in questions), ask


@pytest.mark.parametrize("key", ["w", "e", "n", "?", "s", "yes", "..", "9"])
def test_a_key_is_no_reason(shed: Shed, key: str) -> None:
    said = shed.guide("u", key, "under the snow")
    reasons = [line.body.get("reason") for line in shed.lines()]
    assert reasons == ["under the snow"]
    assert "a few words, or a number of the list; Enter goes back" in said


def test_z_goes_back_from_a_reason_and_keeps_nothing(shed: Shed) -> None:
    shed.guide("u", "z", "y")
    assert [(line.kind, line.body["read"]) for line in shed.lines()] == [("observe", "y")]


def test_a_skip_needs_words_too(shed: Shed) -> None:
    shed.guide(*AT_THE_LABEL, "R-410A", "left of it", "p.jpg", "y", "n", "s", "n", "wet paint")
    assert shed.lines()[-1].body == {"step": "sweep", "why": "wet paint"}


def test_a_short_reason_is_refused_by_note(shed: Shed) -> None:
    shed.guide()
    assert "`n` is no reason" in shed.note("--cannot", "door", "--why", "n")
    assert shed.lines() == []


@pytest.mark.parametrize("key", ["y", "n", "Y", "yes", "no", "y y", "x", "--"])
def test_a_key_is_no_text_and_no_photo(shed: Shed, key: str) -> None:
    said = shed.guide(*AT_THE_LABEL, "R-410A", key, "left of it", key, "p.jpg")
    assert shed.read()["spot"] == "left of it"
    assert shed.read()["picture"] == "p.jpg"
    assert f"`{key.split()[0]}` is a key, and `spot` takes a few words" in said
    assert f"`{key}` is a key, and `picture` takes the name of the photo" in said
    assert "is a key" in shed.note(f"spot={key}")


# -- earlier times ---------------------------------------------------------------------------------------


def test_what_joins_a_list_at_an_earlier_time_joins_it_then(shed: Shed) -> None:
    shed.guide()
    shed.clock.at += 60 * MINUTE
    shed.guide("@9:20", *AT_THE_LABEL, "R-410A", "left of it", "p.jpg", "y", "Second panel", "n", "y")
    member = next(line for line in shed.lines() if line.kind == "member")
    assert (member.taken, member.entered) == (NINE + 20 * MINUTE, NINE + 60 * MINUTE)
    off = [(line.body["of"], line.taken) for line in shed.lines() if line.body.get("fact") == "off"]
    assert off == [("panel", NINE + 20 * MINUTE), ("second_panel", NINE + 20 * MINUTE)]


def test_a_time_before_the_job_is_asked_about_once(shed: Shed) -> None:
    said = shed.guide("@8:00", "n", "y", "@8:00", "y", "pressure=217", "@8:10", "air=72")
    assert said.count("is before the job began at 09:00. Was it seen then?") == 2
    taken = {str(line.body["fact"]): line.taken for line in shed.lines()}
    assert taken == {"dry": NINE, "pressure": NINE - 60 * MINUTE, "air": NINE - 50 * MINUTE}


def test_a_time_of_days_ago_is_asked_about(shed: Shed) -> None:
    shed.guide("y")
    shed.clock.at += 3 * 86400
    said = shed.guide("@2026-04-16 09:00", "", "217")
    assert "is more than a day ago. Was it seen then?" in said
    assert shed.lines()[-1].taken == shed.clock.at


# -- what is open ----------------------------------------------------------------------------------------


def test_what_is_open_fits_a_screen_and_w_again_shows_all(shed: Shed) -> None:
    result = shed.run("--by", "A. Tech", "guide", str(shed.path), "--pack", str(shed.pack), typed="w\nw\n\n")
    first, everything = result.output.split("> w\n")[1:]
    shown = first.rstrip().splitlines()
    assert len(shown) <= 12
    assert "not yet: Paint" in first and "Gutter" not in first
    assert "more steps and" in first and "more facts; w shows all" in first
    assert everything.count("Wipe it") == 1
    for text in ("not yet: Paint", "not yet: Gutter", "Wipe it, for each of 2", "Six?", "One?"):
        assert text in everything
    assert "shows all" not in everything.split("a number to answer one now")[0]


def test_a_fact_of_the_whole_list_is_answered_by_its_number(shed: Shed) -> None:
    said = shed.guide("w", "w", "1", "n")
    assert "Is it dry?" in said
    assert shed.read() == {"dry": "n"}


# -- letters that are no answer --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("filled=4", "`4` is too short to tell which"),
        ("filled=r4", "`r4` is too short to tell which"),
        ("filled=r40", "`r40` may be several"),
        ("door=s", "`s` is too short to tell which help: in full, such as shut, ajar"),
        ("dry=ye", "`ye` is too short to tell which"),
    ],
)
def test_whatif_takes_no_option_from_a_letter(shed: Shed, typed: str, said: str) -> None:
    shed.guide("q")
    refused = shed.run("whatif", str(shed.path), typed)
    assert refused.exit_code == 2
    assert said in flat(refused)


def test_whatif_says_what_it_took_a_part_of_a_name_for(shed: Shed) -> None:
    shed.guide("q")
    assert "filled=410a, taken as R-410A" in flat(shed.run("whatif", str(shed.path), "filled=410a"))
    said = flat(shed.run("whatif", str(shed.path), "door=shut", "dry=y"))
    assert "door=shut dry=y - " in said and "taken as" not in said
