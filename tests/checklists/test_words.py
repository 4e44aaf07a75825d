"""What the guide for authors says of the language is what the language reads."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from stillair.condition.syntax import ConditionError, parse
from stillair.models import ChecklistShape

README = Path(__file__).parents[2] / "checklists" / "README.md"
TEXT = README.read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^\| [a-z, ]+ \| `([^`]+)` \|", TEXT, re.MULTILINE)


@pytest.mark.parametrize("example", EXAMPLES)
def test_every_example_is_a_condition(example: str) -> None:
    """Read without a fault, and no longer so with something left open."""
    parse(example)
    with pytest.raises(ConditionError):
        parse(f"({example}")


def test_every_section_is_named() -> None:
    """The keys of a checklist file, all of them."""
    listed = TEXT.split("A file holds", 1)[1].split("`leak` uses", 1)[0]
    told = set(re.findall(r"`([a-z ]+)`", listed))
    fields = {f.alias or name for name, f in ChecklistShape.model_fields.items()}
    heading = {"checklist", "before", "title", "about", "cautions", "defers"}
    assert told == {name.replace("_", " ") for name in fields} - heading
    assert len(EXAMPLES) >= 18
