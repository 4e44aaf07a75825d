"""Clues: how likely each place is, by what was observed, and where that is told."""

from __future__ import annotations

import json
import random
import sys
from collections.abc import Callable
from datetime import timedelta, timezone
from pathlib import Path
from textwrap import dedent

import pytest
from stillair import account
from stillair.assess import Assessment, assess, follow
from stillair.because import because, share
from stillair.fault import StillairError
from stillair.reading import read_checklist
from stillair.trail import markdown
from stillair.wording import Wording

sys.path.insert(0, str(Path(__file__).parent))
from test_assess import START, Visit, program

ZONE = timezone(timedelta(hours=-4))
ROOF = """
    facts:
      stain: {ask: Is there a stain?, options: {none: None, brown: A brown stain}, per: place}
      age: {ask: How old is it?, quantity: duration, between: 0 d .. 36500 d, tolerance: 10 d}
      rain: {ask: Has it rained?, kind: yes-no, good for: 60 min}
      look: {ask: L, options: {dry: Dry, drop: A drop}, per: place, counts when: {is: always, for: [dry]}}
      remark: {ask: Anything else?, kind: text}
    limits:
      stain_weight: {is: 3, between: 1.5 .. 10, safer: neither, source: "judgement, no source"}
      old_weight: {is: 2, between: 1 .. 5, safer: neither, source: "judgement, no source"}
      dry_weight: {is: 0.5, between: 0.1 .. 1, safer: neither, source: "judgement, no source"}
      old: {is: 7300 d, between: 3650 d .. 18250 d, safer: neither, source: "judgement, no source"}
    steps:
      - {step: front, title: Ask first, ask: [age, rain]}
      - {step: search, title: Search, ask: [stain, look]}
    places:
      - {place: gutter, title: Gutter, belief: 0.2, minutes: 5}
      - {place: chimney, title: Chimney, belief: 0.1, minutes: 9}
      - {place: skylight, title: Skylight, belief: 0.1, minutes: 9}
    clues:
      - clue: stained
        per: place
        when: stain is brown
        weighs: stain_weight
        why: Water leaves a *stain* where it runs.
      - clue: old-roof
        when: age > old
        weighs: {chimney: old_weight, skylight: old_weight}
        why: Lead and putty age.
      - clue: no-rain
        when: rain is no
        weighs: {gutter: dry_weight}
        why: A gutter leaks only in rain.
    rules: [{rule: drip, caution: It drips, per: place, when: look is drop}]
"""


def now(visit: Visit) -> dict[str, float]:
    return {name: belief.now for name, belief in visit.judge().beliefs.items()}


def words(visit: Visit) -> Wording:
    return Wording(visit.judge(), ZONE)


def trail(visit: Visit) -> str:
    return markdown(visit.judge(), visit.lines, ZONE).split("\n## Places\n")[1].split("\n## ")[0]


# -- how likely ----------------------------------------------------------------------------------------------


def test_without_an_answer_the_beliefs_are_the_author_s_shares() -> None:
    visit = Visit(ROOF)
    assert now(visit) == pytest.approx({"gutter": 0.5, "chimney": 0.25, "skylight": 0.25})
    gutter = visit.judge().beliefs["gutter"]
    assert gutter.weighed == ()
    assert [(clue.clue, clue.limit, clue.factor) for clue in gutter.open] == [
        ("stained", "stain_weight", 3.0),
        ("no-rain", "dry_weight", 0.5),
    ]
    assert [str(reason) for reason in gutter.open[0].reasons] == ["stain of gutter: not asked"]


def test_clues_that_hold_multiply_and_all_places_still_add_up_to_one() -> None:
    """Worked by hand: 0.2 x 0.5, 0.1 x 2 x 3 and 0.1 x 2, of 0.9 together."""
    visit = Visit(ROOF)
    visit.see(stain_of_chimney="brown", stain_of_gutter="none", rain="no", age=9000 * 86400.0)
    assert now(visit) == pytest.approx({"gutter": 1 / 9, "chimney": 6 / 9, "skylight": 2 / 9})
    chimney = visit.judge().beliefs["chimney"]
    assert [(clue.clue, clue.limit, clue.factor) for clue in chimney.weighed] == [
        ("stained", "stain_weight", 3.0),
        ("old-roof", "old_weight", 2.0),
    ]
    assert chimney.open == ()
    assert chimney.first == pytest.approx(0.25)


