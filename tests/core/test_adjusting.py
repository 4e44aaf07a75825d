"""What a company may adjust in a pack, what is refused, and with which witness."""

from __future__ import annotations

import json
import random
import re
import shutil
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from stillair.assess import Program, assess, compile_packs
from stillair.assess.adjusting import MOST_DAYS_AHEAD
from stillair.assess.strict import loosenings
from stillair.authoring.rehearse import play
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Session, Settings
from stillair.fault import StillairError
from stillair.hooks import Plugins
from stillair.pack import BELIEFS, Pack, read_pack, read_texts
from stillair.trail import markdown

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"
CLOCK = FixedClock(datetime(2026, 4, 15, 12, tzinfo=timezone.utc).timestamp(), timezone.utc)  # noqa: UP017

#: A vat whose guards rest on limits: a pressure, a rest, a sum, and one in the wrong direction.
GUARDED = """
checklist: vat
title: Look after a vat
facts:
  smell: {ask: Any smell of fumes?, kind: yes-no, safety: true, good for: 1 h, how: At the lid.}
  bottom: {ask: Gauge, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig, safety: true}
  top: {ask: Upper gauge, quantity: gauge pressure, unit: psig, between: 0 psig .. 100 psig, safety: true}
  lid: {ask: How is the lid?, options: {shut: Shut, open: Open}}
  colour: {ask: Which colour?, options: {red: Red, blue: Blue}, good for: 30 min, why: For the record.}
  tester: {ask: Does the tester read a live source?, kind: yes-no}
  dead:
    ask: Does it read dead?
    kind: yes-no
    safety: true
    counts when: {is: last tester before dead within gap is yes, because: it may be broken}
events:
  settled: {say: It settled}
limits:
  most: {is: 50 psig, between: 20 psig .. 80 psig, safer: lower, source: common practice}
  wrong_way: {is: 50 psig, between: 20 psig .. 80 psig, safer: higher, source: common practice}
  margin: {is: 3 psi, between: 1 psi .. 9 psi, safer: higher, source: common practice}
  pause: {is: 10 min, between: 5 min .. 60 min, safer: longer, source: common practice}
  warn_at: {is: 5 psi, between: 1 psi .. 9 psi, safer: lower, source: common practice}
  apart: {is: 10 psi, between: 5 psi .. 20 psi, safer: lower, source: common practice}
  near_to: {is: 40 psig, between: 20 psig .. 60 psig, safer: lower, source: common practice}
  fixed: {is: 5 psi, safer: lower, source: common practice}
  gap: {is: 30 min, between: 5 min .. 60 min, safer: shorter, source: common practice}
  curved: {is: 2, between: 1 .. 4, safer: higher, source: common practice}
calculate:
  room: most - bottom
activities:
  filling: {title: Filling, gate: smell is no and bottom < most and rest is ready and room > margin}
  bleeding: {title: Bleeding, gate: bottom < wrong_way}
  heating: {title: Heating, gate: high is none and curved * (top - bottom) < 9 psi}
  wiring: {title: Wiring, gate: dead is yes}
  work: {title: Work}
waits:
  rest: {title: Rest, for: pause, since: [settled]}
steps:
  - {step: look-first, title: Look first, ask: [smell, bottom, top]}
  - {step: see-colour, title: See the colour, do: Look., ask: [colour, lid], marks: [settled]}
  - {step: write-up, title: Write it up, do: Write.}
  - {step: fill, title: Fill it, activity: filling, do: Fill.}
  - {step: bleed, title: Bleed it, activity: bleeding, do: Bleed.}
  - {step: heat, title: Heat it, activity: heating, do: Heat.}
rules:
  - {rule: too-high, stop: [work], when: bottom > most, say: Too high, lifted by: Let it down.}
  - {rule: high, finding: high, when: top > most, say: It is high, source: common practice}
  - {rule: near, caution: Nearly too high., when: bottom > near_to, source: common practice}
  - {rule: both-low, caution: Both low., when: bottom agrees with top within apart, source: common practice}
  - {rule: dull, finding: dull, when: colour is blue and bottom > warn_at + 0 psig, say: Dull, source: s}
"""
PLACES = """
places:
  - {place: seam, title: Seam, belief: 0.5, minutes: 5}
  - {place: valve, title: Valve, belief: 0.5, minutes: 2}
"""
MANIFEST = "pack: vat\nversion: 1.0.0\ntitle: A vat\nengine: '>=0.1,<1'\nchecklists: [vat.yaml]\n"


def vat(text: str = GUARDED) -> Pack:
    return read_texts({"manifest.yaml": MANIFEST, "vat.yaml": text}, plugins={}, label="vat")


def company(adjusts: str, base: Pack | None = None, own: str | None = None) -> Pack:
    base = base or vat()
    lists = "[own.yaml]" if own else "[]"
    manifest = (
        "pack: acme\nversion: 1.0.0\ntitle: Acme\njoins: vat\nengine: '>=0.1,<1'\n"
        f"checklists: {lists}\nadjusts:\n  pack: vat\n  digest: {base.digest}\n"
    )
    manifest += "".join(f"  {line}\n" for line in adjusts.splitlines())
    texts = {"manifest.yaml": manifest} | ({"own.yaml": own} if own else {})
    return read_texts(texts, plugins={}, label="acme")


def adjusted(adjusts: str, own: str | None = None) -> Program:
    return compile_packs([vat(), company(adjusts, own=own)], {}, {})


def refused(adjusts: str, own: str | None = None) -> str:
    """The one fault, as it is printed."""
    with pytest.raises(StillairError) as caught:
        adjusted(adjusts, own)
    (fault,) = caught.value.faults
    return fault.render()


LOOSER = "{{is: {value}, who: B. Chief, why: a trial, until: 2027-03-31}}"


def test_a_limit_is_set_in_its_safer_direction() -> None:
    program = adjusted("limits: {margin: 5 psi, pause: 30 min}")
    assert program.waits["rest"].duration == 1800
    assert program.limits["margin"].text == "5 psi"
    by = program.limits["margin"].spec.set_by
    assert by is not None and (by.company, by.was, by.looser) == ("Acme", "3 psi", False)


def test_a_check_must_lie_nearer_to_what_it_confirms() -> None:
    assert adjusted("limits: {gap: 10 min}").limits["gap"].text == "10 min"


def test_a_caution_may_warn_earlier_or_trust_less() -> None:
    assert adjusted("limits: {near_to: 30 psig}").limits["near_to"].text == "30 psig"
    assert adjusted("limits: {apart: 6 psi}").limits["apart"].text == "6 psi"


