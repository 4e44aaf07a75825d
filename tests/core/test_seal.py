"""The list of a pack and the seal of a folder of packs: what is refused, and what may begin."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from stillair.cli import main
from stillair.cli.clock import FixedClock
from stillair.cli.session import Settings
from stillair.fault import Fault
from stillair.hooks import Plugins
from stillair.job import Job
from stillair.pack import read_pack
from stillair.seal import LISTING, unlike_listing

pytestmark = pytest.mark.usefixtures("own_cache")

HERE = Path(__file__).parent
TOOLS = HERE / "tank_tools"
NINE = datetime(2026, 4, 15, 9, 0, tzinfo=UTC).timestamp()


class Company:
    """A folder with two packs, and the jobs of its technicians."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.packs = folder / "packs"
        self.job = folder / "visit.job"
        for name in ("tank", "kettle"):
            shutil.copytree(HERE / name, self.packs / name)
        self.tools = Path(shutil.copytree(TOOLS, folder / "tools"))

    def run(self, *args: object, typed: str = "", **env: str) -> Result:
        call = ["--plugin-dir", str(self.tools), *map(str, args)]
        settings = Settings(clock=FixedClock(NINE))
        return CliRunner().invoke(main, call, input=typed, obj=settings, env=env)

    def seal(self) -> None:
        assert self.run("seal", self.packs).exit_code == 0

    def begin(self, *args: object, pack: str = "kettle", **env: str) -> Result:
        sealed = [] if env else ["--sealed", self.packs]
        return self.run(*sealed, "--by", "A. Tech", "guide", self.job, "--pack", pack, *args, **env)

    def rewrite(self, name: str, old: str, new: str) -> None:
        path = self.packs / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.fixture
def company(tmp_path: Path) -> Iterator[Company]:
    """Its plugin is a copy, which is imported anew; the module that was there comes back after."""
    path, before = list(sys.path), sys.modules.pop("tank_gauging", None)
    sys.path[:] = [each for each in path if each != str(TOOLS)]
    yield Company(tmp_path)
    sys.path[:] = path
    for name in ("tank_gauging", "idle", "quiet"):
        sys.modules.pop(name, None)
    if before is not None:
        sys.modules["tank_gauging"] = before


def flat(result: Result) -> str:
    return " ".join(result.output.split())


# -- the list of a pack --------------------------------------------------------------------------------------


def test_the_list_of_a_pack_is_one_that_sha256sum_checks(company: Company) -> None:
    kettle = company.packs / "kettle"
    assert company.run("seal", kettle).exit_code == 0
    names = [line.split("  ")[1] for line in (kettle / LISTING).read_text("utf-8").splitlines()]
    assert names == ["kettle.yaml", "manifest.yaml"]
    if shutil.which("sha256sum"):
        done = subprocess.run(["sha256sum", "-c", LISTING], cwd=kettle, capture_output=True, text=True)
        assert (done.returncode, done.stdout) == (0, "kettle.yaml: OK\nmanifest.yaml: OK\n")


def test_what_is_not_as_listed_is_told_by_check_and_lint(company: Company) -> None:
    kettle = company.packs / "kettle"
    company.run("seal", kettle)
    assert company.run("seal", kettle, "--check").exit_code == 0
    company.rewrite("kettle/kettle.yaml", "for: 10 min", "for: 1 min")
    for verb in (("seal", kettle, "--check"), ("lint", kettle)):
        result = company.run(*verb)
        assert result.exit_code == 1 and "the file `kettle.yaml` was changed [SA409]" in flat(result)


def test_line_ends_that_a_transfer_changed_are_told_as_that(company: Company) -> None:
    kettle = company.packs / "kettle"
    company.run("seal", kettle)
    path = kettle / "kettle.yaml"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert "`kettle.yaml` was changed, but only its line ends" in flat(company.run("seal", kettle, "--check"))


def test_a_pack_that_is_not_as_its_author_listed_it_is_not_sealed(company: Company) -> None:
    company.run("seal", company.packs / "kettle")
    company.rewrite("kettle/kettle.yaml", "for: 10 min", "for: 1 min")
    result = company.run("seal", company.packs)
    assert result.exit_code == 1 and "the file `kettle.yaml` was changed" in flat(result)
    assert not (company.packs / "sealed.json").exists()


