"""Sums, highest and lowest over the members of a list: top-ups, joints and probes, as they are entered."""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Callable, Mapping
from datetime import UTC
from pathlib import Path

import pytest
from stillair.assess import assess, follow
from stillair.because import because
from stillair.calculator import Calculator, Example, Input, OutOfRange, Source, calculator
from stillair.condition.core import Ref
from stillair.fault import StillairError
from stillair.margin import judgement_of_rule
from stillair.possible import Number
from stillair.verdict import Verdict, Why
from stillair.wording import Wording

sys.path.insert(0, str(Path(__file__).parent))
import test_assess
from test_assess import START, Visit

HOLDS, FAILS, OPEN = Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN
DAY = 86400.0
CENTURY = 4102444800.0
"""The first second of 2100 (UTC), the end of the range of a date."""
OUNCE = 0.028349523125
PSI = 6894.757293168361
_MADE = (Source("made for this test"),)


@calculator(
    inputs={"added": Input("mass"), "over": Input("duration")}, output="mass flow", unit="oz/yr",
    formula="added / over", valid="from one day", sources=_MADE, rises_with=("added",), falls_with=("over",),
    examples=(Example({"added": "1 oz", "over": "365 d"}, "1 oz/yr", "0.1 oz/yr"),),
)  # fmt: skip
def yearly(added: float, over: float) -> float:
    """What was added over the time."""
    if over < DAY:
        raise OutOfRange("shorter than a day")
    return added / over


@calculator(
    inputs={"added": Input("mass")}, output="mass", unit="oz", formula="added", valid="up to 30 lb",
    sources=_MADE, rises_with=("added",), examples=(Example({"added": "1 oz"}, "1 oz", "0.1 oz"),),
)  # fmt: skip
def on_the_scale(added: float) -> float:
    """What a small scale can weigh."""
    if added > 13.6:
        raise OutOfRange("more than the scale can weigh")
    return added


CALCULATORS: Mapping[str, Calculator] = {"yearly": yearly, "on_the_scale": on_the_scale}

TOP_UPS = """
    instruments:
      gauge: {title: Gauge, quantity: gauge pressure, offset: 2 psi, repeat: 1 psi}
    lists:
      top_up: {title: Top-ups, ask: Any other?, members: {}, open: true}
      joint: {title: Joints, members: {near: Near, mid: Mid, far: Far}}
    facts:
      topped_on:
        ask: When?
        quantity: moment
        between: 2000-01-01 00:00 +00:00 .. 2100-01-01 00:00 +00:00
        per: top_up
      added:
        {ask: How much?, quantity: mass, between: 0 oz .. 40 lb, unit: oz, per: top_up, tolerance: 0.5 oz}
      leaking: {ask: Leaking?, kind: yes-no, per: joint}
      probe: {ask: Reading?, quantity: number, between: -9 .. 9, per: joint, nature: fixed}
      pressure:
        ask: Pressure?
        quantity: gauge pressure
        unit: psig
        between: -200 psig .. 500 psig
        per: joint
        read with: gauge
    calculate:
      newest: highest of topped_on over top_up
      oldest: lowest of topped_on over top_up
      before_newest: highest of topped_on over top_up with (topped_on < newest)
      lost: sum of added over top_up with (topped_on > oldest)
      rate: yearly(lost, newest - oldest)
      weighed: on_the_scale(lost)
      peak: highest of pressure over joint
    rules:
      - {rule: much-lost, caution: c, when: lost > 20 oz}
      - {rule: leaks, caution: c, when: rate > 10 oz/yr}
      - {rule: light, caution: c, when: weighed > 20 oz}
      - {rule: twice, caution: c, when: before_newest > oldest}
      - {rule: same, caution: c, when: before_newest <= oldest}
      - {rule: is-newest, caution: c, when: topped_on < newest, per: top_up}
      - {rule: leaky-sum, caution: c, when: sum of probe over joint with (leaking is yes) > 0}
      - {rule: leaky-sum-low, caution: c, when: sum of probe over joint with (leaking is yes) >= -2}
      - {rule: high-leak, caution: c, when: highest of probe over joint with (leaking is yes) > 3}
      - {rule: low-leak, caution: c, when: lowest of probe over joint with (leaking is yes) < -3}
      - {rule: per-probe, caution: c, when: 12 / (highest of probe over joint) < 7}
      - {rule: below, caution: c, when: pressure < peak, per: joint}
      - {rule: not-below, caution: c, when: peak > pressure, per: joint}
      - {rule: high, caution: c, when: peak > 99 psig}
"""


