"""Calculators that take a whole series of readings, and instruments good to a share of what they read."""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Mapping
from datetime import UTC
from pathlib import Path

import pytest
from stillair.calculate import CalculateError, calculate
from stillair.calculator import Calculator, Example, Input, OutOfRange, Readings, Source, calculator
from stillair.condition.core import Ref
from stillair.fault import StillairError
from stillair.possible import Number
from stillair.verdict import Verdict, Why
from stillair.wording import Wording
from stillair.working import working

sys.path.insert(0, str(Path(__file__).parent))
import test_assess
from test_assess import Visit

HOLDS, FAILS, OPEN = Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN


@calculator(
    inputs={"readings": Input(series="length"), "least": Input("length", default="0 m")}, output="speed",
    unit="m/s", formula="(last reading - first reading) / time between", valid="two readings and more",
    sources=(Source("made for this test"),),
    examples=(Example({"readings": "0 s: 1 m; 10 s: 3 m"}, "0.2 m/s", "0.001 m/s"),),
)  # fmt: skip
def climb(readings: Readings, least: float) -> float:
    """How fast a level climbs."""
    (begun, low), (ended, high) = readings[0], readings[-1]
    if len(readings) < 2:
        raise OutOfRange("one reading shows no climb")
    if high < least:
        raise OutOfRange("too low")
    return (high - low) / (ended - begun)


CALCULATORS: Mapping[str, Calculator] = {"climb": climb}

LEVELS = """
    instruments:
      tape: {title: Tape, quantity: length, offset: 1 m, repeat: 3 mm}
      wheel: {title: Wheel, quantity: length, of reading: 10 %}
    facts:
      level:
        {ask: Level?, quantity: length, unit: m, between: 0 m .. 100 m, nature: series, read with: tape,
         void after: [emptied]}
      rolled:
        {ask: Rolled?, quantity: length, unit: m, between: 0 m .. 100 m, nature: series, read with: wheel}
      state: {ask: Level now?, quantity: length, between: 0 m .. 100 m}
      steady:
        ask: Held?
        kind: yes-no
      judged:
        ask: Judged?
        quantity: length
        unit: m
        between: 0 m .. 100 m
        nature: series
        counts when: first steady after judged is yes
    events:
      emptied: {say: It was emptied}
    calculate:
      rate: climb(level, 0 m)
      later: climb(judged, 0 m)
      rolling: climb(rolled, 0 m)
    rules:
      - {rule: climbs, caution: c, when: rate > 4 mm/s}
      - {rule: climbs-later, caution: c, when: later > 4 mm/s}
      - {rule: far, caution: c, when: rolled > 45 m}
"""


class Levels(Visit):
    def __init__(self, text: str = LEVELS) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(test_assess, "CALCULATORS", CALCULATORS)
            super().__init__(text)

    def number(self, name: str) -> Number:
        return self.judge().view.number(Ref(name))


def test_a_series_is_given_whole_with_its_times() -> None:
    visit = Levels()
    visit.see(instrument="T-1", level=10.0)
    visit.at(1).see(instrument="T-1", level=10.1)
    visit.at(2).see(instrument="T-1", level=10.6)
    assert visit.number("rate").middle == pytest.approx(0.6 / 120)
    assert visit.rule("climbs") is HOLDS


def test_what_all_readings_share_cancels_and_what_each_has_does_not() -> None:
    """An offset of 1 m is nothing in a climb; of 3 mm in each of two readings the root of the squares is."""
    visit = Levels()
    visit.see(instrument="T-1", level=10.0)
    visit.at(2).see(instrument="T-1", level=10.6)
    assert visit.number("rate").tolerance == pytest.approx(0.003 * math.sqrt(2) / 120)


def test_with_one_reading_or_none_it_is_open() -> None:
    visit = Levels()
    assert visit.rule("climbs") is OPEN
    assert visit.whys("climbs") == {Why.NOT_ASKED}
    visit.see(instrument="T-1", level=10.0)
    assert visit.rule("climbs") is OPEN
    assert visit.whys("climbs") == {Why.OUTSIDE}


def test_only_the_readings_that_still_stand_are_in_it() -> None:
    visit = Levels()
    visit.see(instrument="T-1", level=1.0)
    visit.at(5).happen("emptied")
    visit.at(6).see(instrument="T-1", level=10.0)
    visit.at(8).see(instrument="T-1", level=10.6)
    assert visit.number("rate").middle == pytest.approx(0.6 / 120)


def test_a_reading_that_may_come_not_to_count_leaves_it_open() -> None:
    visit = Levels()
    visit.see(judged=10.0)
    visit.at(2).see(judged=10.6)
    assert visit.rule("climbs-later") is OPEN
    visit.at(3).see(steady="yes")
    assert visit.rule("climbs-later") is HOLDS


def test_a_correction_of_a_reading_keeps_its_time() -> None:
    visit = Levels()
    visit.see(instrument="T-1", level=10.0)
    line = visit.at(2).see(instrument="T-1", level=16.0)
    visit.at(9).correct(line, level=10.6)
    assert visit.number("rate").middle == pytest.approx(0.6 / 120)