def test_a_pack_that_does_not_compile_is_not_sealed(company: Company) -> None:
    company.run("seal", company.packs / "tank")
    before = (company.packs / "tank" / LISTING).read_text("utf-8")
    company.rewrite("tank/tank.yaml", "when: bottom < least", "when: botom < least")
    result = company.run("seal", company.packs / "tank")
    assert result.exit_code != 0 and "tank/tank.yaml:" in result.stderr and "`botom`" in result.stderr
    assert (company.packs / "tank" / LISTING).read_text("utf-8") == before
    (company.packs / "tank" / LISTING).unlink()
    result = company.run("seal", company.packs)
    assert result.exit_code != 0 and "`botom`" in result.stderr
    assert not (company.packs / "sealed.json").exists()


def test_an_adjustment_that_is_refused_is_not_sealed(company: Company) -> None:
    own = company.packs / "own"
    own.mkdir()
    digest = read_pack(company.packs / "tank", plugins=Plugins.load([company.tools]).versions()).digest
    manifest = (
        'pack: own\nversion: 1.0.0\ntitle: Own\nengine: ">=0.1,<1"\njoins: tank\nchecklists: []\n'
        f"adjusts:\n  pack: tank\n  digest: {digest}\n  limits: {{least: LEAST}}\n"
    )
    (own / "manifest.yaml").write_text(manifest.replace("LEAST", "90 psig"), "utf-8")
    result = company.run("seal", company.packs)
    assert result.exit_code != 0 and "own/manifest.yaml:10:" in result.stderr and "[SA704]" in result.stderr
    assert not (company.packs / "sealed.json").exists()
    # By itself it adjusts nothing that is here: it is read, and that is said.
    result = company.run("seal", own)
    assert result.exit_code == 0 and "whether they fit was not looked at" in flat(result)
    assert company.run("seal", company.packs).exit_code != 0
    (own / LISTING).unlink()
    (own / "manifest.yaml").write_text(manifest.replace("LEAST", "25 psig"), "utf-8")
    assert company.run("seal", company.packs).exit_code == 0


def test_the_bundled_packs_are_as_listed() -> None:
    """If this fails, and what changed is meant: `stillair seal` with the folder of the pack."""
    folders = Plugins.load().packs
    assert len(folders) >= 4
    for folder in folders:
        assert (folder / LISTING).is_file(), folder
        assert [str(fault) for fault in unlike_listing(folder)] == []


# -- a sealed folder -----------------------------------------------------------------------------------------


def test_the_seal_names_engine_plugins_packs_and_every_file(company: Company) -> None:
    result = company.run("seal", company.packs, "--format", "json")
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    assert told["format"] == "stillair.seal/1"
    assert told["engine"] == "0.1.0"
    assert told["plugins"]["tank_gauging"]["version"] == "0"
    assert {name: each["version"] for name, each in told["packs"].items()} == {
        "kettle": "1.0.0",
        "tank": "2.1.0",
    }
    file = company.packs / "tank" / "tank.yaml"
    assert told["packs"]["tank"]["files"]["tank.yaml"] == hashlib.sha256(file.read_bytes()).hexdigest()
    assert any(name.startswith("scenarios/") for name in told["packs"]["tank"]["files"])
    seal = (company.packs / "sealed.json").read_bytes()
    assert json.loads(result.stdout)["digest"] == hashlib.sha256(seal).hexdigest()


def test_sealed_again_it_is_the_same(company: Company) -> None:
    company.seal()
    first = (company.packs / "sealed.json").read_bytes()
    company.seal()
    assert (company.packs / "sealed.json").read_bytes() == first


def test_a_job_begins_with_the_sealed_packs(company: Company) -> None:
    company.seal()
    result = company.begin()
    assert result.exit_code == 0 and "Any smell of burning?" in result.output
    with Job.open(company.job) as job:
        packs = job.lines[0].body["packs"]
    assert isinstance(packs, dict) and list(packs) == ["kettle"]


def test_the_variable_says_the_same_as_the_option(company: Company) -> None:
    company.seal()
    assert company.begin(STILLAIR_SEALED=str(company.packs)).exit_code == 0
    company.rewrite("kettle/kettle.yaml", "for: 10 min", "for: 1 min")
    company.job = company.folder / "second.job"
    result = company.begin(STILLAIR_SEALED=str(company.packs))
    assert result.exit_code == 1 and "[SA409]" in result.output


def changed(company: Company) -> None:
    company.rewrite("kettle/kettle.yaml", "for: 10 min", "for: 1 min")


def missing(company: Company) -> None:
    next((company.packs / "tank" / "scenarios").iterdir()).unlink()


