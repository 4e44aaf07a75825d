"""Reading a pack folder: what it gives, and what is said of one that is not whole."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from textwrap import dedent

import pytest
from stillair.fault import LARGEST, StillairError
from stillair.pack import Pack, digest_of, gather, read_pack, read_texts
from stillair.version import VersionError, read_range, read_version, satisfies

MANIFEST = """\
pack: leak
version: 1.0.0
title: Find a leak
engine: ">=0.1,<1"
plugins: {gases: ">=0.2"}
checklists: [safety.yaml, search.yaml]
licence: MIT
"""
SAFETY = "checklist: safety\ntitle: Safety\nfacts: {dead: {ask: Is it dead?, kind: yes-no}}\n"
SEARCH = "checklist: search\ntitle: Search\nevents: {opened: {say: It was opened}}\n"
INSTALLED = {"gases": "0.2.1", "vacuum": "3"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A whole pack, named `leak`."""
    root = tmp_path / "leak"
    root.mkdir()
    for name, text in (("manifest.yaml", MANIFEST), ("safety.yaml", SAFETY), ("search.yaml", SEARCH)):
        (root / name).write_bytes(text.encode())
    return root


def _read(folder: Path) -> Pack:
    return read_pack(folder, plugins=INSTALLED, engine="0.1.0")


def _said(folder: Path) -> str:
    """What is said of the pack, with its folder called leak."""
    with pytest.raises(StillairError) as raised:
        _read(folder)
    return str(raised.value).replace(folder.as_posix(), "leak")


def test_a_pack_gives_its_checklists_in_the_order_of_the_manifest(folder: Path) -> None:
    """The manifest orders the work."""
    pack = _read(folder)
    assert (pack.name, pack.version, pack.engine) == ("leak", "1.0.0", ">=0.1,<1")
    assert pack.plugins == (("gases", ">=0.2"),)
    assert [checklist.name for checklist in pack.checklists] == ["safety", "search"]
    assert pack.checklists[0].facts[0].where.path == f"{folder.as_posix()}/safety.yaml"


def test_the_texts_kept_beside_a_job_give_the_same_pack_again(folder: Path) -> None:
    """Years later, the pack is read from what was kept."""
    pack = _read(folder)
    assert sorted(pack.texts) == ["manifest.yaml", "safety.yaml", "search.yaml"]
    again = read_texts(pack.texts, plugins=INSTALLED, engine="0.1.0", label="kept")
    assert again.digest == pack.digest
    assert [c.facts for c in again.checklists] == [c.facts for c in pack.checklists]


def test_the_digest_is_known_without_reading_the_pack(folder: Path) -> None:
    """A compiled pack is found by digest before anything is parsed."""
    assert digest_of(gather(folder)) == _read(folder).digest


def test_the_digest_does_not_depend_on_line_ends(folder: Path) -> None:
    """The same pack checked out on Windows is the same pack."""
    before = _read(folder).digest
    for path in folder.iterdir():
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert _read(folder).digest == before


@pytest.mark.parametrize("name", ["manifest.yaml", "safety.yaml", "search.yaml"])
def test_the_digest_changes_with_every_file(folder: Path, name: str) -> None:
    """Not even a comment can be changed unseen."""
    before = _read(folder).digest
    with (folder / name).open("a", newline="\n") as stream:
        stream.write("# changed\n")
    assert _read(folder).digest != before


def test_text_moved_from_one_file_to_the_next_changes_the_digest() -> None:
    """The digest knows where a file ends."""
    assert digest_of({"a": "xy", "b": ""}) != digest_of({"a": "x", "b": "y"})
    assert digest_of({"ab": "c"}) != digest_of({"a": "bc"})


def _write(name: str, text: str) -> Callable[[Path], object]:
    return lambda folder: (folder / name).write_bytes(text.encode())


def _manifest(old: str, new: str) -> Callable[[Path], object]:
    assert old in MANIFEST
    return _write("manifest.yaml", MANIFEST.replace(old, new))