class TopUps(Visit):
    """A job with top-ups: `top(1, day=3, ounces=8)`."""

    def __init__(self, text: str = TOP_UPS) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(test_assess, "CALCULATORS", CALCULATORS)
            super().__init__(text)

    def top(self, number: int, day: float | None = None, ounces: float | None = None) -> None:
        name = f"t{number}"
        self.note("member", list="top_up", member=name, label=f"Top-up {number}")
        if day is not None:
            self.see(**{f"topped_on_of_{name}": START + day * DAY})
        if ounces is not None:
            self.see(**{f"added_of_{name}": ounces * OUNCE})

    def all_listed(self) -> None:
        self.note("listed", list="top_up")

    def number(self, name: str) -> Number:
        return self.judge().view.number(Ref(name))

    def day(self, name: str) -> float:
        return (self.number(name).low - START) / DAY

    @property
    def words(self) -> Wording:
        return Wording(self.judge(), UTC)

    def missing(self, rule: str) -> set[str]:
        """What could still decide a rule, the closing of a list included."""
        found = self.judge()
        when = self.program.rules[rule].when
        names = {str(ref) for ref in found.view.missing(when)}
        return names | {r.about for r in found.view.reasons(when) if r.why is Why.OPEN_LIST}


# -- which of them ------------------------------------------------------------------------------------------


def test_the_latest_of_some_dates_and_the_one_before_it() -> None:
    """Three top-ups, entered in no order; one calculation is named in the condition of another."""
    visit = TopUps()
    visit.top(1, day=300)
    visit.top(2, day=40)
    visit.top(3, day=170)
    visit.all_listed()
    assert [visit.day(name) for name in ("oldest", "before_newest", "newest")] == [40, 170, 300]
    assert visit.rule("twice") is HOLDS
    assert [visit.rule("is-newest", t) for t in ("t1", "t2", "t3")] == [FAILS, HOLDS, HOLDS]


def test_of_an_open_list_the_latest_may_still_be_later() -> None:
    """What is known stays known: at least the latest so far. Only closing the list makes it the latest."""
    visit = TopUps()
    visit.top(1, day=40)
    visit.top(2, day=170)
    newest = visit.number("newest")
    assert newest.span() == (START + 170 * DAY, CENTURY), "the fact's own range is all that is left"
    assert {r.why for r in newest.reasons} == {Why.OPEN_LIST}
    assert visit.rule("is-newest", "t1") is HOLDS, "a later one is known already"
    assert visit.rule("is-newest", "t2") is OPEN
    visit.all_listed()
    assert visit.rule("is-newest", "t2") is FAILS
    assert not visit.number("newest").reasons


def test_over_no_member_there_is_no_latest() -> None:
    """Nobody said anything: open. An empty list that is closed: no number, and why."""
    visit = TopUps()
    assert visit.number("newest").undefined
    assert visit.whys("leaks") == {Why.OPEN_LIST}
    visit.all_listed()
    newest = visit.number("newest")
    assert newest.undefined
    assert [str(reason) for reason in newest.reasons] == ["top_up: none listed"]
    assert visit.number("lost").span() == (0, 0), "the sum of nothing is nothing"
    assert (visit.rule("twice"), visit.rule("same"), visit.rule("leaks")) == (OPEN, OPEN, OPEN)


