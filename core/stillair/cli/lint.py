"""`lint`: what is wrong with packs, before anybody works by them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stillair.fault import Fault, StillairError, did_you_mean

from . import NO, Answer
from .account_format import print_json
from .packs import joined_by, kind_in, name_in
from .session import Settings

if TYPE_CHECKING:
    from stillair.authoring.lint import Accepted, Report
    from stillair.hooks import Plugins
    from stillair.pack import Pack

__all__ = ["lint", "reported", "unread_in"]

_PROFILES = ("draft", "field", "published")
Texts = Mapping[str, str]


@click.command()
@click.argument("paths", nargs=-1, metavar="PATH...")
@click.option(
    "--profile",
    type=click.Choice(_PROFILES),
    default="field",
    show_default=True,
    help="how far the packs have come: being written, carried on jobs, handed to others.",
)
@click.option("--play", is_flag=True, help="also try each answer that cannot be had, as scenarios end too.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "sarif"]),
    default="text",
    help="text to read, JSON whose first key names its format and version, or SARIF 2.1.0.",
)
@click.pass_obj
def lint(settings: Settings, paths: tuple[str, ...], profile: str, play: bool, form: str) -> None:
    """Check packs without running them: names, folders, files in them; with none, all that is installed."""
    from stillair.hooks import Plugins

    plugins = Plugins.load(settings.plugin_dirs)
    now = settings.clock.now()
    today = datetime.fromtimestamp(now, settings.clock.zone(now)).date()
    named = paths
    if not all(Path(path).exists() for path in paths):
        installed = {name: str(folder) for name, folder, _ in _others(plugins)}
        named = tuple(path if Path(path).exists() else installed.get(path, path) for path in paths)
    report = reported(plugins, named or tuple(map(str, plugins.packs)), profile, today, play)
    if form == "json":
        from stillair import account

        accepted = [(each.fault, each.because, each.until) for each in report.accepted]
        print_json(account.lint(report.faults, accepted, profile))
    elif form == "sarif":
        from stillair.authoring.lint import sarif

        print_json(sarif(report))
    else:
        _say(report)
    if report.faults:
        raise Answer(NO)


def _say(report: Report) -> None:
    for fault in report.faults:
        click.echo(f"{fault.render()}\n")
    for each in report.accepted:
        click.echo(f"accepted until {each.until}: {each.fault.message} [{each.fault.code}]")
    count = len(report.faults)
    said = "no fault" if not count else "1 fault" if count == 1 else f"{count} faults"
    more = f", {len(report.accepted)} accepted" if report.accepted else ""
    click.echo(f"{said} for the profile {report.profile}{more}")
    if count:
        click.echo(f"stillair explain {report.faults[0].code} says more")


def reported(
    plugins: Plugins,
    paths: Sequence[str],
    profile: str,
    today: date,
    play: bool = False,
    *,
    sealed: bool = True,
    alone: bool = False,
) -> Report:
    """The report on what the paths name: read, completed with what it works with, and checked.

    Without `sealed`, whether files are as they were listed or sealed is not looked at; `alone`, nothing that
    is installed is taken besides.
    """
    from stillair.authoring.lint import Report
    from stillair.authoring.lint import lint as check
    from stillair.pack import read_texts
    from stillair.seal import unlike_listing

    faults: list[Fault] = []
    batches: list[dict[str, tuple[Path, Texts]]] = []
    unsealed = list(_unsealed(paths, plugins)) if sealed else []
    files: set[str] = set()
    beside: set[str] = set()
    for folder, file in dict.fromkeys(_folders(paths, faults)):
        try:
            texts = _gathered(folder)
            name = name_in(texts["manifest.yaml"], folder)
        except StillairError as error:
            faults += error.faults
            continue
        if file is None:
            unsealed += unlike_listing(folder) if sealed else ()
            unread = list(unread_in(folder, sealed))
            unsealed += unread
            play = play and not unread  # what cannot be read cannot be played
        if all(name in batch for batch in batches):
            batches.append({})  # two packs of one name are not of one work
        next(batch for batch in batches if name not in batch)[name] = (folder, texts)
        every = {f"{folder.as_posix()}/{name}" for name in texts}
        files |= {f"{folder.as_posix()}/{file.name}"} if file else every
        beside |= every
    others = () if alone else _others(plugins)
    installed = {name: (folder, texts) for name, folder, texts in others}
    accepted: dict[Accepted, None] = {}
    for given in batches:
        known = {**installed, **given}
        works = _works(given, installed)
        read: dict[str, Pack] = {}
        for name in dict.fromkeys((*given, *(name for work in works for name in work))):
            folder, texts = known[name]
            try:
                read[name] = read_texts(texts, plugins=plugins.versions(), label=folder.as_posix())
            except StillairError as error:
                faults += error.faults
        faults += _unjoined({name: part for name, part in given.items() if name in read}, known)
        for work in works:
            if not all(name in read for name in work):
                continue
            done = check(
                [read[name] for name in work],
                plugins.calculators,
                plugins.catalogues,
                profile=profile,
                today=today,
                scenarios=_scenarios(given[name][0] for name in work if name in given) if play else None,
            )
            faults += (fault for fault in done.faults if fault.path in beside or fault.code < "SA6")
            accepted.update({each: None for each in done.accepted if each.fault.path in files})
    faults = [fault for fault in faults if fault.path in files or fault.path not in beside]
    unique = sorted(dict.fromkeys([*faults, *unsealed]), key=lambda f: (f.path, f.line, f.column, f.code))
    return Report(profile, tuple(unique), tuple(accepted))


def _unjoined(given: Mapping[str, tuple[Path, Texts]], known: Iterable[str]) -> Iterator[Fault]:
    """A fault for each pack that joins one which is not there: nothing it says of that can be checked."""
    from stillair.reading import parse_manifest

    for folder, texts in given.values():
        if joined_by(texts) in (None, *known):
            continue
        joins = parse_manifest(texts["manifest.yaml"], f"{folder.as_posix()}/manifest.yaml").joins
        if joins is not None:
            near = did_you_mean(joins.text, known) or "install it, or name its folder beside this one"
            yield joins.fault("SA401", f"the pack `{joins}` is not installed", help=near)


def _scenarios(folders: Iterable[Path]) -> Mapping[str, Mapping[str, Any]]:
    from stillair.authoring.scenario import read_scenario, scenarios_in

    paths = [(folder / "scenarios", path) for folder in folders for path in scenarios_in(folder)]
    return {path.relative_to(folder).as_posix(): read_scenario(path) for folder, path in paths}


def unread_in(folder: Path, sealed: bool) -> Iterator[Fault]:
    """What of the scenarios of a pack cannot be read. Those as listed, if `sealed`, were read by `seal`."""
    from stillair.authoring.scenario import UNSHOWN, scenarios_in, unread
    from stillair.authoring.unshown import unread_unshown
    from stillair.seal import as_listed

    listed = as_listed(folder) if sealed else ()
    for path in scenarios_in(folder):
        if path.relative_to(folder).as_posix() not in listed:
            yield from unread(path)
    if f"scenarios/{UNSHOWN}" not in listed:
        yield from unread_unshown(folder)


def _folders(paths: Iterable[str], faults: list[Fault]) -> Iterator[tuple[Path, Path | None]]:
    """The pack folders that paths name, each with the file in it that was named."""
    for named in paths:
        path = Path(named)
        if path.is_file() and path.suffix not in (".yaml", ".yml"):
            help = "name the folder of a pack, or a YAML file in it"
            faults.append(Fault("SA401", "this is no file of a pack", path.as_posix(), help=help))
        elif path.is_file():
            # What is wrong with a manifest may show in any file of its pack.
            yield path.parent, None if path.name == "manifest.yaml" else path
        elif (path / "manifest.yaml").exists() or not path.is_dir():
            yield path, None
        else:
            inside = sorted(each.parent for each in path.glob("*/manifest.yaml"))
            if not inside:
                faults.append(
                    Fault("SA401", "the folder holds no manifest.yaml", path.as_posix(), help="add one")
                )
            yield from ((each, None) for each in inside)


def _unsealed(paths: Iterable[str], plugins: Plugins) -> Iterator[Fault]:
    """What is not as it was sealed, of the folders of packs that have a seal."""
    from stillair.seal import SEAL, read_seal, unlike_seal

    for path in map(Path, dict.fromkeys(paths)):
        if (path / SEAL).is_file():
            try:
                yield from unlike_seal(read_seal(path), path, plugins)
            except StillairError as error:
                yield from error.faults


def _gathered(folder: Path) -> Texts:
    from stillair.pack import gather

    return gather(folder)


def _others(plugins: Plugins) -> Iterator[tuple[str, Path, Texts]]:
    for folder in plugins.packs:
        try:
            texts = _gathered(folder)
            yield name_in(texts["manifest.yaml"], folder), folder, texts
        except StillairError:
            continue  # a plugin's own packs are told of when they are named


def _works(
    given: Mapping[str, tuple[Path, Texts]], installed: Mapping[str, tuple[Path, Texts]]
) -> list[tuple[str, ...]]:
    """The packs that are checked together: each work with what joins it, and one of each kind at a time."""
    every = {**installed, **given}
    roots = []
    for name in given:
        root = name
        while (other := joined_by(every[root][1])) in every and other != root:
            root = str(other)
        roots.append(root)
    works: list[tuple[str, ...]] = []
    for root in dict.fromkeys(roots):
        kinds: dict[str, list[str]] = {}
        for name, (_, texts) in sorted(every.items()):
            if joined_by(texts) == root:
                kinds.setdefault(kind_in(texts) or f"={name}", []).append(name)
        ways = [[n for n in names if n in given] or names[:1] for names in kinds.values()]
        works += [(root, *chosen) for chosen in product(*ways)]
    return works
