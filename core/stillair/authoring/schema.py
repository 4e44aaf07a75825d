"""JSON Schema of the files of a pack, for editors: in general, or with the names of a pack completed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from stillair.checklist import BUILT_IN_EVENTS, BUILT_IN_LISTS
from stillair.models import ChecklistShape, ManifestShape
from stillair.pack import Pack
from stillair.quantity import DIMENSIONS

__all__ = ["checklist_schema", "manifest_schema"]

_DRAFT = "https://json-schema.org/draft/2020-12/schema"
_NAMES = {
    ("FactShape", "catalogue"): "catalogue",
    ("FactShape", "per"): "list",
    ("FactShape", "quantity"): "quantity",
    ("FactShape", "read with"): "instrument",
    ("InstrumentShape", "quantity"): "quantity",
    ("EventShape", "per"): "list",
    ("CalculationShape", "per"): "list",
    ("StepShape", "activity"): "activity",
    ("StepShape", "ask"): "fact",
    ("StepShape", "wait"): "wait",
    ("StepShape", "disturbs"): "wait",
    ("StepShape", "marks"): "event",
    ("PoweredShape", "of"): "list",
    ("PoweredShape", "steps"): "step",
    ("RuleShape", "stop"): "activity",
    ("RuleShape", "per"): "list",
    ("PlaceShape", "activity"): "activity",
    ("ClueShape", "per"): "list",
    ("ClueShape", "weighs"): "limit",
    ("GroupShape", "rules"): "rule",
    ("ImpossibleShape", "facts"): "fact",
    ("SuspectShape", "facts"): "fact",
    ("ChecklistShape", "before"): "checklist",
}
"""The keys whose value is a name, and the kind of thing it names."""
_ADJUSTED = {
    "limits": ("limit",),
    "good for": ("fact",),
    "notes": ("fact",),
    "photos": ("step",),
    "wording": ("fact", "step", "rule"),
}
"""What each part of an adjustment is about."""
_SHORT: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("FactShape", "counts when", {"type": ["string", "number"]}),
    ("ChecklistShape", "calculate", {"type": ["string", "number"]}),
    ("PlaceShape", "order", {"type": "number"}),
)
"""The keys where one value may stand for a mapping."""


def checklist_schema(packs: Iterable[Pack] = (), catalogues: Iterable[str] = ()) -> dict[str, Any]:
    """The schema of a checklist file; names of the packs are offered, and others are still allowed."""
    schema = _cleaned(ChecklistShape.model_json_schema(by_alias=True))
    shapes = {**schema["$defs"], "ChecklistShape": schema}
    for shape, key, short in _SHORT:
        _widen(shapes[shape]["properties"][key], short, each=key == "calculate")
    known = {"quantity": sorted(DIMENSIONS), "catalogue": sorted(catalogues), **_declared(packs)}
    for (shape, key), kind in _NAMES.items():
        if known.get(kind):
            _offer(shapes[shape]["properties"][key], known[kind])
    return {"$schema": _DRAFT, **schema, "title": "A checklist"}


def manifest_schema(plugins: Iterable[str] = (), packs: Iterable[Pack] = ()) -> dict[str, Any]:
    """The schema of a manifest; plugins installed, and what of the packs may be adjusted, are offered."""
    schema = _cleaned(ManifestShape.model_json_schema(by_alias=True))
    adjusting = schema["$defs"]["AdjustingShape"]["properties"]
    _widen(adjusting["limits"], {"type": ["string", "number"]}, each=True)
    declared = _declared(packs)
    for key, kinds in _ADJUSTED.items():
        (inner,) = adjusting[key]["patternProperties"].values()
        offered = {name: inner for kind in kinds for name in declared.get(kind, ())}
        if offered:
            adjusting[key]["properties"] = offered
    names = sorted(plugins)
    if names:
        offered = schema["properties"]["plugins"]
        offered["properties"] = {name: {"type": "string"} for name in names}
    return {"$schema": _DRAFT, **schema, "title": "The manifest of a pack"}


def _declared(packs: Iterable[Pack]) -> Mapping[str, list[str]]:
    """The names of each kind that packs declare."""
    names: dict[str, set[str]] = {}
    for checklist in (c for pack in packs for c in pack.checklists):
        names.setdefault("event", set(BUILT_IN_EVENTS))
        names.setdefault("list", set(BUILT_IN_LISTS))
        names.setdefault("checklist", set()).add(checklist.name)
        for kind, specs in (
            ("fact", checklist.facts),
            ("event", checklist.events),
            ("list", checklist.lists),
            ("limit", checklist.limits),
            ("wait", checklist.waits),
            ("instrument", checklist.instruments),
            ("activity", checklist.activities),
            ("step", checklist.steps),
            ("rule", checklist.rules),
        ):
            names.setdefault(kind, set()).update(spec.name for spec in specs)
    return {kind: sorted(found) for kind, found in names.items()}


def _offer(place: dict[str, Any], names: list[str]) -> None:
    """Let an editor complete these names; another pack may give more."""
    inner = place.get("items", place)
    if "anyOf" in inner:
        inner["anyOf"].insert(0, {"enum": names})
        return
    kept = dict(inner)
    inner.clear()
    inner["anyOf"] = [{"enum": names}, kept]


def _widen(place: dict[str, Any], short: dict[str, Any], each: bool) -> None:
    """Allow the short form beside the mapping; `each`, of the values of a mapping."""
    if each:
        for pattern, value in place["patternProperties"].items():
            place["patternProperties"][pattern] = {"anyOf": [short, value]}
        return
    kept = dict(place)
    place.clear()
    place["anyOf"] = [short, kept]


def _cleaned(node: Any) -> Any:
    """The schema without empty values, which the strict reader refuses, and without made-up titles."""
    if isinstance(node, list):
        return [_cleaned(each) for each in node]
    if not isinstance(node, dict):
        return node
    found: dict[str, Any] = {}
    for key, value in node.items():
        if key == "properties":
            found[key] = {name: _cleaned(inner) for name, inner in value.items()}
        elif key == "anyOf":
            kept = [_cleaned(each) for each in value if each != {"type": "null"}]
            found.update(kept[0] if len(kept) == 1 else {key: kept})
        elif key not in ("title", "default"):
            found[key] = _cleaned(value)
    if "patternProperties" in found and found.get("type") == "object":
        found["additionalProperties"] = False
    return found
