"""A split air conditioner with an upflow furnace: a pack of places, sources and still air, and no code."""

from pathlib import Path

from stillair.hooks import hookimpl


@hookimpl
def stillair_packs() -> list[Path]:
    """The folder of the pack, which joins `leak`."""
    return [Path(__file__).parent / "split_furnace"]
