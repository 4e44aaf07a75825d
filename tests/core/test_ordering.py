"""Whether two steps can both be to be done: proved from their conditions, and held against bundled jobs."""

from __future__ import annotations

import pytest
from stillair.assess import Program, compile_packs
from stillair.authoring.mutation import reorders
from stillair.authoring.ordering import both_to_be_done
from stillair.pack import read_texts

HEAD = """
checklist: vat
title: Vat
facts:
  lid: {ask: Lid?, options: {shut: Shut, open: Open, off: Off}}
  valve: {ask: Valve?, options: {shut: Shut, open: Open}, safety: true}
  bottom: {ask: Gauge?, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig}
lists:
  hose: {title: Hoses, ask: Which hoses?, members: {red: Red, blue: Blue}}
events:
  filled: {say: It was filled}
waits:
  settle: {title: Settling, for: 10 min, since: [filled]}
conditions:
  known: lid is shut or lid is open
"""


def steps(first: str, second: str, more: str = "") -> Program:
    text = f"{HEAD}{more}steps:\n  - {{step: a, title: A, {first}}}\n  - {{step: b, title: B, {second}}}\n"
    manifest = "pack: vat\nversion: 1.0.0\ntitle: V\nengine: '>=0.1,<1'\nchecklists: [vat.yaml]\n"
    pack = read_texts({"manifest.yaml": manifest, "vat.yaml": text}, plugins={}, label="vat")
    return compile_packs([pack], {}, {})


def both(first: str, second: str, more: str = "") -> bool:
    program = steps(first, second, more)
    (pair,) = reorders(program)
    return both_to_be_done(program, *(program.steps[name] for name in pair))


FOUND = "rules:\n  - {rule: r, finding: leaks, grade: probable, when: bottom > 5 psig, say: S, source: s}\n"
STOP = "rules:\n  - {rule: r, stop: [filling], when: valve is open, say: S, lifted by: L, source: s}\n"
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
        pytest.param("ask: [lid]", "do: B, when: lid is not off", "", id="what is asked is needed"),
        pytest.param("ask: [lid]", "do: B, gate: known", "", id="under a name"),
        pytest.param(
            "ask: [lid, valve]", "do: B, when: lid is shut, gate: valve is shut", "", id="each of two"
        ),
        pytest.param("do: A, marks: [filled]", "do: B, gate: since filled >= 0 min", "", id="what is marked"),
        pytest.param("do: A, marks: [filled]", "do: B, gate: settle is ready", "", id="it starts a wait"),
        pytest.param(
            "do: A, marks: [filled], wait: settle", "do: B, gate: settle is ready", "", id="it waits"
        ),
        pytest.param(
            "ask: [bottom]", "do: B, when: leaks is at least suspected", FOUND, id="a finding rests on it"
        ),
        pytest.param(
            "ask: [valve]", "do: B, activity: filling", FILLING + STOP, id="a safety stop rests on it"
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
