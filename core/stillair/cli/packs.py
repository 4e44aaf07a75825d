"""The packs and plugins a job goes by: recorded in it, found again for it, or chosen for a new one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from stillair.fault import LARGEST, Fault, StillairError, did_you_mean
from stillair.heads import heads
from stillair.hooks import Plugins
from stillair.job import JSON, Job, JobError, Line, PackStore, pack_digest

__all__ = [
    "choose",
    "choose_sealed",
    "differences",
    "encoded",
    "found_again",
    "instead",
    "joined_by",
    "kind_in",
    "name_in",
    "recorded_in",
    "texts_of",
    "unlike_installed",
]


def recorded_in(
    lines: Sequence[Line], known: float | None = None
) -> tuple[dict[str, dict[str, str]], dict[str, dict[str, str]]]:
    """The packs and plugins a job goes by, now or at a moment: those of the last move till then.

    One that was never moved goes by those of its first line.
    """
    for line in reversed(lines):
        if line.kind == "job" or (line.kind == "move" and (known is None or line.entered <= known)):
            packs, plugins = line.body["packs"], line.body["plugins"]
            assert isinstance(packs, Mapping) and isinstance(plugins, Mapping)
            return _plain(packs), _plain(plugins)
    raise AssertionError("a job has a first line")


def other_packs(lines: Sequence[Line], names: Iterable[str]) -> str | None:
    """What is said of a job that goes by none of these packs; None if it goes by one."""
    recorded, wanted = recorded_in(lines)[0], sorted(names)
    if recorded.keys() & set(wanted):
        return None
    return f"it goes by {', '.join(sorted(recorded))}, not by {', '.join(wanted)}"


def _plain(versions: Mapping[str, JSON]) -> dict[str, dict[str, str]]:
    return {
        name: {key: str(value) for key, value in entry.items()}
        for name, entry in versions.items()
        if isinstance(entry, Mapping)
    }


def texts_of(store: PackStore, digest: str) -> dict[str, str]:
    """The texts of a pack kept beside a job."""
    return {name: data.decode("utf-8") for name, data in store.read(digest).items()}


def found_again(
    job: Job, name: str, entry: Mapping[str, str], plugins: Plugins, named: Sequence[str]
) -> dict[str, str]:
    """The texts of a pack that are no longer beside a job, from a pack of the same digest."""
    from stillair.pack import gather

    for folder in (*plugins.packs, *map(Path, named)):
        texts = gather(folder)
        if pack_digest(encoded(texts)) == entry["digest"]:
            return texts
    raise JobError(
        f"the texts of the pack `{name}` {entry['version']}, digest {entry['digest']}, are gone",
        help=f"put `{job.packs.folder.name}` back beside the job, or install that version, "
        f"or name its folder: stillair guide {job.path} --pack FOLDER",
        path=job.packs.folder,
    )


def encoded(texts: Mapping[str, str]) -> dict[str, bytes]:
    """The files of a pack as they are kept."""
    return {name: text.encode("utf-8") for name, text in texts.items()}


def differences(recorded: Mapping[str, Mapping[str, str]], plugins: Plugins) -> Iterable[str]:
    """Recorded plugins that are gone, and any that now calculate or list otherwise, or were not recorded.

    A plugin that only gives packs may change: the texts of a job's packs are kept beside it.
    """
    now = {p.name: p for p in plugins.plugins}
    reckons = plugins.reckoning()
    for name, entry in recorded.items():
        plugin = now.get(name)
        if plugin is None:
            yield f"the plugin `{name}` {entry['version']} of this job is not installed"
        elif name in reckons and plugin.version != entry["version"]:
            yield f"the plugin `{name}` is {plugin.version}, the job was begun with {entry['version']}"
        elif name in reckons and plugin.digest != entry["digest"]:
            yield f"the files of the plugin `{name}` are not those the job was begun with"
    for name in sorted(reckons.keys() - recorded):
        yield f"the plugin `{name}` calculates or lists, and the job was begun without it"


def choose(plugins: Plugins, wanted: Sequence[str], beliefs: str | None = None) -> dict[str, dict[str, str]]:
    """The texts of the packs wanted, by name, each with the pack it joins and the packs that join it.

    Of packs that join as `one of` a kind, one is taken. With none wanted, the only work that is installed.
    The file `beliefs` is put to the texts of the pack it is of.
    """
    from stillair.pack import MANIFEST, gather

    installed: dict[str, dict[str, str]] = {}
    for folder in plugins.packs:
        texts = gather(folder)
        installed[name_in(texts[MANIFEST], folder)] = texts
    chosen = _chosen(installed, wanted)
    if beliefs is not None:
        _put_beliefs(chosen, beliefs)
    return chosen


def choose_sealed(
    folder: Path, plugins: Plugins, wanted: Sequence[str], beliefs: str | None = None
) -> dict[str, dict[str, str]]:
    """The packs wanted out of a sealed folder. StillairError where anything is not as it was sealed."""
    from stillair.seal import read_seal, sealed_texts, unlike_seal

    seal = read_seal(folder)
    faults = unlike_seal(seal, folder, plugins)
    if faults:
        raise StillairError(*faults)
    names = sorted(pack.name for pack in seal.packs)
    for name in wanted:
        if name not in names:
            help = did_you_mean(name, names) or f"sealed are: {', '.join(names)}"
            message = f"`{name}` is no pack of the sealed folder"
            raise StillairError(Fault("SA411", message, folder.as_posix(), help=help))
    if beliefs is not None:
        message = "beliefs from a file are not sealed"
        help = "the company puts them into the pack as beliefs.yaml, and seals it again"
        raise StillairError(Fault("SA411", message, beliefs, help=help))
    return _chosen(sealed_texts(seal, folder), wanted)


def _put_beliefs(chosen: dict[str, dict[str, str]], path: str) -> None:
    from stillair.pack import BELIEFS

    try:
        with open(path, encoding="utf-8") as stream:
            text = stream.read(LARGEST + 1).replace("\r\n", "\n")
    except (OSError, UnicodeDecodeError) as error:
        why = (error.strerror or "").lower() if isinstance(error, OSError) else "it is not UTF-8"
        message = f"these beliefs cannot be read: {why}"
        raise StillairError(Fault("SA408", message, path, help="name a file of `learn`")) from None
    name = heads(text, path).get("beliefs")
    if name is None or name not in chosen or len(text) > LARGEST:
        of = f"of `{name}`, which this job does not go by" if name else "no beliefs of a pack"
        help = f"this job goes by {', '.join(sorted(chosen))}"
        raise StillairError(Fault("SA408", f"these are {of}", path, help=help))
    chosen[name] = {**chosen[name], BELIEFS: text}


def _chosen(installed: Mapping[str, dict[str, str]], wanted: Sequence[str]) -> dict[str, dict[str, str]]:
    from stillair.pack import MANIFEST, gather

    if not wanted:
        works = sorted(name for name, texts in installed.items() if joined_by(texts) is None)
        if len(works) != 1:
            message, help = "no pack is installed", "install one, or name its folder with --pack"
            if works:
                message, help = "several packs are installed", f"--pack NAME: {', '.join(works)}"
            raise StillairError(Fault("SA401", message, "", help=help))
        wanted = works
    chosen: dict[str, dict[str, str]] = {}
    for name in wanted:
        if name in installed:
            chosen[name] = installed[name]
        elif Path(name).is_dir():
            texts = gather(Path(name))
            own = name_in(texts[MANIFEST], Path(name))
            if chosen.get(own, texts) != texts:
                raise StillairError(
                    Fault("SA401", f"two packs of other texts are called `{own}`", "", help="give one")
                )
            chosen[own] = texts
        else:
            raise StillairError(
                Fault("SA401", f"there is no pack `{name}`", "", help=instead(name, installed))
            )
    _complete(chosen, installed)
    return chosen


def instead(name: str, installed: Iterable[str]) -> str:
    """What to name where there is no pack of a name."""
    if Path(name).exists():
        return "name the folder that holds manifest.yaml"
    return did_you_mean(name, installed) or f"installed: {', '.join(sorted(installed)) or 'none'}"


def _complete(chosen: dict[str, dict[str, str]], installed: Mapping[str, dict[str, str]]) -> None:
    """Add the pack that each chosen one joins, and what joins it: all that do, and one of each kind."""
    for name in (waiting := list(chosen)):
        other = joined_by(chosen[name])
        if other is not None and other not in chosen:
            if other not in installed:
                near = did_you_mean(other, installed) or "install it, or name its folder with --pack"
                message = f"the pack `{name}` joins `{other}`, which is not installed"
                raise StillairError(Fault("SA401", message, "", help=near))
            chosen[other] = installed[other]
            waiting.append(other)
    for name in (waiting := sorted(chosen)):
        kinds: dict[str, list[str]] = {}
        for joiner, texts in sorted({**installed, **chosen}.items()):
            if joined_by(texts) == name:
                kinds.setdefault(kind_in(texts) or f"={joiner}", []).append(joiner)
        for kind, joiners in kinds.items():
            if chosen.keys() & set(joiners):
                continue
            if len(joiners) > 1:
                message = f"several packs that join `{name}` are `one of: {kind}`"
                raise StillairError(Fault("SA401", message, "", help=f"--pack NAME: {', '.join(joiners)}"))
            chosen[joiners[0]] = installed[joiners[0]]
            waiting.append(joiners[0])


def joined_by(texts: Mapping[str, str]) -> str | None:
    """The pack that a pack joins. StillairError where its manifest cannot be read."""
    return _heads(texts).get("joins")


def kind_in(texts: Mapping[str, str]) -> str | None:
    """The kind of which a job takes one, where a pack is `one of` them."""
    return _heads(texts).get("one of")


def _heads(texts: Mapping[str, str]) -> Mapping[str, str]:
    from stillair.pack import MANIFEST

    return heads(texts[MANIFEST], MANIFEST)


def unlike_installed(plugins: Plugins, chosen: Mapping[str, Mapping[str, str]]) -> Iterable[str]:
    """For each pack chosen that has name and version of an installed one, and other texts: what to know."""
    from stillair.pack import MANIFEST, gather

    for folder in plugins.packs:
        texts = gather(folder)
        name = name_in(texts[MANIFEST], folder)
        given = chosen.get(name)
        if given is None or given == texts:
            continue
        version = _heads(texts).get("version")
        if version == _heads(given).get("version"):
            ours, theirs = pack_digest(encoded(given)), pack_digest(encoded(texts))
            yield (
                f"The pack {name} {version} given here is not the installed text. Its digest is {ours}, "
                f"that of the installed one {theirs}."
            )


def name_in(manifest: str, folder: Path) -> str:
    """The name a pack gives itself. StillairError where its manifest cannot be read."""
    return heads(manifest, f"{folder.as_posix()}/manifest.yaml").get("pack", folder.name)
