"""`print`: a checklist on paper."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from stillair.fault import did_you_mean

from . import Mistake
from .packs import choose, name_in
from .session import Settings

if TYPE_CHECKING:
    from stillair.checklist import Checklist
    from stillair.hooks import Plugins
    from stillair.pack import Pack

__all__ = ["print_"]


@click.command("print")
@click.argument("name", metavar="CHECKLIST")
@click.option(
    "--pack", "packs", multiple=True, metavar="NAME", help="A pack, or its folder. May be given again."
)
@click.option(
    "--as",
    "kind",
    type=click.Choice(["sheet", "storyboard"]),
    default="sheet",
    show_default=True,
    help="sheet (to work by, with room to write), storyboard (what comes when, and what follows).",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["markdown", "html"]),
    default="markdown",
    help="markdown, or one page of html.",
)
@click.option("--out", metavar="FILE", help="Write it into a new file instead of showing it.")
@click.pass_obj
def print_(
    settings: Settings, name: str, packs: tuple[str, ...], kind: str, form: str, out: str | None
) -> None:
    """Print CHECKLIST, or all of a pack, by name or folder. The same pack gives the same bytes."""
    from stillair.assess import compile_packs
    from stillair.authoring import printed
    from stillair.hooks import Plugins

    plugins = Plugins.load(settings.plugin_dirs)
    read, pack, checklists = _found(plugins, name, packs)
    program = compile_packs(read, plugins.calculators, plugins.catalogues)
    write = printed.field_sheet if kind == "sheet" else printed.storyboard
    text = write(program, pack, checklists)
    if form == "html":
        from stillair import render

        text = render.html(text, checklists[0].title if len(checklists) == 1 else pack.title)
    if out is None:
        click.echo(text, nl=False)
        return
    place = Path(out)
    if place.exists():
        raise Mistake(f"`{out}` is there already", "name a new file")
    place.write_text(text, encoding="utf-8", newline="\n")
    click.echo(place.as_posix())


def _found(plugins: Plugins, name: str, packs: tuple[str, ...]) -> tuple[list[Pack], Pack, list[Checklist]]:
    """The packs that work together, and of one of them the checklists that are meant."""
    from stillair.pack import MANIFEST, gather, read_texts

    named = {name_in(gather(folder)[MANIFEST], folder) for folder in plugins.packs} & {name}
    if Path(name).is_dir():
        named = {name_in(gather(Path(name))[MANIFEST], Path(name))}
    texts = choose(plugins, [*packs, name] if named else packs)
    read = [read_texts(each, plugins=plugins.versions(), label=own) for own, each in texts.items()]
    for pack in read:
        if pack.name in named:
            return read, pack, list(pack.checklists)
        for checklist in pack.checklists:
            if not named and checklist.name == name:
                return read, pack, [checklist]
    known = [checklist.name for pack in read for checklist in pack.checklists] + [pack.name for pack in read]
    raise Mistake(f"there is no checklist `{name}`", did_you_mean(name, known) or "name one, or a pack")