def test_the_working_lists_the_readings() -> None:
    visit = Levels()
    visit.see(instrument="T-1", level=10.0)
    visit.at(2).see(instrument="T-1", level=10.6)
    found = visit.judge()
    formula = found.program.calculations["rate"][0]
    shown = working(Wording(found, UTC), found.view, formula, Ref("rate"), "rate")
    assert shown.steps[0] == "level: 0 min 10 m; 2 min 10.6 m"
    assert shown.steps[-1] == "climb(level, 0 m) = 0.005 m/s"


@pytest.mark.parametrize(
    ("formula", "said"),
    [
        ("climb(state, 0 m)", "takes a series"),
        ("climb(10 m, 0 m)", "takes a series"),
        ("climb(steady, 0 m)", "takes a series"),
    ],
)
def test_only_a_series_may_be_given_for_one(formula: str, said: str) -> None:
    with pytest.raises(StillairError, match=said):
        Levels(LEVELS.replace("rate: climb(level, 0 m)", f"rate: {formula}"))


def test_brute_force_over_the_errors_of_the_readings() -> None:
    """95 % of draws of each reading's own error lie in the span (JCGM 101:2008)."""
    visit = Levels()
    values = [10.0, 10.2, 10.5]
    for minute, value in enumerate(values):
        visit.at(minute).see(instrument="T-1", level=value)
    low, high = visit.number("rate").span()
    draw = random.Random(4).gauss
    sigma = 0.003 / 1.959963984540054
    inside = 0
    for _ in range(20_000):
        shared = draw(0.0, 1 / 1.959963984540054)
        drawn = [(60.0 * i, v + shared + draw(0.0, sigma)) for i, v in enumerate(values)]
        inside += low <= climb(drawn, 0.0) <= high
    assert inside / 20_000 == pytest.approx(0.95, abs=0.01)


# -- a share of the reading ---------------------------------------------------------------------------------


def test_a_tolerance_may_be_a_share_of_what_is_read() -> None:
    visit = Levels()
    visit.see(rolled=40.0)
    assert visit.number("rolled").span() == (36.0, 44.0)
    assert visit.rule("far") is FAILS
    visit.at(1).see(rolled=42.0)
    assert visit.rule("far") is OPEN, "42 m may be 46.2 m"
    visit.at(2).see(rolled=60.0)
    assert visit.rule("far") is HOLDS


def test_one_scale_for_all_readings_of_a_serial() -> None:
    """10 % of a climb of 2 m, not 10 % of 40 m twice."""
    visit = Levels()
    visit.see(instrument="W-1", rolled=40.0)
    visit.at(2).see(instrument="W-1", rolled=42.0)
    assert visit.number("rolling").tolerance == pytest.approx(0.1 * 2.0 / 120)


def test_a_declared_instrument_has_its_own_share() -> None:
    visit = Levels()
    visit.note("instrument", serial="W-2", kind="wheel", offset=0, repeat=0, resolution=0, of_reading=0.01)
    visit.see(instrument="W-2", rolled=40.0)
    assert visit.number("rolled").tolerance == pytest.approx(0.4)


def test_no_share_is_taken_of_a_temperature() -> None:
    text = LEVELS.replace(
        "wheel: {title: Wheel, quantity: length, of reading: 10 %}",
        "wheel: {title: Wheel, quantity: length, of reading: 10 %}\n      "
        "probe: {title: Probe, quantity: temperature, of reading: 1 %}",
    )
    with pytest.raises(StillairError, match="no share can be taken of a temperature"):
        Levels(text)


# -- calc ---------------------------------------------------------------------------------------------------


def test_calc_takes_a_series_as_it_is_said() -> None:
    found = calculate(climb, {"readings": "0 min: 10 m; 2 min: 10.6 ± 0.003 m; 4 min: 11.2 m"}, {})
    assert found.number.middle == pytest.approx(1.2 / 240)
    assert any("10.6 m" in step and "0.005 m/s" in step for step in found.working)


def test_calc_says_how_a_tolerance_of_one_reading_enters() -> None:
    found = calculate(climb, {"readings": "0 min: 10 m; 2 min: 10.6 m ± 3 mm"}, {})
    assert found.number.tolerance == pytest.approx(0.003 / 120)
    assert any("readings at 2 min 10.603 m gives" in step for step in found.working)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "is missing"),
        ("10 m, 11 m", "is not TIME: READING"),
        ("0 min: 10 m; 0 min: 11 m", "does not come after"),
        ("2 min: 10 m; 1 min: 11 m", "does not come after"),
        ("soon: 10 m", "does not begin with a number"),
        ("0 min: 10 psig; 1 min: 3", "is a gauge pressure"),
        ("0 min: 10; 1 min: 3 m", "a unit is missing after 10"),
    ],
)
def test_calc_refuses_a_series_it_cannot_read(typed: str, said: str) -> None:
    with pytest.raises(CalculateError) as refused:
        calculate(climb, {"readings": typed}, {})
    assert said in refused.value.message
