"""A scenario as its author wrote it: what is entered in which order, and what must follow."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

from stillair.fault import Fault, StillairError, did_you_mean
from stillair.strict_yaml import Table, plain, read_yaml

__all__ = [
    "GENERATED",
    "MADE",
    "UNSHOWN",
    "ScenarioError",
    "Start",
    "folder_of",
    "only",
    "packs_of",
    "read_scenario",
    "scenarios_in",
    "start_of",
    "unread",
]

MADE = ("by hand", "recorded", "generated")
"""How a scenario came about; they are counted apart. Unless it says, it was written by hand."""

GENERATED = "generated"
"""The folder inside `scenarios` that generated ones are in."""

UNSHOWN = "unshown.yaml"
"""The file inside `scenarios` that is none: why some of what the pack says is shown by none."""

_KEYS = ("scenario", "about", "pack", "starts", "by", "made", "does")
_FOLLOWING = ("scenario", "about", "made", "follows", "does")
_STARTS = "%Y-%m-%d %H:%M %z"


class ScenarioError(Exception):
    """A scenario that cannot be played: what is wrong, and where; `code` is that of the fault in its file."""

    def __init__(self, message: str, code: str = "SA203") -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True, slots=True)
class Start:
    """When a scenario begins, in its zone."""

    moment: datetime

    @property
    def zone(self) -> tzinfo:
        return self.moment.tzinfo or UTC


def scenarios_in(folder: Path) -> list[Path]:
    """The scenario files of a pack folder, by name; those in folders of `scenarios` come last."""
    scenarios = folder / "scenarios"
    found = [p for pattern in ("*.y*ml", "*/*.y*ml") for p in sorted(scenarios.glob(pattern))]
    return [path for path in found if path.suffix in (".yaml", ".yml") and path.name != UNSHOWN]


def read_scenario(path: Path) -> Mapping[str, Any]:
    """The scenario in a file, as plain mappings, lists and texts.

    One that `follows` another has that one as its `base`. StillairError where it is not YAML as packs are
    written, ScenarioError where it is not a scenario.
    """
    found = _alone(path)
    return _following(found, path) if "follows" in found else found


def unread(path: Path) -> Iterator[Fault]:
    """What of a scenario file cannot be read, with its place; the one it follows is another file."""
    try:
        found = _alone(path)
        if "follows" in found:
            _followed(found, path)
    except StillairError as error:
        yield from (replace(fault, path=path.as_posix()) for fault in error.faults)
    except ScenarioError as error:
        message = str(error).removeprefix(f"{path.name}: ")
        root = None if error.code == "SA110" else read_yaml(path.read_text(encoding="utf-8"), path.as_posix())
        about = ["follows"] if error.code == "SA402" else re.findall("`(.+?)`", message)
        keys = root.keys if isinstance(root, Table) else {}
        where = next((keys[name] for name in about if name in keys), root)
        if where is None:
            yield Fault(error.code, message, path.as_posix())
        else:
            yield where.fault(error.code, message)


def _alone(path: Path) -> Mapping[str, Any]:
    """The scenario in a file, without the one it may follow."""
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        message = f"{path.name}: it is not UTF-8: byte {error.start + 1}; save it as UTF-8"
        raise ScenarioError(message, "SA110") from None
    found = plain(read_yaml(text, path.name))
    if not isinstance(found, Mapping) or not isinstance(found.get("does"), Sequence):
        raise ScenarioError(f"{path.name}: a scenario has `does`, a list of what is entered and expected")
    only(found, _FOLLOWING if "follows" in found else _KEYS, path.name)
    if found.get("made", MADE[0]) not in MADE:
        raise ScenarioError(f"{path.name}: `made` is {', '.join(MADE[:-1])} or {MADE[-1]}")
    if "follows" not in found:
        start_of(found, path.name)
    return found


def _following(found: Mapping[str, Any], path: Path) -> Mapping[str, Any]:
    """A scenario with the one it follows."""
    followed = read_scenario(_followed(found, path))
    if "follows" in followed:
        raise ScenarioError(f"{path.name}: `{found['follows']}` itself follows another one")
    return {
        **{key: followed[key] for key in ("pack", "starts", "by") if key in followed},
        **found,
        "base": followed,
    }


def _followed(found: Mapping[str, Any], path: Path) -> Path:
    """The file of the scenario that one follows: beside it, or in the folder above."""
    name = f"{found['follows']}.yaml"
    beside = (path.with_name(name), path.parent.parent / name)
    base = next((other for other in beside if other != path and other.is_file()), None)
    if base is None:
        raise ScenarioError(f"{path.name}: there is no scenario `{found['follows']}` to follow", "SA402")
    return base


def folder_of(path: Path) -> Path:
    """The folder of the pack that a scenario file belongs to."""
    return next(p.parent for p in path.parents if p.name == "scenarios")


def start_of(scenario: Mapping[str, Any], where: str = "scenario") -> Start:
    """When it begins. ScenarioError where it does not say."""
    try:
        return Start(datetime.strptime(str(scenario["starts"]), _STARTS))
    except (KeyError, ValueError):
        raise ScenarioError(f"{where}: `starts` is a moment like `2026-07-14 09:00 -05:00`") from None


def packs_of(scenario: Mapping[str, Any]) -> list[str]:
    """The packs that a scenario names."""
    named = scenario.get("pack", [])
    return [str(name) for name in named] if isinstance(named, list) else [str(named)]


def only(given: Mapping[str, Any], known: Sequence[str], where: str) -> None:
    """ScenarioError for the first key that is not known here."""
    for key in given:
        if key not in known:
            near = did_you_mean(str(key), known) or f"one of: {', '.join(known)}"
            raise ScenarioError(f"{where}: `{key}` is not known here ({near})", "SA201")