def test_a_lower_limit_of_two_guards_tightens_both() -> None:
    assert adjusted("limits: {most: 40 psig}").limits["most"].text == "40 psig"


REFUSED = [
    ("limits: {mst: 40 psig}", "SA301", "there is no limit `mst`", "did you mean `most`?"),
    ("limits: {most: 90 psig}", "SA704", "outside its bounds 20 psig .. 80 psig", ""),
    ("limits: {fixed: 4 psi}", "SA704", "the pack gives no bounds for `fixed`", ""),
    ("limits: {most: 40 min}", "SA306", "", ""),
    ("limits: {warn_at: 7 psi}", "SA703", "is safer lower, and is set looser without who, why, until", ""),
    ("limits: {warn_at: {is: 7 psi, who: B, why: w, until: soon}}", "SA703", "`soon` is not a day", ""),
    ("limits: {warn_at: {is: 7 psi, who: B, why: w, until: 2027-03-31}}", "SA703", "`w` is no reason", ""),
    ("good for: {smell: 2 h}", "SA702", "`smell` is good for 1 h; it may only be less", ""),
    ("good for: {smell: soon}", "SA306", "soon", ""),
    ("good for: {smell: 5 psi}", "SA306", "psi", ""),
    ("good for: {smell: 0 min}", "SA702", "`smell` would never be good", "write how long it is good for"),
    ("good for: {smell: -5 min}", "SA702", "`smell` would never be good", "write how long it is good for"),
    ("good for: {smel: 2 h}", "SA301", "there is no fact `smel`", "did you mean `smell`?"),
    ("notes: {smel: Look.}", "SA301", "there is no fact `smel`", ""),
    ("photos: {look: The gauge}", "SA301", "there is no step `look`", ""),
    ("wording: {smell: {ask: Any fumes?}}", "SA705", "`smell` is a safety fact", "add a note, a photo"),
    ("wording: {look-first: {do: Be quick.}}", "SA705", "asks a safety fact", ""),
    ("wording: {see-colour: {do: Do not.}}", "SA705", "asks or marks `settled`, on which the gate of", ""),
    ("wording: {tester: {ask: Is it dead?}}", "SA705", "is what the gate of activity wiring rests on", ""),
    ("wording: {bleed: {do: Any way.}}", "SA705", "is done behind the gate of activity bleeding", ""),
    ("wording: {too-high: {say: Fine}}", "SA705", "stops, cautions, or rests on a safety fact", ""),
    ("wording: {colour: {caution: None}}", "SA705", "`caution` of `colour` may not be worded otherwise", ""),
    ("wording: {color: {ask: Hue?}}", "SA301", "no fact, step or rule `color`", "did you mean `colour`?"),
]  # fmt: skip


@pytest.mark.parametrize(("adjusts", "code", "message", "help"), REFUSED)
def test_what_is_refused_says_why_and_where(adjusts: str, code: str, message: str, help: str) -> None:
    said = refused(adjusts)
    assert f"[{code}]" in said and message in said and help in said
    assert said.startswith("acme/manifest.yaml:10:") and "^" in said


LOOSENS = [
    # Looser with everything said is looser all the same, where a guard rests on it.
    ("most", "60 psig", "with bottom at 55 psig", "gate of activity filling would hold, and did not"),
    ("pause", "6 min", "with rest begun 8 min ago", "gate of activity filling would hold, and did not"),
    ("margin", "2 psi", "with room", "gate of activity filling would hold, and did not"),
    # The author's direction is wrong for this gate.
    ("wrong_way", "60 psig", "with bottom at", "gate of activity bleeding would hold, and did not"),
    # A caution warns of something a safety fact says.
    ("near_to", "50 psig", "with bottom at 45 psig", "the caution near would not warn, and did"),
    # A product is not looked into: it is not shown to be as strict.
    ("gap", "40 min", "it is not shown that it does not", ""),
    ("curved", "3", "it is not shown that it does not", ""),
]


@pytest.mark.parametrize(("name", "value", "witness", "guard"), LOOSENS)
def test_what_loosens_a_guard_is_refused_with_a_witness(
    name: str, value: str, witness: str, guard: str
) -> None:
    with pytest.raises(StillairError) as caught:
        adjusted(f"limits:\n  {name}: {LOOSER.format(value=value)}")
    said = [fault.render() for fault in caught.value.faults]
    assert all("[SA702]" in each and f"`{name}` loosens what guards safety" in each for each in said)
    assert any(witness in each and guard in each for each in said)


def said_of(*limits: tuple[str, str]) -> dict[str, list[str]]:
    """What is said of limits that are set looser together, under each."""
    lines = "".join(f"  {name}: {LOOSER.format(value=value)}\n" for name, value in limits)
    with pytest.raises(StillairError) as caught:
        adjusted(f"limits:\n{lines}")
    told: dict[str, list[str]] = {}
    for fault in caught.value.faults:
        told.setdefault(fault.message.split("`")[1], []).append(fault.message)
    return told


def test_each_of_two_edits_to_one_gate_is_named_with_its_own_witness() -> None:
    told = said_of(("most", "60 psig"), ("pause", "6 min"), ("margin", "2 psi"))
    assert any("with bottom at 55 psig: the gate of activity filling" in each for each in told["most"])
    assert ["with rest begun 8 min ago" in each for each in told["pause"]] == [True]
    # In one part of it they are named together.
    (margin,) = told["margin"]
    assert margin.startswith("`margin`, with `most`, loosens") and "at `room > margin`" in margin


def loosened_in(text: str, *limits: tuple[str, str]) -> list[str]:
    """What is said of limits set looser together in another vat."""
    base = vat(text)
    lines = "".join(f"  {name}: {LOOSER.format(value=value)}\n" for name, value in limits)
    with pytest.raises(StillairError) as caught:
        compile_packs([base, company(f"limits:\n{lines}", base)], {}, {})
    return [f"{fault.message} / {fault.help}" for fault in caught.value.faults]


def test_three_edits_to_one_part_are_named_in_a_row() -> None:
    text = GUARDED.replace("room > margin", "curved * room > margin")
    told = loosened_in(text, ("most", "60 psig"), ("margin", "2 psi"), ("curved", "1"))
    assert any(each.startswith("`margin`, with `most` and `curved`, loosens") for each in told)
    assert not any(",," in each for each in told)


