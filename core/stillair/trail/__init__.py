"""The trail of a job: what was asked, observed and decided, why, and what was not, as one Markdown document.

Made only from an assessment and the lines of the job: the same inputs give the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo

from stillair.assess import Assessment
from stillair.fault import Fault, StillairError
from stillair.hooks import Plugins, View
from stillair.job import Line as Entry
from stillair.wording import Wording

from . import parts as said
from .document import Code, Document, Item, Part, Raw, Strong, escape, line, to_json, write
from .prose import prose
from .record import instruments, record
from .short import in_short

__all__ = ["Document", "escape", "make", "markdown", "prose", "to_json", "write"]


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
    the plugins differ from those recorded; the views of `plugins` are appended in the order of their names.
    StillairError if a view raises or gives no text.
    """
    wording = Wording(found, zone)
    first = lines[0]
    title = None if "title" in first.left_out else str(first.body.get("title", ""))
    parts = [
        said.introduction(wording, title, _state(wording, torn)),
        in_short(wording),
        said.cautions(wording, lines),
        said.findings(wording),
        said.undecided(wording),
        said.places(wording),
        said.calculations(wording),
        said.limits(wording),
        said.periods(wording),
        record(wording, lines),
        instruments(wording),
        _versions(wording, lines, last_hash, torn, differs),
    ]
    parts += [_view(name, view, found, plugins) for name, view in _views(plugins)]
    return Document("Trail", tuple(part for part in parts if part is not None))


def markdown(found: Assessment, lines: Sequence[Entry], zone: tzinfo) -> str:
    """The trail as Markdown, without what only the file can tell."""
    return write(make(found, lines, zone))


def _state(wording: Wording, torn: int) -> str:
    found = wording.found
    closed = found.history.closed.get("")
    if closed is not None:
        said_ = f"closed {wording.clock(closed[0])}: {closed[1]}"
    elif found.next.kind == "finished":
        said_ = "every step of the open checklists is done, skipped or passed over; the job is not closed"
    elif found.next.kind == "stopped":
        step = found.next.step
        title = prose(wording.program.steps[step].spec.title) if step is not None else ""
        said_ = f"not finished, and stopped before: {title}"
    else:
        step = found.next.step
        title = prose(wording.program.steps[step].spec.title) if step is not None else "an entry in doubt"
        said_ = f"not finished; next is: {title}"
    return said_ + (f"; {torn} bytes of a torn last line are not part of it" if torn else "")


def _versions(
    wording: Wording, lines: Sequence[Entry], last_hash: str | None, torn: int, differs: Sequence[str]
) -> Part:
    """Engine, packs and plugins with their digests, moves, and the hash of the last line."""
    items: list[Item] = []
    packs: dict[str, tuple[str, str]] = dict(wording.program.packs)
    plugins: dict[str, tuple[str, str]] = {}
    for entry in lines:
        if entry.kind in ("job", "move") and entry.entered <= wording.found.history.known:
            engine = entry.body.get("engine")
            if engine is not None:
                items.append(Item(line("Engine, line ", str(entry.n), ": ", Code(str(engine)))))
            plugins = _recorded(entry.body.get("plugins"))
    items += [
        Item(line("Pack ", Strong(n), f" {v}, SHA-256 ", Code(d))) for n, (v, d) in sorted(packs.items())
    ]
    items += [
        Item(line("Plugin ", Strong(n), f" {v}, SHA-256 ", Code(d))) for n, (v, d) in sorted(plugins.items())
    ]
    cannot = Strong("This cannot be re-derived with these plugins:")
    items += [Item(line(cannot, " ", text)) for text in differs]
    items.append(Item(line(f"Lines of the job: {len(lines)}")))
    if torn:
        items.append(Item(line(f"Torn: {torn} bytes after the last whole line, not counted")))
    if last_hash is not None:
        items.append(Item(line("Hash of the last line: ", Code(last_hash))))
    return Part(
        "Versions and hash",
        (
            tuple(items),
            line(
                "The chain of hashes shows accident and partial edits. "
                "Only a hash kept elsewhere shows that the whole file was rewritten."
            ),
        ),
    )


def _recorded(versions: object) -> dict[str, tuple[str, str]]:
    if not isinstance(versions, Mapping):
        return {}
    return {
        str(name): (str(entry.get("version")), str(entry.get("digest")))
        for name, entry in versions.items()
        if isinstance(entry, Mapping)
    }


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
