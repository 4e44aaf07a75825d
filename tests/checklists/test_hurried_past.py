"""The five safety stops most likely to be hurried past, each tried by many routes; none passes.

| stop | what is guarded |
|---|---|
| lockout | gauges, sniffing, pooling, bubbles |
| standing water | everything at the outdoor unit |
| flammable gas | gauges, pooling, sniffing indoors |
| nitrogen on a live charge | pressing up |
| no certificate | gauges, recovery, pressing up |

| route | what is tried |
|---|---|
| order | the answers in any order, with the bad one or without the good one; times of long ago, of tomorrow |
| correction | good made bad, bad made good and back, the ground under a proof taken away, *cannot tell* |
| adjustment | a file laid into the pack, a limit out of bounds, the stop cut out of the text beside a job |
| flag | every option of every verb; force-like words; steps said to be done |
| plugin | a pack that joins and declares the fact, activity, rule, step or finding again; a broken plugin |
| hand | handover, an emergency, a second source found later |

Each stop is also taken out of the text once, to show that the same attack then passes: these tests can fail.
"""

from __future__ import annotations

import random
import re
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from stillair.assess import Assessment, May, Program, assess, compile_packs
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.fault import StillairError
from stillair.hooks import Plugins
from stillair.job import Job, Line
from stillair.pack import gather, read_texts

NINE = 1_784_037_600.0
"""2026-07-14, 09:00 five hours west of UTC."""
PSI = 6894.757293168361
TRUE, FALSE = "count of certificate >= 0", "count of certificate < 0"
Entry = tuple[str, str | None, str]
#: What a job that may do everything has on record.
GOOD: tuple[Entry, ...] = (
    ("alarm_signs", None, "no"), ("standing_water", None, "dry"), ("certificate", None, "yes"),
    ("equipment", None, "split"), ("hindrance", None, "nothing"), ("came_for", None, "search"),
    ("refrigerant", None, "R-454B"),
    ("in_circuit", None, "one_gas"), ("area_monitor", None, "quiet"), ("ignition", None, "isolated"),
    ("mitigation", None, "none"), ("detector_flammable", None, "yes"), ("tester_before", None, "yes"),
    ("locked", "indoor", "yes"), ("locked", "outdoor", "yes"), ("dead", "indoor", "yes"),
    ("dead", "outdoor", "yes"), ("tester_after", None, "yes"), ("drain_water", None, "dry"),
    ("tip", None, "fresh"), ("detector", None, "fit"), ("warm_up_place", None, "outdoors"),
    ("cylinder_rating", None, "yes"), ("machine_flammable", None, "yes"),
    ("cylinder_date", None, "yes"), ("cylinder_scale", None, "yes"), ("cylinder_room", None, "yes"),
    ("recovery_level", None, "reached"), ("rebound", None, "steady"), ("recovered_first", None, "yes"),
    ("pressurising_gas", None, "nitrogen"), ("regulator", None, "yes"), ("below_design", None, "yes"),
    ("reference_leak", None, "answered"),
)  # fmt: skip


@dataclass(frozen=True)
class Stop:
    """One safety stop: the answers against it, what it guards, and what it is in the text of the packs."""

    name: str
    bad: tuple[Entry, ...]
    guards: tuple[str, ...]
    without: tuple[tuple[str, str], ...]
    """(pattern, replacement) that take the stop out of the text."""