INSIDE = [
    # What stands inside a stop is stricter where it holds for more, inside a gate where for less.
    ("stop", "any plug has (out > most)", "40 psig", None),
    ("stop", "any plug has (out > most)", "60 psig", "with out at 55 psig: the stop too-high would not stop"),
    ("stop", "not every plug has (out < most)", "40 psig", None),
    ("stop", "not every plug has (out < most)", "60 psig", "the stop too-high would not stop, and did"),
    ("gate", "every plug has (out < most)", "40 psig", None),
    ("gate", "every plug has (out < most)", "60 psig", "the gate of activity wiring would hold, and did not"),
    ("gate", "any plug has (out < most)", "60 psig", "the gate of activity wiring would hold, and did not"),
    ("gate", "count of plug with (out < most) >= 2", "60 psig", "it is not shown that it does not"),
    ("gate", "count of plug with (out > most) < 2", "40 psig", "it is not shown that it does not"),
    ("gate", "not any plug has (out > most)", "40 psig", None),
    (
        "gate",
        "not any plug has (out > most)",
        "60 psig",
        "the gate of activity wiring would hold, and did not",
    ),
]


@pytest.mark.parametrize(("kind", "said", "most", "refused"), INSIDE)
def test_a_limit_inside_a_guard_is_judged_by_that_guard(
    kind: str, said: str, most: str, refused: str | None
) -> None:
    out = "out: {ask: O, quantity: gauge pressure, between: 0 psig .. 100 psig, per: plug, safety: true}"
    text = re.sub(r"(gate: .*)bottom < most and (.*) and room > margin", r"\1\2", GUARDED)
    text = text.replace(
        "facts:\n", f"lists: {{plug: {{title: P, members: {{a: A, b: B}}}}}}\nfacts:\n  {out}\n", 1
    )
    text = text.replace("top > most", "top > 50 psig").replace(
        "bottom > most,", f"{said}," if kind == "stop" else "lid is open,"
    )
    if kind == "gate":
        text = text.replace("gate: dead is yes", f"gate: {said}")
    base = vat(text)
    ours = company(f"limits:\n  most: {LOOSER.format(value=most)}", base)
    if refused is None:
        assert compile_packs([base, ours], {}, {}).limits["most"].text == most
        return
    with pytest.raises(StillairError) as caught:
        compile_packs([base, ours], {}, {})
    assert all(fault.code == "SA702" for fault in caught.value.faults)
    assert any(refused in fault.message for fault in caught.value.faults)
    assert not any("the inside" in f"{fault.message}{fault.help}" for fault in caught.value.faults)


def test_a_limit_behind_a_named_condition_is_named() -> None:
    """And not the pack as a whole."""
    text = GUARDED.replace("last tester before dead within gap is yes", "rested").replace(
        "calculate:\n", "conditions: {rested: rest is ready}\ncalculate:\n"
    )
    base = vat(text)
    with pytest.raises(StillairError) as caught:
        compile_packs([base, company("limits: {pause: 30 min}", base)], {}, {})
    (fault,) = caught.value.faults
    assert (fault.line, fault.column) == (10, 12)
    assert "`pause` loosens" in fault.message and "an entry of `dead` no longer counts" in fault.message


def test_a_guard_is_told_once_under_each_edit() -> None:
    """Two parts of the gate rest on `most`; of each edit with a witness, that is what is told."""
    told = said_of(("most", "60 psig"), ("margin", "2 psi"))
    for name in ("most", "margin"):
        (filling,) = [each for each in told[name] if "gate of activity filling" in each]
        assert "not shown" not in filling


def test_what_is_set_stricter_is_not_blamed_beside_what_is_looser() -> None:
    lines = f"limits:\n  most: {LOOSER.format(value='60 psig')}\n  margin: 4 psi"
    with pytest.raises(StillairError) as caught:
        adjusted(lines)
    assert {fault.message.split("`")[1] for fault in caught.value.faults} == {"most"}


def test_what_is_not_shown_says_why() -> None:
    (curved,) = said_of(("curved", "3"))["curved"]
    assert "since `curved * (top - bottom)` comes out otherwise" in curved
    old, new = hood(), hood(warm="60 psig")
    whys = {each.use.name: each.why for each in loosenings(old, new) if each.witness is None}
    assert whys["fumes_yes"].startswith("where an entry of `fumes` no longer counts, an older one")
    assert all(whys.values())


def test_a_longer_time_since_an_event_is_shown_to_be_as_strict() -> None:
    text = GUARDED.replace("rest is ready and", "since settled >= pause and")
    base = vat(text)
    program = compile_packs([base, company("limits: {pause: 30 min}", base)], {}, {})
    assert program.limits["pause"].value == 1800
    with pytest.raises(StillairError, match="`pause` loosens what guards safety: with since settled at"):
        loose = f"limits:\n  pause: {LOOSER.format(value='6 min')}"
        compile_packs([base, company(loose, base)], {}, {})


def test_a_witness_is_one() -> None:
    """What is said to be held now and was not before is so, by playing it."""
    old = compile_packs([vat()], {}, {})
    new = compile_packs([vat(GUARDED.replace("most: {is: 50 psig", "most: {is: 60 psig"))], {}, {})
    found = next(each for each in loosenings(old, new) if each.use.name == "too-high")
    assert found.witness is not None
    value = found.witness.split(" at ")[1].split(":")[0]
    does = [{"note": {"smell": "no", "bottom": value}}, {"expect": {"rules": {"too-high": "holds"}}}]
    scenario: dict[str, Any] = {"starts": "2026-04-15 09:00 -04:00", "does": does}
    assert play(old, scenario).misses == []
    assert [miss.found for miss in play(new, scenario).misses] == ["fails"]


