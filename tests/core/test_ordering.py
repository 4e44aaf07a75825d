"""Whether two steps can both be to be done: proved from their conditions, and held against jobs."""

from __future__ import annotations

from typing import Any

import pytest
from stillair.assess import Program, compile_packs
from stillair.authoring.mutation import reorders
from stillair.authoring.ordering import both_to_be_done
from stillair.authoring.pairing import TO_DO
from stillair.authoring.rehearse import Player
from stillair.pack import read_texts

HEAD = """
checklist: vat
title: Vat
facts:
  lid: {ask: Lid?, options: {shut: Shut, open: Open, off: Off}}
  valve: {ask: Valve?, options: {shut: Shut, open: Open}, safety: true}
  bottom: {ask: Gauge?, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig}
  old: {ask: Old?, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig, good for: 5 min}
  void: {ask: Void?, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig, void after: [drained]}
  worn: {ask: Worn?, options: {shut: Shut, open: Open}, good for: 5 min}
  joint: {ask: Joint?, options: {tight: Tight, wet: Wet}, per: hose}
  clip: {ask: Clip?, options: {on: On, off: Off}, per: hose}
lists:
  hose: {title: Hoses, ask: Which hoses?, members: {red: Red, blue: Blue}}
events:
  filled: {say: It was filled}
  drained: {say: It was drained}
  purged: {say: It was purged, per: hose}
waits:
  settle: {title: Settling, for: 10 min, since: [filled]}
  bleed: {title: Bleeding, for: 10 min, since: [any purged]}
conditions:
  known: lid is shut or lid is open
  closed: lid is shut and valve is shut
"""


def steps(first: str, second: str, more: str = "") -> Program:
    text = f"{HEAD}{more}steps:\n  - {{step: a, title: A, {first}}}\n  - {{step: b, title: B, {second}}}\n"
    manifest = "pack: vat\nversion: 1.0.0\ntitle: V\nengine: '>=0.1,<1'\nchecklists: [vat.yaml]\n"
    pack = read_texts({"manifest.yaml": manifest, "vat.yaml": text}, plugins={}, label="vat")
    return compile_packs([pack], {}, {})


def both(first: str, second: str, more: str = "") -> bool:
    program = steps(first, second, more)
    (pair,) = reorders(program)
    one, other = (program.steps[name] for name in pair)
    found = both_to_be_done(program, one, other)
    assert both_to_be_done(program, other, one) is found
    return found


FOUND = "rules:\n  - {rule: r, finding: leaks, grade: probable, when: bottom > 5 psig, say: S, source: s}\n"
STOP = "rules:\n  - {rule: r, stop: [filling], when: valve is open, say: S, lifted by: L, source: s}\n"
AGEING, VOIDED = FOUND.replace("bottom", "old"), FOUND.replace("bottom", "void")
OPENED = FOUND.replace("bottom > 5 psig", "lid is open")
WHILE = OPENED.replace("lid", "worn").replace("grade:", "while: true, grade:")
ALSO = "rules:\n  - {rule: q, finding: also, grade: probable, when: WHEN, say: S, source: s}\n"
WET = ALSO.replace("WHEN", "every hose has (joint is wet or clip is off)")
FILLING = "activities:\n  filling: {title: Filling}\n"


@pytest.mark.parametrize(
    ("first", "second", "more"),
    [
        pytest.param("do: A", "do: B, never: It bursts.", "", id="one is never done"),
        pytest.param(
            "do: A, when: lid is open", "do: B, when: lid is shut", "", id="they exclude each other"
        ),
        pytest.param(
            "do: A, gate: bottom > 5 psig", "do: B, when: bottom < 2 psig", "", id="so do their gates"
        ),
        pytest.param("ask: [lid]", "do: B, when: lid is shut", "", id="what is asked is needed"),
        pytest.param("ask: [lid]", "do: B, gate: closed", "", id="under a name"),
        pytest.param(
            "ask: [lid, valve]", "do: B, when: lid is shut, gate: valve is shut", "", id="each of two"
        ),
        pytest.param(
            "do: A, marks: [filled], wait: settle", "do: B, gate: settle is ready", "", id="it waits"
        ),
        pytest.param(
            "ask: [lid]", "do: B, when: leaks is at least suspected", OPENED, id="a finding rests on it"
        ),
        pytest.param(
            "ask: [valve]", "do: B, activity: filling", FILLING + STOP, id="a safety stop rests on it"
        ),
        pytest.param("do: A, when: known", "do: B, when: not known", "", id="a name and its negation"),
        pytest.param(
            "ask: [bottom], when: known",
            "do: B, when: leaks is at least suspected",
            FOUND.replace("bottom > 5 psig", "not known"),
            id="a finding rests on the negation",
        ),
        pytest.param("ask: [joint]", "ask: [clip], when: joint is wet", "", id="of the same member"),
        pytest.param("ask: [joint]", "do: B, when: every hose has (joint is wet)", "", id="of every member"),
        pytest.param(
            "ask: [worn]", "do: B, when: leaks is at least suspected", WHILE, id="a finding ends with its age"
        ),
    ],
)
def test_two_steps_are_never_both_to_be_done(first: str, second: str, more: str) -> None:
    assert not both(first, second, more)


