"""The federal rules of the United States on refrigerant, as a pack; no code."""

from pathlib import Path

from stillair.hooks import hookimpl


@hookimpl
def stillair_packs() -> list[Path]:
    """The folder of the pack, which joins `leak`."""
    return [Path(__file__).parent / "us_federal"]
