"""From the text of a checklist or a manifest to its record, with every fault placed in the file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, TypeVar

from pydantic import ValidationError

from stillair.checklist import BUILT_IN_EVENTS, BUILT_IN_LISTS, Checklist, LearnedSpec, Text
from stillair.fault import MOST_FAULTS, Fault, StillairError, did_you_mean
from stillair.models import ChecklistShape, LearnedShape, ManifestShape, Shape
from stillair.strict_yaml import List, Node, Scalar, Table, at, read_yaml

__all__ = ["collisions", "parse_checklist", "parse_learned", "parse_manifest", "read_checklist", "schema"]

ShapeT = TypeVar("ShapeT", bound=Shape)
Path = tuple[str | int, ...]

_ONE_OF = {
    "lists": "list",
    "instruments": "instrument",
    "facts": "fact",
    "events": "event",
    "limits": "limit",
    "calculate": "calculation",
    "activities": "activity",
    "waits": "wait",
    "steps": "step",
    "powered": "powered state",
    "rules": "rule",
    "places": "place",
    "clues": "clue",
    "set ups": "set-up",
    "checks": "check",
    "groups": "group",
    "impossible": "impossible state of things",
    "suspect": "suspect number",
}
"""What one entry of a section is called."""


class _Key(str):
    """A key of a mapping that knows where it is written."""

    __slots__ = ("scalar",)
    scalar: Scalar


class _Keyed(dict[str, object]):
    """A mapping as pydantic takes it, with its node."""

    __slots__ = ("node",)
    node: Table


class _Listed(list[object]):
    """A list as pydantic takes it, with its node."""

    __slots__ = ("node",)
    node: List


def read_checklist(text: str, path: str) -> Checklist:
    """The checklist in the text of one file; `path` is what faults name.

    Raises StillairError with every fault found.
    """
    checklist = parse_checklist(text, path)
    faults = list(collisions([checklist]))
    if faults:
        raise StillairError(*faults)
    return checklist


def parse_checklist(text: str, path: str) -> Checklist:
    """As read_checklist, but names used twice are left to `collisions`."""
    return _validate(ChecklistShape, read_yaml(text, path), path).spec(path)


def parse_manifest(text: str, path: str) -> ManifestShape:
    """The manifest in the text of one file."""
    return _validate(ManifestShape, read_yaml(text, path), path)


def parse_learned(text: str, path: str) -> LearnedSpec:
    """The learned beliefs in the text of one file."""
    return _validate(LearnedShape, read_yaml(text, path), path).spec()


def schema() -> dict[str, Any]:
    """The JSON schema of a checklist file."""
    return ChecklistShape.model_json_schema(by_alias=True)


def collisions(checklists: Iterable[Checklist]) -> Iterator[Fault]:
    """A fault for every name declared twice in a pack.

    Facts, events, limits, calculations, waits, lists and findings share one namespace; steps, rules,
    places, set-ups, checks, clues, activities, instruments and powered states have one each.
    """
    seen: dict[tuple[str, str], tuple[str, Text | None]] = {}
    for kind, names in (("event", BUILT_IN_EVENTS), ("list", BUILT_IN_LISTS)):
        seen.update({("name", name): (kind, None) for name in names})
    for checklist in checklists:
        for space, kind, name, where in _declared(checklist):
            if (space, name) not in seen:
                seen[space, name] = (kind, where)
                continue
            first_kind, first = seen[space, name]
            if kind == first_kind == "finding":
                continue  # several rules may lead to one finding, with other grades
            if first is None:
                message = f"the {kind} `{name}` has the name of a built-in {first_kind}"
            else:
                place = f"line {first.line}" if first.path == where.path else f"{first.path}:{first.line}"
                other = "" if kind == first_kind else f"{first_kind} "
                message = f"the {kind} `{name}` has the name of the {other}in {place}"
                if kind == first_kind:
                    message = f"the {kind} `{name}` is declared twice, first in {place}"
            yield where.fault(
                "SA205", message, help="give one of them another name" if first else "rename it"
            )


def _declared(checklist: Checklist) -> Iterator[tuple[str, str, str, Text]]:
    yield "checklist", "checklist", checklist.name, checklist.where
    for kind, name, where in checklist.names():
        yield "name", kind, name, where
    for kind, specs in (
        ("step", checklist.steps),
        ("rule", checklist.rules),
        ("place", checklist.places),
        ("set-up", checklist.set_ups),
        ("check", checklist.checks),
        ("clue", checklist.clues),
        ("balance", checklist.balances),
        ("group", checklist.groups),
        ("activity", checklist.activities),
        ("instrument", checklist.instruments),
        ("powered state", checklist.powered),
    ):
        for spec in specs:
            yield kind, kind, spec.name, spec.where


def _validate(shape: type[ShapeT], root: Node, path: str) -> ShapeT:
    if not isinstance(root, Table):
        raise StillairError(
            root.fault("SA203", "the file must be a mapping", "begin it with `checklist: NAME`")
        )
    shapes: dict[int, type[Shape]] = {}
    try:
        return shape.model_validate(_data(root), context=shapes)
    except ValidationError as error:
        told = error.errors(include_url=False, include_input=False)[:MOST_FAULTS]
        faults = [_translate(each, root, shapes) for each in told]
        raise StillairError(*sorted(faults, key=lambda fault: (fault.line, fault.column))) from None


def _data(node: Node) -> object:
    """The tree as pydantic takes it: mappings and lists, with the scalars left as they are."""
    if isinstance(node, Table):
        table = _Keyed()
        table.node = node
        for name, scalar in node.keys.items():
            key = _Key(name)
            key.scalar = scalar
            table[key] = _data(node.values[name])
        return table
    if isinstance(node, List):
        listed = _Listed(_data(item) for item in node.items)
        listed.node = node
        return listed
    return node


def _translate(error: Mapping[str, Any], root: Table, shapes: Mapping[int, type[Shape]]) -> Fault:
    """A fault of our own from one of pydantic's."""
    path: Path = tuple(part for part in error["loc"] if part != "[key]")
    kind = error["type"]
    if kind == "flaw":
        return _from_flaw(error["ctx"], path, root, at_key="[key]" in error["loc"])
    if kind == "extra_forbidden":
        parent = at(root, path[:-1])
        name = str(path[-1])
        known = shapes[id(parent)].keys()
        listed = "known here: " + ", ".join(f"`{key}`" for key in known)
        return _key_fault(
            root,
            path,
            "SA201",
            f"{_entry(root, path[:-1])} has no key `{name}`",
            did_you_mean(name, known) or listed,
        )
    if kind == "missing":
        return _key_fault(
            root, path[:-1], "SA202", f"{_entry(root, path[:-1])} has no `{path[-1]}`", f"add `{path[-1]}`"
        )
    here = _here(root, path)
    node = at(root, path)
    if isinstance(node, Scalar) and node.kind == "null":
        return _key_fault(root, path, "SA212", f"{here} is empty", "give it a value, or remove it")
    if kind == "tuple_type":
        example = f"write `[{node.text}]`" if isinstance(node, Scalar) else None
        return _fault(node, "SA203", f"{here} must be a list", example)
    return _fault(node, "SA203", f"{here} must be a mapping `key: value`", None)