def test_a_clue_of_one_place_says_nothing_of_another() -> None:
    visit = Visit(ROOF)
    visit.see(stain_of_chimney="brown")
    beliefs = visit.judge().beliefs
    assert [len(beliefs[place].weighed) for place in ("gutter", "chimney", "skylight")] == [0, 1, 0]


@pytest.mark.parametrize(
    ("enter", "why"),
    [
        (lambda visit: visit.cannot("age", "the plate is gone"), "cannot be had"),
        (lambda visit: visit.see(age=7305 * 86400.0), "too close to call"),
        (lambda visit: None, "not asked"),
    ],
    ids=["cannot tell", "too close to call", "not asked"],
)
def test_an_open_clue_weighs_nothing_and_says_why(enter: Callable[[Visit], object], why: str) -> None:
    visit = Visit(ROOF)
    enter(visit)
    chimney = visit.judge().beliefs["chimney"]
    assert chimney.now == pytest.approx(0.25)
    assert {r.why.value for clue in chimney.open if clue.clue == "old-roof" for r in clue.reasons} == {why}


def test_a_correction_and_age_take_a_clue_back() -> None:
    """What was misread no longer weighs; what is too old to stand does not either."""
    visit = Visit(ROOF)
    line = visit.see(stain_of_chimney="brown")
    visit.see(rain="no")
    assert now(visit)["chimney"] == pytest.approx(3 / 5)
    visit.at(5).note(
        "correct", line=line, why="misread", body={"fact": "stain", "of": "chimney", "value": "none"}
    )
    assert now(visit)["chimney"] == pytest.approx(1 / 3)
    visit.at(61)
    assert now(visit)["chimney"] == pytest.approx(1 / 4)
    assert {r.why.value for c in visit.judge().beliefs["gutter"].open for r in c.reasons} == {
        "not asked",
        "gone stale",
    }


def test_places_nobody_believes_in_have_no_share() -> None:
    visit = Visit(ROOF.replace("belief: 0.2", "belief: 0").replace("belief: 0.1", "belief: 0"))
    visit.see(rain="no")
    assert now(visit) == {"gutter": 0.0, "chimney": 0.0, "skylight": 0.0}


def test_beliefs_leave_the_order_and_every_verdict_alone() -> None:
    """The same job with the clues and without them: the same is asked next, of the same places in turn."""
    plain = ROOF[: ROOF.index("    clues:")] + ROOF[ROOF.index("    rules:") :]
    for text in (ROOF, plain):
        visit = Visit(text)
        visit.see(age=9000 * 86400.0, rain="no")
        visit.note("done", step="front")
        visit.see(stain_of_gutter="none")
        assert visit.next() == ("ask", "search", ["look of gutter"])
        visit.see(look_of_gutter="dry")
        assert visit.next() == ("ask", "search", ["stain of chimney", "look of chimney"])


def test_what_only_a_clue_rests_on_is_asked_while_the_clue_is_open() -> None:
    visit = Visit(ROOF)
    assert visit.next() == ("ask", "front", ["age", "rain"])
    visit.see(age=9000 * 86400.0)
    assert visit.next() == ("ask", "front", ["rain"])
    visit.see(rain="no")
    visit.note("done", step="front")
    assert visit.next()[1] == "search"


def test_what_only_a_kind_of_jobs_rests_on_is_asked_too() -> None:
    """Else no job would be of any kind, and nothing could be learned of one."""
    text = ROOF.replace("ask: [age, rain]", "ask: [age, rain, frame]").replace(
        "    clues:\n", "    bands: {build: {wood: frame is wood, steel: frame is steel}}\n    clues:\n"
    )
    fact = "    facts:\n      frame: {ask: What is the frame of?, options: {wood: Wood, steel: Steel}}\n"
    visit = Visit(text.replace("    facts:\n", fact))
    assert visit.next() == ("ask", "front", ["age", "rain", "frame"])
    visit.see(age=9000 * 86400.0, rain="no")
    assert visit.next() == ("ask", "front", ["frame"])
    visit.see(frame="wood")
    visit.note("done", step="front")
    assert visit.next()[1] == "search"


