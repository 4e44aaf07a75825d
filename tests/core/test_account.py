"""What margins, workings and explanations say, and the JSON made of them."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from stillair import account
from stillair.assess import EntryError
from stillair.because import because, lifting, resolve
from stillair.margin import Judgement, changes, judgement_of_rule
from stillair.verdict import Verdict
from stillair.wording import floor_digits

Tank = Any  # the job of `conftest`

PSI = 6894.757293168361


def leaf(tree: Judgement) -> Judgement:
    return next(iter(tree.leaves))


def measured(tank: Tank, bottom: str = "21 psig", depth: str = "30 ft") -> Tank:
    """A tank whose facts for the weight are known, read with the gauge G1 (2 psi offset, 1 psi repeat)."""
    tank.gauge("G1", 2, 1)
    tank.note("smell", "no")
    tank.note("liquid", "water")
    tank.note("depth", depth)
    tank.note("bottom", bottom, "G1")
    return tank


# -- margins -------------------------------------------------------------------------------------------------


def test_a_decided_comparison_says_its_value_its_side_and_what_is_to_spare(tank: Tank) -> None:
    """25 ± 2.236 psig against 20: 25 - 2.236 - 20 = 2.76 to spare."""
    tree = judgement_of_rule(measured(tank, "25 psig").words, "too-little", None)
    assert leaf(tree).says == (
        "bottom = 25.0 psig ± 2.2 psi (line 7, 09:00), wholly at or above 20 psig, 2.8 psi to spare"
    )
    assert tree.verdict is Verdict.FAILS


def test_a_difference_shows_its_working_and_what_its_tolerance_is_made_of(tank: Tank) -> None:
    """30 ft of water weigh 1000 x 9.80665 x 9.144 Pa = 13.0058 psi; 21 - 13.0058 = 7.994 psi.

    The tolerance: the root of 2² + 1² + 0.0361², the last from 1 in of depth.
    """
    found = leaf(judgement_of_rule(measured(tank).words, "full-weight", None))
    assert pytest.approx(13.0058, abs=5e-5) == 1000 * 9.80665 * 9.144 / PSI
    assert found.working == ("21 psig - 13.0058 psig = 7.99417 psi",)
    assert "bottom - expected = 8.0 psi ± 2.2 psi" in found.says
    assert found.says.endswith("wholly outside ±2 psi, 3.8 psi to spare")
    assert found.doubt == (
        "2.2 psi = root of the sum of the squares of 2 psi (from offset of G1), "
        "1 psi (from reading of bottom, line 7), 0.04 psi (from 1 in reading of depth, line 6)"
    )


def test_the_offset_of_one_instrument_cancels_and_is_shown_to(tank: Tank) -> None:
    measured(tank)
    tank.minutes(5)
    tank.note("later", "16 psig", "G1")
    found = leaf(judgement_of_rule(tank.words, "losing", None))
    assert "= 5.0 psi ± 1.4 psi" in found.says
    assert "0 psi (from 2 psi offset of G1)" in found.doubt


def test_too_close_to_call_says_which_instrument_would_settle_it(tank: Tank) -> None:
    tree = judgement_of_rule(measured(tank, "21 psig").words, "too-little", None)
    found = leaf(tree)
    assert found.says == "bottom: too close to call: 21.0 psig ± 2.2 psi against 20 psig"
    assert found.settles == "G1 good to ±0.99 psi instead of ±2.236 psi would settle it"


@pytest.mark.parametrize("offset", [0.0, 0.3])
def test_the_instrument_said_to_settle_it_does_settle_it(new_tank: Any, offset: float) -> None:
    """With the tolerance it names the verdict is decided; with a hundredth more than needed it is not."""
    for good, verdict in ((0.99, Verdict.FAILS), (1.01, Verdict.OPEN)):
        tank = new_tank()
        tank.gauge("G2", offset, math.sqrt(good * good - offset * offset))
        tank.note("bottom", "21 psig", "G2")
        assert judgement_of_rule(tank.words, "too-little", None).verdict is verdict


def test_a_value_at_the_edge_is_settled_by_no_instrument(tank: Tank) -> None:
    found = leaf(judgement_of_rule(measured(tank, "20 psig").words, "too-little", None))
    assert found.settles == "no better instrument would settle it, only another value"


def test_what_is_not_known_says_so_and_shows_no_number(tank: Tank) -> None:
    found = leaf(judgement_of_rule(tank.words, "full-weight", None))
    assert found.says.startswith("bottom - expected: not known – ")
    assert "bottom: not asked" in found.says
    assert "depth: not asked" in found.says


def test_an_attribute_of_a_catalogue_is_shown_with_its_value(tank: Tank) -> None:
    tank.note("liquid", "oil")
    assert (
        leaf(judgement_of_rule(tank.words, "burns", None)).says == "liquid: oil, burning yes (line 3, 09:00)"
    )


def test_a_tolerance_is_rounded_down_so_that_it_is_enough_as_said() -> None:
    assert floor_digits(1.899) == pytest.approx(1.8)
    assert floor_digits(0.0299) == pytest.approx(0.029)
    assert floor_digits(0.0) == 0.0


# -- what would change it ------------------------------------------------------------------------------------


def test_the_nearest_value_that_turns_a_verdict_turns_it(new_tank: Any) -> None:
    """25 psig holds against `bottom < 20`; it turns where the whole span lies below."""
    tank = measured(new_tank(), "25 psig")
    found = tank.assess()
    rule = tank.program.rules["too-little"]
    assert changes(tank.words, found.view, rule.when) == ("bottom below 17.8 psig (now 25 psig)",)
    below = measured(new_tank(), "17.7 psig")
    assert below.assess().view.judge(rule.when) is Verdict.HOLDS


def test_a_difference_says_how_far_one_reading_would_have_to_move(tank: Tank) -> None:
    """5 ± 1.414 psi is above 3; it is not once it is at 3 - 1.414 = 1.586, so 3.414 lower."""
    measured(tank)
    tank.minutes(5)
    tank.note("later", "16 psig", "G1")
    assert changes(tank.words, tank.assess().view, tank.program.rules["losing"].when) == (
        "bottom - later at 1.6 psi or less (now 5 psi), as by bottom 3.4 psi lower or later 3.4 psi higher",
    )


def test_nothing_is_said_to_change_it_where_the_tolerance_is_wider_than_the_band(tank: Tank) -> None:
    """No value read with ± 2.24 psi can lie wholly inside ± 2 psi."""
    measured(tank)
    assert changes(tank.words, tank.assess().view, tank.program.rules["full-weight"].when) == ()


def test_what_lifts_a_gate_is_named(tank: Tank) -> None:
    tank.add("listed", list="valve")
    tank.note("smell", "no")
    tank.note("locked of inlet", "no")
    tank.note("locked of outlet", "yes")
    assert lifting(tank.words, "fill", None) == ("every valve has (locked is yes): so",)


# -- why -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "kind", "state"),
    [
        ("bottom", "fact", "21.0 psig ± 2.2 psi"),
        ("low", "finding", "open: may still be none or confirmed"),
        ("full-weight", "rule", "fails"),
        ("expected", "calculation", "13.006 psig ± 0.036 psi"),
        ("rest", "wait", "not started"),
        ("filling", "activity", "not yet"),
        ("fill", "step", "not yet; may be done: not yet"),
        ("seam", "place", "not looked"),
        ("stir", "powered state", "holds"),
        ("least", "limit", "20 psig"),
        ("valve_shut", "event", "has not happened, as far as is known"),
        ("drip of roof", "finding", "open: may still be none or confirmed or not found"),
    ],
)
def test_why_explains_each_kind_of_name(tank: Tank, name: str, kind: str, state: str) -> None:
    found = because(measured(tank).words, name)
    assert (found.kind, found.state) == (kind, state)


def test_why_of_a_name_kept_per_list_explains_each_member(tank: Tank) -> None:
    tank.note("locked of inlet", "yes")
    found = because(tank.words, "locked")
    assert [(each.name, each.state) for each in found.members] == [
        ("locked of inlet", "yes"),
        ("locked of outlet", "not known"),
    ]


def test_why_of_a_place_shows_what_the_look_rested_on(tank: Tank) -> None:
    """A dry look counts only with a good lamp and after the rest."""
    tank.note("lamp", "weak")
    tank.note("look of seam", "dry")
    found = because(tank.words, "seam")
    assert found.state == "void"
    heading, tree = found.trees[0]
    assert heading == "counts when, as of 09:00"
    assert [(each.text, each.verdict) for each in tree.parts] == [
        ("lamp is good", Verdict.FAILS),
        ("rest is ready", Verdict.FAILS),
    ]


def test_a_finding_that_aged_is_explained_by_the_moment_that_decided_it(tank: Tank) -> None:
    """A reading is good for 30 min; the finding stands, and its tree shows the reading of then."""
    measured(tank, "13 psig")
    tank.minutes(90)
    words = tank.words
    assert tank.assess().finding("low").grade == "confirmed"
    tree = judgement_of_rule(words, "too-little", None)
    assert tree.verdict is Verdict.HOLDS
    assert "13.0 psig" in leaf(tree).says


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("botom", "nothing is called `botom`"),
        ("bottom of inlet", "`bottom` is not kept per member"),
        ("locked of inlt", "`inlt` is not in the list valve"),
    ],
)
def test_a_name_that_does_not_exist_is_named_with_the_nearest(tank: Tank, name: str, said: str) -> None:
    with pytest.raises(EntryError) as raised:
        resolve(tank.words, name)
    assert said in raised.value.message
    assert raised.value.help


# -- JSON ----------------------------------------------------------------------------------------------------


def test_every_account_names_its_format_and_is_plain_json(tank: Tank) -> None:
    """No infinity, no NaN, nothing that JSON cannot hold, whatever is known."""
    words = measured(tank).words
    permission = words.found.permission("fill", None)
    accounts = [
        account.assessment(words),
        account.next_action(words),
        account.why(because(words, "low")),
        account.permission(words, "fill", None, permission, step=True),
        account.instruments(words, tank.at),
    ]
    for each in accounts:
        assert str(each["format"]).startswith("stillair.")
        assert str(each["format"]).endswith("/1")
        json.loads(json.dumps(each, allow_nan=False))
    assert accounts[0]["format"] == "stillair.assessment/1"


def test_an_assessment_gives_every_number_with_its_unit(tank: Tank) -> None:
    told = account.assessment(measured(tank).words)
    facts: Any = told["facts"]
    bottom = next(f for f in facts if f["fact"] == "bottom")
    assert (bottom["value"], bottom["unit"]) == (21.0, "psig")
    assert bottom["low"] == pytest.approx(21 - math.sqrt(5))
    assert bottom["high"] == pytest.approx(21 + math.sqrt(5))
    later = next(f for f in facts if f["fact"] == "later")
    assert (later["low"], later["high"]) == (-15.0, 100.0)
    assert later["reasons"][0]["why"] == "not asked"


def test_an_assessment_gives_times_in_the_zone_of_the_job(tank: Tank) -> None:
    assert account.assessment(tank.words)["at"] == "2026-04-15T09:00:00-04:00"


def test_a_permission_says_what_is_missing_or_stands_against_it(tank: Tank) -> None:
    words = tank.words
    told: Any = account.permission(words, "fill", None, words.found.permission("fill"), step=True)
    assert told["may"] == "not yet"
    assert "smell" in [each["fact"] for each in told["missing"]]
    tank.note("smell", "yes")
    words = tank.words
    told = account.permission(words, "fill", None, words.found.permission("fill"), step=True)
    assert (told["may"], told["safety"]) == ("no", True)
    assert told["blocked"][0]["lifted_by"] == "The smell is gone and you answer again."


def test_instruments_say_when_their_check_is_due(tank: Tank) -> None:
    tank.gauge("G1", 2, 1, checked="2025-04-01")
    tank.gauge("G2", 2, 1, checked="2026-04-01")
    tank.note("bottom", "21 psig", "G1")
    told: Any = account.instruments(tank.words, tank.at)
    rows = [(i["serial"], i["check_due"], i["overdue"], i["lines"]) for i in told["instruments"]]
    assert rows == [("G1", "2026-04-01", True, [5]), ("G2", "2027-04-01", False, [])]
    assert (told["instruments"][0]["offset"], told["instruments"][0]["unit"]) == (2.0, "psi")


def test_whether_the_edge_itself_turns_a_verdict_is_said(new_tank: Any) -> None:
    """13 psig holds against `bottom < 20`, which 20 does not; 0 psi fails `> 3 psi`, which 3 does."""
    tank = measured(new_tank(), "13 psig")
    rule = tank.program.rules["too-little"]
    assert changes(tank.words, tank.assess().view, rule.when) == (
        "bottom at 22.2 psig or more (now 13 psig)",
    )
    tank.minutes(5)
    tank.note("later", "13 psig", "G1")
    (said,) = changes(tank.words, tank.assess().view, tank.program.rules["losing"].when)
    assert said.startswith("bottom - later above 4.4 psi (now 0 psi)")
