"""`schema`: the JSON Schema of the files of a pack, for editors."""

from __future__ import annotations

import json

import click

from .packs import choose
from .session import Settings

__all__ = ["schema"]


@click.command()
@click.argument("pack", required=False)
@click.option(
    "--of",
    "kind",
    type=click.Choice(["checklist", "manifest"]),
    default="checklist",
    show_default=True,
    help="which file.",
)
@click.pass_obj
def schema(settings: Settings, pack: str | None, kind: str) -> None:
    """Print the schema of a file format; with PACK, a name or a folder, its names are completed."""
    from stillair.authoring.schema import checklist_schema, manifest_schema
    from stillair.hooks import Plugins
    from stillair.pack import read_texts

    plugins = Plugins.load(settings.plugin_dirs)
    texts = choose(plugins, [pack]) if pack is not None else {}
    packs = [read_texts(t, plugins=plugins.versions(), label=name) for name, t in texts.items()]
    if kind == "manifest":
        found = manifest_schema(plugins.versions(), packs)
    else:
        found = checklist_schema(packs, plugins.catalogues)
    click.echo(json.dumps(found, indent=1))