def test_none_that_meets_the_condition_is_no_number_either() -> None:
    """One top-up has none before it: neither answer, and the reason says why."""
    visit = TopUps()
    visit.top(1, day=40)
    visit.all_listed()
    before = visit.number("before_newest")
    assert before.undefined
    assert [str(reason) for reason in before.reasons] == ["top_up: none of 1 with topped_on < newest"]
    assert (visit.rule("twice"), visit.rule("same")) == (OPEN, OPEN)


def test_a_date_nobody_gave_keeps_the_latest_open_and_is_what_is_missing() -> None:
    visit = TopUps()
    visit.top(1, day=40)
    visit.top(2)
    visit.all_listed()
    newest = visit.number("newest")
    assert newest.span() == (START + 40 * DAY, CENTURY)
    assert [(r.why, r.about) for r in newest.reasons] == [(Why.NOT_ASKED, "topped_on of t2")]
    assert "topped_on of t2" in visit.missing("twice")
    assert "topped_on of t1" not in visit.missing("twice")
    visit.see(topped_on_of_t2=START + 90 * DAY)
    assert visit.day("newest") == 90


def test_a_circle_through_a_condition_is_refused() -> None:
    """A number that is taken over the members that it picks itself."""
    newest = "newest: highest of topped_on over top_up"
    text = TOP_UPS.replace(f"{newest}\n", f"{newest} with (topped_on < before_newest)\n")
    with pytest.raises(StillairError, match="depends on itself"):
        TopUps(text)


# -- sums ---------------------------------------------------------------------------------------------------


def test_a_sum_is_of_the_members_that_meet_the_condition() -> None:
    """The first charge is no loss: what was added after the first date counts, each with its tolerance."""
    visit = TopUps()
    for number, (day, ounces) in enumerate([(0, 40), (180, 12), (365, 16)], 1):
        visit.top(number, day, ounces)
    visit.all_listed()
    lost = visit.number("lost")
    assert lost.low == lost.high == pytest.approx(28 * OUNCE)
    assert lost.tolerance == pytest.approx(0.5 * OUNCE * math.sqrt(2)), "0.5 oz each, root of the squares"
    assert visit.rule("much-lost") is HOLDS
    assert visit.number("rate").low == pytest.approx(28 * OUNCE / (365 * DAY))


def test_a_member_that_may_or_may_not_count_gives_a_span() -> None:
    """A date not given: its 12 oz may be lost or be the first charge."""
    visit = TopUps()
    visit.top(1, 0, 40)
    visit.top(2, None, 12)
    visit.top(3, 365, 16)
    visit.all_listed()
    low, high = visit.number("lost").span()
    assert low == pytest.approx((16 - 0.5) * OUNCE)
    assert high == pytest.approx((16 + 12 + 40 + 1.5) * OUNCE), "the 40 oz count if the undated was before"
    assert visit.rule("much-lost") is OPEN
    assert visit.missing("much-lost") == {"topped_on of t2"}


def test_of_an_open_list_a_sum_of_what_is_never_negative_is_at_least_what_it_is() -> None:
    """Enough is enough: 28 oz are more than 20, whatever else was added; less than 40 nobody can say."""
    visit = TopUps()
    visit.top(1, 0, 40)
    visit.top(2, 180, 12)
    visit.top(3, 365, 16)
    # An earlier top-up nobody listed would make the 40 oz a loss, never these 28 oz none.
    lost = visit.number("lost")
    assert lost.low == pytest.approx(28 * OUNCE)
    assert lost.high == math.inf
    assert visit.rule("much-lost") is HOLDS


PROBES = {"near": 4.0, "mid": -3.0, "far": 1.0}


