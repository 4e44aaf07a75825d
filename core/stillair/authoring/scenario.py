"""A scenario as its author wrote it: what is entered in which order, and what must follow."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

from stillair.fault import Fault, StillairError, did_you_mean
from stillair.strict_yaml import plain, read_yaml

from .shapes import Flaw, flaws, located, read_utf8, unknown, unread_by

__all__ = [
    "GENERATED",
    "MADE",
    "UNSHOWN",
    "ScenarioError",
    "Start",
    "folder_of",
    "is_scenario",
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
    return [path for path in found if is_scenario(path)]


def is_scenario(path: Path) -> bool:
    """Whether a file in `scenarios`, or in a folder of that one, is a scenario by its name."""
    return path.suffix in (".yaml", ".yml") and path.name != UNSHOWN


def read_scenario(path: Path) -> Mapping[str, Any]:
    """The scenario in a file, as plain mappings, lists and texts.

    One that `follows` another has that one as its `base`. StillairError where it is not YAML as packs are
    written, ScenarioError where it is not a scenario.
    """
    found = _alone(path)
    return _following(found, path) if "follows" in found else found


def unread(path: Path) -> Iterator[Fault]:
    """What of a scenario file cannot be read, with its place; the one it follows is another file."""

    def wrong(found: Any) -> Iterator[Flaw]:
        own = list(_flaws(found))
        yield from own
        if not own and "follows" in found:
            try:
                base = _followed(found, path)
                if _follows(base):
                    raise _chain(found, path)
            except ScenarioError as error:
                yield Flaw(("follows",), str(error).removeprefix(f"{path.name}: "), error.code)

    return unread_by(path, wrong)


def _alone(path: Path) -> Mapping[str, Any]:
    """The scenario in a file, without the one it may follow."""
    text = read_utf8(path)
    if isinstance(text, Flaw):
        raise ScenarioError(f"{path.name}: {text.message}", text.code)
    found = plain(read_yaml(text, path.as_posix()))
    for flaw in _flaws(found):
        raise ScenarioError(f"{path.name}: {located(flaw)}", flaw.code)
    assert isinstance(found, Mapping)
    return found


def _flaws(found: object) -> Iterator[Flaw]:
    """What is wrong with a scenario as it stands in its file."""
    if not isinstance(found, Mapping) or not isinstance(found.get("does"), list):
        yield Flaw(("does",), "a scenario has `does`, a list of what is entered and expected")
        return
    known = _FOLLOWING if "follows" in found else _KEYS
    yield from (Flaw((key,), unknown(key, known), "SA201") for key in found if key not in known)
    if found.get("made", MADE[0]) not in MADE:
        yield Flaw(("made",), f"`made` is {', '.join(MADE[:-1])} or {MADE[-1]}")
    if "follows" not in found:
        try:
            start_of(found)
        except ScenarioError as error:
            yield Flaw(("starts",), str(error).removeprefix("scenario: "))
    yield from flaws(found)


def _following(found: Mapping[str, Any], path: Path) -> Mapping[str, Any]:
    """A scenario with the one it follows."""
    followed = _alone(_followed(found, path))
    if "follows" in followed:
        raise _chain(found, path)
    return {
        **{key: followed[key] for key in ("pack", "starts", "by") if key in followed},
        **found,
        "base": followed,
    }


def _chain(found: Mapping[str, Any], path: Path) -> ScenarioError:
    return ScenarioError(f"{path.name}: `{found['follows']}` itself follows another one; follow that one")


def _follows(path: Path) -> bool:
    """Whether a scenario follows another one; not where it cannot be read, which is told with it."""
    try:
        return "follows" in _alone(path)
    except (StillairError, ScenarioError):
        return False


def _followed(found: Mapping[str, Any], path: Path) -> Path:
    """The file of the scenario that one follows: beside it, or in the folder above."""
    wanted = str(found["follows"])
    folders = [path.parent] if path.parent.name == "scenarios" else [path.parent, path.parent.parent]
    if Path(wanted).name == wanted:
        for other in (folder / f"{wanted}.yaml" for folder in folders):
            if other != path and is_scenario(other) and other.is_file():
                return other
    if wanted == path.stem:
        raise ScenarioError(f"{path.name}: it follows itself", "SA402")
    others = {other.stem for folder in folders for other in folder.glob("*.yaml") if is_scenario(other)}
    near = did_you_mean(wanted, sorted(others - {path.stem}))
    hint = f" ({near})" if near else ""
    raise ScenarioError(f"{path.name}: there is no scenario `{wanted}` to follow{hint}", "SA402")


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
            raise ScenarioError(f"{where}: {unknown(key, known)}", "SA201")