@pytest.mark.parametrize("seed", range(40))
def test_strictness_agrees_with_every_value_tried(seed: int) -> None:
    """Random limits: what is shown to be as strict is so for all readings tried, and what is not has one."""
    draw = random.Random(seed)
    limits = {
        "most": f"{draw.randint(20, 80)} psig",
        "wrong_way": f"{draw.randint(20, 80)} psig",
        "margin": f"{draw.randint(1, 9)} psi",
    }
    text = GUARDED
    for name, value in limits.items():
        start = text.index(f"  {name}: {{is: ") + len(f"  {name}: {{is: ")
        text = text[:start] + value + text[text.index(",", start) :]
    old, new = compile_packs([vat()], {}, {}), compile_packs([vat(text)], {}, {})
    looser = {f"{each.use.kind} {each.use.name}" for each in loosenings(old, new)}
    held: dict[str, set[tuple[bool, bool]]] = {}
    for bottom in [*range(0, 100, 2), 19.5, 49.5, 50.5, 79.5]:
        does: list[dict[str, Any]] = [
            {"event": "settled"},
            {"at": "10:00", "note": {"smell": "no", "bottom": f"{bottom} psig"}},
        ]
        verdicts = []
        for program in (old, new):
            lines = play(
                program,
                {"starts": "2026-04-15 09:00 -04:00", "does": [*does, {"expect": {"may": {"fill": "no"}}}]},
            ).lines
            found = assess(program, lines, lines[-1].taken)
            verdicts.append(
                {
                    "gate of activity filling": found.activity("filling").may.value == "yes",
                    "gate of activity bleeding": found.activity("bleeding").may.value == "yes",
                    "stop too-high": found.activity("work").may.value == "yes",
                }
            )
        for name in verdicts[0]:
            held.setdefault(name, set()).add((verdicts[0][name], verdicts[1][name]))
    for name, pairs in held.items():
        # More may be done under the new one than under the old.
        if (False, True) in pairs:
            assert name in looser, (name, limits)
    shown = {name for name in held if name in looser}
    # Filling rests on the sum of two limits; its parts are judged one by one, which may refuse too much.
    assert all((False, True) in held[name] for name in shown - {"gate of activity filling"})


#: A hood whose answers count only at some warmth: what counts no longer uncovers the entry before it.
UNCOVERING = """
checklist: hood
title: Look under a hood
facts:
  warmth: {ask: Gauge, quantity: gauge pressure, unit: psig, between: 0 psig .. 200 psig}
  fumes: {ask: Fumes?, kind: yes-no, safety: true, counts when: {is: warmth < warm, because: too warm}}
  proof:
    ask: What does the detector do?
    options: {alive: It answers, silent: It is silent}
    nature: series
    safety: true
    good for: life
    counts when: {is: warmth < warm, for: [alive], because: too warm}
  label: {ask: Is it labelled?, kind: yes-no, nature: fixed, safety: true, good for: life}
  look:
    ask: Is it tight?
    kind: yes-no
    safety: true
    counts when: {is: last proof before look within gap is alive, because: it was not proved}
events:
  began: {say: It began}
limits:
  warm: {is: 100 psig, between: 20 psig .. 180 psig, safer: lower, source: common practice}
  life: {is: 60 min, between: 5 min .. 60 min, safer: shorter, source: common practice}
  gap: {is: 30 min, between: 5 min .. 60 min, safer: shorter, source: common practice}
waits:
  aired: {title: Aired, for: 10 min, since: ["proof becomes alive"]}
"""
GATES = {
    "fumes": "fumes is no",
    "alive": "proof is alive",
    "silent": "proof is silent",
    "gone_by": "since proof > 10 min",
    "many": "count of proof < 2",
    "proved": "last proof before began is alive",
    "proved_after": "first proof after began is alive",
    "aired": "aired is ready",
    "label": "label is yes",
    "look": "look is yes",
    "not_look": "look is no",
}
STOPS = {"fumes_yes": "fumes is yes", "proof_silent": "proof is silent", "proof_alive": "proof is alive"}
UNCOVERING += "activities:\n" + "".join(
    f"  {name}: {{title: T, gate: {gate}}}\n"
    for name, gate in {**GATES, **dict.fromkeys((f"under_{stop}" for stop in STOPS), "always")}.items()
)
UNCOVERING += (
    "steps:\n  - {step: s, title: S, ask: [warmth, fumes, proof, label, look], marks: [began]}\nrules:\n"
)
UNCOVERING += "".join(
    f"  - {{rule: {name}, stop: [under_{name}], when: {stop}, say: S, lifted by: L}}\n"
    for name, stop in STOPS.items()
)


def hood(**limits: str) -> Program:
    text = UNCOVERING
    for name, value in limits.items():
        text, found = re.subn(rf"(?m)^(  {name}: {{is: )[^,]*", rf"\g<1>{value}", text)
        assert found == 1
    return compile_packs([vat(text)], {}, {})


def loosened_by(**limits: str) -> set[str]:
    return {each.use.name for each in loosenings(hood(), hood(**limits))}


def test_what_counts_no_longer_uncovers_what_was_said_before() -> None:
    """A limit in its safer direction may clear a stop: fewer entries that count are not always stricter."""
    old, new = hood(), hood(warm="60 psig")
    does: list[dict[str, Any]] = [
        {"note": {"warmth": "50 psig"}},
        {"at": "09:05", "note": {"fumes": "no"}},
        {"at": "09:10", "note": {"warmth": "80 psig"}},
        {"at": "09:15", "note": {"fumes": "yes"}},
        {"expect": {"rules": {"fumes-yes": "holds"}}},
    ]
    lines = play(
        old, {"starts": "2026-04-15 09:00 -04:00", "does": [*does[:-1], {"expect": {"may": {"s": "no"}}}]}
    ).lines
    for program, may in ((old, "no"), (new, "yes")):
        assert assess(program, lines, lines[-1].taken).activity("under_fumes_yes").may.value == may
    # Only where those that may cease to count are all on the strict side is it stricter.
    assert loosened_by(warm="60 psig") == {
        "fumes", "silent", "gone_by", "many", "proved_after", "aired", "fumes_yes", "proof_alive",
        "look", "not_look",
    }  # fmt: skip


def test_a_shorter_life_or_interval_only_leaves_open() -> None:
    """But it may end a dispute of what cannot change, or uncover what is older in what counts by it."""
    assert loosened_by(life="20 min") == {"label", "aired", "look", "not_look"}
    assert loosened_by(gap="10 min") == set()


def test_a_life_that_ends_a_dispute_is_refused_where_it_stands() -> None:
    base = vat(UNCOVERING)
    with pytest.raises(StillairError) as caught:
        compile_packs([base, company("good for: {label: 20 min}", base)], {}, {})
    (fault,) = caught.value.faults
    assert fault.code == "SA702" and fault.render().startswith("acme/manifest.yaml:10:14: `label` loosens")


