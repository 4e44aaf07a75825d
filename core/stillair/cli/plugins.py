"""`plugins`: what is installed, where, and what each gives."""

from __future__ import annotations

import click

from stillair.fault import printable
from stillair.hooks import HOOKS, Plugins

from .account_format import format_option, print_json
from .screen import Screen
from .session import Settings

__all__ = ["plugins"]


@click.command()
@format_option
@click.pass_obj
def plugins(settings: Settings, as_json: bool) -> None:
    """List the plugins: name, version, file, and what each gives."""
    found = Plugins.load(settings.plugin_dirs)
    if as_json:
        from stillair import account

        print_json(account.plugins(found))
        return
    screen = Screen()
    if not found.plugins:
        screen.say("no plugin is installed")
    for plugin in found.plugins:
        screen.say(f"{plugin.name} {plugin.version}", bold=True)
        click.echo(f"  file: {printable(plugin.file)}")
        for hook in HOOKS:
            names = sorted(name for (h, name), p in found.givers.items() if h == hook and p is plugin)
            if names:
                screen.say(", ".join(names), f"  {hook.removeprefix('stillair_')}: ")
