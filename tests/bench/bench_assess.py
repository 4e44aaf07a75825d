"""How long an assessment with its next action takes: the demo job with 40 places and 200 lines.

    python tests/bench/bench_assess.py

Process time, best of many. Not part of the suite.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import takewhile
from pathlib import Path

import stillair_checklists
from stillair.assess import Program, assess, compile_packs, follow
from stillair.authoring.rehearse import play, read_scenario
from stillair.hooks import Plugins
from stillair.job import Line
from stillair.pack import gather, read_texts

PACK = Path(stillair_checklists.__file__).parent / "leak"
PLACES, LINES, TRIES = 40, 200, 60


def program_of(places: int) -> Program:
    """The bundled pack with places added until there are that many."""
    plugins = Plugins.load()
    packs = {folder.name: gather(folder) for folder in plugins.packs}
    texts = packs["split_furnace"]
    have = texts["places.yaml"].count("\n  - place: ")
    more = "".join(
        f"  - {{place: extra_{n}, title: Extra place {n}, how: As the others., activity: sniffing,\n"
        f"     unit: indoor, belief: 0.01, minutes: 4, order: {20 + n},\n"
        f"     counts when: blower is stopped and pool is ready}}\n"
        for n in range(places - have)
    )
    texts["places.yaml"] = texts["places.yaml"].replace("\nplaces:\n", f"\nplaces:\n{more}")
    read = [read_texts(each, plugins=plugins.versions(), label=name) for name, each in packs.items()]
    return compile_packs(read, plugins.calculators, plugins.catalogues)


def job(program: Program) -> list[Line]:
    """The demo's lines up to the end of the search, a look at every place more, and pressures to fill up."""
    whole = play(program, read_scenario(PACK / "scenarios" / "demo.yaml")).lines
    lines = list(takewhile(lambda line: line.body.get("fact") != "search_over", whole))
    at = lines[-1].taken

    def add(body: dict[str, object]) -> None:
        nonlocal at
        at += 10
        lines.append(
            Line(n=len(lines) + 1, kind="observe", taken=at, entered=at, offset=-300, by="A. Tech", body=body)  # type: ignore[arg-type]
        )

    for name in program.places:
        if name.startswith("extra_"):
            add({"fact": "look", "of": name, "value": "none", "read": "none"})
    while len(lines) < LINES:
        add({"fact": "static_pressure", "value": 1_647_847.0, "read": "239 psig", "unit": "psig"})
    return lines


def best(work: Callable[[], object]) -> float:
    """Milliseconds of processor time, the least of many tries."""
    found = float("inf")
    for _ in range(TRIES):
        begun = time.process_time()
        work()
        found = min(found, time.process_time() - begun)
    return found * 1000


def main() -> None:
    program = program_of(PLACES)
    lines = job(program)
    at = lines[-1].taken
    print(f"{len(lines)} lines, {len(program.places)} places, {len(program.conditions)} conditions")
    print(f"assessed in full           {best(lambda: assess(program, lines, at).next):6.2f} ms")
    before = assess(program, lines, at)
    assert before.next
    for name, body in {
        "a look": {"fact": "look", "of": "extra_5", "value": "faint", "read": "faint"},
        "the wind": {"fact": "wind", "value": "calm", "read": "calm"},
        "a pressure (every look rests on it)": {
            "fact": "static_pressure",
            "value": 1.6e6,
            "read": "232 psig",
        },
        "the closing check (likewise)": {"fact": "reference_leak", "value": "answered", "read": "answered"},
    }.items():
        line = Line(
            n=len(lines) + 1, kind="observe", taken=at + 5, entered=at + 5, offset=-300, by="A", body=body
        )
        longer = [*lines, line]

        def work(longer: list[Line] = longer) -> object:
            return follow(before, longer, at + 5).next

        print(f"one entry more: {name:36s} {best(work):6.2f} ms")


if __name__ == "__main__":
    main()
