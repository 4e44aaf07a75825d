"""Packs that work together: one joins another, and its checklists find their place in the order of work."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from stillair import heads as heads_module
from stillair.assess import Program, assess, compile_packs
from stillair.assess.states import May
from stillair.cli.packs import choose
from stillair.fault import StillairError
from stillair.heads import heads
from stillair.hooks import Plugins
from stillair.pack import read_pack

BASE = """\
pack: base
version: 1.0.0
title: A work
engine: ">=0.1"
checklists: [opening.yaml, closing.yaml]
"""
PART = """\
pack: {name}
version: 1.0.0
title: A part of it
joins: {joins}
{one_of}engine: ">=0.1"
checklists: [between-{name}.yaml]
"""
CHECKLIST = """\
checklist: {name}
{before}title: A checklist
facts:
  {fact}: {{ask: Is it so?, kind: yes-no}}
steps:
  - step: see-{name}
    ask: [{fact}]
"""


def write(folder: Path, manifest: str, *checklists: tuple[str, str, str]) -> Path:
    folder.mkdir()
    (folder / "manifest.yaml").write_text(manifest, encoding="utf-8")
    for name, before, fact in checklists:
        text = CHECKLIST.format(name=name, before=f"before: {before}\n" if before else "", fact=fact)
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def base(tmp_path: Path) -> Path:
    return write(tmp_path / "base", BASE, ("opening", "", "one"), ("closing", "", "two"))


def part(
    tmp_path: Path, name: str = "part", joins: str = "base", before: str = "closing", one_of: str = ""
) -> Path:
    manifest = PART.format(name=name, joins=joins, one_of=f"one of: {one_of}\n" if one_of else "")
    return write(tmp_path / name, manifest, (f"between-{name}", before, f"in_{name}"))


def installed(*packs: Path) -> Plugins:
    return Plugins(plugins=(), calculators={}, catalogues={}, packs=packs, views={}, givers={})


def program(*packs: Path) -> Program:
    return compile_packs([read_pack(p, plugins={}) for p in packs], {}, {})


def test_a_checklist_comes_before_the_one_it_names(base: Path, tmp_path: Path) -> None:
    steps = list(program(base, part(tmp_path)).steps)
    assert steps == ["see-opening", "see-between-part", "see-closing"]


def test_a_checklist_that_is_not_there_is_a_fault_with_its_place(base: Path, tmp_path: Path) -> None:
    with pytest.raises(StillairError) as raised:
        program(base, part(tmp_path, before="closng"))
    (fault,) = raised.value.faults
    assert "there is no checklist `closng`" in str(fault)
    assert "closing" in (fault.help or "")
    assert "between-part.yaml:2" in str(fault)


def test_the_one_work_is_taken_with_what_joins_it(base: Path, tmp_path: Path) -> None:
    """A pack that joins another is no second work to choose between."""
    assert sorted(choose(installed(base, part(tmp_path)), [])) == ["base", "part"]


@pytest.mark.parametrize("wanted", [["part"], ["base"], ["base", "part"]])
def test_either_name_takes_both(base: Path, tmp_path: Path, wanted: list[str]) -> None:
    assert sorted(choose(installed(base, part(tmp_path)), wanted)) == ["base", "part"]


@pytest.mark.parametrize(
    "said",
    [
        'joins: "base"',
        "joins: 'base'  # its law",
        "joins: base # its law",
        "joins:   base",
        "joins:\tbase",
        "joins : base",
        "joins:\n  base",
        '"joins": base',
        '"jo\\u0069ns": base',
        "? joins\n: base",
        "title2: &x base\njoins: base",
    ],
)
def test_however_it_is_written_a_pack_that_joins_is_taken_or_refused(
    base: Path, tmp_path: Path, said: str
) -> None:
    found = installed(base, part(tmp_path))
    path = tmp_path / "part" / "manifest.yaml"
    path.write_text(path.read_text("utf-8").replace("joins: base", said), encoding="utf-8")
    try:
        assert sorted(choose(found, [])) == ["base", "part"]
    except StillairError as error:
        assert "&x" in said and "SA104" in str(error) and "part/manifest.yaml:4" in str(error)


@pytest.mark.parametrize("said", ['"one of": machine', "one of: 'machine'", "one of:  machine  # a kind"])
def test_however_it_is_written_one_of_a_kind_is_taken(base: Path, tmp_path: Path, said: str) -> None:
    both = installed(base, part(tmp_path, one_of="machine"), part(tmp_path, "other", one_of="machine"))
    path = tmp_path / "other" / "manifest.yaml"
    path.write_text(path.read_text("utf-8").replace("one of: machine", said), encoding="utf-8")
    with pytest.raises(StillairError, match="several packs that join `base` are `one of: machine`"):
        choose(both, [])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "pack: a\nversion: 1.0\njoins: b\none of: c\n",
            {"pack": "a", "version": "1.0", "joins": "b", "one of": "c"},
        ),
        ("---\npack: a\n", {"pack": "a"}),
        ("{pack: a, joins: b}\n", {"pack": "a", "joins": "b"}),
        ("  pack: a\n  joins: b\n", {"pack": "a", "joins": "b"}),
        ('pack: a\nabout: "x\njoins: b\n"\n', {"pack": "a"}),
        ("pack: a\nplugins: {x: y,\njoins: b}\n", {"pack": "a"}),
        ("pack: a\nabout: >-\n  x\n  joins: b\n", {"pack": "a"}),
        ("# joins: c\npack: a\njoins: null\n", {"pack": "a"}),
        ("pack: a\nchecklists:\n- x.yaml\njoins: b\n", {"pack": "a", "joins": "b"}),
        ("pack: a\njoins: le\n\n  ak\n", {"pack": "a", "joins": "le\nak"}),
        ("pack: a\njoins: le\n  ak\n", {"pack": "a", "joins": "le ak"}),
        ('# a 24" pipe\npack: a\ntitle: "x\njoins: b\nend: x"\n', {"pack": "a"}),
        ("pack: a\n# ]\nx: [\njoins: b\n]\n", {"pack": "a"}),
        ("pack: a\nx:\n  \"it's\": 'y\njoins: b'\n", {"pack": "a"}),
        ('pack: a\ntitle: "x # y"\nengine: [a, b] # "\njoins: b\n', {"pack": "a", "joins": "b"}),
    ],
)
def test_the_head_of_a_manifest_is_read_as_yaml_reads_it(text: str, said: dict[str, str]) -> None:
    assert heads(text, "manifest.yaml") == said


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("pack: a\njoins: [b]\n", "SA203"),
        ("pack: a\njoins: b\njoins: c\n", "SA102"),
        ('joins: "b\n', "SA101"),
    ],
)
def test_a_head_that_cannot_be_read_is_refused(text: str, code: str) -> None:
    with pytest.raises(StillairError, match=code):
        heads(text, "manifest.yaml")


LINES = [
    "pack: a", "joins: b", "joins: b # it's", "one of: c", "version: 1.0.0", "version: 0x1F", "pack: yes",
    "title: T", 'title: "x', 'end: x"', 'x"', '# a 24" pipe', "# it's", "title: 'x", "y: z'", "it's: so",
    "x:\n  \"it's\": 'x",
    '  "y": "x # z"', 'title: "x # y"', "x: [", "]", "# ]", "x: {", "}",
    "x: [a, b] # [", "- a", '- "a', "- 'a'", "  more", "  joins: c", "", "   ", "  # c", "  \u00a0",
    "title: >-", "title: |", "  it's [", 'about: a "b', "about: a\\", "%YAML 1.2", "---", "...",
]  # fmt: skip


def test_what_the_plain_form_says_the_yaml_reader_says() -> None:
    """Of random manifests that can be read at all: the same heads, or the YAML reader is asked."""
    chance = random.Random(1)
    agreed = 0
    for _ in range(20_000):
        text = "\n".join(chance.choices(LINES, k=chance.randint(1, 6))) + "\n"
        quick = heads_module._plain(text)
        if quick is not None:
            try:
                strict = heads_module._strict(text, "manifest.yaml")
            except StillairError:
                continue
            assert quick == strict, text
            agreed += bool(quick)
    assert agreed > 500


@pytest.mark.parametrize("end", ["\r", "\x85", "\u2028", "\u2029"])
def test_what_ends_a_line_for_some_readers_only_hides_no_head(end: str) -> None:
    with pytest.raises(StillairError, match="SA109"):
        heads(f"title: T{end}joins: b\n", "manifest.yaml")


def test_the_heads_of_the_bundled_packs_need_no_yaml_reader() -> None:
    """A cold start stays quick, and what is read is what the YAML reader reads."""
    for folder in Plugins.load().packs:
        text = (folder / "manifest.yaml").read_text("utf-8")
        quick = heads_module._plain(text)
        assert quick is not None and quick == heads_module._strict(text, "manifest.yaml")


def test_of_several_of_a_kind_one_is_named(base: Path, tmp_path: Path) -> None:
    """Nobody guesses which equipment stands there."""
    both = installed(base, part(tmp_path, one_of="machine"), part(tmp_path, "other", one_of="machine"))
    for wanted in ([], ["base"]):
        with pytest.raises(StillairError, match="several packs that join `base` are `one of: machine`"):
            choose(both, wanted)
    assert sorted(choose(both, ["other"])) == ["base", "other"]


def test_what_joins_and_is_not_one_of_a_kind_is_always_taken(base: Path, tmp_path: Path) -> None:
    """Two laws and a machine: the job takes all of them."""
    laws = part(tmp_path, "law"), part(tmp_path, "other-law")
    found = installed(base, *laws, part(tmp_path, "machine", one_of="machine"))
    for wanted in ([], ["base"], ["law"], ["machine"]):
        assert sorted(choose(found, wanted)) == ["base", "law", "machine", "other-law"]


def test_what_joins_a_pack_that_joins_is_taken_too(base: Path, tmp_path: Path) -> None:
    found = installed(base, part(tmp_path), part(tmp_path, "outer", joins="part"))
    for wanted in ([], ["outer"], ["base"]):
        assert sorted(choose(found, wanted)) == ["base", "outer", "part"]


def test_only_what_joins_can_be_one_of_a_kind(tmp_path: Path) -> None:
    lonely = write(
        tmp_path / "lonely", BASE + "one of: machine\n", ("opening", "", "one"), ("closing", "", "two")
    )
    with pytest.raises(StillairError, match="`one of` belongs to a pack that joins another"):
        read_pack(lonely, plugins={})


def test_what_is_joined_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(StillairError, match="joins `base`, which is not installed"):
        choose(installed(part(tmp_path)), ["part"])


def test_a_name_declared_in_both_is_refused(base: Path, tmp_path: Path) -> None:
    """What joins a pack cannot put a fact of its own in the place of another."""
    manifest = PART.format(name="thief", joins="base", one_of="")
    thief = write(tmp_path / "thief", manifest, ("between-thief", "closing", "one"))
    with pytest.raises(StillairError, match="`one`"):
        program(base, thief)


POWERED = """\
checklist: switching
title: Switching on
lists:
  source: {title: Sources, members: {one: One}}
