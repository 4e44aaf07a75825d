"""A pack as `new-pack` begins it: sound by the strictest profile, with scenarios that pass and can fail."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator
from stillair.assess import compile_packs
from stillair.authoring.rehearse import play, read_scenario
from stillair.cli import main
from stillair.pack import read_pack
from stillair.strict_yaml import plain, read_yaml
from stillair.trail import passages


def run(*args: str) -> Result:
    return CliRunner().invoke(main, list(args), catch_exceptions=False)


@pytest.fixture
def begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    result = run("new-pack", "oil_check")
    assert result.exit_code == 0, result.output
    return tmp_path / "oil_check"


def test_it_passes_lint(begun: Path) -> None:
    result = run("lint", "oil_check", "--profile", "published", "--play")
    assert (result.stdout, result.exit_code) == ("no fault for the profile published\n", 0)


def test_its_scenarios_pass(begun: Path) -> None:
    program = compile_packs([read_pack(begun, plugins={})], {}, {})
    paths = sorted((begun / "scenarios").glob("*.yaml"))
    assert len(paths) == 3
    for path in paths:
        assert play(program, read_scenario(path), passages).misses == []
        assert f"| {path.stem} |" in (begun / "README.md").read_text()


def test_a_scenario_notices_a_changed_limit(begun: Path) -> None:
    """What is handed out to be copied can fail."""
    path = begun / "oil_check.yaml"
    path.write_text(path.read_text().replace("is: 2 in", "is: 4 in"))
    program = compile_packs([read_pack(begun, plugins={})], {}, {})
    found = [play(program, read_scenario(p), passages).misses for p in (begun / "scenarios").glob("*.yaml")]
    assert any(found)


def test_its_schemas_take_its_files(begun: Path) -> None:
    for kind, name in (("manifest", "manifest"), ("checklist", "oil_check")):
        text = (begun / f"{name}.yaml").read_text()
        assert f"$schema=.schema/{kind}.json" in text.splitlines()[0]
        schema = json.loads((begun / ".schema" / f"{kind}.json").read_text())
        assert Draft202012Validator(schema).is_valid(plain(read_yaml(text, name)))


def test_a_job_can_be_begun_with_it(begun: Path) -> None:
    result = CliRunner().invoke(
        main, ["--by", "A. Tech", "guide", "a.job", "--pack", "oil_check"], input="q\n"
    )
    assert "Look round before you touch" in result.output


def test_nothing_is_ever_overwritten(begun: Path) -> None:
    before = {path: path.read_bytes() for path in begun.rglob("*") if path.is_file()}
    result = run("new-pack", "oil_check")
    assert result.exit_code == 2 and "is there already" in result.stderr
    assert {path: path.read_bytes() for path in begun.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("leak", "a pack called `leak` is installed"),
        ("a" * 41, "a name of 41 characters is too long"),
        ("a" * 300, "a name of 300 characters is too long"),
    ],
)
def test_a_name_that_is_taken_or_too_long_is_refused(
    name: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run("new-pack", name)
    assert (result.exit_code, len(result.stderr.splitlines())) == (2, 2) and said in result.stderr
    assert list(tmp_path.iterdir()) == []
    assert run("new-pack", "a" * 40).exit_code == 0


def test_a_name_must_be_a_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for given, help in (("Oil check", "write `oil_check`"), ("../up", "write `up`"), ("9", "a-z, digits")):
        result = run("new-pack", given)
        assert result.exit_code == 2 and help in result.stderr
    assert list(tmp_path.iterdir()) == []