def test_a_job_that_grows_has_the_beliefs_of_one_read_anew() -> None:
    """Random entries, one by one: followed and assessed in full, the shares are the same and add up to 1."""
    rng = random.Random(20260415)
    for _ in range(20):
        visit = Visit(ROOF)
        found: Assessment = visit.judge()
        for minute in range(1, 12):
            visit.at(minute * 9)
            place = rng.choice(["gutter", "chimney", "skylight"])
            name, value = rng.choice(
                [
                    (f"stain_of_{place}", rng.choice(["none", "brown"])),
                    (f"look_of_{place}", rng.choice(["dry", "drop"])),
                    ("rain", rng.choice(["yes", "no", None])),
                    ("age", rng.choice([3000, 7305, 9000]) * 86400.0),
                ]
            )
            if value is None:
                visit.cannot(name)
            else:
                visit.see(**{name: value})
            at = START + visit.minute * 60
            found = follow(found, visit.lines, at)
            assert found.beliefs == assess(visit.program, visit.lines, at).beliefs
            assert sum(belief.now for belief in found.beliefs.values()) == pytest.approx(1)


# -- where it is told ----------------------------------------------------------------------------------------


def test_the_trail_tells_each_share_and_the_clues_that_moved_it() -> None:
    visit = Visit(ROOF)
    visit.see(stain_of_chimney="brown", rain="no", age=9000 * 86400.0)
    told = trail(visit)
    assert "- **Gutter**: 11 %\n  - no-rain x0.5: A gutter leaks only in rain.\n" in told
    chimney = told[told.index("- **Chimney**: 67 %") : told.index("- **Skylight**: 22 %")]
    assert "  - stained x3: Water leaves a stain where it runs.\n" in chimney
    assert "  - old-roof x2: Lead and putty age.\n" in chimney
    assert told.count("judgement: shares of 100, not a measurement") == 1
    assert "the order of search is its author's" in told


def test_a_trail_without_clues_says_nothing_of_beliefs() -> None:
    visit = Visit(ROOF[: ROOF.index("    clues:")] + ROOF[ROOF.index("    rules:") :])
    assert "likely" not in trail(visit)


def test_the_json_has_share_clues_and_open_clues_of_each_place() -> None:
    visit = Visit(ROOF)
    visit.see(stain_of_chimney="brown")
    told = json.loads(json.dumps(account.assessment(words(visit))))
    chimney = next(place for place in told["places"] if place["place"] == "chimney")
    assert chimney["belief"] == pytest.approx(0.5)
    assert chimney["belief_without_clues"] == pytest.approx(0.25)
    stained = {"clue": "stained", "limit": "stain_weight", "factor": 3.0}
    assert chimney["clues"] == [{**stained, "why": "Water leaves a *stain* where it runs."}]
    assert [(c["clue"], c["reasons"][0]["why"]) for c in chimney["open_clues"]] == [("old-roof", "not asked")]
    readme = (Path(__file__).parents[2] / "core" / "README.md").read_text(encoding="utf-8")
    for part in ("clues", "open_clues"):
        fields = " ".join(f"`{field}`" for field in chimney[part][0])
        assert f"| `{part}` | {fields} |" in readme


def test_why_a_place_names_its_share_and_what_is_still_open() -> None:
    visit = Visit(ROOF)
    visit.see(stain_of_chimney="brown")
    told = because(words(visit), "chimney")
    assert told.says[0] == "how likely, as a judgement and not measured: 50 %, 25 % without any clue"
    assert told.says[1] == "stained x3: Water leaves a *stain* where it runs."
    assert told.says[2] == "old-roof x2: Lead and putty age. Not counted: open, age: not asked"
    assert [heading for heading, _ in told.trees][:2] == ["clue stained", "clue old-roof"]


@pytest.mark.parametrize(
    ("belief", "shown"),
    [
        (0.0, "0 %"),
        (0.0002, "below 0.1 %"),
        (0.004, "0.4 %"),
        (0.0096, "1 %"),
        (0.667, "67 %"),
        (0.997, "over 99 %"),
        (1.0, "100 %"),
    ],
)
def test_no_share_is_rounded_to_nothing_or_to_certainty(belief: float, shown: str) -> None:
    assert share(belief) == shown


# -- what is refused -----------------------------------------------------------------------------------------