facts:
  locked: {ask: Locked?, kind: yes-no, per: source, safety: true}
powered:
  - state: spin
    title: Spinning
    frees: [one]
    of: source
    gate: locked of one is yes
    steps: [{steps}]
    at most: 60 s
    proof: [locked is yes]
"""


def spinning(base: Path, tmp_path: Path, steps: str) -> Program:
    """The base with a part that declares a powered state over steps of the base."""
    folder = tmp_path / "spin"
    folder.mkdir()
    manifest = PART.format(name="spin", joins="base", one_of="").replace("between-spin", "switching")
    (folder / "manifest.yaml").write_text(manifest, encoding="utf-8")
    (folder / "switching.yaml").write_text(POWERED.replace("{steps}", steps), encoding="utf-8")
    return program(base, folder)


def test_a_powered_state_may_hold_steps_of_another_checklist(base: Path, tmp_path: Path) -> None:
    """What keeps them off is its gate, wherever they are written."""
    made = spinning(base, tmp_path, "see-closing")
    assert made.steps["see-closing"].powered == "spin"
    assert made.steps["see-opening"].powered is None
    assert assess(made, [], 0.0).permission("see-closing").may is May.NOT_YET
    assert assess(made, [], 0.0).permission("see-opening").may is May.YES


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        ("see-closng", "there is no step `see-closng`"),
        ("see-closing, see-closing", "lies inside the powered state `spin` already"),
    ],
)
def test_a_step_inside_a_powered_state_is_there_and_there_once(
    base: Path, tmp_path: Path, steps: str, said: str
) -> None:
    with pytest.raises(StillairError, match=said):
        spinning(base, tmp_path, steps)
