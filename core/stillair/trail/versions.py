"""Engine, packs and plugins with their digests, and the hash of the last line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from stillair.job import Line as Entry
from stillair.wording import Wording

from .document import Code, Item, Part, Strong, line
from .reason import LEFT_OUT, quoted

__all__ = ["versions"]


def versions(
    wording: Wording, entries: Sequence[Entry], last_hash: str | None, torn: int, differs: Sequence[str]
) -> Part:
    """As recorded at the beginning and by every move."""
    items: list[Item] = []
    packs: dict[str, tuple[str, str]] = dict(wording.program.packs)
    plugins: dict[str, tuple[str, str]] = {}
    recorded: dict[str, tuple[str, str]] = {}
    for entry in entries:
        if entry.kind in ("job", "move") and entry.entered <= wording.found.history.known:
            if entry.kind == "move":
                items.append(_moved(wording, entry, recorded))
            engine = entry.body.get("engine")
            if engine is not None:
                items.append(Item(line("Engine, line ", str(entry.n), ": ", Code(str(engine)))))
            plugins = _recorded(entry.body.get("plugins"))
            recorded = _recorded(entry.body.get("packs"))
    items += [
        Item(line("Pack ", Strong(n), f" {v}, SHA-256 ", Code(d))) for n, (v, d) in sorted(packs.items())
    ]
    items += [
        Item(line("Plugin ", Strong(n), f" {v}, SHA-256 ", Code(d))) for n, (v, d) in sorted(plugins.items())
    ]
    cannot = Strong("This cannot be re-derived with these plugins:")
    items += [Item(line(cannot, " ", text)) for text in differs]
    items.append(Item(line(f"Lines of the job: {len(entries)}")))
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


def _moved(wording: Wording, entry: Entry, before: Mapping[str, tuple[str, str]]) -> Item:
    """Which versions held until a move, which since, who moved it and why."""
    after = _recorded(entry.body.get("packs"))
    by = LEFT_OUT if "by" in entry.left_out else entry.by
    why = LEFT_OUT if "why" in entry.left_out else entry.body.get("why")
    said = line(
        Strong(f"Moved in line {entry.n}, {wording.moment(entry.entered)}"),
        f", by {by}" if by is not None else ", no name given",
        f", because: {quoted(str(why))}" if why is not None else "",
        ". Entries before it were made by the older rules, and are judged here by the newer ones.",
    )
    under = []
    for name in sorted({*before, *after}):
        was, now = before.get(name), after.get(name)
        if was == now:
            continue
        until = (f" {was[0]}, kept as ", Code(was[1])) if was is not None else (" none",)
        since = (f" {now[0]}, kept as ", Code(now[1])) if now is not None else (" none",)
        under.append(Item(line("Pack ", Strong(name), ", until then:", *until, "; since:", *since)))
    return Item(said, tuple(under))


def _recorded(versions: object) -> dict[str, tuple[str, str]]:
    if not isinstance(versions, Mapping):
        return {}
    return {
        str(name): (str(entry.get("version")), str(entry.get("digest")))
        for name, entry in versions.items()
        if isinstance(entry, Mapping)
    }