@pytest.mark.parametrize(
    ("leaking", "span"),
    [
        ({"near": "yes", "mid": "yes", "far": "yes"}, (2, 2)),
        ({"near": "yes", "mid": "no", "far": "no"}, (4, 4)),
        ({"near": "no", "mid": "no", "far": "no"}, (0, 0)),
        ({"near": "yes", "mid": None, "far": "yes"}, (2, 5)),
        ({"near": None, "mid": "no", "far": "no"}, (0, 4)),
        ({"near": None, "mid": None, "far": None}, (-3, 5)),
    ],
)
def test_an_open_member_counts_as_nothing_or_as_its_value(
    leaking: Mapping[str, str | None], span: tuple[float, float]
) -> None:
    """The sign is respected: a negative one that may count lowers the lower end only."""
    visit = _probes(leaking)
    name = next(n for n in visit.program.derived if n.startswith("=sum of probe"))
    assert visit.number(name).span() == span


def _probes(leaking: Mapping[str, str | None], values: Mapping[str, float] = PROBES) -> TopUps:
    visit = TopUps()
    for joint, value in values.items():
        visit.see(**{f"probe_of_{joint}": value})
        if leaking.get(joint) is not None:
            visit.see(**{f"leaking_of_{joint}": leaking[joint]})
    return visit


def test_highest_and_lowest_of_what_may_count() -> None:
    """Surely in: near 4. Mid, -3, may be: the highest is 4 all the same, the lowest -3 or 4."""
    visit = _probes({"near": "yes", "far": "no"})
    name = "={} of probe over joint with (leaking is yes)"
    assert visit.number(name.format("highest")).span() == (4, 4)
    assert visit.number(name.format("lowest")).span() == (-3, 4)
    assert visit.rule("high-leak") is HOLDS
    assert visit.rule("low-leak") is FAILS, "-3 is not below -3"
    visit = _probes({"near": "no", "far": "no"})
    assert visit.number(name.format("highest")).undefined, "there may be none"
    assert visit.missing("high-leak") == {"leaking of mid"}
    visit = _probes({"mid": "yes"})
    assert visit.number(name.format("highest")).span() == (-3, 4)
    assert visit.missing("high-leak") == {"leaking of near", "leaking of far"}
    assert visit.rule("leaky-sum-low") is OPEN, "-3 to 2"


def test_a_disputed_number_that_cannot_be_the_highest_does_not_matter() -> None:
    visit = _probes(dict.fromkeys(PROBES, "yes"))
    visit.see(probe_of_far=2.0)
    assert visit.number("=highest of probe over joint with (leaking is yes)").span() == (4, 4)
    assert not visit.number("=highest of probe over joint with (leaking is yes)").reasons
    visit.see(probe_of_near=1.5)
    disputed = visit.number("=highest of probe over joint with (leaking is yes)")
    assert disputed.span() == (1.5, 4)
    assert {(r.why, r.about) for r in disputed.reasons} == {
        (Why.DISPUTED, "probe of near"), (Why.DISPUTED, "probe of far"),
    }  # fmt: skip


def test_over_a_list_inside_a_list_each_fact_keeps_its_own_member() -> None:
    """For each box, the highest of the probes whose limit is that of the box."""
    text = """
        lists:
          box: {title: Boxes, members: {one: One, two: Two}}
          probe: {title: Probes, members: {p: P, q: Q}}
        facts:
          kind: {ask: Kind?, options: {a: A, b: B}, per: box}
          sort: {ask: Sort?, options: {a: A, b: B}, per: probe}
          seen: {ask: Seen?, quantity: number, between: -9 .. 9, per: probe}
          bias: {ask: Bias?, quantity: number, between: -9 .. 9, per: box}
        rules:
          - rule: high
            caution: c
            per: box
            when: highest of seen over probe with (kind is a and sort is a or kind is b and sort is b) > 5
          - {rule: biased, caution: c, per: box, when: sum of bias over probe with (sort is a) > 5}
    """
    visit = Visit(text)
    visit.see(kind_of_one="a", kind_of_two="b", sort_of_p="a", sort_of_q="b")
    visit.see(seen_of_p=9.0, seen_of_q=3.0, bias_of_one=7.0, bias_of_two=2.0)
    assert (visit.rule("high", "one"), visit.rule("high", "two")) == (HOLDS, FAILS)
    assert (visit.rule("biased", "one"), visit.rule("biased", "two")) == (HOLDS, FAILS)