BROKEN: list[tuple[str, Callable[[Path], object], str]] = [
    (
        "no manifest",
        lambda folder: (folder / "manifest.yaml").rename(folder / "manifset.yaml"),
        """
        leak: the folder holds no manifest.yaml [SA401]
        help: did you mean `manifset.yaml`?
        """,
    ),
    (
        "missing file",
        lambda folder: (folder / "search.yaml").unlink(),
        """
        leak/manifest.yaml:6:27: the pack has no file `search.yaml` [SA402]
          checklists: [safety.yaml, search.yaml]
                                    ^^^^^^^^^^^
        help: add the file, or remove the line
        """,
    ),
    (
        "misspelt file",
        lambda folder: (folder / "search.yaml").rename(folder / "serach.yaml"),
        """
        leak/manifest.yaml:6:27: the pack has no file `search.yaml` [SA402]
          checklists: [safety.yaml, search.yaml]
                                    ^^^^^^^^^^^
        help: did you mean `serach.yaml`?
        """,
    ),
    (
        "unlisted file",
        _write("extra.yaml", "checklist: extra\n"),
        """
        leak/extra.yaml: `extra.yaml` lies in the pack and is not in `checklists` of its manifest [SA407]
        help: add it to `checklists`, or move it out of the folder
        """,
    ),
    (
        "file listed twice",
        _manifest("search.yaml]", "search.yaml, safety.yaml]"),
        """
        leak/manifest.yaml:6:40: `safety.yaml` is listed twice [SA407]
          checklists: [safety.yaml, search.yaml, safety.yaml]
                                                 ^^^^^^^^^^^
        help: remove the line
        """,
    ),
    (
        "file outside the folder",
        _manifest("search.yaml]", "search.yaml, ../other/x.yaml]"),
        """
        leak/manifest.yaml:6:40: `../other/x.yaml` is not the name of a YAML file beside the manifest [SA403]
          checklists: [safety.yaml, search.yaml, ../other/x.yaml]
                                                 ^^^^^^^^^^^^^^^
        help: write the file name alone, like `search.yaml`
        """,
    ),
    (
        "no checklists",
        _manifest("[safety.yaml, search.yaml]", "[]"),
        """
        leak/manifest.yaml:6:1: `checklists` is empty [SA212]
          checklists: []
          ^^^^^^^^^^
        help: list the files, in the order of work
        """,
    ),
    (
        "not UTF-8",
        lambda folder: (folder / "search.yaml").write_bytes(b"checklist: search\ntitle: caf\xe9\n"),
        """
        leak/search.yaml: `search.yaml` is not UTF-8: byte 0xe9 in line 2 [SA110]
        help: save it as UTF-8
        """,
    ),
    (
        "too large",
        lambda folder: (folder / "search.yaml").write_bytes(b"#" * (LARGEST + 1)),
        """
        leak/search.yaml: `search.yaml` is larger than 2,000,000 bytes [SA108]
        help: split it
        """,
    ),
    (
        "a folder with the name of a file",
        lambda folder: (folder / "search.yaml").rename(folder / "old").parent.joinpath("search.yaml").mkdir(),
        """
        leak/search.yaml: `search.yaml` is not a file [SA402]
        """,
    ),
    (
        "version that is none",
        _manifest("version: 1.0.0", "version: first"),
        """
        leak/manifest.yaml:2:10: `first` is not a version [SA404]
          version: first
                   ^^^^^
        help: write numbers, like `1.0.0`
        """,
    ),
    (
        "range that is none",
        _manifest('">=0.1,<1"', '"~0.1"'),
        """
        leak/manifest.yaml:4:10: `~0.1` is not a version range [SA404]
          engine: "~0.1"
                   ^^^^
        help: write it like `>=0.1,<1`
        """,
    ),
    (
        "another engine",
        _manifest('">=0.1,<1"', '">=0.2"'),
        """
        leak/manifest.yaml:4:10: the pack `leak` needs engine >=0.2, this one is 0.1.0 [SA405]
          engine: ">=0.2"
                   ^^^^^
        help: install that engine, or a pack made for this one
        """,
    ),
    (
        "plugin not installed",
        _manifest("{gases:", "{gasses:"),
        """
        leak/manifest.yaml:5:11: the pack `leak` needs the plugin `gasses`, which is not installed [SA406]
          plugins: {gasses: ">=0.2"}
                    ^^^^^^
        help: did you mean `gases`?
        """,
    ),
    (
        "older plugin installed",
        _manifest(">=0.2", ">=0.3"),
        """
        leak/manifest.yaml:5:19: the pack `leak` needs `gases` >=0.3, installed is 0.2.1 [SA406]
          plugins: {gases: ">=0.3"}
                            ^^^^^
        help: install `gases` >=0.3
        """,
    ),
    (
        "unknown key",
        _manifest("licence:", "license:"),
        """
        leak/manifest.yaml:7:1: the manifest has no key `license` [SA201]
          license: MIT
          ^^^^^^^
        help: did you mean `licence`?
        """,
    ),
    (
        "one name in two checklists",
        _write("search.yaml", SEARCH.replace("opened:", "dead:")),
        """
        leak/search.yaml:3:10: the event `dead` has the name of the fact in leak/safety.yaml:3 [SA205]
          events: {dead: {say: It was opened}}
                   ^^^^
        help: give one of them another name
        """,
    ),
    (
        "two checklists of one name",
        _write("search.yaml", SEARCH.replace("checklist: search", "checklist: safety")),
        """
        leak/search.yaml:1:12: the checklist `safety` is declared twice, first in leak/safety.yaml:1 [SA205]
          checklist: safety
                     ^^^^^^
        help: give one of them another name
        """,
    ),
    (
        "faults in two checklists",
        lambda folder: [
            _write("safety.yaml", SAFETY.replace("ask", "aks"))(folder),
            _write("search.yaml", "checklist: [a\n")(folder),
        ],
        """
        leak/safety.yaml:3:9: fact `dead` has no `ask` [SA202]
          facts: {dead: {aks: Is it dead?, kind: yes-no}}
                  ^^^^
        help: add `ask`
        leak/safety.yaml:3:16: fact `dead` has no key `aks` [SA201]
          facts: {dead: {aks: Is it dead?, kind: yes-no}}
                         ^^^
        help: did you mean `ask`?
        leak/search.yaml:1:12: a list is opened by `[` and not closed [SA101]
          checklist: [a
                     ^
        help: add `,` or `]`
        """,
    ),
]


