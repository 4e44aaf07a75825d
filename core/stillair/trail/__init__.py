"""The trail of a job: what was asked, observed and decided, why, and what was not, as one Markdown document.

Made only from an assessment and the lines of the job: the same inputs give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import tzinfo

from stillair.assess import Assessment
from stillair.fault import Fault, StillairError
from stillair.hooks import Plugins, View
from stillair.job import Line as Entry
from stillair.wording import Wording

from .ahead import ahead
from .balances import balances
from .calculations import calculations, limits
from .document import Document, Part, Raw, escape, to_json, write, written
from .findings import findings
from .introduction import as_of, introduction
from .letter import letter
from .people import signatures, who_with_what
from .periods import periods
from .places import places
from .prose import prose
from .record import record
from .short import in_short
from .stops import cautions
from .undecided import undecided
from .versions import versions

__all__ = [
    "Document",
    "as_of",
    "escape",
    "letter",
    "make",
    "markdown",
    "passages",
    "prose",
    "to_json",
    "write",
]

_TITLE = "Trail"


def make(
    found: Assessment,
    lines: Sequence[Entry],
    zone: tzinfo,
    *,
    last_hash: str | None = None,
    torn: int = 0,
    differs: Sequence[str] = (),
    plugins: Plugins | None = None,
) -> Document:
    """The trail as a document.

    `last_hash` is that of the last line; `torn` counts the bytes of a torn last line; `differs` says how
    the plugins differ from those recorded; the views of `plugins` stand before the signatures, by name.
    StillairError if a view raises or gives no text.
    """
    parts = _parts(found, lines, zone, last_hash, torn, differs, plugins)
    return Document(_TITLE, tuple(part for part in parts if part is not None))


def _parts(
    found: Assessment,
    lines: Sequence[Entry],
    zone: tzinfo,
    last_hash: str | None = None,
    torn: int = 0,
    differs: Sequence[str] = (),
    plugins: Plugins | None = None,
) -> Iterator[Part | None]:
    """Each part, made when it is asked for; None for one that there is not."""
    wording = Wording(found, zone)
    yield introduction(wording, lines, torn)
    yield in_short(wording)
    yield cautions(wording, lines)
    yield findings(wording, lines)
    yield undecided(wording)
    yield places(wording, lines)
    yield who_with_what(wording, lines)
    yield from balances(wording)
    yield ahead(wording)
    yield calculations(wording)
    yield limits(wording)
    yield periods(wording)
    yield record(wording, lines)
    yield versions(wording, lines, last_hash, torn, differs)
    for name, view in _views(plugins):
        yield _view(name, view, found, plugins)
    yield signatures()


def markdown(found: Assessment, lines: Sequence[Entry], zone: tzinfo) -> str:
    """The trail as Markdown, without what only the file can tell."""
    return write(make(found, lines, zone))


def passages(found: Assessment, lines: Sequence[Entry], zone: tzinfo) -> Iterator[str]:
    """The same part by part: no more of it is made than is asked for."""
    return written(_TITLE, (part for part in _parts(found, lines, zone) if part is not None))


def _views(plugins: Plugins | None) -> list[tuple[str, View]]:
    return [] if plugins is None else sorted(plugins.views.items())


def _view(name: str, view: View, found: Assessment, plugins: Plugins | None) -> Part:
    assert plugins is not None
    giver = plugins.giver("stillair_views", name)
    file = giver.file.replace("\\", "/")
    help_ = "mend or remove the plugin; no trail is made without it"
    try:
        text = view.render(found)
    except Exception as error:
        message = f"the view `{name}` of the plugin `{giver.name}` raised: {error}"
        raise StillairError(Fault("SA503", message, file, help=help_)) from error
    if not isinstance(text, str):
        message = f"the view `{name}` of the plugin `{giver.name}` gave {type(text).__name__}, not text"
        raise StillairError(Fault("SA504", message, file, help=help_))
    return Part(prose(view.about) or name.replace("_", " "), (Raw(text),))