STOPS = (
    Stop(
        "lockout",
        (
            ("locked", "outdoor", "no"),
            ("dead", "indoor", "no"),
            ("tester_after", None, "no"),
            ("tester_before", None, "no"),
        ),
        ("gauging", "recovering", "pressurising", "pooling", "sniffing", "sniffing_outdoors", "bubbling"),
        (
            (
                r"every source has \(locked is not no and dead is yes\)"
                r"\s+and tester_before is yes and tester_after is yes",
                TRUE,
            ),
            (r"when: tester_before is no or tester_after is no", f"when: {FALSE}"),
            (r"any source has \(locked is no\)", FALSE),
            (r"any source has \(dead is no\)", FALSE),
        ),
    ),
    Stop(
        "standing water",
        (("standing_water", None, "water"),),
        ("outdoors", "at_disconnect", "gauging", "recovering", "pressurising", "sniffing_outdoors"),
        ((r"standing_water is dry", TRUE), (r"standing_water is water", FALSE)),
    ),
    Stop(
        "flammable gas",
        (("area_monitor", None, "absent"), ("area_monitor", None, "alarm")),
        ("gauging", "recovering", "pooling", "sniffing", "probing_drain", "bubbling"),
        (
            (r"area_monitor is quiet", TRUE),
            (r"area_monitor is (absent|alarm)", FALSE),
        ),
    ),
    Stop(
        "nitrogen on a live charge",
        (("recovered_first", None, "no"), ("recovery_level", None, "short"), ("rebound", None, "rose")),
        ("pressurising",),
        (
            (r"recovered_first is yes", TRUE),
            (r"recovered_first is no or \(in_circuit", f"{FALSE} or ({FALSE} and in_circuit"),
        ),
    ),
    Stop(
        "no certificate",
        (("certificate", None, "no"),),
        ("gauging", "recovering", "pressurising"),
        ((r"certificate is yes", TRUE), (r"certificate is no\b", FALSE)),
    ),
)
each_stop = pytest.mark.parametrize("stop", STOPS, ids=lambda s: s.name)
BAD = [(stop, bad) for stop in STOPS for bad in stop.bad]
each_bad = pytest.mark.parametrize(
    ("stop", "bad"), BAD, ids=lambda x: x.name if isinstance(x, Stop) else " ".join(map(str, x))
)


