"""`seal`: the SHA-256 of every file, for a pack or for the folder of packs that a company works by."""

from __future__ import annotations

import hashlib
from pathlib import Path

import click

from stillair import account
from stillair.authoring.scenario import scenarios_in, unread
from stillair.fault import Fault, StillairError
from stillair.hooks import Plugins
from stillair.job.disk import write_new
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

from . import NO, Answer, Mistake
from .account_format import format_option, print_json
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
    if check:
        if one and not file.is_file():
            raise Mistake(f"`{folder}` has no {LISTING}", f"stillair seal {folder}")
        plugins = None if one else Plugins.load(settings.plugin_dirs)
        faults = (
            list(unlike_listing(place)) if plugins is None else unlike_seal(read_seal(place), place, plugins)
        )
    else:
        unreadable = [f for path in scenarios_in(place) for f in unread(path)] if one else []
        if unreadable:
            raise StillairError(*unreadable)
        text = listing(place) if one else write_seal(make_seal(place, Plugins.load(settings.plugin_dirs)))
        write_new(file, text.encode("utf-8"))
    count = len(file.read_text("utf-8").splitlines()) if one else len(read_seal(place).files)
    sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    if as_json:
        print_json(_account(file, sha256, count, faults, written=not check))
    else:
        _say(Screen(), file, sha256, count, faults, check)
    if faults:
        raise Answer(NO)


def _say(screen: Screen, file: Path, sha256: str, count: int, faults: list[Fault], check: bool) -> None:
    for fault in faults:
        for line in fault.render().split("\n"):
            screen.exactly(line)
    if faults:
        screen.say(f"{len(faults)} not as sealed", bold=True)
        return
    screen.say(f"{count} files, {'all as' if check else 'written down'} in {file.as_posix()}", bold=True)
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