@pytest.mark.parametrize("seed", range(30))
def test_strictness_agrees_with_entries_made_more_than_once(seed: int) -> None:
    """Random limits, each in its safer direction, and random entries: what is taken as strict is so."""
    draw = random.Random(seed)
    stricter = {
        "warm": f"{draw.choice([30, 50, 70, 90])} psig",
        "life": f"{draw.choice([5, 15, 25])} min",
        "gap": f"{draw.choice([5, 10, 20])} min",
    }
    # One by one, or all at once.
    limits = stricter if seed % 4 == 3 else dict([list(stricter.items())[seed % 4]])
    old, new = hood(), hood(**limits)
    looser = {each.use.name for each in loosenings(old, new)}
    answers = {
        "warmth": ["20 psig", "60 psig", "80 psig", "120 psig"],
        "fumes": ["yes", "no"], "proof": ["alive", "alive", "silent"], "label": ["yes", "no"],
        "look": ["yes", "no"],
    }  # fmt: skip
    met: set[str] = set()
    for _ in range(25):
        does: list[dict[str, Any]] = [{"note": {"warmth": "20 psig"}}]
        for number in range(1, 11):
            fact = draw.choice([*answers, "proof", "began"])
            entry = {"event": "began"} if fact == "began" else {"note": {fact: draw.choice(answers[fact])}}
            does.append({"at": f"09:{number * 5:02}", **entry})
        does.append({"expect": {"may": {"s": "yes"}}})
        lines = play(old, {"starts": "2026-04-15 09:00 -04:00", "does": does}).lines
        for at in {line.taken for line in lines}:
            known = [line for line in lines if line.taken <= at]
            first, then = (assess(program, known, at + 60) for program in (old, new))
            for name in (*GATES, *(f"under_{stop}" for stop in STOPS)):
                if then.activity(name).may.value == "yes" != first.activity(name).may.value:
                    met.add(name.removeprefix("under_"))
    assert met <= looser, (met - looser, limits)


def test_a_limit_no_guard_rests_on_is_loosened_with_who_why_and_until() -> None:
    program = adjusted(f"limits:\n  warn_at: {LOOSER.format(value='7 psi')}")
    by = program.limits["warn_at"].spec.set_by
    assert by is not None and (by.looser, by.who, by.until) == (True, "B. Chief", "2027-03-31")
    lines = play(
        program, {"starts": "2026-04-15 09:00 -04:00", "does": [{"expect": {"may": {"fill": "not yet"}}}]}
    ).lines
    trail = markdown(assess(program, lines, lines[-1].taken), lines, timezone(timedelta(hours=-4)))
    assert "Limits that the company has loosened:" in trail
    for said in ("from 5 psi to 7 psi", "Allowed by B. Chief until 2027-03-31: a trial"):
        assert trail.count(said) == 2  # in the cautions and at the limit itself


def test_a_shorter_life_a_note_and_a_photo_are_added_to_a_safety_fact() -> None:
    program = adjusted("good for: {smell: 20 min}\nnotes: {smell: Twice.}\nphotos: {look-first: The gauges}")
    assert program.facts["smell"].good_for == 1200
    assert program.facts["smell"].spec.how == "At the lid. Acme: Twice."
    assert list(program.steps)[:2] == ["look-first", "look-first-photo"]
    assert program.facts["look_first_photo"].spec.kind == "photo"
    assert not program.steps["look-first-photo"].spec.optional


def test_words_on_which_no_guard_rests_are_changed() -> None:
    program = adjusted("wording:\n  colour: {ask: Which hue?}\n  write-up: {do: Write twice.}")
    assert program.facts["colour"].spec.ask == "Which hue?"
    assert program.steps["write-up"].spec.do == "Write twice."


OWN = "checklist: own\ntitle: Own\n"
ADDED = [
    (
        "rules:\n  - {rule: r, finding: high, when: top > 1 psig, say: S}",
        "gives `high`, on which the gate of",
    ),
    ("steps:\n  - {step: s, title: S, do: D, marks: [settled]}", "marks `settled`, on which the gate of"),
    (
        "lists: {plug: {title: P, members: {a: A}}}\nfacts: {out: {ask: O, kind: yes-no, per: plug}}\n"
        "steps:\n  - {step: s, title: S, do: D}\npowered:\n  - {state: p, title: P, frees: [a], of: plug, "
        "gate: always, steps: [s], at most: 60 s, proof: [out]}",
        "frees from the lockout",
    ),
]


@pytest.mark.parametrize(("own", "said"), ADDED)
def test_what_is_added_leaves_alone_what_guards_rest_on(own: str, said: str) -> None:
    assert said in refused("notes: {smell: Twice.}", OWN + own)


#: What puts an answer in doubt, or takes it for a slip: the answer no longer stands, and so no stop on it.
DOUBTED = [
    ("impossible: [{when: bottom > 60 psig, slip: Typed wrong?, facts: [bottom]}]", "bottom"),
    ("impossible: [{when: tester is yes and lid is open, slip: Sure?, facts: [lid, tester]}]", "tester"),
    ("suspect: [{facts: [top], expects: top > bottom}]", "top"),
]


@pytest.mark.parametrize(("own", "fact"), DOUBTED)
def test_what_a_guard_rests_on_is_not_put_in_doubt(own: str, fact: str) -> None:
    said = refused("notes: {smell: Twice.}", OWN + own)
    assert f"`{fact}` would be put in doubt" in said and "[SA702]" in said
    assert "let a stop or a caution of your own say it" in said and said.startswith("acme/own.yaml:3:")


def test_a_safety_fact_or_a_proof_is_not_put_in_doubt_though_no_gate_names_it() -> None:
    more = (
        "lists: {plug: {title: P, members: {a: A}}}\nfacts:\n  odd: {ask: Odd?, kind: yes-no, safety: true}\n"
        "  out: {ask: O, kind: yes-no}\n"
    )
    on = (
        "powered:\n  - {state: p, title: P, frees: [a], of: plug, gate: dead is yes, steps: [write-up], "
        "at most: 60 s, proof: [out]}\n"
    )
    base = vat(GUARDED.replace("facts:\n", more) + on)
    for fact, why in (("odd", "on it safety rests"), ("out", "on it the proof of p rests")):
        own = f"impossible: [{{when: lid is open, slip: Sure?, facts: [{fact}]}}]"
        with pytest.raises(StillairError, match=why):
            compile_packs([base, company("notes: {smell: Twice.}", base, OWN + own)], {}, {})


def test_what_no_guard_rests_on_may_be_called_a_slip() -> None:
    own = OWN + "impossible: [{when: lid is open and colour is red, slip: Sure?, facts: [colour]}]"
    assert len(adjusted("notes: {smell: Twice.}", own).impossible) == 1


