"""The door for plugins: what comes in, and how a plugin that is not whole stops the work."""

from __future__ import annotations

import inspect
import shutil
import subprocess
import sys
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path
from textwrap import dedent

import pytest
from stillair import hooks
from stillair.fault import StillairError
from stillair.hooks import HOOKS, Plugins

CALCULATOR = """\
from stillair.calculator import Calculator, Example, Input, Source, calculator
from stillair.hooks import hookimpl

@calculator(
    inputs={"a": Input("number")}, output="number", unit="1", formula="twice = 2 * a",
    sources=(Source("computed"),), valid="everywhere", rises_with=("a",), falls_with=(),
    examples=(Example({"a": "2"}, "4", within="0.001"),),
)
def twice(a: float) -> float:
    return 2 * a

@hookimpl
def stillair_calculators():
    return [twice]
"""
#: The real one, where plugins that are installed are meant.
ENTRY_POINTS = metadata.entry_points
HEAD = "from pathlib import Path\nfrom stillair.hooks import View, hookimpl\n\n"


@pytest.fixture(autouse=True)
def _alone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """No installed plugin, and no trace of the plugins of the test before."""
    monkeypatch.setattr(metadata, "entry_points", lambda group: ())
    modules, path = set(sys.modules), list(sys.path)
    yield
    for name in set(sys.modules) - modules:
        if name.startswith("plug_"):
            del sys.modules[name]
    sys.path[:] = path


def _folder(root: Path, **files: str) -> Path:
    """A plugin folder with modules; `plug_x__init` is the package `plug_x`."""
    root.mkdir(exist_ok=True)
    for name, text in files.items():
        path = root / f"{name}.py"
        if name.endswith("__init"):
            path = root / name.removesuffix("__init") / "__init__.py"
            path.parent.mkdir()
        path.write_text(text, encoding="utf-8")
    return root


def _said(folder: Path, *more: Path) -> str:
    """What is said of the plugins in the folders, with the first folder called plugins."""
    with pytest.raises(StillairError) as raised:
        Plugins.load([folder, *more])
    return (
        str(raised.value)
        .replace(folder.resolve().as_posix(), "plugins")
        .replace(folder.as_posix(), "plugins")
    )


def test_what_a_plugin_gives_is_found_by_name(tmp_path: Path) -> None:
    """Calculators, packs and views come with the plugin that gave them."""
    (tmp_path / "pack").mkdir()
    text = HEAD + dedent(
        """\
        __version__ = "2.1"
        stillair_requires = ">=0.1,<1"

        @hookimpl
        def stillair_packs():
            return [Path(__file__).parents[2] / "pack"]

        @hookimpl
        def stillair_views():
            return [View("picture", lambda assessment: "# A picture")]
        """
    )
    folder = _folder(tmp_path / "mine", plug_one=CALCULATOR, plug_two__init=text)
    plugins = Plugins.load([folder])
    assert plugins.versions() == {"plug_one": "0", "plug_two": "2.1"}
    assert list(plugins.calculators) == ["twice"]
    assert plugins.giver("stillair_calculators", "twice").name == "plug_one"
    assert plugins.views["picture"].render(object()) == "# A picture"
    assert [path.name for path in plugins.packs] == ["pack"]
    giver = plugins.giver("stillair_packs", plugins.packs[0].resolve().as_posix())
    assert giver.file.endswith("mine/plug_two/__init__.py")


def test_loading_twice_gives_the_same(tmp_path: Path) -> None:
    """A folder may be named twice, and the plugins be loaded again."""
    folder = _folder(tmp_path / "mine", plug_one=CALCULATOR)
    assert Plugins.load([folder, folder]).plugins == Plugins.load([folder]).plugins


def test_the_digest_follows_the_sources_and_nothing_else(tmp_path: Path) -> None:
    """A changed table of data is another plugin; a compiled file or a note is not."""
    folder = _folder(tmp_path / "mine", plug_one__init=CALCULATOR)
    (folder / "plug_one" / "table.json").write_text("[1]")
    before = Plugins.load([folder]).plugins[0].digest
    (folder / "plug_one" / "notes.txt").write_text("nothing")
    assert Plugins.load([folder]).plugins[0].digest == before
    (folder / "plug_one" / "table.json").write_text("[2]")
    assert Plugins.load([folder]).plugins[0].digest != before


