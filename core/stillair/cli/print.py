"""`print`: a checklist on paper."""

from __future__ import annotations

from collections.abc import Sequence
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
    """Print CHECKLIST, or all of a pack, by name or folder. The same packs give the same bytes.

    What a company adjusts is printed as a job would go by it: named with --pack, or itself.
    """
    from stillair.assess.compiler import checked
    from stillair.authoring import printed
    from stillair.hooks import Plugins

    plugins = Plugins.load(settings.plugin_dirs)
    read, named = _read(plugins, name, packs)
    compiler = checked(read, plugins.calculators, plugins.catalogues)
    program = compiler.finish()
    pack, checklists = _found(compiler.packs, name, named, list(program.checklists))
    by = sorted((each for each in compiler.packs if each.adjusts is not None), key=lambda each: each.name)
    write = printed.field_sheet if kind == "sheet" else printed.storyboard
    text = write(program, pack, checklists, by)
    if form == "html":
        from stillair import render

        text = render.html(text, printed.title(pack, checklists, by))
    if out is None:
        click.echo(text, nl=False)
        return
    place = Path(out)
    if place.exists():
        raise Mistake(f"`{out}` is there already", "name a new file")
    place.write_text(text, encoding="utf-8", newline="\n")
    click.echo(place.as_posix())


def _read(plugins: Plugins, name: str, packs: tuple[str, ...]) -> tuple[list[Pack], set[str]]:
    """The packs that work together, and the one that is named, if it is a pack."""
    from stillair.pack import MANIFEST, gather, read_texts

    named = {name_in(gather(folder)[MANIFEST], folder) for folder in plugins.packs} & {name}
    if Path(name).is_dir():
        named = {name_in(gather(Path(name))[MANIFEST], Path(name))}
    texts = choose(plugins, [*packs, name] if named else packs)
    return [read_texts(each, plugins=plugins.versions(), label=own) for own, each in texts.items()], named


def _found(
    packs: Sequence[Pack], name: str, named: set[str], order: Sequence[str]
) -> tuple[Pack, list[Checklist]]:
    """The pack and the checklists of it that are meant: of one that is adjusted, the company's too."""
    for pack in packs:
        if pack.name in named:
            base = pack if pack.adjusts is None else _named(packs, pack.adjusts.pack.text)
            ours = [p for p in packs if p is base or (p.adjusts and p.adjusts.pack.text == base.name)]
            found = [checklist for each in ours for checklist in each.checklists]
            return base, sorted(found, key=lambda checklist: order.index(checklist.name))
        for checklist in pack.checklists:
            if not named and checklist.name == name:
                return pack, [checklist]
    known = [checklist.name for pack in packs for checklist in pack.checklists] + [p.name for p in packs]
    raise Mistake(f"there is no checklist `{name}`", did_you_mean(name, known) or "name one, or a pack")


def _named(packs: Sequence[Pack], name: str) -> Pack:
    return next(pack for pack in packs if pack.name == name)