#: A vat in which something is read only behind a gate, and who took the lock off is asked behind another.
BEHIND = (
    GUARDED.replace("  - {step: bleed,", "  - {step: read, title: Read it, activity: filling, ask: [inner]}\n"
                    "  - {step: free, title: Free it, gate: dead is yes and bottom < most, ask: [freed]}\n"
                    "  - {step: swing, title: Never swing it, never: It breaks.}\n  - {step: bleed,")
    .replace("events:\n", "  inner: {ask: I, kind: yes-no}\n  freed: {ask: F, kind: yes-no}\nevents:\n")
)  # fmt: skip
NO_GATE = [
    (
        "{step: s, title: S, ask: [inner]}",
        "`s` has no gate, and does what `read` does behind one: asks inner",
    ),
    (
        "{step: s, title: S, ask: [freed]}",
        "`s` has no gate, and does what `free` does behind one: asks freed",
    ),
    ("{step: s, title: S, do: Fill.}", "`s` has no gate, and does what `fill` does behind one: “Fill.”"),
    ("{step: s, title: Never swing it, do: D}", "what `swing` does behind one: “Never swing it”"),
    ("{step: s, title: S, when: dead is yes and bottom < most, ask: [freed]}", "`s` has no gate"),
    # Another gate, none of the activity, or an activity that fewer stops stop.
    ("{step: s, title: S, gate: lid is shut, ask: [freed]}", "is not shown to have as strict a gate"),
    ("{step: s, title: S, gate: dead is yes, ask: [freed]}", "is not shown to have as strict a gate"),
    ("{step: s, title: S, gate: dead is yes and bottom < 60 psig, ask: [freed]}", "as strict a gate"),
    ("{step: s, title: S, gate: dead is yes or bottom < most, ask: [freed]}", "as strict a gate"),
    ("{step: s, title: S, gate: dead is yes and top < most, ask: [freed]}", "as strict a gate"),
    ("{step: s, title: S, activity: work, ask: [inner]}", "as strict a gate"),
    ("{step: s, title: S, activity: work, ask: [freed]}", "as strict a gate"),
]


def behind(step: str) -> Program:
    base = vat(BEHIND)
    return compile_packs([base, company("notes: {smell: Twice.}", base, f"{OWN}steps:\n  - {step}")], {}, {})


@pytest.mark.parametrize(("step", "said"), NO_GATE)
def test_what_is_done_behind_a_gate_is_not_done_without_it(step: str, said: str) -> None:
    with pytest.raises(StillairError) as caught:
        behind(step)
    (fault,) = caught.value.faults
    assert fault.code == "SA702" and said in fault.message
    assert (fault.path, fault.line) == ("acme/own.yaml", 4)


STRICT_ENOUGH = [
    "{step: s, title: S, activity: filling, ask: [inner]}",
    "{step: s, title: S, activity: filling, gate: lid is shut, ask: [inner, colour]}",
    "{step: s, title: S, gate: bottom < most and dead is yes, ask: [freed]}",
    "{step: s, title: S, gate: bottom < 40 psig and (dead is yes and lid is shut), ask: [freed]}",
    "{step: s, title: S, gate: dead is yes, when: bottom < most, ask: [freed]}",
    "{step: s, title: S, gate: lid is shut, ask: [colour]}",
]


@pytest.mark.parametrize("step", STRICT_ENOUGH)
def test_behind_a_gate_as_strict_it_may_be_done(step: str) -> None:
    assert "s" in behind(step).steps


def test_a_step_in_other_words_does_not_say_what_is_done_behind_a_gate() -> None:
    assert "has no gate, and does what `fill` does behind one: “Fill.”" in refused(
        "wording: {write-up: {do: Fill.}}"
    )


CLUES = "limits:\n  few: {{is: {few}, safer: neither, source: s}}\nclues:\n" + "".join(
    f"  - {{{{clue: c{n}, when: always, weighs: {{{{{place}: few}}}}, why: W}}}}\n"
    for n, place in enumerate(("seam", "seam", "valve"))
)


@pytest.mark.parametrize(("few", "taken"), [("0.5", True), ("3", True), ("0.0001", False), ("0.3", False)])
def test_clues_of_a_company_leave_each_place_to_be_searched(few: str, taken: bool) -> None:
    base = vat(GUARDED + PLACES)
    ours = company("notes: {smell: Twice.}", base, OWN + CLUES.format(few=few))
    if taken:
        assert len(compile_packs([base, ours], {}, {}).clues) == 3
        return
    with pytest.raises(StillairError) as caught:
        compile_packs([base, ours], {}, {})
    first = "c0" if few == "0.0001" else "c1"
    assert [fault.code for fault in caught.value.faults] == ["SA704"] * (2 if few == "0.0001" else 1)
    assert caught.value.faults[0].message.startswith(
        f"`{first}` makes `seam` {float(few) ** (int(first[1]) + 1):g}"
    )


def test_steps_rules_and_cautions_are_added() -> None:
    own = OWN + (
        "facts: {badge: {ask: Badge worn?, kind: yes-no}}\n"
        "steps:\n  - {step: badge, title: Badge, ask: [badge]}\n"
        "rules:\n  - {rule: no-badge, stop: [work], when: badge is no, say: No badge, lifted by: Wear it.}\n"
        "cautions: [Park backwards.]"
    )
    program = adjusted("notes: {smell: Twice.}", own)
    assert "no-badge" in program.rules and "badge" in program.steps


def test_an_adjustment_made_for_other_texts_is_refused() -> None:
    ours = company("notes: {smell: Twice.}")
    with pytest.raises(StillairError) as caught:
        compile_packs([vat(GUARDED + "\n# moved\n"), ours], {}, {})
    (fault,) = caught.value.faults
    assert fault.code == "SA701" and "stillair adjust FOLDER --was OLD" in str(fault.help)


def test_learned_beliefs_do_not_move_the_digest() -> None:
    """A company may adjust a pack and go by its own beliefs at once; these are no text of the author."""
    base = vat(GUARDED + PLACES)
    learned = (
        f"beliefs: vat\nversion: 1.0.0\ndigest: {base.digest}\nstrength: 20\njobs: 3\nfaults: 2\n"
        "places:\n  seam: {belief: 0.7, faults: 2, between: 0.4 .. 0.9}\n"
        "  valve: {belief: 0.3, faults: 0, between: 0.1 .. 0.6}\n"
    )
    put = read_texts({**base.texts, BELIEFS: learned}, plugins={}, label="vat")
    assert put.digest != base.digest and put.written == base.written == base.digest
    program = compile_packs([put, company("limits: {margin: 5 psi}", base)], {}, {})
    assert program.limits["margin"].text == "5 psi"
    assert [place.spec.belief for place in program.places.values()] == [0.7, 0.3]