@pytest.mark.parametrize(
    ("first", "second", "more"),
    [
        pytest.param("do: A", "do: B", "", id="nothing joins them"),
        pytest.param("do: A, when: lid is open", "do: B, when: lid is not shut", "", id="both may hold"),
        pytest.param("ask: [lid, valve]", "do: B, when: lid is shut", "", id="one of two is not needed"),
        pytest.param("ask: [lid]", "do: B, when: lid is shut or valve is shut", "", id="another will do"),
        pytest.param(
            "do: A, marks: [filled], wait: settle", "do: B, gate: since filled >= 0 min", "", id="it runs"
        ),
        pytest.param(
            "do: A, marks: [filled], wait: settle", "do: B, when: settle is running", "", id="while it runs"
        ),
        pytest.param("ask: [bottom]", "do: B, when: leaks is none", FOUND, id="none is found yet"),
        pytest.param(
            "ask: [lid]", "do: B, activity: filling", FILLING + STOP, id="the stop is of another fact"
        ),
    ],
)
def test_two_steps_may_both_be_to_be_done(first: str, second: str, more: str) -> None:
    assert both(first, second, more)


@pytest.mark.parametrize(
    ("first", "second", "more", "does"),
    [
        pytest.param(
            "do: A, marks: [filled]",
            "do: B, gate: since filled >= 0 min",
            "",
            [{"event": "filled"}],
            id="what is marked is entered by itself",
        ),
        pytest.param(
            "do: A, marks: [filled]",
            "do: B, gate: settle is ready",
            "",
            [{"event": "filled"}, {"at": "09:20"}],
            id="and begins a wait of another",
        ),
        pytest.param(
            "ask: [lid]",
            "do: B, when: lid is not off",
            ALSO.replace("WHEN", "lid is open"),
            [{"at": "09:05", "note": {"lid": "shut"}}, {"at": "09:05", "note": {"lid": "open"}}],
            id="two entries for one moment differ",
        ),
        pytest.param(
            "ask: [bottom]",
            "do: B, when: bottom > 5 psig",
            ALSO.replace("WHEN", "bottom > 15 psig"),
            [{"at": "09:05", "note": {"bottom": "10 psig"}}, {"at": "09:05", "note": {"bottom": "20 psig"}}],
            id="so may two readings",
        ),
        pytest.param(
            "ask: [old]",
            "do: B, when: leaks is at least suspected",
            AGEING,
            [{"note": {"old": "10 psig"}}, {"at": "09:10"}],
            id="what is found outlasts what it rests on",
        ),
        pytest.param(
            "ask: [void]",
            "do: B, when: leaks is at least suspected",
            VOIDED,
            [{"note": {"void": "10 psig"}}, {"at": "09:10", "event": "drained"}],
            id="also where something makes that void",
        ),
        pytest.param(
            "ask: [bottom]",
            "do: B, when: bottom <= 100 psig",
            ALSO.replace("WHEN", "bottom > 5 psig"),
            [],
            id="it cannot be otherwise",
        ),
        pytest.param(
            "ask: [bottom]",
            "do: B, when: bottom < 5 psig or bottom >= 5 psig",
            ALSO.replace("WHEN", "bottom > 5 psig"),
            [],
            id="one or the other holds in any case",
        ),
        pytest.param(
            "ask: [joint]",
            "do: B, when: joint of red is tight",
            WET,
            [{"note": {"joint of red": "tight"}}],
            id="it lacks of another member",
        ),
        pytest.param(
            "ask: [joint, valve]",
            "ask: [clip], when: joint is tight and valve is shut",
            WET,
            [{"note": {"joint of red": "tight", "valve": "shut"}}],
            id="one of them goes member by member",
        ),
        pytest.param(
            "ask: [joint], marks: [filled]",
            "do: B, gate: since filled >= 0 min and every hose has (joint is tight)",
            "",
            [{"note": {"joint of red": "tight", "joint of blue": "tight"}}, {"did": "a of red"}],
            id="it was done for another member",
        ),
        pytest.param(
            "ask: [joint], marks: [purged]",
            "do: B, gate: bleed is ready and every hose has (joint is tight)",
            "",
            [
                {"note": {"joint of red": "tight", "joint of blue": "tight"}},
                {"did": "a of red"},
                {"at": "09:20"},
            ],
            id="a wait begins with any of them",
        ),
        pytest.param(
            "ask: [clip], when: joint is wet, marks: [filled]",
            "do: B, when: any hose has (joint is tight) and every hose has (clip is on)",
            "",
            [
                {
                    "note": {
                        "joint of red": "wet",
                        "joint of blue": "tight",
                        "clip of red": "on",
                        "clip of blue": "on",
                    }
                }
            ],
            id="what excludes it holds of another member",
        ),
    ],
)
def test_what_a_job_shows_is_not_denied(
    first: str, second: str, more: str, does: list[dict[str, Any]]
) -> None:
    player = Player(
        steps(first, second, more), {"scenario": "S", "starts": "2026-04-15 09:00 -04:00"}, None, None
    )
    for number, each in enumerate(does):
        player.turn(number, each)
    to_do = {state.step for state in player.found().steps if state.status in TO_DO}
    assert to_do == {"a", "b"}
    assert both(first, second, more)