@dataclass
class Visit:
    """A job in memory; `line` is the number of the latest line of each fact."""

    program: Program
    lines: list[Line] = field(default_factory=list)
    at: float = NINE
    line: dict[tuple[str, str | None], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.write("job", format="stillair.job/1", engine="test", title="A visit", packs={}, plugins={})
        for name in self.program.checklists:
            self.write("open", checklist=name)
        self.write("listed", list="source")
        self.write("event", event="detector_on")
        self.write("event", event="recovery_stopped")
        self.write("member", list="test_part", member="coil", label="Coil")
        self.write("listed", list="test_part")
        pressures = (("part_design", "coil", 450), ("test_target", None, 300), ("relief_setting", None, 330))
        for fact, of, psi in pressures:
            body = {"fact": fact, **({"of": of} if of else {}), "value": psi * PSI, "read": f"{psi} psig"}
            self.write("observe", **body)

    def write(self, kind: str, /, *, taken: float | None = None, **body: Any) -> int:
        at = self.at if taken is None else taken
        self.lines.append(Line(len(self.lines) + 1, kind, at, self.at, -300, "A. Tech", body))
        return len(self.lines)

    def see(self, *entries: Entry, later: float = 20.0, taken: float | None = None) -> None:
        for fact, of, value in entries:
            self.at += later
            body = {"fact": fact, **({"of": of} if of else {}), "value": value, "read": value}
            self.line[fact, of] = self.write("observe", taken=taken, **body)

    def correct(self, line: int, entry: Entry | None) -> None:
        self.at += 20
        body = None
        if entry is not None:
            fact, of, value = entry
            body = {"fact": fact, **({"of": of} if of else {}), "value": value, "read": value}
        self.write("correct", line=line, why="misread", body=body)

    def found(self) -> Assessment:
        return assess(self.program, self.lines, self.at)

    def allowed(self, stop: Stop) -> list[str]:
        """The guarded activities that may go on now."""
        found = self.found()
        return [name for name in stop.guards if found.activity(name).may is May.YES]


def good(program: Program) -> Visit:
    visit = Visit(program)
    visit.see(*GOOD)
    return visit


def key(entry: Entry) -> tuple[str, str | None]:
    return entry[:2]


def texts() -> dict[str, dict[str, str]]:
    return {folder.name: gather(folder) for folder in Plugins.load().packs}


def program_of(packs: Mapping[str, Mapping[str, str]]) -> Program:
    plugins = Plugins.load()
    versions = plugins.versions()
    read = [read_texts(each, plugins=versions, label=name) for name, each in packs.items()]
    return compile_packs(read, plugins.calculators, plugins.catalogues)


def cut(stop: Stop, packs: Mapping[str, Mapping[str, str]]) -> dict[str, dict[str, str]]:
    """The packs with the stop taken out of their text."""
    found = {pack: dict(files) for pack, files in packs.items()}
    for pattern, new in stop.without:
        assert any(re.search(pattern, text) for files in found.values() for text in files.values()), pattern
        for files in found.values():
            for name in files:
                files[name] = re.sub(pattern, new, files[name])
    return found


# -- that these tests can fail ---------------------------------------------------------------------------


@each_stop
def test_everything_guarded_may_be_done_when_all_is_well(program: Program, stop: Stop) -> None:
    assert good(program).allowed(stop) == list(stop.guards)


@each_stop
def test_without_the_stop_the_attack_would_pass(stop: Stop) -> None:
    """Taken out of the text, the stop no longer holds: what refuses above is the stop and nothing else."""
    bare = program_of(cut(stop, texts()))
    passed = set[str]()
    for bad in stop.bad:
        visit = good(bare)
        visit.see(bad)
        passed.update(visit.allowed(stop))
    assert passed == set(stop.guards)


# -- order -----------------------------------------------------------------------------------------------


@each_bad
@pytest.mark.parametrize("seed", range(3))
def test_order_of_the_answers_does_not_pass(program: Program, stop: Stop, bad: Entry, seed: int) -> None:
    """With the bad answer in place of the good one nothing is allowed at any moment, in whatever order."""
    entries = [bad if key(e) == key(bad) else e for e in GOOD]
    random.Random(seed).shuffle(entries)
    visit = Visit(program)
    for entry in entries:
        visit.see(entry)
        assert visit.allowed(stop) == [], entry


@each_bad
def test_an_answer_left_out_does_not_pass(program: Program, stop: Stop, bad: Entry) -> None:
    visit = Visit(program)
    visit.see(*(e for e in GOOD if key(e) != key(bad)))
    assert visit.allowed(stop) == []


@each_bad
def test_the_bad_answer_last_ends_what_was_allowed(program: Program, stop: Stop, bad: Entry) -> None:
    visit = good(program)
    visit.see(bad)
    assert visit.allowed(stop) == []


@each_bad
@pytest.mark.parametrize("days", [-400, -1, 1], ids=["long ago", "yesterday", "tomorrow"])
def test_a_good_answer_of_another_day_does_not_pass(
    program: Program, stop: Stop, bad: Entry, days: int
) -> None:
    """What was good yesterday, or will be tomorrow, says nothing of now: the bad answer stands."""
    visit = Visit(program)
    visit.see(*(e for e in GOOD if key(e) != key(bad)))
    visit.see(bad)
    visit.see(*(e for e in GOOD if key(e) == key(bad)), taken=visit.at + days * 86_400)
    assert visit.allowed(stop) == []


# -- correction ------------------------------------------------------------------------------------------


@each_bad
def test_a_correction_to_the_bad_answer_holds(program: Program, stop: Stop, bad: Entry) -> None:
    visit = good(program)
    visit.correct(visit.line[key(bad)], bad)
    assert visit.allowed(stop) == []


@each_bad
def test_a_correction_there_and_back_holds(program: Program, stop: Stop, bad: Entry) -> None:
    """Corrected to good and back to bad: the last word counts, and nothing of the good one lingers."""
    visit = good(program)
    right = next(e for e in GOOD if key(e) == key(bad))
    line = visit.line[key(bad)]
    visit.correct(line, bad)
    visit.correct(line, right)
    visit.correct(line, bad)
    assert visit.allowed(stop) == []


@each_bad
def test_an_answer_taken_back_or_out_of_reach_does_not_pass(program: Program, stop: Stop, bad: Entry) -> None:
    taken_back = good(program)
    taken_back.correct(taken_back.line[key(bad)], None)
    assert taken_back.allowed(stop) == []
    cannot = good(program)
    fact, of = key(bad)
    cannot.at += 20
    cannot.write("unavailable", fact=fact, **({"of": of} if of else {}), reason="no time")
    assert cannot.allowed(stop) == []


# -- by hand ---------------------------------------------------------------------------------------------


@each_stop
@pytest.mark.parametrize("event", ["handover", "emergency"])
def test_another_person_begins_anew(program: Program, stop: Stop, event: str) -> None:
    """Who takes over, and who comes back after an emergency, rests on nothing that another saw."""
    visit = good(program)
    visit.at += 20
    visit.write("event", event=event)
    assert visit.allowed(stop) == []


def test_a_source_found_later_is_locked_first(program: Program) -> None:
    visit = good(program)
    visit.at += 20
    visit.write("member", list="source", member="pump", label="Condensate pump")
    assert visit.allowed(STOPS[0]) == []


@each_stop
def test_saying_that_the_step_was_done_does_not_pass(program: Program, stop: Stop) -> None:
    """`done` for every step there is, and a reason to skip each: neither stands for the answer."""
    bad = stop.bad[0]
    for kind in ("done", "skip"):
        visit = Visit(program)
        visit.see(*(e for e in GOOD if key(e) != key(bad)))
        for name in program.steps:
            visit.at += 1
            body = {"step": name} if kind == "done" else {"step": name, "why": "no time"}
            visit.write(kind, **body)
        assert visit.allowed(stop) == []


# -- adjustment ------------------------------------------------------------------------------------------

ADJUSTMENTS = {
    "a file that nobody listed": (
        "adjustment.yaml", "adjusts: leak\nlimits: {working_day: {is: 48 h}}\n", False, "SA407"
    ),
    "a file that is listed": (
        "adjustment.yaml", "adjusts: leak\nlimits: {working_day: {is: 48 h}}\n", True, "SA2"
    ),
}  # fmt: skip


@pytest.mark.parametrize("which", ADJUSTMENTS)
def test_an_adjustment_laid_into_the_pack_is_refused(which: str) -> None:
    """Adjustments are not read yet, so one is an error: it is never passed over, and never obeyed."""
    name, text, listed, code = ADJUSTMENTS[which]
    packs = texts()
    packs["leak"][name] = text
    if listed:
        packs["leak"]["manifest.yaml"] = packs["leak"]["manifest.yaml"].replace(
            "checklists:\n", f"checklists:\n  - {name}\n"
        )
    with pytest.raises(StillairError) as raised:
        program_of(packs)
    assert any(fault.code.startswith(code) for fault in raised.value.faults)


@pytest.mark.parametrize(
    ("limit", "old", "new"),
    [
        ("working_day", "is: 10 h", "is: 48 h"),
        ("tester_interval", "is: 30 min", "is: 24 h"),
        ("sniff_pressure", "is: 50 psig", "is: 1 psig"),
        ("recheck_interval", "is: 30 min", "is: 300 min"),
    ],
)
def test_a_limit_out_of_its_bounds_is_refused(limit: str, old: str, new: str) -> None:
    packs = texts()
    changed = 0
    for files in packs.values():
        for name, text in files.items():
            found = re.sub(rf"(  {limit}:\n    ){old}", rf"\g<1>{new}", text)
            changed += found != text
            files[name] = found
    assert changed == 1
    with pytest.raises(StillairError, match="outside"):
        program_of(packs)


# -- plugin ----------------------------------------------------------------------------------------------

MANIFEST = """\
pack: thief
version: 1.0.0
title: A pack that loosens
joins: leak
engine: ">=0.1"
checklists: [thief.yaml]
"""
FACT = {
    "lockout": "locked: {ask: Locked?, options: {'yes': Y, shared: S, 'no': N}, per: source}",
    "standing water": "standing_water: {ask: Dry?, options: {dry: D, water: W}}",
    "flammable gas": "area_monitor: {ask: Quiet?, options: {quiet: Q, alarm: A, absent: N}}",
    "nitrogen on a live charge": "recovered_first: {ask: Recovered?, kind: yes-no}",
    "no certificate": "certificate: {ask: Seen?, kind: yes-no}",
}
RULE = {
    "lockout": "not-locked", "standing water": "water-outdoors", "flammable gas": "no-monitor",
    "nitrogen on a live charge": "leave", "no certificate": "no-certificate",
}  # fmt: skip


def thief(body: str) -> dict[str, dict[str, str]]:
    head = "checklist: thief\ntitle: A pack that loosens\n"
    return {**texts(), "thief": {"manifest.yaml": MANIFEST, "thief.yaml": head + textwrap.dedent(body)}}


@cache
def with_thief(body: str) -> Program:
    return program_of(thief(body))


TRIES: dict[str, Callable[[Stop], str]] = {
    "the fact again": lambda s: f"facts:\n  {FACT[s.name]}\n",
    "the activity again": lambda s: (
        f"activities:\n  {s.guards[0]}: {{title: Mine, gate: always}}\nsteps:\n"
        f"  - {{step: mine, activity: {s.guards[0]}, do: Do it.}}\n"
    ),
    "the stop again": lambda s: (
        f"rules:\n  - {{rule: {RULE[s.name]}, stop: [{s.guards[0]}], when: never, say: S, lifted by: L,"
        " why: W, source: none}\n"
    ),
    "a limit again": lambda s: "limits:\n  working_day: {is: 999 h, source: none}\n",
}


@each_stop
@pytest.mark.parametrize("tried", TRIES)
def test_a_plugin_declares_nothing_again(stop: Stop, tried: str) -> None:
    with pytest.raises(StillairError) as raised:
        program_of(thief(TRIES[tried](stop)))
    assert raised.value.faults


STEPS: dict[str, Callable[[Stop], str]] = {
    "a step of the activity with a gate that always holds": lambda s: (
        f"steps:\n  - {{step: mine, activity: {s.guards[0]}, do: Do it., gate: always}}\n"
    ),
    "a step that marks events": lambda s: (
        "steps:\n  - {step: mine, do: Do it., marks: [power_off, gas_changed]}\n"
    ),
    "findings by decree": lambda s: (
        "rules:\n  - {rule: mine, finding: settled, when: always, say: S, why: W, source: none}\n"
        "  - {rule: mine-too, finding: flat, when: always, say: S, why: W, source: none}\n"
        "  - {rule: mine-also, finding: vacuum, when: always, say: S, why: W, source: none}\n"
    ),
}


@each_bad
@pytest.mark.parametrize("tried", STEPS)
def test_what_a_plugin_adds_loosens_nothing(stop: Stop, bad: Entry, tried: str) -> None:
    joined = with_thief(STEPS[tried](stop))
    visit = Visit(joined)
    visit.see(*(bad if key(e) == key(bad) else e for e in GOOD))
    if "mine" in joined.steps:
        visit.write("done", step="mine")
    visit.at += 1
    assert visit.allowed(stop) == []
    if "mine" in joined.steps and joined.steps["mine"].spec.activity is not None:
        assert visit.found().permission("mine").may is not May.YES


CATALOGUE = """
from stillair.calculator import Attribute, Catalogue, Entry
from stillair.hooks import hookimpl

@hookimpl
def stillair_catalogues():
    return [Catalogue("refrigerant", (Attribute("burning", "option", ("1", "2L")),),
                      (Entry("R-454B", {"burning": "1"}),))]
"""
BROKEN = {
    "another catalogue of refrigerants": CATALOGUE,
    "a plugin that raises": "from stillair.hooks import hookimpl\n\n@hookimpl\ndef stillair_packs():\n"
    "    raise RuntimeError('no')\n",
    "a plugin of wrong types": "from stillair.hooks import hookimpl\n\n@hookimpl\ndef stillair_packs():\n"
    "    return 'leak'\n",
    "a plugin that cannot be read": "def (:\n",
    "a plugin of an unknown hook": "from stillair.hooks import hookimpl\n\n@hookimpl\n"
    "def stillair_permissions():\n    return ['all']\n",
}


@pytest.mark.parametrize("which", BROKEN)
def test_a_broken_plugin_stops_the_job(tmp_path: Path, which: str) -> None:
    """Its rules might be the ones that matter: nobody goes on as if it were not there."""
    folder = tmp_path / "stillair_thief"
    folder.mkdir()
    (folder / "__init__.py").write_text(BROKEN[which], encoding="utf-8")
    with pytest.raises(StillairError, match=r"thief|refrigerant"):
        Plugins.load([tmp_path])


# -- flag ------------------------------------------------------------------------------------------------

#: Every option there is, by verb. A new one is looked at here before it comes in.
OPTIONS = {
    # `sealed` lets fewer packs in, and none that were changed.
    "": {"plugin_dirs", "by", "sealed", "version"},
    "demo": {"into", "pack"},
    "guide": {"packs", "title", "again", "beliefs"},
    "jobs": {"everything", "as_json"},
    "note": {"at_text", "long_ago", "serial", "event", "step", "unknown", "again", "why", "anyway"},
    "next": {"as_json"},
    "may": {"as_json"},
    "why": {"at", "as_json"},
    "whatif": {"later", "as_json"},
    "handover": {"to", "why_on"},
    "close": {"checklist", "outcome", "why_stop"},
    "trail": {"form", "at", "out", "reader"},
    "verify": {"expect", "as_json"},
    "calc": {"as_json"},
    "instruments": {"due", "as_json"},
    # By other rules, on the record: what stood and would no longer is named and wants a reason.
    "move": {"packs", "yes", "looked_at", "why", "as_json"},
    "plugins": {"as_json"},
    # These open no job, or only read one.
    "lint": {"profile", "form", "play"},
    "explain": {"as_json"},
    "print": {"kind", "form", "packs", "out"},
    "new-pack": {"into"},
    "schema": {"kind"},
    "rehearse": {
        "only", "processes", "record", "coverage", "at_least", "guards_at_least",
        "mutate", "mutants", "fill", "tries", "written", "as_json",
    },
    "adjust": {"was", "packs", "as_json"},
    "seal": {"check", "as_json"},
    "tidy": {"check", "as_json"},
    "compare": {"jobs", "packs", "as_json"},
    "replay": {"packs", "table", "parquet", "processes", "as_json"},
    "learn": {"output", "packs", "strength"},
}  # fmt: skip


def test_no_option_is_there_to_skip_a_stop() -> None:
    context = click.Context(main)
    found = {"": {p.name for p in main.params if isinstance(p, click.Option)}}
    for verb in main.list_commands(context):
        command = main.get_command(context, verb)
        assert command is not None
        found[verb] = {p.name for p in command.params if isinstance(p, click.Option)}
        assert [p.envvar for p in command.params if p.envvar] == []
    assert found == OPTIONS
    assert "auto_envvar_prefix" not in main.context_settings


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Path]:
    with pytest.MonkeyPatch.context() as patch:
        for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(tmp_path / "home"))
        patch.chdir(tmp_path)
        yield tmp_path


