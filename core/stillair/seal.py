"""The SHA-256 of every file of a pack, or of a folder of packs: written by a tool, held against the disk.

A pack has a list of its files beside its manifest. A folder of packs has a seal, which also names the engine
and the plugins: jobs that begin with it begin with that and with nothing else.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from stillair.digest import digest_of_files, files_in
from stillair.fault import LARGEST, Fault, StillairError, did_you_mean
from stillair.heads import heads
from stillair.hooks import Plugins
from stillair.pack import MANIFEST, digest_of, gather, read_pack
from stillair.version import engine_version

__all__ = [
    "LISTING",
    "SEAL",
    "Seal",
    "SealedPack",
    "as_listed",
    "is_pack",
    "listing",
    "make_seal",
    "read_seal",
    "sealed_texts",
    "unlike_listing",
    "unlike_seal",
    "write_seal",
]

LISTING = "files.sha256"
"""The list in a pack, as `sha256sum` writes and checks such lists."""
SEAL = "sealed.json"
FORMAT = "stillair.seal/1"

_AGAIN = "get the folder again from the company; if the change is meant, the company seals it again"
_LISTED = re.compile(r"([0-9a-f]{64}) [ *](.+)")
_LEFT_BY_SYSTEMS = frozenset({"desktop.ini", "thumbs.db"})
"""Files that systems put into a folder; those that begin with a dot do not count either."""

Files = Mapping[str, str]
"""Names within a folder, with `/`, and the SHA-256 of each file."""


class SealedPack(NamedTuple):
    """One pack: its folder within the sealed one, its digest as trails give it, and its files."""

    name: str
    version: str
    folder: str
    digest: str
    files: Files


class Seal(NamedTuple):
    """What a folder of packs was sealed with; `beside` are the files that belong to no pack."""

    engine: str
    plugins: Mapping[str, Mapping[str, str]]
    """Version and digest of each, and whether it `reckons`: gives calculators or catalogues."""
    packs: tuple[SealedPack, ...]
    beside: Files
    engine_digest: str | None = None
    """Of the sources of the engine; a seal without it holds for the version alone."""

    @property
    def files(self) -> dict[str, str]:
        """Every file of the folder."""
        found = dict(self.beside)
        for pack in self.packs:
            found |= {f"{pack.folder}/{name}": sha256 for name, sha256 in pack.files.items()}
        return found


def is_pack(folder: Path) -> bool:
    """Whether a folder is a pack itself, and not one of packs."""
    return (folder / MANIFEST).is_file()


def listing(folder: Path) -> str:
    """The list of the files of a pack, itself left out."""
    return "".join(f"{sha256}  {name}\n" for name, sha256 in _files(folder, LISTING).items())


def unlike_listing(folder: Path) -> Iterator[Fault]:
    """What of a pack is not as its list says; nothing where it has none."""
    path = folder / LISTING
    if not path.is_file():
        return
    listed: dict[str, str] = {}
    for number, row in enumerate(_text(path, "SA409").splitlines(), 1):
        found = _LISTED.fullmatch(row)
        if found is None:
            message = f"a line of {LISTING} is not a SHA-256 and the name of a file"
            help = f"write it with `stillair seal {folder.as_posix()}`"
            yield Fault("SA409", message, path.as_posix(), number, 1, len(row) or 1, row, help)
            return
        listed[found[2]] = found[1]
    help = f"put back what was listed, or, if it is meant: stillair seal {folder.as_posix()}"
    yield from _unlike(folder, listed, _files(folder, LISTING), help)


def as_listed(folder: Path) -> frozenset[str]:
    """The names of the files of a pack that are what its list says; none where it has no list."""
    path = folder / LISTING
    rows = _text(path, "SA409").splitlines() if path.is_file() else ()
    listed = {found[2]: found[1] for row in rows if (found := _LISTED.fullmatch(row)) is not None}
    return frozenset(name for name, sha in _files(folder, LISTING).items() if listed.get(name) == sha)


def make_seal(folder: Path, plugins: Plugins) -> Seal:
    """The seal of a folder of packs as they are, with this engine and these plugins.

    StillairError with every fault where one of them cannot be read, or is not as its own list says.
    """
    packs: list[SealedPack] = []
    faults: list[Fault] = []
    joins: list[tuple[Path, str, str]] = []
    hashes = _files(folder, SEAL)
    for place in _pack_folders(folder):
        if (fault := _elsewhere(place)) is not None:
            faults.append(fault)
            continue
        try:
            pack = read_pack(place, plugins=plugins.versions())
            faults += unlike_listing(place)
        except StillairError as error:
            faults += error.faults
            continue
        files = {name.split("/", 1)[1]: hashes.pop(name) for name in list(hashes) if _in(name, place.name)}
        if any(pack.name == other.name for other in packs):
            message = f"two packs of this folder are called `{pack.name}`"
            faults.append(Fault("SA411", message, place.as_posix(), help="take one out"))
        packs.append(SealedPack(pack.name, pack.version, place.name, pack.digest, files))
        if pack.joins is not None:
            joins.append((place, pack.name, pack.joins))
    names = {pack.name for pack in packs}
    for place, name, other in joins if not faults else ():
        if other not in names:
            message = f"the pack `{name}` joins `{other}`, which is not in this folder"
            help = did_you_mean(other, names - {name}) or (
                f"put the folder of `{other}` beside it, even if it is installed: a job begun with a seal "
                "goes by nothing else"
            )
            faults.append(Fault("SA411", message, place.as_posix(), help=help))
    if not packs and not faults:
        message = f"the folder `{folder.resolve().name}` holds no pack"
        faults.append(Fault("SA401", message, folder.as_posix(), help="put pack folders into it"))
    if faults:
        raise StillairError(*faults)
    reckon = plugins.reckoning()
    used = {
        p.name: {"version": p.version, "digest": p.digest, "reckons": "yes" if p.name in reckon else "no"}
        for p in plugins.plugins
    }
    return Seal(engine_version(), used, tuple(packs), hashes, _engine_digest())


def write_seal(seal: Seal) -> str:
    """The text of a seal, the same for the same seal."""
    packs = {
        p.name: {"version": p.version, "folder": p.folder, "digest": p.digest, "files": dict(p.files)}
        for p in seal.packs
    }
    told: dict[str, object] = {"format": FORMAT, "engine": seal.engine, "engine_digest": seal.engine_digest}
    told |= {"plugins": seal.plugins, "packs": packs, "files": dict(seal.beside)}
    return json.dumps(told, indent=1, sort_keys=True) + "\n"


def read_seal(folder: Path) -> Seal:
    """The seal in a folder. StillairError where there is none, or none that can be read."""
    path = folder / SEAL
    help = f"the company seals it: stillair seal {folder.as_posix()}"
    if (folder / MANIFEST).is_file():
        help = "it is one pack: name the folder of packs that it lies in"
    if not path.is_file():
        problem = "is not sealed" if folder.is_dir() else "does not exist"
        raise StillairError(
            Fault("SA411", f"the folder `{folder.resolve().name}` {problem}", folder.as_posix(), help=help)
        )
    try:
        told = json.loads(_text(path, "SA411"))
        if told["format"] != FORMAT:
            raise StillairError(
                Fault(
                    "SA411",
                    f"the seal is written as {str(told['format'])[:40]}, this engine reads {FORMAT}",
                    path.as_posix(),
                    help="use the engine it was sealed with, or seal the folder again",
                )
            )
        packs = tuple(_sealed_pack(name, each) for name, each in told["packs"].items())
        plugins = {name: _pairs(each) for name, each in told["plugins"].items()}
        digest = told.get("engine_digest")
        return Seal(
            str(told["engine"]),
            plugins,
            packs,
            _pairs(told["files"]),
            None if digest is None else str(digest),
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise StillairError(Fault("SA411", "the seal cannot be read", path.as_posix(), help=help)) from None


def unlike_seal(seal: Seal, folder: Path, plugins: Plugins) -> list[Fault]:
    """What is not as it was sealed: files of the folder, the engine, plugins that calculate or list.

    Those are the plugins that did so when they were sealed, and those that do so now.
    """
    path = (folder / SEAL).as_posix()
    faults = []
    if seal.engine != engine_version():
        faults.append(
            Fault(
                "SA410",
                f"the packs were sealed with engine {seal.engine}, this one is {engine_version()}",
                path,
                help=f"install stillair {seal.engine}, or get the packs sealed for this one",
            )
        )
    elif seal.engine_digest not in (None, _engine_digest()):
        message = f"the files of the engine {seal.engine} are not those the packs were sealed with"
        help = f"install stillair {seal.engine} as the company gives it"
        faults.append(Fault("SA410", message, path, help=help))
    now, reckon = {p.name: p for p in plugins.plugins}, plugins.reckoning()
    for name, entry in sorted(seal.plugins.items()):
        plugin, version = now.get(name), entry.get("version")
        if plugin is None:
            message = f"the packs were sealed with the plugin `{name}` {version}, which is not installed"
        elif name not in reckon and entry.get("reckons") == "no":
            continue
        elif plugin.version != version:
            message = (
                f"the packs were sealed with the plugin `{name}` {version}, installed is {plugin.version}"
            )
        elif plugin.digest != entry.get("digest"):
            message = f"the files of the plugin `{name}` {version} are not those the packs were sealed with"
        elif name not in reckon and entry.get("reckons") == "yes":
            message = (
                f"the plugin `{name}` {version} calculated or listed when it was sealed, and no longer does"
            )
        else:
            continue
        help = f"install `{name}` {version} as the company gives it, or get the packs sealed for this one"
        faults.append(Fault("SA410", message, path, help=help))
    for name in sorted(reckon.keys() - seal.plugins):
        message = (
            f"the plugin `{name}` {now[name].version} calculates or lists, and was not sealed with the packs"
        )
        help = f"take `{name}` away, or get the packs sealed with it"
        faults.append(Fault("SA410", message, path, help=help))
    changed = list(_unlike(folder, seal.files, _files(folder, SEAL), _AGAIN))
    # Told by its digest only where its files do not tell it: one fault, one message.
    told = {fault.path.removeprefix(f"{folder.as_posix()}/").split("/")[0] for fault in changed}
    packs = (fault for fault in _unlike_packs(seal, folder) if Path(fault.path).name not in told)
    return [*faults, *changed, *packs]


def sealed_texts(seal: Seal, folder: Path) -> dict[str, dict[str, str]]:
    """The texts of every sealed pack, by its name, read once. StillairError where any is not as sealed.

    What was looked at before may have been changed since: only what is given here was held against the seal.
    """
    found: dict[str, dict[str, str]] = {}
    faults: list[Fault] = []
    for pack in seal.packs:
        found[pack.name] = gather(folder / pack.folder)
        faults += _unlike_texts(pack, folder / pack.folder, found[pack.name])
    if faults:
        raise StillairError(*faults)
    return found


def _unlike_packs(seal: Seal, folder: Path) -> Iterator[Fault]:
    """What of the packs is not as sealed, whatever its files are called: their texts, and which there are."""
    sealed = {pack.folder: pack for pack in seal.packs}
    for place in _pack_folders(folder):
        pack = sealed.get(place.name)
        if pack is None:
            message = f"the pack in `{place.name}` was added"
            yield Fault("SA409", message, place.as_posix(), help=_AGAIN)
        elif (fault := _elsewhere(place)) is not None:
            yield fault
        else:
            yield from _unlike_texts(pack, place, gather(place))


def _unlike_texts(pack: SealedPack, place: Path, texts: Mapping[str, str]) -> Iterator[Fault]:
    """What of the texts of a pack is not as its seal has it: themselves, or the name or version they give."""
    if digest_of(texts) != pack.digest:
        message = f"the texts of the pack `{pack.name}` are not those that were sealed"
    else:
        own = heads(texts[MANIFEST], f"{place.as_posix()}/{MANIFEST}")
        given = f"{own.get('pack')} {own.get('version')}"
        if given == f"{pack.name} {pack.version}":
            return
        message = f"the pack in `{place.name}` is {given}, and was sealed as {pack.name} {pack.version}"
    yield Fault("SA409", message, place.as_posix(), help=_AGAIN)


def _elsewhere(place: Path) -> Fault | None:
    """The fault of a pack folder whose files would not be among those sealed."""
    if not place.is_symlink() and not place.name.startswith("."):
        return None
    what = "is a link" if place.is_symlink() else "begins with a dot"
    message = f"the pack folder `{place.name}` {what}: its files are not sealed with the others"
    return Fault("SA411", message, place.as_posix(), help="put the folder itself there, under a plain name")


def _unlike(folder: Path, was: Files, now: Files, help: str) -> Iterator[Fault]:
    for name in sorted({*was, *now}):
        if was.get(name) == now.get(name):
            continue
        if name not in now:
            message = f"the file `{name}` is gone"
        elif name not in was:
            message = f"the file `{name}` was added"
        else:
            data = (folder / name).read_bytes()
            ends = hashlib.sha256(data.replace(b"\r\n", b"\n")).hexdigest() == was[name]
            message = f"the file `{name}` was changed{', but only its line ends' if ends else ''}"
        yield Fault("SA409", message, f"{folder.as_posix()}/{name}", help=help)


def _pack_folders(folder: Path) -> list[Path]:
    return sorted(each for each in folder.iterdir() if is_pack(each)) if folder.is_dir() else []


def _files(folder: Path, without: str) -> dict[str, str]:
    """Every file that counts, by name; the one named, directly in the folder, is left out."""
    found = {}
    for name in files_in(str(folder), ("",)):
        hidden = any(part.startswith(".") for part in name.split("/"))
        if name != without and not hidden and name.rsplit("/", 1)[-1].lower() not in _LEFT_BY_SYSTEMS:
            found[name] = hashlib.sha256((folder / name).read_bytes()).hexdigest()
    return found


def _engine_digest() -> str:
    root = Path(__file__).parent
    return digest_of_files(str(root), files_in(str(root), (".py",)))


def _in(name: str, folder: str) -> bool:
    return name.startswith(f"{folder}/")


def _sealed_pack(name: str, told: Any) -> SealedPack:
    folder = str(told["folder"])
    if folder in ("", ".", "..") or set(folder) & set("/\\:"):
        raise ValueError(folder)
    return SealedPack(name, str(told["version"]), folder, str(told["digest"]), _pairs(told["files"]))


def _pairs(told: Any) -> dict[str, str]:
    return {str(name): str(value) for name, value in told.items()}


def _text(path: Path, code: str) -> str:
    with path.open("rb") as stream:
        raw = stream.read(LARGEST + 1)
    if len(raw) > LARGEST:
        raise StillairError(Fault(code, f"`{path.name}` is larger than {LARGEST:,} bytes", path.as_posix()))
    return raw.decode("utf-8", "replace")