def test_the_digest_covers_what_a_plugin_may_import_beside_it(tmp_path: Path) -> None:
    """A helper module of the folder is part of the plugin."""
    folder = _folder(tmp_path / "mine", plug_one=CALCULATOR)
    (folder / "_impl.py").write_text("FACTOR = 2")
    before = Plugins.load([folder]).plugins[0].digest
    (folder / "_impl.py").write_text("FACTOR = 3")
    assert Plugins.load([folder]).plugins[0].digest != before


def test_the_digest_is_the_same_in_another_place(tmp_path: Path) -> None:
    """Where a plugin is installed is not what it is."""
    folder = _folder(tmp_path / "mine", plug_one__init=CALCULATOR)
    before = Plugins.load([folder]).plugins[0].digest
    shutil.copytree(folder, tmp_path / "other")
    del sys.modules["plug_one"]
    sys.path.remove(str(folder.resolve()))
    assert Plugins.load([tmp_path / "other"]).plugins[0].digest == before


BROKEN: list[tuple[str, str, str]] = [
    (
        "import that raises",
        "x = 1\ntable = {}['R']\n",
        """
        plugins/plug_bad.py:2:9: the plugin `plug_bad` cannot be imported: KeyError: 'R' [SA501]
          table = {}['R']
                  ^^^^^^^
        help: mend or remove the plugin; no work goes on without it
        """,
    ),
    (
        "syntax error",
        "def f(:\n    pass\n",
        """
        plugins/plug_bad.py:1:7: the plugin `plug_bad` cannot be imported: SyntaxError: invalid syntax [SA501]
          def f(:
                ^
        help: mend or remove the plugin; no work goes on without it
        """,
    ),
    (
        "missing requirement",
        "import plug_missing\n",
        """
        plugins/plug_bad.py:1:1: the plugin `plug_bad` cannot be imported: """
        """ModuleNotFoundError: No module named 'plug_missing' [SA501]
          import plug_missing
          ^^^^^^^^^^^^^^^^^^^
        help: mend or remove the plugin; no work goes on without it
        """,
    ),
    (
        "import that ends the program",
        "raise SystemExit(0)\n",
        """
        plugins/plug_bad.py:1:1: the plugin `plug_bad` cannot be imported: SystemExit: 0 [SA501]
          raise SystemExit(0)
          ^^^^^^^^^^^^^^^^^^^
        help: mend or remove the plugin; no work goes on without it
        """,
    ),
    (
        "unknown hook",
        HEAD + "@hookimpl\ndef stillair_calculatrs():\n    return []\n",
        """
        plugins/plug_bad.py:5:5: the plugin `plug_bad` answers a hook `stillair_calculatrs`, """
        """which does not exist [SA502]
          def stillair_calculatrs():
              ^^^^^^^^^^^^^^^^^^^
        help: did you mean `stillair_calculators`?
        """,
    ),
    (
        "mark forgotten",
        "def stillair_packs():\n    return []\n",
        """
        plugins/plug_bad.py:1:5: `stillair_packs` of the plugin `plug_bad` is not marked as a hook [SA502]
          def stillair_packs():
              ^^^^^^^^^^^^^^
        help: write `@hookimpl` above it, or rename it
        """,
    ),
    (
        "no hook",
        "x = 1\n",
        """
        plugins/plug_bad.py: the plugin `plug_bad` answers no hook [SA502]
        help: mark a function with `@hookimpl`, or begin the name of a module that is no plugin with `_`
        """,
    ),
    (
        "arguments nobody gives",
        HEAD + "@hookimpl\ndef stillair_packs(job):\n    return []\n",
        """
        plugins/plug_bad.py:5:5: `stillair_packs` of the plugin `plug_bad` takes arguments [SA502]
          def stillair_packs(job):
              ^^^^^^^^^^^^^^
        help: write it without arguments: none are given
        """,
    ),
    (
        "wrapper",
        HEAD + "@hookimpl(wrapper=True)\ndef stillair_packs():\n    yield\n    return []\n",
        """
        plugins/plug_bad.py:5:5: the plugin `plug_bad` wraps the hook `stillair_packs` [SA502]
          def stillair_packs():
              ^^^^^^^^^^^^^^
        help: answer it plainly: no plugin may change what another gives
        """,
    ),
    (
        "hook that raises",
        HEAD + "def table():\n    return 1 / 0\n\n@hookimpl\ndef stillair_packs():\n    return table()\n",
        """
        plugins/plug_bad.py:5:12: `stillair_packs` of the plugin `plug_bad` raised: """
        """ZeroDivisionError: division by zero [SA503]
              return 1 / 0
                     ^^^^^
        help: mend or remove the plugin; no work goes on without it
        """,
    ),
    (
        "nothing given",
        HEAD + "@hookimpl\ndef stillair_packs():\n    pass\n",
        """
        plugins/plug_bad.py:5:5: `stillair_packs` of the plugin `plug_bad` gave nothing, """
        """not a list of Path [SA504]
          def stillair_packs():
              ^^^^^^^^^^^^^^
        help: return a list of Path, or an empty list
        """,
    ),
    (
        "text for a folder",
        HEAD + "@hookimpl\ndef stillair_packs():\n    return ['leak']\n",
        """
        plugins/plug_bad.py:5:5: `stillair_packs` of the plugin `plug_bad` gave a list """
        """with str 'leak' in it, not a list of Path [SA504]
          def stillair_packs():
              ^^^^^^^^^^^^^^
        help: return a list of Path, or an empty list
        """,
    ),
    (
        "text for a list",
        HEAD + "@hookimpl\ndef stillair_calculators():\n    return 'twice'\n",
        """
        plugins/plug_bad.py:5:5: `stillair_calculators` of the plugin `plug_bad` gave str 'twice', """
        """not a list of Calculator [SA504]
          def stillair_calculators():
              ^^^^^^^^^^^^^^^^^^^^
        help: return a list of Calculator, or an empty list
        """,
    ),
    (
        "nothing among the catalogues",
        HEAD + "@hookimpl\ndef stillair_catalogues():\n    return [None]\n",
        """
        plugins/plug_bad.py:5:5: `stillair_catalogues` of the plugin `plug_bad` gave a list """
        """with nothing in it, not a list of Catalogue [SA504]
          def stillair_catalogues():
              ^^^^^^^^^^^^^^^^^^^
        help: return a list of Catalogue, or an empty list
        """,
    ),
    (
        "folder that is not there",
        HEAD + "@hookimpl\ndef stillair_packs():\n    return [Path('nowhere/leak')]\n",
        """
        plugins/plug_bad.py:5:5: `stillair_packs` of the plugin `plug_bad` gave a folder """
        """that does not exist: nowhere/leak [SA504]
          def stillair_packs():
              ^^^^^^^^^^^^^^
        help: return folders that are installed with the plugin
        """,
    ),
    (
        "one name twice",
        HEAD + "@hookimpl\ndef stillair_views():\n    return [View('a', str), View('a', str)]\n",
        """
        plugins/plug_bad.py: `a` of stillair_views is given twice by `plug_bad` [SA505]
        help: rename it, or remove one of the plugins
        """,
    ),
    (
        "another engine",
        "stillair_requires = '>=99'\n" + HEAD + "@hookimpl\ndef stillair_views():\n    return []\n",
        """
        plugins/plug_bad.py: the plugin `plug_bad` needs engine >=99, this one is 0.1.0 [SA506]
        help: install that engine, or a plugin made for this one
        """,
    ),
    (
        "engine range that is none",
        "stillair_requires = 1\n" + HEAD + "@hookimpl\ndef stillair_views():\n    return []\n",
        """
        plugins/plug_bad.py: `stillair_requires` of the plugin `plug_bad` is not a version range: 1 [SA506]
        help: write it like ">=0.1,<1"
        """,
    ),
]