def test_two_packs_adjust_no_name_both() -> None:
    """Else the last one would be taken without a word."""
    second = company("limits: {margin: 4 psi, pause: 30 min}")
    texts = {"manifest.yaml": second.texts["manifest.yaml"].replace("pack: acme", "pack: bcme")}
    second = read_texts(texts, plugins={}, label="bcme")
    program = compile_packs([vat(), company("limits: {most: 40 psig}"), second], {}, {})
    assert [program.limits[name].text for name in ("most", "margin")] == ["40 psig", "4 psi"]
    with pytest.raises(StillairError) as caught:
        compile_packs([vat(), company("limits: {margin: 5 psi}"), second], {}, {})
    (fault,) = caught.value.faults
    assert (fault.code, fault.path) == ("SA205", "bcme/manifest.yaml")
    assert fault.message == "`margin` is adjusted by `acme` as well"


def test_what_adjusts_joins() -> None:
    text = MANIFEST.replace("pack: vat", "pack: acme") + "adjusts: {pack: vat, digest: aa}\n"
    with pytest.raises(StillairError) as caught:
        read_texts({"manifest.yaml": text, "vat.yaml": GUARDED}, plugins={}, label="acme")
    assert "[SA208]" in str(caught.value) and "a pack that adjusts `vat` joins it" in str(caught.value)


# -- by the verbs --------------------------------------------------------------------------------------------


@pytest.fixture
def folders(tmp_path: Path) -> Path:
    """`tank`, an old copy of it as `old`, and `acme` that adjusts it."""
    for name in ("tank", "old"):
        shutil.copytree(HERE / "tank", tmp_path / name)
    (tmp_path / "acme").mkdir()
    write(
        tmp_path, "  limits:\n    rest_time: 20 min\n  notes: {smell: Twice.}\n  good for: {lamp: 10 min}\n"
    )
    return tmp_path


def write(folder: Path, adjusts: str) -> None:
    digest = read_pack(folder / "tank", plugins=Plugins.load([TOOLS]).versions()).digest
    (folder / "acme" / "manifest.yaml").write_text(
        "pack: acme\nversion: 1.0.0\ntitle: Acme\njoins: tank\nengine: '>=0.1,<1'\nchecklists: []\n"
        f"adjusts:\n  pack: tank\n  digest: {digest}\n{adjusts}",
        encoding="utf-8",
    )


def move(folder: Path, old: str, new: str) -> None:
    """A newer tank: the plugin of the tests brings it, so that it counts as installed."""
    path = folder / "tank" / "tank.yaml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")


def run(folder: Path, *args: str) -> Result:
    tool = folder / "plugins"
    if not tool.exists():
        tool.mkdir()
        name = f"brings_{folder.name.replace('-', '_')}"
        (tool / f"{name}.py").write_text(
            "from pathlib import Path\nfrom stillair.hooks import hookimpl\n@hookimpl\n"
            "def stillair_packs():\n    return [Path(__file__).parent.parent / 'tank']\n",
            encoding="utf-8",
        )
    return CliRunner().invoke(main, ["--plugin-dir", str(TOOLS), "--plugin-dir", str(tool), *args])


def test_adjust_says_what_is_adjusted(folders: Path) -> None:
    result = run(folders, "adjust", str(folders / "acme"))
    assert result.exit_code == 0, result.output
    assert "acme 1.0.0 adjusts tank" in result.output
    assert "limit rest_time: the pack 10 min; yours 20 min" in result.output
    assert "3 adjustments, none refused" in result.output


def test_a_pack_of_another_work_is_refused(folders: Path) -> None:
    """And the one it adjusts may be named by its folder."""
    other = HERE / "kettle"
    result = run(folders, "adjust", str(folders / "acme"), "--pack", str(other))
    assert result.exit_code == 2
    assert "`acme` adjusts `tank`, and `kettle` is no part of that" in result.stderr
    assert run(folders, "adjust", str(folders / "acme"), "--pack", str(folders / "old")).exit_code == 0


def test_a_pack_that_adjusts_nothing_is_told_where_the_names_stand(folders: Path) -> None:
    result = run(folders, "adjust", str(folders / "tank"))
    assert result.exit_code == 2 and "stillair print PACK --as storyboard" in result.stderr


def test_a_moved_pack_is_held_against_the_old_one_and_the_company(folders: Path) -> None:
    move(folders, "rest_time: {is: 10 min", "rest_time: {is: 25 min")
    move(folders, "ask: Any smell of fumes?", "ask: Any smell of fumes?\n    how: At the hatch.")
    move(
        folders,
        "options: {good: It shines, weak: It is weak}, good for: 20 min",
        "options: {good: It shines, weak: It is weak}, good for: 9 min",
    )
    assert run(folders, "adjust", str(folders / "acme")).exit_code == 1
    result = run(folders, "adjust", str(folders / "acme"), "--was", str(folders / "old"), "--format", "json")
    assert result.exit_code == 1
    told = json.loads(result.stdout)
    rows = {row["name"]: (row["was"], row["now"], row["theirs"], row["stale"]) for row in told["adjustments"]}
    assert rows == {
        "rest_time": ("10 min", "25 min", "20 min", "looser than the pack now, and it was not before"),
        "lamp": ("20 min", "9 min", "10 min", "the pack's own is as short now"),
        "smell": (None, "At the hatch.", "Twice.", "the pack says something else now"),
    }
    assert {each["code"] for each in told["refused"]} == {"SA703", "SA702"}


NOTED = [
    ("Any smell of fumes?", "No smell of fumes?", "smell", "question"),
    ("It is weak}", "It is dull}", "lamp", "answers"),
    ("weak: It is weak}", "weak: It is weak, off: Off}", "lamp", "answers"),
    ("good for: 20 min", "good for: 9 min", "lamp", "life"),
    ("-15 psig .. 100 psig, nature", "-15 psig .. 90 psig, nature", "bottom", "range"),
    ("unit: in, between", "unit: ft, between", "depth", "unit"),
]


@pytest.mark.parametrize(("old", "new", "fact", "what"), NOTED)
def test_a_note_is_stale_where_what_its_author_saw_has_changed(
    folders: Path, old: str, new: str, fact: str, what: str
) -> None:
    """And not where another fact has."""
    write(folders, "  notes: {smell: Twice., lamp: Look., bottom: Tap it., depth: Dip it.}\n")
    move(folders, old, new)
    told = run(folders, "adjust", str(folders / "acme"), "--was", str(folders / "old"), "--format", "json")
    rows = {row["name"]: row["stale"] for row in json.loads(told.stdout)["adjustments"]}
    assert rows == {name: f"the pack has changed its {what}" if name == fact else None for name in rows}
    assert len(rows) == 4 and told.exit_code == 1


