"""`rehearse`: the scenarios of packs, played."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import click
from click.core import ParameterSource

from stillair.authoring.scenario import GENERATED, MADE, ScenarioError, folder_of, scenarios_in
from stillair.authoring.unshown import Explained, explained_in
from stillair.fault import Fault
from stillair.hooks import Plugins
from stillair.pack import MANIFEST, gather
from stillair.wording import counted

from . import INTERRUPTED, NO, Mistake
from .account_format import format_option, print_json
from .packs import instead, name_in
from .screen import Screen
from .session import Settings
from .stage import Played, Stage
from .workers import workers

__all__ = ["rehearse"]

_FEW = 8
"""Scenarios up to which they are played one after another (judgement: a process takes a second to start)."""


@click.command()
@click.argument("pack", nargs=-1)
@click.option("-k", "only", metavar="TEXT", default="", help="Only scenarios with TEXT in their file name.")
@click.option("--processes", type=click.IntRange(1), help="How many play at once; by default all processors.")
@click.option("--coverage", is_flag=True, help="Say what of the conditions and limits was not seen.")
@click.option(
    "--at-least",
    type=click.FloatRange(0, 100),
    default=0,
    metavar="PERCENT",
    help="With --coverage or --mutate: fail if less was seen, or noticed.",
)
@click.option(
    "--guards-at-least",
    type=click.FloatRange(0, 100),
    default=0,
    metavar="PERCENT",
    help="The same for gates, stops and what makes safety facts count.",
)
@click.option("--mutate", is_flag=True, help="Say which slips in the conditions no scenario would notice.")
@click.option(
    "--mutants",
    type=click.IntRange(1),
    default=200,
    show_default=True,
    metavar="NUMBER",
    help="With --mutate: how many at most, spread evenly.",
)
@click.option("--fill", is_flag=True, help="Write scenarios for what of the conditions no scenario shows.")
@click.option(
    "--tries",
    type=click.IntRange(0),
    default=300,
    show_default=True,
    metavar="NUMBER",
    help="With --fill: how many entries are tried at most for one condition.",
)
@click.option("--written", is_flag=True, help="Leave out the scenarios that were generated.")
@click.option("--record", metavar="JOB", type=click.Path(), help="Print JOB as a scenario instead.")
@format_option
@click.pass_obj
def rehearse(
    settings: Settings,
    pack: tuple[str, ...],
    only: str,
    processes: int | None,
    coverage: bool,
    at_least: float,
    guards_at_least: float,
    mutate: bool,
    mutants: int,
    fill: bool,
    tries: int,
    written: bool,
    record: str | None,
    as_json: bool,
) -> None:
    """Play the scenarios of each PACK, a name or a folder; by default of all that are installed.

    Exit code 1: one of them failed, or there is none.
    """
    if record is not None:
        if pack or only or coverage or mutate or fill or written or as_json or at_least or guards_at_least:
            raise click.UsageError("--record prints JOB as YAML, and goes with nothing else")
        _record(settings, record)
        return
    if fill and as_json:
        raise click.UsageError("--fill writes files and has no --format json")
    if (at_least or guards_at_least) and not (coverage or mutate):
        raise click.UsageError("--at-least is of what --coverage or --mutate say")
    given = click.get_current_context().get_parameter_source
    for option, asked, verb in (("mutants", mutate, "--mutate"), ("tries", fill, "--fill")):
        if not asked and given(option) is ParameterSource.COMMANDLINE:
            raise click.UsageError(f"--{option} is of what {verb} does")
    if coverage + mutate + fill > 1:
        raise click.UsageError("--coverage, --mutate and --fill are asked for one at a time")
    folders = folders_of(Plugins.load(settings.plugin_dirs), pack)
    paths = [path for folder in folders for path in scenarios_in(folder) if only in path.name]
    if written or fill:
        paths = [path for path in paths if path.parent.name != GENERATED]
    empty = [folder.name for folder in folders if not scenarios_in(folder)]
    if not paths or empty:
        where = f" in {', '.join(empty)}" if empty else ""
        text = f"there are no scenarios{f' with `{only}`' if only else ''}{where} to play"
        raise click.ClickException(text)
    processes = processes or os.cpu_count() or 1
    _begin(settings.plugin_dirs, coverage)
    played = list(_played(paths, settings.plugin_dirs, coverage, processes))
    failed = [each for each in played if not each.passed]
    enough = True
    of_guards = max(at_least, guards_at_least)
    with _explaining():
        # What only some scenarios show says nothing of what is explained.
        explained = Explained() if only else explained_in(folders)
    if coverage and not failed:
        from .covered import Covered

        assert _stage is not None
        with _explaining():
            covered = Covered(_stage, folders, played, explained)
        enough = _enough(covered.accounted(False), covered.accounted(True), at_least, guards_at_least)
        if as_json:
            print_json(covered.account())
        else:
            _say(Screen(), played, failed)
            covered.say(Screen())
    elif mutate and not failed:
        from .mutated import Mutating

        with _explaining():
            mutating = Mutating(settings.plugin_dirs, folders, paths, mutants, explained)
            result, of = mutating.run(processes)
        enough = _enough(result.others.accounted, result.guards.accounted, at_least, guards_at_least)
        if as_json:
            print_json(mutating.account(result, of))
        else:
            mutating.say(Screen(), result, of)
    elif fill and not failed:
        from .filled import Filling

        filling = Filling(settings.plugin_dirs, folders, paths, tries, explained)
        with _explaining():
            outcome = filling.run(processes)
        filling.say(Screen(), outcome)
        if outcome.cut_short:
            raise click.exceptions.Exit(INTERRUPTED)
    elif as_json:
        print_json(_account(played))
    else:
        _say(Screen(), played, failed)
        if coverage or mutate or fill:
            counted = "written" if fill else "counted"
            Screen().say(f"nothing was {counted}: first let every scenario come true", bold=True)
    if not enough and not as_json:
        Screen().say(f"too little: {at_least:g} % is wanted, of guards {of_guards:g} %")
    if failed or not enough:
        raise click.exceptions.Exit(NO)


def _enough(others: float | None, guards: float | None, at_least: float, guards_at_least: float) -> bool:
    """Whether as much was shown as is wanted, of guards and of others. Of nothing there is no share."""
    if guards is None and (guards_at_least or (others is None and at_least)):
        return False
    return (others is None or others >= at_least) and (
        guards is None or guards >= max(at_least, guards_at_least)
    )


@contextmanager
def _explaining() -> Iterator[None]:
    """What authors explain that is not so is a mistake of theirs."""
    try:
        yield
    except ScenarioError as error:
        raise Mistake(str(error), "correct that entry, or take it out") from None


def folders_of(plugins: Plugins, named: Sequence[str]) -> list[Path]:
    """The folders of packs named, or of all that are installed."""
    installed = {name_in(gather(folder)[MANIFEST], folder): folder for folder in plugins.packs}
    if not named:
        return list(installed.values())
    found = []
    for name in named:
        folder = installed.get(name) or Path(name)
        if folder.name in ("", ".."):
            folder = folder.resolve()  # `.` and `..` have no name of their own
        if not (folder / MANIFEST).is_file():
            raise Mistake(f"there is no pack `{name}`", instead(name, installed))
        found.append(folder)
    return list({folder.resolve(): folder for folder in found}.values())


# -- playing -------------------------------------------------------------------------------------------------

_stage: Stage | None = None
_seeing = False


def _begin(plugin_dirs: Sequence[Path], see: bool) -> None:
    """Make a process ready to play."""
    global _stage, _seeing
    _stage, _seeing = Stage(Plugins.load(plugin_dirs)), see


def _play(path: Path) -> Played:
    assert _stage is not None
    return _stage.play(path, see=_seeing)


def _played(
    paths: Sequence[Path], plugin_dirs: Sequence[Path], see: bool, processes: int
) -> Iterator[Played]:
    """Each scenario, in the order given."""
    processes = min(processes, len(paths) // _FEW + 1)
    if processes == 1:
        yield from map(_play, paths)
        return
    # The first is played here, so that the others find the program made.
    yield _play(paths[0])
    # The long ones first, so that none of them is left over at the end.
    rest = sorted(paths[1:], key=lambda path: path.stat().st_size, reverse=True)
    with workers(processes, _begin, plugin_dirs, see) as spread:
        played = dict(zip(rest, spread(_play, rest), strict=True))
    yield from map(played.__getitem__, paths[1:])


def _record(settings: Settings, job: str) -> None:
    from stillair.authoring.record import recorded

    from .session import Session

    with Session.reading(settings, job) as session:
        click.echo(recorded(session.program, session.lines), nl=False)


# -- telling -------------------------------------------------------------------------------------------------


def _say(screen: Screen, played: Sequence[Played], failed: Sequence[Played]) -> None:
    told: set[tuple[Fault, ...]] = set()
    for each in failed:
        screen.say(f"{folder_of(each.path).name}/{each.path.stem}: {each.title}", "FAILED ", bold=True)
        if each.faults:
            if each.faults in told:
                screen.say("the same faults", "  ")
                continue
            told.add(each.faults)
            for line in str(each.error).split("\n"):
                screen.exactly(line)
            continue
        for text in each.told():
            lead = len(text) - len(text.lstrip())
            screen.say(text.lstrip(), "  " + " " * lead)
    for folder, group in _by_folder(played).items():
        made = Counter(each.made for each in group)
        ways = ", ".join(f"{made[way]} {way}" for way in MADE if made[way])
        screen.say(f"{folder.name}: {counted(len(group), 'scenario')} ({ways})")
    checked = sum(each.checked for each in played)
    end = f"{len(failed)} failed" if failed else "none failed"
    said = f"{counted(len(played), 'scenario')} played, {counted(checked, 'expectation')}"
    screen.say(f"{said}, {end}", bold=True)


def _by_folder(played: Iterable[Played]) -> dict[Path, list[Played]]:
    found: dict[Path, list[Played]] = {}
    for each in played:
        found.setdefault(folder_of(each.path), []).append(each)
    return found


def _account(played: Sequence[Played]) -> dict[str, object]:
    from stillair import account

    return {
        "format": account.REHEARSAL,
        "played": len(played),
        "failed": sum(not each.passed for each in played),
        "made": {way: sum(each.made == way for each in played) for way in MADE},
        "scenarios": [
            {
                "pack": folder_of(each.path).name,
                "scenario": each.path.stem,
                "title": each.title,
                "made": each.made,
                "passed": each.passed,
                "expectations": each.checked,
                "error": each.error,
                "misses": [
                    {"where": m.where, "expected": m.expected, "found": m.found, "tree": list(m.tree)}
                    for m in each.misses
                ],
            }
            for each in played
        ],
    }