@pytest.mark.parametrize(("text", "expected"), [row[1:] for row in BROKEN], ids=[row[0] for row in BROKEN])
def test_a_broken_plugin_stops_the_work_with_its_name_and_file(
    tmp_path: Path, text: str, expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A good plugin beside it does not make up for it."""
    monkeypatch.setattr(hooks, "engine_version", lambda: "0.1.0")
    folder = _folder(tmp_path / "mine", plug_bad=text, plug_good=CALCULATOR)
    assert _said(folder) == dedent(expected).strip("\n")


def test_a_hook_that_raises_deep_in_a_package_is_shown_where_it_raised(tmp_path: Path) -> None:
    """The offender's own code is shown, not the engine's."""
    init = HEAD + "from ._tables import rows\n\n@hookimpl\ndef stillair_packs():\n    return rows()\n"
    folder = _folder(tmp_path / "mine", plug_deep__init=init)
    (folder / "plug_deep" / "_tables.py").write_text("def rows():\n    return open('no/such/file')\n")
    assert "plugins/plug_deep/_tables.py:2:12: `stillair_packs` of the plugin `plug_deep` raised" in _said(
        folder
    )


def test_two_plugins_with_one_name_are_both_named(tmp_path: Path) -> None:
    """Neither wins: which one was meant is the user's to say."""
    folder = _folder(tmp_path / "mine", plug_one=CALCULATOR, plug_two=CALCULATOR)
    assert _said(folder) == (
        "plugins/plug_two.py: `twice` of stillair_calculators is given by `plug_one` and by `plug_two` "
        "[SA505]\n"
        "help: rename it, or remove one of the plugins"
    )


def test_a_plugin_cannot_take_the_place_of_an_installed_module(tmp_path: Path) -> None:
    """A module called `json` in a plugin folder is refused, not run."""
    folder = _folder(tmp_path / "mine", json="raise RuntimeError\n")
    assert _said(folder) == (
        "plugins/json: the plugin `json` has the name of a module that is installed [SA501]\nhelp: rename it"
    )


@pytest.mark.parametrize(
    ("make", "expected"),
    [
        (lambda path: None, "plugins: the plugin folder `mine` does not exist [SA507]"),
        (lambda path: path.write_text(""), "plugins: the plugin folder `mine` is not a folder [SA507]"),
        (
            lambda path: path.mkdir(),
            "plugins: the plugin folder `mine` holds no plugin [SA507]\n"
            "help: name the folder that holds the module or package, not the package itself",
        ),
    ],
    ids=["missing", "file", "empty"],
)
def test_a_plugin_folder_that_gives_nothing_is_an_error(tmp_path: Path, make: object, expected: str) -> None:
    """A mistyped --plugin-dir is not passed over."""
    assert callable(make)
    make(tmp_path / "mine")
    assert _said(tmp_path / "mine") == expected


def test_installed_plugins_are_found_by_their_entry_point(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The bundled plugins come through the same door, with the version of their distribution."""
    folder = _folder(tmp_path / "mine", plug_one=CALCULATOR)
    monkeypatch.syspath_prepend(str(folder))
    made = tmp_path / "Plug.Called-3.4.dist-info"
    made.mkdir()
    (made / "METADATA").write_text("Name: Plug.Called\nVersion: 3.4\n\nabout\n", encoding="utf-8")
    text = "[other]\nplug_two = plug_two\n\n[stillair]\nplug_called = plug_one\n"
    (made / "entry_points.txt").write_text(text, encoding="utf-8")
    monkeypatch.setattr(metadata, "entry_points", ENTRY_POINTS)
    monkeypatch.setattr(sys, "path", [str(tmp_path), *sys.path])
    plugin = Plugins.load().giver("stillair_calculators", "twice")
    assert (plugin.name, plugin.version) == ("plug_called", "3.4")
    (made / "entry_points.txt").write_text(text.replace("plug_one", "plug_gone"), encoding="utf-8")
    with pytest.raises(StillairError, match="the plugin `plug_called` cannot be imported"):
        Plugins.load()
    shutil.rmtree(made)
    assert "plug_called" not in Plugins.load().versions()


def test_every_hook_says_its_contract() -> None:
    """What happens to the results, who may implement it and since when."""
    for name in HOOKS:
        said = inspect.getdoc(getattr(hooks, name)) or ""
        for part in ("Results:", "may implement it", "Since 0."):
            assert part in said, f"{name} does not say {part}"


def test_the_door_is_light() -> None:
    """Importing the hooks costs a plugin neither pydantic, YAML, numbers nor the parser."""
    program = (
        "import sys, stillair.hooks; "
        "print([m for m in ('pydantic', 'yaml', 'numpy', 'lark', 'stillair.calculator') if m in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"
