"""The pages of `explain`, one file of Markdown for each code; their examples are run by the tests."""

from __future__ import annotations

from importlib.resources import files

__all__ = ["page"]


def page(code: str) -> str:
    """The page of a code, as Markdown."""
    return files(__name__).joinpath(f"{code}.md").read_text(encoding="utf-8")
