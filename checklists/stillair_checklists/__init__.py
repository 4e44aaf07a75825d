"""The bundled packs, handed to the engine through the same hook as any plugin's."""

from pathlib import Path

from stillair.hooks import hookimpl


@hookimpl
def stillair_packs() -> list[Path]:
    """The folders of the bundled packs, in no particular order."""
    return [Path(__file__).parent / "leak"]