@pytest.mark.parametrize(("damage", "expected"), [row[1:] for row in BROKEN], ids=[row[0] for row in BROKEN])
def test_a_broken_pack_is_refused_whole(
    folder: Path, damage: Callable[[Path], object], expected: str
) -> None:
    """Each refusal names the file, the place and the way out."""
    damage(folder)
    assert _said(folder) == dedent(expected).strip("\n")


def test_a_folder_that_does_not_exist_is_named(tmp_path: Path) -> None:
    """A wrong path is told as such."""
    assert (
        _said(tmp_path / "leek") == "leak: the pack `leek` does not exist [SA401]\nhelp: name a pack folder"
    )


def test_a_file_in_place_of_a_folder_is_named(tmp_path: Path) -> None:
    """The manifest itself is not the pack."""
    path = tmp_path / "manifest.yaml"
    path.write_text(MANIFEST)
    assert _said(path) == "leak: the pack `manifest.yaml` is not a folder [SA401]\nhelp: name a pack folder"


@pytest.mark.skipif(sys.platform == "win32", reason="making links needs a privilege on Windows")
def test_a_link_out_of_the_folder_is_refused(folder: Path, tmp_path: Path) -> None:
    """A downloaded pack cannot make the engine read another file of the machine."""
    secret = tmp_path / "secret.yaml"
    secret.write_text(SEARCH)
    (folder / "search.yaml").unlink()
    os.symlink(secret, folder / "search.yaml")
    assert _said(folder) == (
        "leak/search.yaml: `search.yaml` leads out of the pack [SA403]\n"
        "help: put the file itself into the folder"
    )


@pytest.mark.skipif(sys.platform == "win32", reason="making links needs a privilege on Windows")
def test_a_link_to_the_whole_folder_is_a_pack(folder: Path, tmp_path: Path) -> None:
    """Where the folder lies is the user's business."""
    os.symlink(folder, tmp_path / "linked", target_is_directory=True)
    assert _read(tmp_path / "linked").digest == _read(folder).digest


@pytest.mark.parametrize(
    ("version", "wanted", "expected"),
    [
        ("0.1.0", ">=0.1,<1", True),
        ("1.0", ">=0.1,<1", False),
        ("0.10", ">=0.9", True),
        ("1", "==1.0.0", True),
        ("1.0.1", "==1", False),
        ("1.2", "!=1.2", False),
        ("2", "> 1.9 , <= 2", True),
        ("1.0.dev3", ">=1", True),
        ("1.0+local", "<=1", True),
        ("0", ">=0.1", False),
    ],
)
def test_a_version_lies_in_a_range_or_not(version: str, wanted: str, expected: bool) -> None:
    """Numbers are compared as numbers, and missing ones are nought."""
    assert satisfies(version, wanted) is expected


@pytest.mark.parametrize("text", ["", "1.", ".1", "v1", "1.0-beta", "1" * 10, "1..2", "１"])
def test_what_is_no_version_is_refused(text: str) -> None:
    """Nothing is guessed about a version."""
    with pytest.raises(VersionError):
        read_version(text)


@pytest.mark.parametrize("text", ["", ">=", "~=1", ">=1,", "1.0", ">=1 <2", "^1"])
def test_what_is_no_range_is_refused(text: str) -> None:
    """Nothing is guessed about a range."""
    with pytest.raises(VersionError):
        read_range(text)