def added(company: Company) -> None:
    (company.packs / "kettle" / "more.yaml").write_text("checklist: more\n", encoding="utf-8")


def another_pack(company: Company) -> None:
    shutil.copytree(company.packs / "kettle", company.packs / "spare")


def other_engine(company: Company) -> None:
    company.rewrite("sealed.json", '"engine": "0.1.0"', '"engine": "0.2.0"')


def mended_engine(company: Company) -> None:
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    told["engine_digest"] = "0" * 64
    (company.packs / "sealed.json").write_text(json.dumps(told), encoding="utf-8")


def other_plugin(company: Company) -> None:
    path = company.tools / "tank_gauging.py"
    path.write_text(path.read_text("utf-8") + "\n# mended here\n", encoding="utf-8")


def plugin_gone(company: Company) -> None:
    company.tools = company.folder / "none"
    company.tools.mkdir()
    (company.tools / "idle.py").write_text(CALM, "utf-8")


CALM = "from stillair.hooks import hookimpl\n\n@hookimpl\ndef stillair_views():\n    return []\n"


def another_reckons(company: Company) -> None:
    """What the sealed plugin calculated is moved into one that was never sealed, and comes out otherwise."""
    path = company.tools / "tank_gauging.py"
    text = path.read_text("utf-8")
    assert "GRAVITY = 9.80665" in text
    (company.tools / "quiet.py").write_text(text.replace("GRAVITY = 9.80665", "GRAVITY = 1.0"), "utf-8")
    path.write_text(CALM, "utf-8")
    sys.modules.pop("tank_gauging")


def one_more_reckons(company: Company) -> None:
    """As it was sealed before the plugin was there; everything else is as it was."""
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    del told["plugins"]["tank_gauging"]
    (company.packs / "sealed.json").write_text(json.dumps(told), encoding="utf-8")


def reckons_no_more(company: Company) -> None:
    (company.tools / "tank_gauging.py").write_text(CALM, "utf-8")
    sys.modules.pop("tank_gauging")


def no_seal(company: Company) -> None:
    (company.packs / "sealed.json").unlink()


def leads_out(company: Company) -> None:
    shutil.copytree(company.packs / "kettle", company.folder / "other")
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    told["packs"]["kettle"]["folder"] = "../other"
    (company.packs / "sealed.json").write_text(json.dumps(told), encoding="utf-8")


def a_link(company: Company) -> None:
    """The pack is moved away and a link put in its place: what it leads to could be changed unseen."""
    (company.packs / "kettle").rename(company.folder / "elsewhere")
    (company.packs / "kettle").symlink_to(company.folder / "elsewhere", target_is_directory=True)


def out_of_sight(company: Company) -> None:
    shutil.copytree(company.packs / "kettle", company.packs / ".kettle")


def by_its_digest_alone(company: Company) -> None:
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    told["packs"]["kettle"]["digest"] = "0" * 64
    (company.packs / "sealed.json").write_text(json.dumps(told), encoding="utf-8")


def other_version(company: Company) -> None:
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    told["packs"]["kettle"]["version"] = "1.1.0"
    (company.packs / "sealed.json").write_text(json.dumps(told), encoding="utf-8")


def other_name(company: Company) -> None:
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    told["packs"]["kettel"] = told["packs"].pop("kettle")
    (company.packs / "sealed.json").write_text(json.dumps(told), encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "code", "said", "way_out"),
    [
        (changed, "SA409", "the file `kettle/kettle.yaml` was changed", "get the folder again"),
        (missing, "SA409", "is gone", "get the folder again"),
        (added, "SA409", "the file `kettle/more.yaml` was added", "get the folder again"),
        (another_pack, "SA409", "the file `spare/kettle.yaml` was added", "get the folder again"),
        (other_engine, "SA410", "sealed with engine 0.2.0, this one is 0.1.0", "install stillair 0.2.0"),
        (mended_engine, "SA410", "the files of the engine 0.1.0 are not those", "install stillair 0.1.0"),
        (other_plugin, "SA410", "the files of the plugin `tank_gauging` 0 are not those", "install"),
        (plugin_gone, "SA410", "the plugin `tank_gauging` 0, which is not installed", "install"),
        (another_reckons, "SA410", "`quiet` 0 calculates or lists, and was not sealed", "take `quiet` away"),
        (one_more_reckons, "SA410", "`tank_gauging` 0 calculates or lists, and was not", "sealed with it"),
        (reckons_no_more, "SA410", "the files of the plugin `tank_gauging` 0 are not those", "install"),
        (a_link, "SA409", "the file `kettle/kettle.yaml` is gone", "get the folder again"),
        (out_of_sight, "SA409", "the pack in `.kettle` was added", "get the folder again"),
        (
            by_its_digest_alone,
            "SA409",
            "the texts of the pack `kettle` are not those",
            "get the folder again",
        ),
        (other_version, "SA409", "is kettle 1.0.0, and was sealed as kettle 1.1.0", "get the folder again"),
        (other_name, "SA409", "is kettle 1.0.0, and was sealed as kettel 1.0.0", "get the folder again"),
        (no_seal, "SA411", "the folder `packs` is not sealed", "stillair seal"),
        (leads_out, "SA411", "the seal cannot be read", "stillair seal"),
    ],
)
def test_what_is_not_as_sealed_begins_no_job(
    company: Company, change: Callable[[Company], None], code: str, said: str, way_out: str
) -> None:
    company.seal()
    change(company)
    result = company.begin()
    assert result.exit_code == 1
    assert f"[{code}]" in result.output and said in flat(result) and way_out in flat(result)
    assert not company.job.exists() and not company.job.with_name("visit.job.packs").exists()


