"""`adjust`: what a company's pack adjusts, and what of it is stale once the pack beneath has moved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import click

from stillair import account
from stillair.assess import Program, compile_packs
from stillair.assess.adjusting import applied, loosened, untimely
from stillair.authoring.stale import Standing, standings
from stillair.fault import Fault
from stillair.hooks import Plugins
from stillair.pack import Pack, read_pack, read_texts

from . import NO, Mistake
from .account_format import format_option, print_json
from .packs import choose
from .screen import Screen
from .session import Settings

__all__ = ["adjust"]


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False))
@click.option(
    "--pack", "packs", multiple=True, metavar="NAME", help="The pack it adjusts, where it is not installed."
)
@click.option(
    "--was", metavar="OLD", type=click.Path(exists=True, file_okay=False), help="The pack it was made for."
)
@format_option
@click.pass_obj
def adjust(settings: Settings, folder: str, packs: tuple[str, ...], was: str | None, as_json: bool) -> None:
    """Say what the company's pack in FOLDER adjusts, and whether it may.

    With --was OLD, say what of it is stale now that the pack beneath has moved. Exit code 1: something is
    refused or stale.
    """
    plugins = Plugins.load(settings.plugin_dirs)
    ours = read_pack(Path(folder), plugins=plugins.versions())
    if ours.adjusts is None:
        raise Mistake(
            f"`{folder}` adjusts nothing",
            "write `adjusts:` in its manifest; `stillair print PACK --as storyboard` names digest and limits",
        )
    chosen = _packs(plugins, choose(plugins, [str(Path(folder).absolute()), *packs]))
    base = next(pack for pack in chosen if pack.name == ours.adjusts.pack.text)
    for other in chosen:
        if _work_of(other, chosen) != _work_of(base, chosen):
            help = f"name the folder of `{base.name}`, or a pack that joins it"
            raise Mistake(f"`{ours.name}` adjusts `{base.name}`, and `{other.name}` is no part of that", help)
    before = base if was is None else read_pack(Path(was), plugins=plugins.versions())
    if was is not None and before.written != ours.adjusts.digest.text:
        raise Mistake(f"`{folder}` was not made for `{was}`", f"its digest is {before.written}")
    others = [pack for pack in chosen if pack.adjusts is None]
    new = compile_packs(others, plugins.calculators, plugins.catalogues)
    old = new if before is base else _compiled([before if p is base else p for p in others], plugins)
    rows = list(standings(ours.adjusts, old, new))
    if was is None:
        # Held against the pack it was made for, nothing can have moved.
        rows = [row._replace(stale=None) for row in rows]
    now = settings.clock.now()
    today = datetime.fromtimestamp(now, settings.clock.zone(now)).date()
    faults = _refused(chosen, ours, base, new, plugins, today, moved=was is not None)
    if as_json:
        print_json(_account(ours, base, rows, faults))
    else:
        _say(Screen(), ours, base, rows, faults)
    if faults or any(row.stale for row in rows):
        raise click.exceptions.Exit(NO)


def _packs(plugins: Plugins, chosen: Mapping[str, Mapping[str, str]]) -> list[Pack]:
    return [
        read_texts(texts, plugins=plugins.versions(), label=name) for name, texts in sorted(chosen.items())
    ]


def _work_of(pack: Pack, packs: Sequence[Pack]) -> str:
    """The pack whose work a pack is a part of."""
    joined = next((each for each in packs if each.name == pack.joins), None)
    return pack.name if joined is None else _work_of(joined, packs)


def _compiled(packs: Sequence[Pack], plugins: Plugins) -> Program:
    return compile_packs(packs, plugins.calculators, plugins.catalogues)


def _refused(
    packs: Sequence[Pack],
    ours: Pack,
    base: Pack,
    plain: Program,
    plugins: Plugins,
    today: date,
    *,
    moved: bool,
) -> list[Fault]:
    """Why the adjustment may not be; of one whose pack has moved, as if it already named the new digest."""
    assert ours.adjusts is not None
    if not moved and ours.adjusts.digest.text != base.written:
        text = f"it was made for other texts of `{base.name}` than are here: {base.written}"
        return [ours.adjusts.digest.fault("SA701", text, help="`--was OLD` says what is stale")]
    adjustments = applied(packs, plain)
    faults = [fault for each in adjustments for fault in each.faults]
    if faults:
        return faults
    changed = list(packs)
    for each in adjustments:
        changed = [p if p is each.by else replace(p, checklists=each.checklists(p)) for p in changed]
    bare = [replace(pack, adjusts=None) for pack in changed]
    program = _compiled(bare, plugins)
    return [*loosened(adjustments, plain, program), *untimely(program, today, packs)]


def _say(screen: Screen, ours: Pack, base: Pack, rows: Sequence[Standing], faults: Sequence[Fault]) -> None:
    screen.say(f"{ours.name} {ours.version} adjusts {base.name} {base.version}", bold=True)
    for row in rows:
        was = row.was if row.was is not None else "nothing"
        now = f", now {row.now if row.now is not None else 'nothing'}" if row.was != row.now else ""
        screen.say(f"{row.kind} {row.name}: the pack {was}{now}; yours {row.theirs}")
        if row.stale:
            screen.say(row.stale, "  STALE ")
    for fault in faults:
        for line in fault.render().split("\n"):
            screen.exactly(line)
    stale = sum(row.stale is not None for row in rows)
    end = [f"{len(rows)} adjustments", *([f"{stale} stale"] if stale else [])]
    screen.say(", ".join([*end, f"{len(faults)} refused" if faults else "none refused"]), bold=True)


def _account(ours: Pack, base: Pack, rows: Sequence[Standing], faults: Sequence[Fault]) -> dict[str, object]:
    return {
        "format": account.ADJUSTMENT,
        "pack": ours.name,
        "adjusts": base.name,
        "digest": base.written,
        "adjustments": [row._asdict() for row in rows],
        "refused": [
            {
                "code": f.code,
                "message": f.message,
                "file": f.path,
                "line": f.line,
                "column": f.column,
                "help": f.help,
            }
            for f in faults
        ],
    }