REFUSED = [
    (
        "unknown place",
        "{gutter: dry_weight}",
        "{guter: dry_weight}",
        """
        small/small.yaml:34:14: there is no place `guter` [SA301]
              weighs: {guter: dry_weight}
                       ^^^^^
        help: did you mean `gutter`?
        """,
    ),
    (
        "unknown limit",
        "weighs: stain_weight",
        "weighs: stain_wait",
        """
        small/small.yaml:26:13: there is no limit `stain_wait` [SA301]
              weighs: stain_wait
                      ^^^^^^^^^^
        help: did you mean `stain_weight`?
        """,
    ),
    (
        "a fact as a weight",
        "weighs: stain_weight",
        "weighs: age",
        """
        small/small.yaml:26:13: `age` is a fact, and a weight is a limit that a company may set [SA302]
              weighs: age
                      ^^^
        help: declare it under `limits`
        """,
    ),
    (
        "a limit with a unit",
        "{gutter: dry_weight}",
        "{gutter: old}",
        """
        small/small.yaml:34:22: the weight `old` is 7300 d, and a weight is a plain number [SA303]
              weighs: {gutter: old}
                               ^^^
        help: write how many times likelier, without a unit
        """,
    ),
    (
        "a weight of nothing",
        "{is: 0.5, between: 0.1 .. 1,",
        "{is: 0, between: 0 .. 1,",
        """
        small/small.yaml:34:22: the weight `dry_weight` is 0, and a weight is more than 0 [SA303]
              weighs: {gutter: dry_weight}
                               ^^^^^^^^^^
        help: below 1 makes a place less likely, above 1 more
        """,
    ),
    (
        "a weight that may be set to nothing",
        "{is: 0.5, between: 0.1 .. 1,",
        "{is: 0.5, between: 0 .. 1,",
        """
        small/small.yaml:34:22: the weight `dry_weight` may be set to 0, and a weight is more than 0 [SA303]
              weighs: {gutter: dry_weight}
                               ^^^^^^^^^^
        help: below 1 makes a place less likely, above 1 more
        """,
    ),
    (
        "a clue that rests on nothing known",
        "when: rain is no",
        "when: rian is no",
        """
        small/small.yaml:33:11: `rian` is not defined [SA301]
              when: rian is no
                    ^^^^
        help: did you mean `rain`?
        """,
    ),
    (
        "two clues of one name",
        "clue: no-rain",
        "clue: old-roof",
        """
        small/small.yaml:32:11: the clue `old-roof` is declared twice, first in line 28 [SA205]
            - clue: old-roof
                    ^^^^^^^^
        help: give one of them another name
        """,
    ),
    (
        "no place named",
        "weighs: {gutter: dry_weight}",
        "weighs: dry_weight",
        """
        small/small.yaml:34:5: `weighs` of clue `no-rain` names no place [SA208]
              weighs: dry_weight
              ^^^^^^
        help: write `{PLACE: LIMIT}`, or add `per: place`
        """,
    ),
    (
        "places named and per place",
        "weighs: stain_weight",
        "weighs: {gutter: stain_weight}",
        """
        small/small.yaml:26:5: clue `stained` is kept per place and names places in `weighs` [SA208]
              weighs: {gutter: stain_weight}
              ^^^^^^
        help: write one limit, or leave out `per`
        """,
    ),
    (
        "kept per another list",
        "per: place\n        when: stain",
        "per: storey\n        when: stain",
        """
        small/small.yaml:24:5: clue `stained` is kept per `storey`, and a clue weighs on places [SA209]
              per: storey
              ^^^
        help: write `per: place`, or leave it out and name the places in `weighs`
        """,
    ),
    (
        "a number in place of a limit",
        "{gutter: dry_weight}",
        "{gutter: 0.5}",
        """
        small/small.yaml:34:22: `0.5` is not a name [SA204]
              weighs: {gutter: 0.5}
                               ^^^
        help: declare the number as a limit, and name that
        """,
    ),
    (
        "a clue without a reason",
        "        why: Lead and putty age.\n",
        "",
        """
        small/small.yaml:28:11: clue `old-roof` has no `why` [SA202]
            - clue: old-roof
                    ^^^^^^^^
        help: add `why`
        """,
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "expected"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED]
)
def test_refused_with_its_place_and_the_way_out(old: str, new: str, expected: str) -> None:
    """One change to a good checklist, and exactly what is said about it."""
    assert ROOF.count(old) == 1
    with pytest.raises(StillairError) as raised:
        program(ROOF.replace(old, new))
    assert str(raised.value) == dedent(expected).strip("\n")


def test_a_clue_is_kept_as_it_is_written() -> None:
    checklist = read_checklist("checklist: small\ntitle: Small\n" + dedent(ROOF), "small.yaml")
    assert [(clue.name, str(clue.per), str(clue.when)) for clue in checklist.clues] == [
        ("stained", "place", "stain is brown"),
        ("old-roof", "None", "age > old"),
        ("no-rain", "None", "rain is no"),
    ]
    assert [(str(place), str(limit)) for place, limit in checklist.clues[1].weighs] == [
        ("chimney", "old_weight"),
        ("skylight", "old_weight"),
    ]
