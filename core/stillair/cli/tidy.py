"""`tidy`: the YAML of packs and scenarios in one form, with every comment and every meaning as it was."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

import click

from stillair import account
from stillair.authoring.tidy import Untidy, tidied
from stillair.digest import files_in
from stillair.fault import StillairError
from stillair.job.disk import write_new
from stillair.wording import counted

from . import NO, Answer, Mistake
from .account_format import format_option, print_json
from .screen import Screen

__all__ = ["tidy"]


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(exists=True), metavar="PATH...")
@click.option("--check", is_flag=True, help="Write nothing; say which files are not in the form.")
@format_option
def tidy(paths: tuple[str, ...], check: bool, as_json: bool) -> None:
    """Bring YAML files, or all in folders, into one form. Comments stay, and what is read stays the same.

    Exit code 1: a file cannot be read or kept, or, with --check, one is not in the form.
    """
    try:
        import ruamel.yaml  # noqa: F401
    except ImportError:
        raise Mistake("tidy needs ruamel.yaml, which is not installed", "install stillair[tidy]") from None
    files = list(dict.fromkeys(_files(paths)))
    changed: list[str] = []
    refused: list[tuple[str, str]] = []
    for file in files:
        raw = file.read_bytes()
        try:
            text = raw.decode("utf-8")
            found = tidied(text, file.as_posix()).encode("utf-8")
        except UnicodeDecodeError:
            refused.append((file.as_posix(), "it is not UTF-8"))
        except Untidy as error:
            where = f"{file.as_posix()}:{error.line}" if error.line else file.as_posix()
            refused.append((file.as_posix(), f"{where}: left as it is: {error}"))
        except StillairError as error:
            refused.append((file.as_posix(), str(error)))
        else:
            if found != raw:
                changed.append(file.as_posix())
                if not check:
                    write_new(file, found)
    if as_json:
        told = [{"path": path, "message": message} for path, message in refused]
        counted = {"files": len(files), "changed": changed, "written": not check, "refused": told}
        print_json({"format": account.TIDY, **counted})
    else:
        _say(Screen(), len(files), changed, refused, check)
    if refused or (check and changed):
        raise Answer(NO)


def _files(paths: Iterable[str]) -> Iterator[Path]:
    for path in paths:
        if os.path.isdir(path):
            names = files_in(path, (".yaml", ".yml"))
            hidden = (any(part.startswith(".") for part in name.split("/")) for name in names)
            yield from (Path(path, name) for name, out in zip(names, hidden, strict=True) if not out)
        else:
            yield Path(path)


def _say(screen: Screen, files: int, changed: list[str], refused: list[tuple[str, str]], check: bool) -> None:
    for path, message in refused:
        for line in message.split("\n"):
            screen.exactly(line if line.startswith(path) else f"{path}: {line}" if message == line else line)
    for path in changed:
        screen.exactly(f"{'not tidy' if check else 'tidied'}: {path}")
    many = f"{counted(files, 'file')}, {len(changed)} {'not tidy' if check else 'tidied'}"
    screen.say(many + (f", {len(refused)} refused" if refused else ""), bold=True)
