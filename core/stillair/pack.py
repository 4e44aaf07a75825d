"""A pack: a folder with a manifest and checklists, read once and known by its digest."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from stillair.checklist import Adjusting, Checklist, LearnedSpec, Text
from stillair.fault import LARGEST, Fault, StillairError, did_you_mean
from stillair.version import VersionError, engine_version, read_range, read_version, satisfies

if TYPE_CHECKING:
    from stillair.models import ManifestShape

__all__ = ["BELIEFS", "MANIFEST", "Acceptance", "Pack", "digest_of", "gather", "read_pack", "read_texts"]

MANIFEST = "manifest.yaml"
#: Beliefs learned from closed jobs, where a pack has such. It sets beliefs and nothing else.
BELIEFS = "beliefs.yaml"


class Acceptance(NamedTuple):
    """A fault its author accepts: the code, a name it is about, the reason and the last day."""

    code: Text
    of: Text
    because: str
    until: Text


@dataclass(frozen=True, slots=True)
class Pack:
    """What a pack folder holds.

    `texts` are the files its meaning comes from (manifest and checklists), by name, with `\\n` for
    line ends; `digest` is made from them alone, so the same pack has the same digest everywhere.
    `joins` names the pack whose work this one is a part of.
    """

    name: str
    version: str
    title: str
    joins: str | None
    engine: str
    plugins: tuple[tuple[str, str], ...]
    licence: str | None
    about: str | None
    checklists: tuple[Checklist, ...]
    digest: str
    texts: Mapping[str, str]
    learned: LearnedSpec | None = None
    """The beliefs it goes by in place of those written in its checklists."""
    accepts: tuple[Acceptance, ...] = ()
    adjusts: Adjusting | None = None

    @property
    def written(self) -> str:
        """The digest of what its author wrote, whatever beliefs are put to it."""
        return digest_of(_without_beliefs(self.texts))


def read_pack(folder: Path, *, plugins: Mapping[str, str], engine: str | None = None) -> Pack:
    """The pack in a folder.

    `plugins` maps the name of each installed plugin to its version; `engine` is the version of the
    engine (by default the installed one). Raises StillairError with every fault found.
    """
    return read_texts(gather(folder), plugins=plugins, engine=engine, label=folder.as_posix())


def gather(folder: Path) -> dict[str, str]:
    """The text of every YAML file directly in a pack folder, by file name; none that begins with a dot.

    Nothing is parsed, so that the digest of a pack is known without reading it.
    Raises StillairError for files that are missing, outside the folder or not UTF-8.
    """
    if not folder.is_dir():
        problem = "is not a folder" if folder.exists() else "does not exist"
        raise StillairError(
            Fault(
                "SA401", f"the pack `{folder.name}` {problem}", folder.as_posix(), help="name a pack folder"
            )
        )
    names = (name for name in os.listdir(folder) if not name.startswith("."))
    present = sorted(name for name in names if name.endswith((".yaml", ".yml")))
    if MANIFEST not in present:
        near = did_you_mean(MANIFEST, present)
        raise StillairError(
            Fault("SA401", f"the folder holds no {MANIFEST}", folder.as_posix(), help=near or "add one")
        )
    texts = {}
    faults: list[Fault] = []
    for name in present:
        try:
            texts[name] = _text(folder, name)
        except StillairError as error:
            faults += error.faults
    if faults:
        raise StillairError(*faults)
    return texts


def read_texts(
    texts: Mapping[str, str], *, plugins: Mapping[str, str], engine: str | None = None, label: str
) -> Pack:
    """The pack in texts kept by file name; `label` stands for its folder in faults."""
    from stillair.reading import collisions, parse_checklist, parse_learned, parse_manifest

    if MANIFEST not in texts:
        raise StillairError(Fault("SA401", f"the pack has no {MANIFEST}", label))
    manifest = parse_manifest(texts[MANIFEST], f"{label}/{MANIFEST}")
    faults = [
        *_version_faults(manifest, plugins, engine or engine_version()),
        *_list_faults(manifest, texts, label),
    ]
    checklists = []
    for name in dict.fromkeys(manifest.checklists):
        if name.text in texts and name.text != MANIFEST:
            try:
                checklists.append(parse_checklist(texts[name.text], f"{label}/{name}"))
            except StillairError as error:
                faults += error.faults
    faults += collisions(checklists)
    if faults:
        raise StillairError(*faults)
    learned = None
    if BELIEFS in texts:
        learned = parse_learned(texts[BELIEFS], f"{label}/{BELIEFS}")
        written = digest_of(_without_beliefs(texts))
        checklists = _with_beliefs(checklists, learned, manifest.pack.text, written)
    return Pack(
        name=manifest.pack.text,
        version=manifest.version.text,
        title=manifest.title,
        joins=manifest.joins.text if manifest.joins else None,
        engine=manifest.engine.text,
        plugins=tuple((name.text, wanted.text) for name, wanted in manifest.plugins.items()),
        licence=manifest.licence,
        about=manifest.about,
        checklists=tuple(checklists),
        digest=digest_of(texts),
        texts=MappingProxyType(dict(texts)),
        learned=learned,
        accepts=tuple(each.record(Acceptance) for each in manifest.accepts),
        adjusts=manifest.adjusts.spec() if manifest.adjusts is not None else None,
    )


def _with_beliefs(
    checklists: Sequence[Checklist], learned: LearnedSpec, pack: str, digest: str
) -> list[Checklist]:
    """The checklists with learned beliefs and nothing else changed; for the text they name, and no other."""
    if learned.pack.text != pack or learned.digest != digest:
        message = f"these beliefs are of `{learned.pack}`, text {learned.digest}; this is `{pack}`, {digest}"
        raise StillairError(learned.pack.fault("SA408", message, help="learn them again for this pack"))
    places = [place.name for checklist in checklists for place in checklist.places]
    faults = []
    for beliefs in (learned.places, *(each.places for each in learned.bands)):
        given = [name.text for name, _ in beliefs]
        faults += [
            name.fault("SA408", f"the pack has no place `{name}`", help=did_you_mean(name.text, places))
            for name, _ in beliefs
            if name.text not in places
        ]
        faults += [
            learned.pack.fault("SA408", f"nothing is said of the place `{name}`", help="learn them again")
            for name in places
            if name not in given
        ]
    if faults:
        raise StillairError(*faults)
    now = {name.text: belief for name, belief in learned.places}
    return [
        checklist._replace(places=tuple(p._replace(belief=now[p.name]) for p in checklist.places))
        for checklist in checklists
    ]


def _without_beliefs(texts: Mapping[str, str]) -> dict[str, str]:
    return {name: text for name, text in texts.items() if name != BELIEFS}


def digest_of(texts: Mapping[str, str]) -> str:
    """SHA-256 over names and texts, sorted by name, each with its length before it."""
    digest = hashlib.sha256()
    for name in sorted(texts):
        for part in (name.encode(), texts[name].encode()):
            digest.update(len(part).to_bytes(8, "big"))
            digest.update(part)
    return digest.hexdigest()


def _list_faults(manifest: ManifestShape, texts: Mapping[str, str], label: str) -> Iterator[Fault]:
    """Faults of the list of checklists: each file beside the manifest stands in it once."""
    seen: set[str] = set()
    # Names are compared as stored, so that a pack works alike where case does not matter.
    unlisted = set(texts) - {MANIFEST, BELIEFS} - {name.text for name in manifest.checklists}
    for name in manifest.checklists:
        if set(name.text) & set("/\\") or name.text[:1] == "." or not name.text.endswith((".yaml", ".yml")):
            yield name.fault(
                "SA403",
                f"`{name}` is not the name of a YAML file beside the manifest",
                help="write the file name alone, like `search.yaml`",
            )
        elif name.text in (MANIFEST, BELIEFS) or name.text in seen:
            own = {MANIFEST: "is the manifest itself", BELIEFS: "is the name of learned beliefs"}
            problem = own.get(name.text, "is listed twice")
            yield name.fault("SA407", f"`{name}` {problem}", help="remove the line")
        elif name.text not in texts:
            near = did_you_mean(name.text, unlisted)
            if near is not None:
                unlisted.discard(near.split("`")[1])  # it is this one, misspelt
            help = near or "add the file, or remove the line"
            yield name.fault("SA402", f"the pack has no file `{name}`", help=help)
        seen.add(name.text)
    for left in sorted(unlisted):
        yield Fault(
            "SA407",
            f"`{left}` lies in the pack and is not in `checklists` of its manifest",
            f"{label}/{left}",
            help="add it to `checklists`, or move it out of the folder",
        )


def _text(folder: Path, name: str) -> str:
    path = folder / name
    shown = path.as_posix()
    if not path.is_file():
        raise StillairError(Fault("SA402", f"`{name}` is not a file", shown))
    if path.resolve().parent != folder.resolve():
        raise StillairError(
            Fault(
                "SA403", f"`{name}` leads out of the pack", shown, help="put the file itself into the folder"
            )
        )
    with path.open("rb") as stream:
        raw = stream.read(LARGEST + 1)
    if len(raw) > LARGEST:
        raise StillairError(
            Fault("SA108", f"`{name}` is larger than {LARGEST:,} bytes", shown, help="split it")
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise StillairError(
            Fault(
                "SA110",
                f"`{name}` is not UTF-8: byte 0x{raw[error.start]:02x} in line {line}",
                shown,
                help="save it as UTF-8",
            )
        ) from None
    return text.replace("\r\n", "\n")


def _version_faults(manifest: ManifestShape, plugins: Mapping[str, str], engine: str) -> list[Fault]:
    faults = []
    try:
        read_version(manifest.version.text)
    except VersionError as error:
        faults.append(manifest.version.fault("SA404", str(error), help="write numbers, like `1.0.0`"))
    for wanted in (manifest.engine, *manifest.plugins.values()):
        try:
            read_range(wanted.text)
        except VersionError as error:
            faults.append(wanted.fault("SA404", str(error), help="write it like `>=0.1,<1`"))
    if faults:
        return faults
    if not satisfies(engine, manifest.engine.text):
        faults.append(
            manifest.engine.fault(
                "SA405",
                f"the pack `{manifest.pack}` needs engine {manifest.engine}, this one is {engine}",
                help="install that engine, or a pack made for this one",
            )
        )
    for name, wanted in manifest.plugins.items():
        installed = plugins.get(name.text)
        if installed is None:
            faults.append(
                name.fault(
                    "SA406",
                    f"the pack `{manifest.pack}` needs the plugin `{name}`, which is not installed",
                    help=did_you_mean(name.text, plugins) or f"install `{name}` {wanted}",
                )
            )
        elif not satisfies(installed, wanted.text):
            faults.append(
                wanted.fault(
                    "SA406",
                    f"the pack `{manifest.pack}` needs `{name}` {wanted}, installed is {installed}",
                    help=f"install `{name}` {wanted}",
                )
            )
    return faults
