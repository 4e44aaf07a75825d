"""What is installed, read from the metadata folders: the same as the standard library finds."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from importlib import metadata
from pathlib import Path

import pytest
from stillair import installed

GROUPS = ("stillair", "console_scripts", "pytest11", "no such group")


def found(group: str) -> list[tuple[str, str, str]]:
    return sorted((each.name, each.module, each.version) for each in installed.entry_points(group))


def expected(group: str) -> list[tuple[str, str, str]]:
    entries = metadata.entry_points(group=group)
    return sorted((each.name, each.module, each.dist.version if each.dist else "0") for each in entries)


def distribution(
    root: Path, folder: str, entries: str | None = None, version: str = "1.0", file: str = "METADATA"
) -> Path:
    place = root / folder
    place.mkdir(parents=True)
    text = f"Metadata-Version: 2.1\nName: {folder.split('-')[0]}\nversion: {version}\n\nVersion: no\n"
    (place / file).write_text(text, encoding="utf-8")
    if entries is not None:
        (place / "entry_points.txt").write_text(entries, encoding="utf-8")
    return place


@pytest.mark.parametrize("group", GROUPS)
def test_what_is_installed_here(group: str) -> None:
    assert found(group) == expected(group)
    assert bool(found(group)) == (group != "no such group")
    assert installed.version_of("stillair") == metadata.version("stillair")


def test_of_two_of_one_name_the_first_on_the_path_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    distribution(tmp_path / "a", "My_Plug-1.0.dist-info", "[stillair]\none = plug.one\n")
    distribution(tmp_path / "b", "my.plug-2.0.dist-info", "[stillair]\ntwo = plug.two\n", "2.0")
    distribution(tmp_path / "b", "old.egg-info", "[stillair]\nthree = plug.three\n", "3.0", "PKG-INFO")
    for order, kept in (("ab", "one"), ("ba", "two")):
        monkeypatch.setattr(sys, "path", [str(tmp_path / order[0]), str(tmp_path / order[1])])
        assert found("stillair") == expected("stillair")
        assert {name for name, _, _ in found("stillair")} == {kept, "three"}
        assert installed.version_of("my-plug") == metadata.version("my-plug")


@pytest.mark.parametrize(
    "entries",
    [
        "",
        "[stillair]\n",
        "[stillair]\n# said = of it\n\n  spaced  =  plug . x \nwith = plug.mod:thing [extra]\n",
        "[console_scripts]\nstillair = not.it\n[stillair]\nit = plug\n[other]\nx = y\n",
        "[stillair.more]\nx = y\n",
        "[stillair]\r\nit = plug\r\n",
    ],
)
def test_entry_points_are_read_as_the_standard_library_reads_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, entries: str
) -> None:
    distribution(tmp_path, "plug-1.0.dist-info", entries.replace("plug . x", "plug.x"))
    monkeypatch.setattr(sys, "path", [str(tmp_path)])
    assert found("stillair") == expected("stillair")


def test_what_is_added_changed_or_removed_is_seen_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "path", [str(tmp_path)])
    assert found("stillair") == []
    place = distribution(tmp_path, "plug-1.0.dist-info", "[stillair]\none = plug.one\n")
    assert found("stillair") == [("one", "plug.one", "1.0")]
    (place / "entry_points.txt").write_text("[stillair]\ntwo = plug.two\n", encoding="utf-8")
    assert found("stillair") == [("two", "plug.two", "1.0")]
    (place / "entry_points.txt").unlink()
    assert found("stillair") == []


def test_archives_on_the_path_and_finders_of_another_kind_are_asked_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with zipfile.ZipFile(tmp_path / "plug.zip", "w") as archive:
        archive.writestr("plug-1.0.dist-info/METADATA", "Name: plug\nVersion: 1.0\n\n")
        archive.writestr("plug-1.0.dist-info/entry_points.txt", "[stillair]\nit = plug\n")
    monkeypatch.setattr(sys, "path", [str(tmp_path / "plug.zip")])
    assert found("stillair") == [("it", "plug", "1.0")]
    assert installed.version_of("plug") == "1.0"

    distribution(tmp_path / "apart", "other-2.0.dist-info", "[stillair]\nother = other\n", "2.0")

    class Finder:
        @staticmethod
        def find_spec(name: str, path: object = None, target: object = None) -> None:
            return None

        @staticmethod
        def find_distributions(context: object = None) -> list[metadata.Distribution]:
            return [metadata.Distribution.at(tmp_path / "apart" / "other-2.0.dist-info")]

    monkeypatch.setattr(sys, "path", [str(tmp_path)])
    monkeypatch.setattr(sys, "meta_path", [*sys.meta_path, Finder])
    assert found("stillair") == [("other", "other", "2.0")]


def test_a_distribution_that_is_not_installed_is_an_error() -> None:
    with pytest.raises(ModuleNotFoundError):
        installed.version_of("no-such-distribution")


def test_it_is_light() -> None:
    program = (
        "import sys; from stillair.installed import entry_points, version_of; "
        "entry_points('stillair'); version_of('stillair'); "
        "print([m for m in ('importlib.metadata', 'email', 'zipfile') if m in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


def test_the_digest_of_files_follows_names_and_contents(tmp_path: Path) -> None:
    for name, text in (("a.py", "1"), ("sub/b.yaml", "2"), ("sub/deep/c.py", "3"), ("sub/d.txt", "4")):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    folder = str(tmp_path)
    names = installed.files_in(folder, (".py", ".yaml"))
    assert names == ["a.py", "sub/b.yaml", "sub/deep/c.py"]
    assert installed.files_in(folder, (".py",), {"deep"}) == ["a.py"]
    before = installed.digest_of_files(folder, names)
    (tmp_path / "sub" / "d.txt").write_text("5", encoding="utf-8")
    assert installed.digest_of_files(folder, names) == before
    (tmp_path / "sub" / "b.yaml").write_text("6", encoding="utf-8")
    assert installed.digest_of_files(folder, names) != before
