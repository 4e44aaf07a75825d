"""`new-pack`: a pack to begin with."""

from __future__ import annotations

import re
from pathlib import Path

import click

from . import Mistake
from .packs import name_in
from .screen import Screen
from .session import Settings

__all__ = ["new_pack"]

_LONGEST = 40
"""Characters of a name (judgement, no source): it stands in every trail, and in names of files."""


@click.command("new-pack")
@click.argument("name")
@click.option("--into", default=".", metavar="FOLDER", help="The folder in which the pack's own is made.")
@click.pass_obj
def new_pack(settings: Settings, name: str, into: str) -> None:
    """Begin a pack called NAME: a folder with one working checklist and scenarios that pass."""
    from stillair.authoring.scaffold import scaffold
    from stillair.hooks import Plugins
    from stillair.pack import BELIEFS, MANIFEST, gather

    if len(name) > _LONGEST:
        raise Mistake(f"a name of {len(name)} characters is too long", f"take {_LONGEST} at most")
    if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
        fixed = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_0123456789")
        raise Mistake(f"`{name}` is not a name", f"write `{fixed}`" if fixed else "a-z, digits and `_`")
    if f"{name}.yaml" in (MANIFEST, BELIEFS):
        raise Mistake(f"`{name}.yaml` is another file of a pack", "choose another name")
    installed = {name_in(gather(each)[MANIFEST], each) for each in Plugins.load(settings.plugin_dirs).packs}
    if name in installed:
        raise Mistake(
            f"a pack called `{name}` is installed, and no job can take both",
            f"choose another name; what is to be stricter than `{name}` adjusts it: write `joins: {name}`",
        )
    folder = Path(into) / name
    if folder.exists():
        raise Mistake(f"`{folder.as_posix()}` is there already", "choose another name, or --into elsewhere")
    for path, text in scaffold(name).items():
        place = folder / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text, encoding="utf-8", newline="\n")
    screen = Screen()
    screen.say(f"The pack {name} is in {folder.as_posix()}.")
    screen.say(f"Change {folder.as_posix()}/{name}.yaml, then: stillair lint {folder.as_posix()}")