# -- tolerance ----------------------------------------------------------------------------------------------


def _pressures(**psi: float) -> TopUps:
    visit = TopUps()
    for joint, amount in psi.items():
        visit.see(**{f"pressure_of_{joint}": amount * PSI, "instrument": "G1"})
    return visit


def test_the_one_highest_is_not_below_itself() -> None:
    """However coarse the gauge: compared with itself the highest has no doubt, the others keep their own."""
    visit = _pressures(near=90, mid=110, far=100)
    assert visit.number("peak").tolerance == pytest.approx(math.hypot(2, 1) * PSI)
    assert [visit.rule("below", j) for j in ("near", "mid", "far")] == [HOLDS, FAILS, HOLDS]
    assert [visit.rule("not-below", j) for j in ("near", "mid", "far")] == [HOLDS, FAILS, HOLDS]
    assert visit.rule("high") is HOLDS


def test_the_offset_of_one_gauge_cancels_between_two_members() -> None:
    """2 psi apart by one gauge: its offset of 2 psi is shared, and 1.4 psi of repeats are left."""
    visit = _pressures(near=108, mid=110, far=100)
    assert [visit.rule("below", j) for j in ("near", "mid", "far")] == [HOLDS, FAILS, HOLDS]


def test_two_that_may_be_the_highest_are_both_in_doubt() -> None:
    """1 psi apart: either may be the highest, so neither is surely below it, and none is surely it."""
    visit = _pressures(near=109, mid=110, far=100)
    assert [visit.rule("below", j) for j in ("near", "mid", "far")] == [OPEN, OPEN, HOLDS]
    low, high = visit.number("peak").span()
    assert low < (110 - math.hypot(2, 1)) * PSI
    assert high > (110 + math.hypot(2, 1)) * PSI


@pytest.mark.parametrize("middles", [(100, 109.5, 110), (110, 110, 110), (104, 107, 110), (90, 108.6, 110)])
@pytest.mark.parametrize("kind", ["highest", "lowest"])
def test_the_span_of_the_highest_covers_95_percent(kind: str, middles: tuple[float, ...]) -> None:
    """True pressures drawn around the readings (JCGM 101:2008): the span holds the highest of them."""
    sign = 1 if kind == "highest" else -1
    visit = TopUps(TOP_UPS.replace("peak: highest", f"peak: {kind}"))
    for joint, amount in zip(("near", "mid", "far"), middles, strict=True):
        visit.see(**{f"pressure_of_{joint}": sign * amount * PSI, "instrument": "G1"})
    low, high = (end / PSI for end in visit.number("peak").span())
    gauss = random.Random(3).gauss
    inside, draws = 0, 20_000
    for _ in range(draws):
        offset = gauss(0, 2 / 1.959964)
        true = [sign * m + offset + gauss(0, 1 / 1.959964) for m in middles]
        inside += low <= (max if sign > 0 else min)(true) <= high
    assert inside / draws >= 0.945


# -- known from one side ------------------------------------------------------------------------------------


def test_a_rate_of_what_was_added_at_least_is_at_least_that() -> None:
    """An open list: 28 oz or more. In a year or more that is little; in a known time it is enough to say."""
    visit = TopUps()
    visit.top(1, 0, 40)
    visit.top(2, 365, 28)
    rate = visit.number("rate")
    assert 0 < rate.low < 28 * OUNCE / (99 * 365 * DAY), "over the longest time that the dates may span"
    assert (rate.high, visit.rule("leaks")) == (math.inf, OPEN)
    visit = TopUps(TOP_UPS.replace("newest - oldest", "365 d"))
    visit.top(1, 0, 40)
    visit.top(2, 180, 28)
    rate = visit.number("rate")
    assert rate.low == pytest.approx(28 * OUNCE / (365 * DAY))
    assert rate.high == math.inf
    assert rate.tolerance == pytest.approx(0.5 * OUNCE / (365 * DAY))
    assert visit.rule("leaks") is HOLDS
    assert {r.why for r in rate.reasons} == {Why.OPEN_LIST}


