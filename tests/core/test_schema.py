"""The schemas for editors: they take what the reader takes, and refuse what is plainly wrong."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator
from stillair.authoring.schema import checklist_schema
from stillair.cli import main
from stillair.hooks import Plugins
from stillair.models import ChecklistShape, ManifestShape
from stillair.strict_yaml import plain, read_yaml

HERE = Path(__file__).parent
FILES = sorted(path for folder in Plugins.load().packs for path in folder.glob("*.yaml"))
FILES += [HERE / "kettle" / "kettle.yaml", HERE / "tank" / "tank.yaml", HERE / "tank" / "manifest.yaml"]
REFUSED = ("SA201", "SA202", "SA203", "SA204-a-name", "SA209", "SA211")
#: A name that is a word of the language, and a value that is empty, are beyond what a schema says.


def printed(*args: str) -> dict[str, Any]:
    found = json.loads(CliRunner().invoke(main, ["schema", *args], catch_exceptions=False).stdout)
    Draft202012Validator.check_schema(found)
    assert isinstance(found, dict)
    return found


def content(path: Path) -> Any:
    return plain(read_yaml(path.read_text(encoding="utf-8"), path.name))


@pytest.fixture(scope="module")
def schemas() -> dict[str, list[dict[str, Any]]]:
    general, manifest = printed(), printed("--of", "manifest")
    return {"checklist": [general, printed("leak")], "manifest": [manifest]}


@pytest.mark.parametrize("path", FILES, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_what_is_read_is_valid(path: Path, schemas: dict[str, list[dict[str, Any]]]) -> None:
    """By the general schema, and by that of a pack with its names."""
    for schema in schemas["manifest" if path.name == "manifest.yaml" else "checklist"]:
        errors = [e.message for e in Draft202012Validator(schema).iter_errors(content(path))]
        assert errors == []


@pytest.mark.parametrize(
    "folder",
    [p for p in sorted((HERE / "broken").iterdir()) if p.name.startswith(REFUSED) and "nobody" not in p.name],
    ids=lambda p: p.name,
)
def test_what_is_plainly_wrong_is_not(folder: Path, schemas: dict[str, list[dict[str, Any]]]) -> None:
    assert not Draft202012Validator(schemas["checklist"][0]).is_valid(content(folder / "example.yaml"))


def test_the_names_of_a_pack_are_offered_and_no_others_forbidden(
    schemas: dict[str, list[dict[str, Any]]],
) -> None:
    steps = schemas["checklist"][1]["$defs"]["StepShape"]["properties"]
    offered = {
        key: (steps[key].get("items") or steps[key])["anyOf"][0]["enum"]
        for key in ("ask", "activity", "wait")
    }
    assert (
        "static_pressure" in offered["ask"]
        and "sniffing" in offered["activity"]
        and "pool" in offered["wait"]
    )
    step = {"checklist": "a", "title": "A", "steps": [{"step": "s", "ask": ["another_packs_fact"]}]}
    assert Draft202012Validator(schemas["checklist"][1]).is_valid(step)
    general = schemas["checklist"][0]["$defs"]["StepShape"]["properties"]
    assert "anyOf" not in general["activity"]


def test_every_key_is_in_the_schema() -> None:
    assert set(checklist_schema()["properties"]) == set(ChecklistShape.keys())
    assert set(printed("--of", "manifest")["properties"]) == set(ManifestShape.keys())


def test_what_may_be_adjusted_is_offered(schemas: dict[str, list[dict[str, Any]]]) -> None:
    """The short form of a limit and the long one; a name of the pack, and one it does not know."""
    named = printed("leak", "--of", "manifest")
    offered = named["$defs"]["AdjustingShape"]["properties"]
    assert "working_day" in offered["limits"]["properties"]
    assert "static_pressure" in offered["notes"]["properties"]
    assert set(offered["photos"]["properties"]) < set(offered["wording"]["properties"])
    head = "pack: a\nversion: 1.0.0\ntitle: A\nengine: '>=0.1'\njoins: leak\nchecklists: []\n"
    head += "adjusts:\n  pack: leak\n  digest: aa\n  limits: "
    for schema in (*schemas["manifest"], named):
        validator = Draft202012Validator(schema)
        for limits, valid in (
            ("{working_day: 3 min, another: {is: 4, who: B, why: w, until: 2027-03-31}}", True),
            ("{working_day: {value: 3 min}}", False),
            ("{working_day: [3 min]}", False),
        ):
            assert validator.is_valid(plain(read_yaml(head + limits, "m"))) is valid


def test_it_is_the_same_bytes_each_time() -> None:
    assert json.dumps(printed("leak")) == json.dumps(printed("leak"))
