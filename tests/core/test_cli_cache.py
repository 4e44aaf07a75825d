"""Compiled programs are kept in a private folder, and nothing there is trusted that others could write."""

from __future__ import annotations

import hashlib
import os
import pickle
import stat
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest
from stillair.assess import Program, assess, compile_packs
from stillair.cli import cache
from stillair.cli.cache import cache_folder, key_of, load_program
from stillair.fault import StillairError
from stillair.hooks import Plugin, Plugins
from stillair.job import Line
from stillair.pack import Pack, gather

KETTLE = Path(__file__).parent / "kettle"
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="there the access list keeps the profile private")


def plugins_of(digest: str = "0" * 64) -> Plugins:
    return Plugins((Plugin("weigher", "1.0", "weigher.py", digest),), {}, {}, (), {}, {})


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path))
    return tmp_path


@pytest.fixture
def compiled(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Grows by one whenever a program is compiled."""
    times: list[int] = []

    def counting(packs: Sequence[Pack], *rest: object) -> Program:
        times.append(len(packs))
        return compile_packs(packs, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr("stillair.assess.compiler.compile_packs", counting)
    return times


def kept() -> Path:
    folder = cache_folder()
    assert folder is not None
    (file,) = folder.iterdir()
    return file


def load() -> Program:
    return load_program([gather(KETTLE)], plugins_of())


def test_a_program_is_compiled_once_and_then_loaded_whole(compiled: list[int]) -> None:
    first, second = load(), load()
    assert compiled == [1]
    assert list(second.facts) == list(first.facts)
    assert [c.checked for c in second.conditions] == [c.checked for c in first.conditions]
    assert len(second.judges) == len(first.judges) == len(first.conditions) > 0
    lines: list[Line] = []
    assert assess(second, lines, 0.0).next == assess(first, lines, 0.0).next


@POSIX
def test_folder_and_file_are_for_the_user_alone(compiled: list[int]) -> None:
    load()
    file = kept()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700


@POSIX
def test_a_folder_others_may_write_is_neither_read_nor_written(compiled: list[int]) -> None:
    load()
    file = kept()
    file.parent.chmod(0o770)
    before = file.read_bytes()
    load()
    assert compiled == [1, 1]
    assert file.read_bytes() == before
    file.parent.chmod(0o700)
    load()
    assert compiled == [1, 1]


@POSIX
def test_a_file_others_may_write_is_not_read(compiled: list[int]) -> None:
    load()
    kept().chmod(0o622)
    load()
    assert compiled == [1, 1]
    # What was compiled anew takes its place.
    assert stat.S_IMODE(kept().stat().st_mode) == 0o600


@POSIX
def test_a_folder_of_someone_else_is_not_used(compiled: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    load()
    mine = os.geteuid()
    monkeypatch.setattr(os, "geteuid", lambda: mine + 1)
    load()
    assert compiled == [1, 1]


@POSIX
def test_a_link_is_not_followed(compiled: list[int], tmp_path: Path) -> None:
    load()
    file = kept()
    elsewhere = tmp_path / "elsewhere"
    file.rename(elsewhere)
    file.symlink_to(elsewhere)
    load()
    assert compiled == [1, 1]


@pytest.mark.parametrize("damage", ["empty", "cut", "one bit", "other bytes", "not a program"])
def test_a_damaged_file_is_compiled_again(compiled: list[int], damage: str) -> None:
    load()
    file = kept()
    data = bytearray(file.read_bytes())
    if damage == "one bit":
        data[len(data) // 2] ^= 1
    else:
        other = pickle.dumps({"facts": 1})
        data = {
            "empty": bytearray(),
            "cut": data[:-7],
            "other bytes": bytearray(b"\x80\x05garbage" * 20),
            "not a program": bytearray(hashlib.sha256(other).digest() + other),
        }[damage]
    file.write_bytes(data)
    assert list(load().facts)
    assert compiled == [1, 1]
    load()
    assert compiled == [1, 1]


def test_the_key_follows_all_it_depends_on(monkeypatch: pytest.MonkeyPatch) -> None:
    texts = gather(KETTLE)
    keys = {key_of([texts], plugins_of())}
    keys.add(key_of([{**texts, "kettle.yaml": texts["kettle.yaml"] + "\n"}], plugins_of()))
    keys.add(key_of([texts, texts], plugins_of()))
    keys.add(key_of([texts], plugins_of("1" * 64)))
    monkeypatch.setattr(cache, "engine_version", lambda: "9.9")
    keys.add(key_of([texts], plugins_of()))
    monkeypatch.setattr(cache, "_engine_digest", lambda: "other")
    keys.add(key_of([texts], plugins_of()))
    monkeypatch.setattr(sys, "version", "3.99")
    keys.add(key_of([texts], plugins_of()))
    assert len(keys) == 7


def test_a_faulty_pack_is_refused_and_never_kept() -> None:
    texts = {**gather(KETTLE), "kettle.yaml": "checklist: kettle\ntitle: x\nrules:\n  - {rule: a, when: b}\n"}
    with pytest.raises(StillairError):
        load_program([texts], plugins_of())
    folder = cache_folder()
    assert folder is not None and list(folder.iterdir()) == []


def test_without_a_place_for_it_programs_are_compiled_each_time(
    compiled: list[int], home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = home / "file"
    blocked.write_text("in the way")
    for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(blocked))
    assert cache_folder() is None
    load()
    load()
    assert compiled == [1, 1]


def test_old_programs_are_removed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "_KEPT", 3)
    folder = cache_folder()
    assert folder is not None
    for number in range(5):
        old = folder / f"{number:064}"
        old.write_bytes(b"")
        os.utime(old, (time.time() - 100 + number,) * 2)
    load()
    names = {file.name for file in folder.iterdir()}
    assert len(names) == 3
    assert {f"{3:064}", f"{4:064}"} < names