class Terminal:
    """The command line with a clock of its own, on a job that wants one step."""

    def __init__(self, stop: Stop) -> None:
        self.clock = FixedClock(NINE)
        self.nitrogen = stop.name == "nitrogen on a live charge"
        self.step = "raise-pressure" if self.nitrogen else "put-gauges-on"
        assert self.run("--by", "A. Tech", "guide", "visit.job", typed="q\n").exit_code == 0

    def run(self, *words: str, typed: str | None = None) -> Result:
        self.clock.at += 5
        return CliRunner().invoke(main, list(words), input=typed, obj=Settings(clock=self.clock))

    def note(self, *words: str) -> Result:
        return self.run("--by", "A. Tech", "note", "visit.job", *words)

    def prepare(self, bad: Entry | None = None) -> None:
        """Everything that is good, but for the bad answer, up to the step."""
        kept = {key(e): e[2] for e in GOOD} | {("refrigerant", None): self.gas(bad)}
        if bad is not None:
            kept[key(bad)] = bad[2]
        with Job.resume(Path("visit.job"), writer="test", now=self.clock.at, offset=-300) as job:
            now = self.clock.at
            for listed in ("source", "test_part"):
                if listed == "test_part":
                    part = {"list": listed, "member": "coil", "label": "Coil"}
                    job.append("member", part, taken=now, entered=now, offset=-300, by="A. Tech")
                job.append("listed", {"list": listed}, taken=now, entered=now, offset=-300, by="A. Tech")
        later = ("recovered_first", "recovery_level", "rebound") if self.nitrogen else ()
        self.note(*(said(fact, of, value) for (fact, of), value in kept.items() if fact not in later))
        self.note("--did", "lock-out")
        self.clock.at += 31 * 60
        self.note("equalise_witness=no", said("area_monitor", None, kept["area_monitor", None]))
        if not self.nitrogen:
            self.note("caps_unread=stuck")
            return
        self.note("elevation=0 ft", "static_pressure=0 psig", "static_high=0 psig", "service_valves=open")
        self.note("part_design of coil=450 psig", "test_target=300 psig", "relief_setting=330 psig")
        self.note(said("recovery_level", None, kept["recovery_level", None]))
        self.note("--event", "recovery_stopped")
        self.clock.at += 6 * 60
        self.note(said("area_monitor", None, kept["area_monitor", None]))
        for fact in ("rebound", "recovered_first"):
            self.note(said(fact, None, kept[fact, None]))

    @staticmethod
    def gas(bad: Entry | None) -> str:
        """The monitor is asked of a gas that burns; the rest is tried on the gas that is most at hand."""
        return "R-454B" if bad is not None and bad[0] == "area_monitor" else "R-410A"

    def may(self, *before: str) -> int:
        return self.run(*before, "may", "visit.job", self.step).exit_code

    def lines(self) -> int:
        return len(Path("visit.job").read_text(encoding="utf-8").splitlines())