def test_a_calculator_whose_range_ends_gives_no_bound() -> None:
    """At least 28 oz, but a scale of 30 lb might not be able to weigh the rest: no number."""
    visit = TopUps()
    visit.top(1, 0, 40)
    visit.top(2, 180, 28)
    assert visit.number("weighed").undefined
    assert visit.whys("light") == {Why.OPEN_LIST}
    visit.all_listed()
    assert visit.rule("light") is HOLDS


def test_what_falls_with_an_input_without_an_end_is_at_most() -> None:
    """`a - b` and `a / b`, where b is at least something."""
    text = """
        lists: {item: {title: Items, ask: Any other?, members: {}, open: true}}
        facts:
          weight: {ask: Weight?, quantity: mass, between: 0 kg .. 90 kg, per: item}
          whole: {ask: Whole?, quantity: mass, between: 0 kg .. 90 kg}
          change: {ask: Change?, quantity: number, between: -5 .. 5}
        calculate:
          used: sum of weight over item
          left: whole - used
          share: whole / used
          turned: change * (used / 1 kg)
          most: min(used, 30 kg)
          none: used - used
          apart: used / (count of item)
    """
    visit = Visit(text)
    visit.see(whole=40.0)
    visit.note("member", list="item", member="a", label="A")
    visit.see(weight_of_a=10.0)

    def span(name: str) -> tuple[float, float] | None:
        found = visit.judge().view.number(Ref(name))
        return None if found.undefined else (found.low, found.high)

    assert span("used") == (10, math.inf)
    assert span("left") == (-math.inf, 30)
    assert span("share") == (0, 4)
    assert span("most") == (10, 30)
    assert span("turned") is None, "it may be times a negative number"
    assert span("apart") is None
    visit.at(1).see(change=-2.0)
    assert span("turned") == (-math.inf, -20)
    visit.at(2).see(change=0.0)
    assert span("turned") == (0, 0)
    visit.at(3).see(whole=0.0)
    assert span("share") == (0, 0)
    visit.at(4).see(weight_of_a=0.0)
    assert span("share") is None, "there may be nothing to divide by"


def test_a_quotient_of_a_disputed_number() -> None:
    """12 over 2 to 4 is 3 to 6; over -1 to 4 it is no number, for it might be 12 over nothing."""
    visit = _probes({}, {"near": 2.0, "mid": -3.0, "far": 1.0})
    visit.see(probe_of_near=4.0)
    assert visit.rule("per-probe") is HOLDS
    visit = _probes({}, {"near": -1.0, "mid": -3.0, "far": -2.0})
    visit.see(probe_of_near=4.0)
    assert visit.rule("per-probe") is OPEN
    assert visit.whys("per-probe") == {Why.DISPUTED}


# -- what is said -------------------------------------------------------------------------------------------


def test_what_is_known_from_one_side_is_said_so_with_its_reason() -> None:
    visit = TopUps(TOP_UPS.replace("newest - oldest", "365 d"))
    visit.top(1, 0, 40)
    visit.top(2, 180, 12)
    visit.top(3, 365, 16)
    words = visit.words
    told = because(words, "rate")
    assert told.state == "at least 28.00 oz/yr ± 0.71 oz/yr"
    assert told.working is not None
    assert told.working.result == "rate is at least 28.00 oz/yr ± 0.71 oz/yr"
    assert told.working.steps[0] == ("if lost is 28 oz and no more: yearly(28 oz, 365 d) = 28 oz/yr")
    assert any("list not closed" in said for said in told.says)
    assert any("top_up" in said or "top-ups" in said for said in told.says)
    says = judgement_of_rule(words, "leaks", None).says
    assert says.startswith("rate is at least 28.00 oz/yr ± 0.71 oz/yr (lines ")
    assert "wholly above 10 oz/yr, 17.29 oz/yr to spare" in says
    assert "list not closed (nobody has said that the list of top-ups is complete)" in says
    assert words.value(Ref("newest"), visit.number("newest")).startswith("not before 20")