@pytest.mark.parametrize("life", ["soon", "5 psi"])
@pytest.mark.parametrize("was", [False, True])
def test_a_life_that_is_no_time_is_refused_where_it_stands(folders: Path, life: str, was: bool) -> None:
    write(folders, f"  good for: {{lamp: {life}}}\n")
    old = ["--was", str(folders / "old")] if was else []
    result = run(folders, "adjust", str(folders / "acme"), *old)
    assert (result.exit_code, type(result.exception)) == (1, SystemExit)
    assert "manifest.yaml:10:20: " in result.output and "[SA306]" in result.output


def test_nothing_is_stale_where_the_pack_moved_elsewhere(folders: Path) -> None:
    move(folders, "title: Look after a tank", "title: Look well after a tank")
    result = run(folders, "adjust", str(folders / "acme"), "--was", str(folders / "old"))
    assert result.exit_code == 0, result.output
    assert "STALE" not in result.output


OWN_FAULTS = [
    (
        "steps: [{step: quick, title: Quick, ask: [remark], do: Open the inlet slowly.}]",
        "has no gate, and does what",
    ),
    ("impossible: [{when: smell is yes, slip: Sure?, facts: [smell]}]", "would be put in doubt"),
]


@pytest.mark.parametrize(("own", "said"), OWN_FAULTS)
def test_adjust_lint_and_a_new_job_refuse_what_goes_round_a_guard(folders: Path, own: str, said: str) -> None:
    gated = read_pack(folders / "tank", plugins=Plugins.load([TOOLS]).versions()).checklists
    doing = next(s.do for c in gated for s in c.steps if s.activity is not None and s.do is not None)
    own = own.replace("Open the inlet slowly.", doing)
    (folders / "acme" / "own.yaml").write_text(OWN + own, encoding="utf-8")
    path = folders / "acme" / "manifest.yaml"
    path.write_text(
        path.read_text(encoding="utf-8").replace("checklists: []", "checklists: [own.yaml]"), "utf-8"
    )
    acme = str(folders / "acme")
    for call in (["adjust", acme], ["lint", "--profile", "draft", acme, str(folders / "tank")]):
        result = run(folders, *call)
        assert result.exit_code == 1 and said in result.stdout and "own.yaml:3:" in result.stdout, call
    with pytest.raises(StillairError, match=said):
        Session.start(folders / "j.job", [TOOLS, folders / "plugins"], packs=[acme], by="A", clock=CLOCK)


def test_two_versions_of_a_company_are_compared_on_a_pack_that_is_not_installed(folders: Path) -> None:
    shutil.copytree(folders / "acme", folders / "newer")
    write(folders, "  limits:\n    rest_time: 30 min\n")
    call = ["--plugin-dir", str(TOOLS), "compare", str(folders / "newer"), str(folders / "acme")]
    alone = CliRunner().invoke(main, call)
    assert alone.exit_code == 1 and "name its folder with --pack" in alone.stderr
    both = CliRunner().invoke(main, [*call, "--pack", str(folders / "tank")])
    assert both.exit_code == 0 and "wait rest: stricter" in both.output
    assert "  20 min → 30 min" in both.output.replace("edit: limit rest_time: ", "")


def test_no_job_begins_once_a_loosening_has_ended(folders: Path) -> None:
    loose = "{is: 4 psi, who: B. Chief, why: a trial, until: 2026-06-30}"
    write(folders, f"  limits:\n    band: {loose}\n")
    run(folders, "plugins")
    for day, begins in ((30, True), (31, False)):
        when = datetime(2026, 6, 30, 12, tzinfo=timezone.utc) + timedelta(days=day - 30)  # noqa: UP017
        clock = FixedClock(when.timestamp(), timezone.utc)  # noqa: UP017
        packs = [str(folders / "acme")]
        job = folders / f"{day}.job"
        if begins:
            Session.start(job, [TOOLS, folders / "plugins"], packs=packs, by="A", clock=clock).close()
            trail = CliRunner().invoke(
                main,
                ["--plugin-dir", str(TOOLS), "--plugin-dir", str(folders / "plugins"), "trail", str(job)],
                obj=Settings(clock=clock),
            )
            assert "Allowed by B. Chief until 2026-06-30: a trial" in trail.output
        else:
            with pytest.raises(StillairError, match=r"was loosened by B\. Chief of Acme until 2026-06-30"):
                Session.start(job, [TOOLS, folders / "plugins"], packs=packs, by="A", clock=clock)


@pytest.mark.parametrize(
    ("until", "ahead"), [("2028-04-14", False), ("2028-04-18", True), ("9999-12-31", True)]
)
def test_nothing_is_loosened_for_more_than_two_years(folders: Path, until: str, ahead: bool) -> None:
    write(folders, f"  limits:\n    band: {{is: 4 psi, who: B. Chief, why: a trial, until: {until}}}\n")
    run(folders, "plugins")
    tools = [TOOLS, folders / "plugins"]
    call = [f"--plugin-dir={tool}" for tool in tools]
    told = CliRunner().invoke(main, [*call, "adjust", str(folders / "acme")], obj=Settings(clock=CLOCK))
    said = f"`band` is loosened by B. Chief of Acme until {until}, more than {MOST_DAYS_AHEAD} days ahead"
    assert (said in told.stdout) is ahead and told.exit_code == int(ahead)
    if ahead:
        assert "manifest.yaml:11:" in told.stdout
        with pytest.raises(StillairError, match="days ahead"):
            Session.start(folders / "j.job", tools, packs=[str(folders / "acme")], by="A", clock=CLOCK)


def test_the_example_of_the_guide_is_taken() -> None:
    readme = (HERE.parents[1] / "checklists" / "README.md").read_text(encoding="utf-8")
    example = readme.split("## What a company adjusts")[1].split("```yaml\n")[1].split("```")[0]
    digest = vat().digest
    text = example.replace('"the SHA-256 of the texts it was made for"', f'"{digest}"')
    assert digest in text
    ours = read_texts({"manifest.yaml": text}, plugins={}, label="acme")
    program = compile_packs([vat(), ours], {}, {})
    assert program.waits["rest"].duration == 1800 and "look-first-photo" in program.steps