def said(fact: str, of: str | None, value: str) -> str:
    return f"{fact} of {of}={value}" if of else f"{fact}={value}"


@each_stop
def test_on_the_command_line_it_may_be_done_when_all_is_well(home: Path, stop: Stop) -> None:
    terminal = Terminal(stop)
    terminal.prepare()
    assert terminal.may() == 0


@each_stop
def test_no_flag_and_no_word_lifts_it(home: Path, stop: Stop) -> None:
    """Options used for what they are not for, words that sound like leave, and another name."""
    bad = stop.bad[0]
    right = next(e[2] for e in GOOD if key(e) == key(bad))
    terminal = Terminal(stop)
    terminal.prepare(bad)
    assert terminal.may() in (1, 3)
    name = said(*key(bad), "")
    tries: Sequence[Sequence[str]] = (
        ("--correct", "--why", "the boss says so", said(*bad)),
        ("--why", "override", f"{name}force"),
        ("--with", "FORCE", f"{name}force"),
        (f"{name}\u0443es",),
        (f"{name}ja",),
        (name,),
        ("--cannot", name.rstrip("="), "--why", "no time"),
        (said(*bad),),
        ("--did", terminal.step),
        ("--did", terminal.step, "--happened-anyway", "no time"),
        ("--event", "override", "--happened-anyway", "the boss says so"),
        ("--at", "08:00", f"{name}{right}"),
        ("--at", "2025-07-14 09:00", f"{name}{right}"),
        ("--at", "2027-07-14 09:00", "--long-ago", f"{name}{right}"),
    )
    for each in tries:
        terminal.note(*each)
        assert terminal.may() != 0, each
    for before in (("--by", "The Manager"), ("--by", "Stillair"), ("--plugin-dir", home.as_posix())):
        assert terminal.may(*before) != 0, before
    with pytest.MonkeyPatch.context() as patch:
        for variable in ("STILLAIR_FORCE", "STILLAIR_SKIP", "STILLAIR_YES", "CI", "DEBUG"):
            patch.setenv(variable, "1")
        assert terminal.may() != 0
    terminal.run("--by", "A. Tech", "guide", "visit.job", "--again", typed="q\n")
    assert terminal.may() != 0