def test_what_would_decide_it_is_the_date_and_the_closing_of_the_list() -> None:
    """28 oz are too few to decide, and what is known of the sum is said all the same."""
    visit = TopUps()
    visit.top(1, 0, 40)
    visit.top(2, None, 12)
    visit.top(3, 365, 16)
    told = because(visit.words, "much-lost")
    assert told.decides == ("topped_on of t2: Top-up 2: When?", "Top-ups: Any other?")
    assert because(visit.words, "lost").decides == told.decides
    says = judgement_of_rule(visit.words, "much-lost", None).says
    assert says.startswith("lost: at least 16.00 oz ± 0.50 oz – topped_on of t2: not asked; top_up: list not")
    newest = because(visit.words, "newest").working
    assert newest is not None
    assert newest.steps == (), "Top-up 2 may be the newest"
    visit.all_listed()
    says = judgement_of_rule(visit.words, "much-lost", None).says
    assert says.startswith("lost: 1 lb to 4 lb 5 oz ± 0.5 oz – topped_on of t2: not asked")


def test_the_working_names_the_members() -> None:
    visit = TopUps()
    visit.top(1, 0, 40)
    visit.top(2, 180, 12)
    visit.top(3, 365, 16)
    told = because(visit.words, "lost")
    assert told.working is not None
    assert told.working.steps == (
        "sum of added over top_up with (topped_on > oldest) = 12 oz (Top-up 2) + 16 oz (Top-up 3) = 28 oz; "
        "Top-up 1 may count as well; more may be listed",
    )
    visit.all_listed()
    told = because(visit.words, "newest")
    assert told.working is not None
    (step,) = told.working.steps
    assert step.startswith("highest of topped_on over top_up = 20")
    assert step.endswith(" (Top-up 3)")
    assert not any("may" in step for step in told.working.steps)
    tree = judgement_of_rule(_probes({"near": "yes", "mid": "no", "far": "no"}).words, "high-leak", None)
    assert tree.working == ("highest of probe over joint with (leaking is yes) = 4 (Near)",)
    assert [(part.text, part.verdict) for part in tree.parts] == [
        ("Near", HOLDS), ("Mid", FAILS), ("Far", FAILS),
    ]  # fmt: skip


def test_the_same_from_nothing_and_from_the_entry_before() -> None:
    """What is worked out again after each entry is what is worked out from the whole job."""
    visit = TopUps()
    actions: list[Callable[[], object]] = [
        lambda: visit.top(1, 0, 40),
        lambda: visit.top(2, None, 12),
        lambda: visit.see(topped_on_of_t2=START + 90 * DAY),
        lambda: visit.all_listed(),
        lambda: visit.see(leaking_of_near="yes", probe_of_near=4.0),
        lambda: visit.see(probe_of_mid=-3.0),
        lambda: visit.see(added_of_t2=30 * OUNCE),
    ]
    before = visit.judge()
    for minute, action in enumerate(actions, 1):
        visit.at(minute)
        action()
        at = START + 60 * minute
        after = follow(before, visit.lines, at)
        whole = assess(visit.program, visit.lines, at)
        assert [(r.rule, r.member, r.verdict, r.reasons) for r in after.rules] == [
            (r.rule, r.member, r.verdict, r.reasons) for r in whole.rules
        ]
        before = after
