"""What is asked for and cannot be is told in words: nothing is passed over, and nobody sees a traceback."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stillair.assess import compile_packs
from stillair.cli import main
from stillair.pack import read_texts

from .test_cli_guide import KETTLE, Kettle, flat

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"


def run(*args: object) -> Result:
    return CliRunner().invoke(main, ["--plugin-dir", str(TOOLS), *map(str, args)])


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    return Path(shutil.copytree(HERE / "tank", tmp_path / "tank"))


@pytest.fixture
def kettle(tmp_path: Path) -> Kettle:
    begun = Kettle(tmp_path)
    begun.guide("q")
    return begun


JOB = "JOB"
"""Stands for the job begun."""


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("whatif", JOB, "--in", "1e9 d"), "`1e9 d` later is beyond the calendar"),
        (("whatif", JOB, "--in", "9999 yr"), "`9999 yr` later is beyond the calendar"),
        (("trail", JOB, "--at", "2020-01-01"), "`2020-01-01` is before the job began"),
        (("--sealed", "", "next", JOB), "--sealed is empty"),
        (("--by", " ", "next", JOB), "--by is empty"),
        (("--by", "A. Tech", "note", JOB, "smell=no", "--long-ago"), "--long-ago is about --at"),
        (
            ("--by", "A. Tech", "note", JOB, "smell=no", "--why", "so it is"),
            "--why is the reason of --cannot",
        ),
        (("rehearse", str(KETTLE), "--record", JOB), "--record prints JOB as YAML"),
        (("rehearse", "--format", "json", "--record", JOB), "--record prints JOB as YAML"),
        (("--by", "A. Tech", "move", JOB, "--pack", "kettel"), "there is no pack `kettel`"),
        (
            ("--by", "T", "guide", "new.job", "--pack", str(KETTLE), "--beliefs", "none.yaml"),
            "be read: no such file",
        ),
        (
            ("--by", "T", "guide", "new.job", "--pack", str(KETTLE), "--beliefs", str(KETTLE)),
            "be read: is a directory",
        ),
        (("verify", JOB, "--expect", "abc"), "`abc` is no hash"),
        (("rehearse", str(KETTLE / "kettle.yaml")), "name the folder that holds manifest.yaml"),
        (
            ("--by", "T", "guide", "new.job", "--pack", str(KETTLE / "kettle.yaml")),
            "name the folder that holds",
        ),
        (
            ("--by", "T", "--sealed", str(KETTLE), "guide", "new.job"),
            "name the folder of packs that it lies in",
        ),
        (("new-pack", "manifest"), "`manifest.yaml` is another file of a pack"),
        (("new-pack", "beliefs"), "`beliefs.yaml` is another file of a pack"),
    ],
)
def test_it_is_told_in_words(
    kettle: Kettle, monkeypatch: pytest.MonkeyPatch, args: tuple[str, ...], says: str
) -> None:
    monkeypatch.chdir(kettle.path.parent)
    before = kettle.path.read_bytes()
    result = kettle.run(*(str(kettle.path) if arg == JOB else arg for arg in args))
    assert result.exit_code in (1, 2) and isinstance(result.exception, SystemExit)
    assert says in flat(result.output) and "Errno" not in result.output
    assert kettle.path.read_bytes() == before and not Path("new.job").exists()


@pytest.mark.parametrize("manifest", ["", "- a\n", "12\n", "version: 1.0.0\n"])
@pytest.mark.parametrize("what", [(), ("--coverage",), ("--fill",)])
def test_a_manifest_that_names_no_pack_is_told(tank: Path, manifest: str, what: tuple[str, ...]) -> None:
    (tank / "manifest.yaml").write_text(manifest, encoding="utf-8")
    result = run("rehearse", tank, *what)
    assert result.exit_code == 1 and isinstance(result.exception, SystemExit)
    assert "manifest.yaml" in flat(result.output) and "[SA" in result.output


def test_a_pack_named_twice_is_played_once(tank: Path) -> None:
    once = run("rehearse", tank).output
    assert "1 scenario (1 by hand)" in once and run("rehearse", tank, tank / ".." / "tank").output == once


def test_a_name_there_is_not_is_not_refused_but_told(tank: Path) -> None:
    """Else a misspelt name would make a scenario pass."""
    (scenario,) = (tank / "scenarios").glob("*.yaml")
    text = scenario.read_text(encoding="utf-8")
    scenario.write_text(f"{text}  - expect: {{refuses: {{smel: maybe}}}}\n", encoding="utf-8")
    result = run("rehearse", tank)
    assert result.exit_code == 1 and "there is no fact `smel`" in flat(result.output)
    scenario.write_text(f"{text}  - expect: {{refuses: {{smell: maybe}}}}\n", encoding="utf-8")
    assert run("rehearse", tank).exit_code == 0


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("stop fumes", "stop fume", "there is no condition `stop fume` (did you mean `stop fumes`?)"),
        ("smell is yes", "smell is no", "there is no part `smell is no`"),
        ("open,", "opened,", "there is no way `opened`"),
        ("never seen: open", "not noticed: always", "there is no way `always`"),
    ],
)
def test_an_explanation_of_what_there_is_not_is_told_before_anything_is_written(
    tank: Path, old: str, new: str, says: str
) -> None:
    entry = "{of: stop fumes, part: smell is yes, never seen: open, because: it is asked before all else}"
    path = tank / "scenarios" / "unshown.yaml"
    path.write_text(f"unshown:\n  - {entry.replace(old, new)}\n", encoding="utf-8")
    result = run("rehearse", tank, "--fill")
    assert result.exit_code == 2 and says in flat(result.output)
    assert not (tank / "scenarios" / "generated").exists()


def test_what_joins_comes_after_what_it_joins_whatever_it_is_called() -> None:
    """Unless it says before what it is to come."""

    def order(name: str, more: str = "") -> list[str]:
        packs = []
        for pack, joins in (("home", ""), (name, "joins: home\n")):
            manifest = (
                f"pack: {pack}\nversion: 1.0.0\ntitle: T\nengine: '>=0.1'\nchecklists: [c.yaml]\n{joins}"
            )
            text = f"checklist: {pack}_c\ntitle: T\n{more if joins else ''}facts:\n"
            texts = {"manifest.yaml": manifest, "c.yaml": f"{text}  {pack}_f: {{ask: Q?, kind: yes-no}}\n"}
            packs.append(read_texts(texts, plugins={}, label=pack))
        return list(compile_packs(sorted(packs, key=lambda pack: pack.name), {}, {}).checklists)

    assert order("acme") == ["home_c", "acme_c"]
    assert order("zacme") == ["home_c", "zacme_c"]
    assert order("acme", "before: home_c\n") == ["acme_c", "home_c"]
    assert order("zacme", "before: home_c\n") == ["zacme_c", "home_c"]


def test_an_instrument_nobody_declared_is_told(tank: Path) -> None:
    """A reading with a misspelt serial would have the tolerances of its kind, and the scenario might pass."""
    (scenario,) = (tank / "scenarios").glob("*.yaml")
    text = scenario.read_text(encoding="utf-8")
    assert "with: {bottom: G1}" in text
    scenario.write_text(text.replace("with: {bottom: G1}", "with: {bottom: GI}"), encoding="utf-8")
    result = run("rehearse", tank)
    assert result.exit_code == 1 and "the instrument `GI` is not declared" in flat(result.output)


def test_a_job_read_with_what_nobody_declared_is_recorded_as_it_was_taken(tank: Path) -> None:
    """By what is usual for its kind, which the scenario then says."""
    job = tank.parent / "visit.job"

    def ask(*args: str, typed: str = "") -> Result:
        begun = ["--plugin-dir", str(TOOLS), "--by", "A. Tech", *args]
        return CliRunner().invoke(main, begun, input=typed)

    ask("guide", str(job), "--pack", str(tank), typed="q\n")
    assert ask("note", str(job), "bottom=13 psig", "--with", "G7").exit_code == 0
    recorded = ask("rehearse", "--record", str(job)).stdout
    assert "instrument:" in recorded and "kind: gauge" in recorded and "G7" not in recorded
    (tank / "scenarios" / "recorded.yaml").write_text(recorded, encoding="utf-8")
    assert run("rehearse", tank, "-k", "recorded").exit_code == 0


def test_with_nothing_written_the_verbs_are_shown_line_by_line() -> None:
    result = CliRunner().invoke(main, [])
    assert "\n  guide " in result.output and "stillair: " not in result.output


def test_an_installed_pack_is_linted_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(main, ["lint", "us_federal"]).output.startswith("no fault")
    assert "does not exist" in CliRunner().invoke(main, ["lint", "us_fed"]).output