@pytest.mark.parametrize(
    ("reckoned", "said"),
    [("yes", "calculated or listed when it was sealed, and no longer does"), ("no", None), (None, None)],
)
def test_what_reckoned_when_it_was_sealed_reckons_now(
    company: Company, reckoned: str | None, said: str | None
) -> None:
    """A plugin of the same files may give nothing elsewhere, as by what it finds there."""
    (company.tools / "idle.py").write_text(CALM, "utf-8")
    company.seal()
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    assert told["plugins"]["tank_gauging"]["reckons"] == "yes"
    assert told["plugins"]["idle"].pop("reckons") == "no"
    told["plugins"]["idle"] |= {"reckons": reckoned} if reckoned else {}
    (company.packs / "sealed.json").write_text(json.dumps(told), encoding="utf-8")
    result = company.run("seal", company.packs, "--check")
    assert result.exit_code == (1 if said else 0) and (said or "all as in") in flat(result)


@pytest.mark.parametrize(("reckoned", "refused"), [("yes", True), ("no", False), (None, True)])
def test_a_plugin_that_never_reckoned_may_change(
    company: Company, reckoned: str | None, refused: bool
) -> None:
    """Of a seal that does not say whether it did, that it did not is not known."""
    (company.tools / "idle.py").write_text(CALM, "utf-8")
    company.seal()
    told = json.loads((company.packs / "sealed.json").read_text("utf-8"))
    told["plugins"]["idle"] = {"version": "0", "digest": "0" * 64}
    told["plugins"]["idle"] |= {"reckons": reckoned} if reckoned else {}
    (company.packs / "sealed.json").write_text(json.dumps(told), encoding="utf-8")
    result = company.run("seal", company.packs, "--check")
    assert (result.exit_code, "the files of the plugin `idle` 0 are not" in flat(result)) == (
        refused,
        refused,
    )


def test_a_link_or_a_hidden_pack_is_not_sealed(company: Company) -> None:
    a_link(company)
    told = company.run("seal", company.packs)
    assert told.exit_code == 1 and "[SA411]" in told.output and "is a link" in flat(told)
    assert not (company.packs / "sealed.json").exists()


def test_a_hidden_file_is_no_checklist(company: Company) -> None:
    """Files that begin with a dot are in no list: a pack is not made of them either."""
    shutil.copy(company.packs / "kettle" / "kettle.yaml", company.packs / "kettle" / ".other.yaml")
    company.seal()
    assert company.begin().exit_code == 0
    (company.packs / "kettle" / "kettle.yaml").rename(company.packs / "kettle" / ".kettle.yaml")
    company.rewrite("kettle/manifest.yaml", "kettle.yaml", ".kettle.yaml")
    result = company.run("seal", company.packs)
    assert result.exit_code == 1 and "`.kettle.yaml` is not the name of a YAML file" in flat(result)


def test_what_joins_a_pack_that_is_not_in_the_folder_is_not_sealed(company: Company) -> None:
    """Not even one that is installed: a job begun with the seal would not find it."""
    company.rewrite("kettle/manifest.yaml", "pack: kettle", "pack: kettle\njoins: leak")
    result = company.run("seal", company.packs)
    assert result.exit_code == 1 and "the pack `kettle` joins `leak`, which is not in this folder" in flat(
        result
    )
    assert "[SA411]" in result.output and not (company.packs / "sealed.json").exists()
    company.rewrite("kettle/manifest.yaml", "joins: leak", "joins: tank")
    # Two that are used together are compiled together.
    result = company.run("seal", company.packs)
    assert result.exit_code == 1 and "the fact `smell` is declared twice" in flat(result)