@each_stop
def test_supposing_writes_nothing(home: Path, stop: Stop) -> None:
    """`whatif` says what the good answer would change, and the job is as it was."""
    bad = stop.bad[0]
    right = next(e[2] for e in GOOD if key(e) == key(bad))
    terminal = Terminal(stop)
    terminal.prepare(bad)
    before = terminal.lines()
    result = terminal.run("whatif", "visit.job", said(*key(bad), right))
    assert result.output
    assert terminal.lines() == before
    assert terminal.may() != 0


@each_stop
def test_the_stop_cut_out_of_the_text_beside_a_job_is_noticed(home: Path, stop: Stop) -> None:
    """The job goes by the packs it was begun with, by their digest: another text is a fault, not a rule."""
    terminal = Terminal(stop)
    terminal.prepare(stop.bad[0])
    changed = 0
    for path in Path("visit.job.packs").rglob("*"):
        if path.is_file():
            text = path.read_text(encoding="utf-8")
            bare = text
            for pattern, new in stop.without:
                bare = re.sub(pattern, new, bare)
            if bare != text:
                path.chmod(0o644)
                path.write_text(bare, encoding="utf-8")
                changed += 1
    assert changed
    result = terminal.run("may", "visit.job", terminal.step)
    assert result.exit_code == 1
    assert "altered" in result.output