def _from_flaw(context: Mapping[str, Any], path: Path, root: Table, at_key: bool) -> Fault:
    inside: Path = (*path, context["key"]) if context["key"] else path
    message = context["message"].replace("{here}", _here(root, path))
    code, help, where = context["code"], context["help"], context["at"]
    node = where if where is not None else at(root, inside)
    if context["key"] or (isinstance(node, Scalar) and node.kind == "null") or isinstance(node, Table):
        return _key_fault(root, inside, code, message, help)
    text = node.located() if isinstance(node, Scalar) else node
    if isinstance(text, Text) and text.text:
        return text.fault(code, message, start=context["start"] or 0, length=context["length"], help=help)
    return _fault(node, code, message, help)


def _fault(node: Node, code: str, message: str, help: str | None) -> Fault:
    if isinstance(node, Scalar) and node.text.strip():
        return node.located().fault(code, message, help=help)
    return node.fault(code, message, help)


def _key_fault(root: Table, path: Path, code: str, message: str, help: str | None) -> Fault:
    """A fault under the key at the end of the path, or under the name of the list item there."""
    parent = at(root, path[:-1])
    if path and isinstance(parent, Table) and path[-1] in parent.keys:
        return parent.keys[str(path[-1])].fault(code, message, help)
    node = at(root, path)
    named = _own_name(node)
    return (named or node).fault(code, message, help)


def _own_name(node: Node) -> Scalar | None:
    """The name a step, rule, place or powered state gives itself."""
    if isinstance(node, Table):
        for key in ("step", "rule", "place", "clue", "group", "state", "checklist", "pack"):
            value = node.values.get(key)
            if isinstance(value, Scalar) and value.text:
                return value
    return None


def _entry(root: Table, path: Path) -> str:
    """What a person would call the mapping at the path: `fact \\`blower\\``, `step \\`look\\``."""
    if not path:
        return "the manifest" if "pack" in root.keys else "the checklist"
    if len(path) == 2 and path[0] in _ONE_OF:
        noun = _ONE_OF[str(path[0])]
        if isinstance(path[1], str):
            return f"{noun} `{path[1]}`"
        named = _own_name(at(root, path))
        return f"{noun} `{named.text}`" if named else f"{noun} {path[1] + 1}"
    return _here(root, path)


def _here(root: Table, path: Path) -> str:
    """What a person would call the value at the path."""
    if not path or (len(path) == 2 and path[0] in _ONE_OF):
        return _entry(root, path)
    last = path[-1]
    parent = at(root, path[:-1])
    if isinstance(parent, Scalar):
        return _here(root, path[:-1])  # a single value that stands for a mapping with one key
    if isinstance(last, int):
        return f"an item of {_here(root, path[:-1])}"
    owner = f" of {_entry(root, path[:-1])}" if len(path) > 1 else ""
    return f"`{last}`{owner}"
