"""`seal`: the SHA-256 of every file, for a pack or for the folder of packs that a company works by."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import click

from stillair import account
from stillair.fault import Fault, StillairError
from stillair.hooks import Plugins
from stillair.job.disk import write_new
from stillair.pack import MANIFEST, gather, read_pack
from stillair.seal import (
    LISTING,
    SEAL,
    is_pack,
    listing,
    make_seal,
    read_seal,
    unlike_listing,
    unlike_seal,
    write_seal,
)
from stillair.wording import counted

from . import NO, Answer, Mistake
from .account_format import format_option, print_json
from .lint import reported, unread_in
from .packs import joined_by, name_in
from .screen import Screen
from .session import Settings

__all__ = ["seal"]


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False))
@click.option("--check", is_flag=True, help="Write nothing; say what is not as it was sealed.")
@format_option
@click.pass_obj
def seal(settings: Settings, folder: str, check: bool, as_json: bool) -> None:
    """Write down what FOLDER is made of: a pack gets a list of its files, a folder of packs its seal.

    `stillair --sealed FOLDER guide JOB` begins a job only with packs, engine and plugins as they were sealed.
    Exit code 1: with --check, something is otherwise.
    """
    place = Path(folder)
    one = is_pack(place)
    file = place / (LISTING if one else SEAL)
    faults: list[Fault] = []
    fits = True
    if check:
        if one and not file.is_file():
            raise Mistake(f"`{folder}` has no {LISTING}", f"stillair seal {folder}")
        plugins = None if one else Plugins.load(settings.plugin_dirs)
        faults = (
            list(unlike_listing(place)) if plugins is None else unlike_seal(read_seal(place), place, plugins)
        )
    else:
        plugins = Plugins.load(settings.plugin_dirs)
        made = None if one else make_seal(place, plugins)
        packs = [place] if made is None else [place / pack.folder for pack in made.packs]
        fits = _fit(settings, plugins, packs, alone=made is not None)
        text = listing(place) if made is None else write_seal(made)
        write_new(file, text.encode("utf-8"))
    count = len(file.read_text("utf-8").splitlines()) if one else len(read_seal(place).files)
    sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    if as_json:
        print_json(_account(file, sha256, count, faults, written=not check))
    else:
        _say(Screen(), file, sha256, count, faults, check)
        if not fits:
            Screen().say("the pack that it joins is not installed, so whether they fit was not looked at")
    if faults:
        raise Answer(NO)


def _fit(settings: Settings, plugins: Plugins, packs: Sequence[Path], *, alone: bool) -> bool:
    """StillairError where no job could begin with these packs, or a scenario cannot be read.

    `alone`, they are those of a company, and jobs go by nothing else. False where a single one joins a pack
    that is not installed: it is read, and whether the two fit is not known.
    """
    if not alone:
        (place,) = packs
        joined = joined_by(gather(place))
        if joined is not None and joined not in {name_in(gather(f)[MANIFEST], f) for f in plugins.packs}:
            read_pack(place, plugins=plugins.versions())
            if unread := list(unread_in(place, sealed=False)):
                raise StillairError(*unread)
            return False
    now = settings.clock.now()
    today = datetime.fromtimestamp(now, settings.clock.zone(now)).date()
    names = [pack.as_posix() for pack in packs]
    report = reported(plugins, names, "draft", today, sealed=False, alone=alone)
    faults = [f for f in report.faults if any(Path(f.path).is_relative_to(pack) for pack in packs)]
    if faults:
        raise StillairError(*faults)
    return True


def _say(screen: Screen, file: Path, sha256: str, count: int, faults: list[Fault], check: bool) -> None:
    for fault in faults:
        for line in fault.render().split("\n"):
            screen.exactly(line)
    if faults:
        screen.say(f"{len(faults)} not as sealed", bold=True)
        return
    how = "all as" if check else "written down"
    screen.say(f"{counted(count, 'file')}, {how} in {file.as_posix()}", bold=True)
    # Never wrapped, so that it can be copied in one piece.
    screen.exactly(f"SHA-256 of {file.name}: {sha256}")
    screen.say("Tell it by another way than the files: only it shows that all of it was written anew.")


def _account(file: Path, sha256: str, count: int, faults: list[Fault], *, written: bool) -> dict[str, object]:
    return {
        "format": account.SEALED,
        "file": file.as_posix(),
        "digest": sha256,
        "files": count,
        "written": written,
        "faults": [{"code": f.code, "message": f.message, "path": f.path, "help": f.help} for f in faults],
    }