@pytest.mark.parametrize("begun", [True, False])
def test_what_is_changed_while_a_job_begins_is_not_taken(
    company: Company, monkeypatch: pytest.MonkeyPatch, begun: bool
) -> None:
    """The texts a job is begun with are those that were held against the seal, not those looked at before."""
    from stillair import seal

    look = seal.unlike_seal

    def then_changed(*given: Any) -> list[Fault]:
        found = look(*given)
        if not begun:
            company.rewrite("kettle/kettle.yaml", "for: 10 min", "for: 1 min")
        return found

    company.seal()
    monkeypatch.setattr(seal, "unlike_seal", then_changed)
    result = company.begin()
    assert (result.exit_code == 0) is begun
    assert company.job.exists() is begun
    assert begun or "the texts of the pack `kettle` are not those that were sealed [SA409]" in flat(result)


def test_a_plugin_outside_the_range_of_a_pack_is_refused_though_sealed(company: Company) -> None:
    """The range stands in the manifest: it cannot even be sealed, nor does a job begin with it."""
    company.rewrite("tank/manifest.yaml", '{tank_gauging: ">=0"}', '{tank_gauging: ">=9"}')
    result = company.run("seal", company.packs)
    assert result.exit_code == 1 and "[SA406]" in result.output


def test_packs_and_beliefs_from_elsewhere_are_refused(company: Company) -> None:
    company.seal()
    for pack in (str(HERE / "kettle"), "leak"):
        result = company.begin(pack=pack)
        assert result.exit_code == 1 and "is no pack of the sealed folder [SA411]" in flat(result)
    (company.folder / "beliefs.yaml").write_text("beliefs: kettle\n", encoding="utf-8")
    result = company.begin("--beliefs", company.folder / "beliefs.yaml")
    assert result.exit_code == 1 and "beliefs from a file are not sealed" in flat(result)
    assert not company.job.exists()


def test_what_a_file_browser_leaves_breaks_no_seal(company: Company) -> None:
    company.seal()
    (company.packs / ".DS_Store").write_bytes(b"\0")
    (company.packs / "kettle" / "Thumbs.db").write_bytes(b"\0")
    assert company.begin().exit_code == 0


def test_a_job_goes_on_only_with_plugins_it_was_begun_with(company: Company) -> None:
    """It can be looked at, and says so; nothing is written to it."""
    company.seal()
    assert company.begin(pack="tank").exit_code == 0
    another_reckons(company)
    said = "the plugin `quiet` calculates or lists, and the job was begun without it"
    result = company.run("--by", "A. Tech", "note", company.job, "smell=no")
    assert result.exit_code == 1 and said in flat(result)
    assert json.loads(company.run("verify", company.job, "--format", "json").stdout)["differs"] == [said]
    with Job.open(company.job) as job:
        assert [line.kind for line in job.lines] == ["job", "open"]


def test_nothing_changes_under_an_open_job(company: Company) -> None:
    """The folder is replaced, unsealed and emptied meanwhile; the job goes on by its own texts."""
    company.seal()
    company.begin()
    before = company.run("may", company.job, "pour", "--format", "json").stdout
    trail = company.run("trail", company.job).stdout
    company.rewrite("kettle/kettle.yaml", "gate: every plug has (unplugged is yes)", "gate: lid is shut")
    company.rewrite("kettle/kettle.yaml", "for: 10 min", "for: 1 min")
    company.rewrite("kettle/manifest.yaml", "version: 1.0.0", "version: 2.0.0")
    assert company.run("may", company.job, "pour", "--format", "json").stdout == before
    company.seal()
    assert (
        company.run("--sealed", company.packs, "may", company.job, "pour", "--format", "json").stdout
        == before
    )
    shutil.rmtree(company.packs)
    assert company.run("may", company.job, "pour", "--format", "json").stdout == before
    assert company.run("trail", company.job).stdout == trail
    noted = company.run("--sealed", company.packs, "note", company.job, "smell=no", "lid=shut")
    assert noted.exit_code == 0
    assert company.run("--sealed", company.packs, "guide", company.job).exit_code == 0
    with Job.open(company.job) as job:
        assert [line.kind for line in job.lines] == ["job", "open", "observe", "observe"]
