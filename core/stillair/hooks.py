"""The door for plugins: four hooks, and the loading of everything installed.

A plugin is an import package, or a module, with functions marked `@hookimpl` at its top level. It is
found by its entry point in the group `stillair`, or in a folder named with `--plugin-dir`. It may say
which engine it needs by a module attribute: `stillair_requires = ">=0.1,<1"`.

A plugin that cannot be loaded stops the work: its rules are never passed over in silence.
"""

from __future__ import annotations

import importlib
import inspect
import linecache
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import redirect_stdout
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from types import MappingProxyType, ModuleType
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import pluggy

from stillair.digest import digest_of_files, files_in
from stillair.fault import Fault, StillairError, did_you_mean
from stillair.version import VersionError, engine_version, satisfies

if TYPE_CHECKING:
    from stillair.calculator import Calculator, Catalogue

__all__ = ["HOOKS", "Plugin", "Plugins", "View", "hookimpl", "hookspec"]

GROUP = "stillair"
HOOKS = ("stillair_calculators", "stillair_catalogues", "stillair_packs", "stillair_views")
SOURCES = (".py", ".json", ".yaml")
"""Files whose contents make a plugin what it is."""

hookspec = pluggy.HookspecMarker("stillair")
hookimpl = pluggy.HookimplMarker("stillair")

T = TypeVar("T")


class View(NamedTuple):
    """An extra part of a trail: a name, and what makes Markdown from an assessment.

    Text typed by a person must be escaped by the view before it goes into its Markdown.
    """

    name: str
    render: Callable[[object], str]
    about: str = ""


@hookspec
def stillair_calculators() -> list[Calculator]:
    """Calculators for the `calculate` section and for conditions of any pack.

    Results: the lists of all plugins are joined; two calculators of one name are an error that names
    both plugins, whichever came first. Called once, before any pack is read; the calculators
    themselves must be pure. Anyone may implement it. Since 0.1.
    """
    raise NotImplementedError


@hookspec
def stillair_catalogues() -> list[Catalogue]:
    """Named lists of options with attributes, for facts with `catalogue` and inputs of calculators.

    Results: the lists of all plugins are joined; two catalogues of one name are an error that names
    both plugins, never a merger. Called once, before any pack is read. Anyone may implement it.
    Since 0.1.
    """
    raise NotImplementedError


@hookspec
def stillair_packs() -> list[Path]:
    """Folders of packs, each with its manifest.

    Results: the lists of all plugins are joined; one folder given twice is an error. The folders must
    exist; they are read only when used. Anyone may implement it. Since 0.1.
    """
    raise NotImplementedError


@hookspec
def stillair_views() -> list[View]:
    """Extra parts of a trail.

    Results: the lists of all plugins are joined; two views of one name are an error that names both
    plugins. A view adds a part and can neither change nor remove another. Anyone may implement it.
    Since 0.1.
    """
    raise NotImplementedError


class Plugin(NamedTuple):
    """One loaded plugin: `file` is where its module stands, `digest` the SHA-256 of its sources.

    `version` is that of its distribution, else the `__version__` of its module, else "0".
    """

    name: str
    version: str
    file: str
    digest: str


@dataclass(frozen=True, slots=True)
class Plugins:
    """Everything the plugins give, by name, and which plugin gave it."""

    plugins: tuple[Plugin, ...]
    calculators: Mapping[str, Calculator]
    catalogues: Mapping[str, Catalogue]
    packs: tuple[Path, ...]
    views: Mapping[str, View]
    givers: Mapping[tuple[str, str], Plugin]
    """(hook, name or folder) to the plugin that answered."""

    @classmethod
    def load(cls, plugin_dirs: Iterable[Path] = ()) -> Plugins:
        """Every installed plugin, and every module or package directly in each of the folders.

        Raises StillairError naming the plugin and its file for whatever does not load whole.
        """
        found = {**_installed()}
        for folder in plugin_dirs:
            for name, each in _in_folder(folder).items():
                if name not in found:
                    found[name] = each
                elif found[name].module is not each.module:
                    raise _error(each, "SA505", f"two plugins are called `{name}`", "rename one of them")
        manager = pluggy.PluginManager("stillair")
        manager.add_hookspecs(sys.modules[__name__])
        loaded = [found[name] for name in sorted(found)]
        for each in loaded:
            _check(each)
            _register(manager, each)
        return _collect(manager, loaded)

    def versions(self) -> dict[str, str]:
        """The version of each plugin, by name."""
        return {plugin.name: plugin.version for plugin in self.plugins}

    def reckoning(self) -> dict[str, Plugin]:
        """The plugins that give calculators or catalogues: what follows from a job rests on them."""
        weighty = ("stillair_calculators", "stillair_catalogues")
        return {plugin.name: plugin for (hook, _), plugin in self.givers.items() if hook in weighty}

    def giver(self, hook: str, name: str) -> Plugin:
        """The plugin that gave a calculator, catalogue, pack folder or view."""
        return self.givers[hook, name]


class _Found(NamedTuple):
    """A plugin whose module is imported and not yet asked for anything."""

    name: str
    version: str
    module: ModuleType
    root: Path | None = None
    """The folder given for plugins that are not installed: whatever is beside it there it may import."""

    @property
    def file(self) -> str:
        return Path(self.module.__file__ or self.name).as_posix()


def _installed() -> dict[str, _Found]:
    found: dict[str, _Found] = {}
    for entry in metadata.entry_points(group=GROUP):
        module = _import(entry.name, entry.module)
        each = _Found(entry.name, entry.dist.version if entry.dist else "0", module)
        if entry.name in found and found[entry.name].module is not module:
            raise _error(each, "SA505", f"two plugins are called `{entry.name}`", "uninstall one of them")
        found[entry.name] = each
    return found


def _in_folder(folder: Path) -> dict[str, _Found]:
    shown = folder.as_posix()
    if not folder.is_dir():
        problem = "is not a folder" if folder.exists() else "does not exist"
        raise StillairError(Fault("SA507", f"the plugin folder `{folder.name}` {problem}", shown))
    root = folder.resolve()
    names = []
    for path in sorted(root.iterdir()):
        package = path.is_dir() and (path / "__init__.py").is_file()
        name = path.stem if path.suffix == ".py" else path.name if package else ""
        if name.isidentifier() and not name.startswith("_"):
            names.append(name)
    if not names:
        raise StillairError(
            Fault(
                "SA507",
                f"the plugin folder `{folder.name}` holds no plugin",
                shown,
                help="name the folder that holds the module or package, not the package itself",
            )
        )
    if str(root) not in sys.path:
        # Last, so that no plugin can take the place of an installed module.
        sys.path.append(str(root))
    importlib.invalidate_caches()
    found = {}
    for name in names:
        module = _import(name, name, at=root)
        if root not in Path(module.__file__ or "/").resolve().parents:
            raise StillairError(
                Fault(
                    "SA501",
                    f"the plugin `{name}` has the name of a module that is installed",
                    f"{shown}/{name}",
                    help="rename it",
                )
            )
        version = getattr(module, "__version__", "0")
        found[name] = _Found(name, version if isinstance(version, str) else "0", module, root)
    return found


def _import(name: str, module: str, at: Path | None = None) -> ModuleType:
    try:
        # What a plugin prints must not stand before the JSON of a verb.
        with redirect_stdout(sys.stderr):
            return importlib.import_module(module)
    except (Exception, SystemExit) as error:
        raise StillairError(
            _raised(error, "SA501", f"the plugin `{name}` cannot be imported", module, at)
        ) from error


def _raised(error: BaseException, code: str, message: str, module: str, at: Path | None = None) -> Fault:
    """A fault where the plugin's own code raised, as deep as that code reaches."""
    import traceback  # only when something is wrong: slow to import

    said = "".join(traceback.format_exception_only(error)).strip().split("\n")[-1]
    message = f"{message}: {said}"
    help = "mend or remove the plugin; no work goes on without it"
    if isinstance(error, SyntaxError) and error.filename and error.lineno:
        line = linecache.getline(error.filename, error.lineno).rstrip("\n")
        return Fault(
            code, message, Path(error.filename).as_posix(), error.lineno, error.offset or 1, 1, line, help
        )
    here = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if frame.filename != __file__ and not frame.filename.startswith("<")
    ]
    own = [frame for frame in here if module.split(".")[0] in Path(frame.filename).with_suffix("").parts]
    if own:
        frame = own[-1]
        line = linecache.getline(frame.filename, frame.lineno or 0).rstrip("\n")
        column = (frame.colno or 0) + 1
        length = (frame.end_colno or column) + 1 - column if frame.end_lineno == frame.lineno else 1
        path = Path(frame.filename).as_posix()
        return Fault(code, message, path, frame.lineno or 0, column, max(1, length), line, help)
    return Fault(code, message, (at / module).as_posix() if at else module, help=help)


def _error(found: _Found, code: str, message: str, help: str | None) -> StillairError:
    return StillairError(Fault(code, message, found.file, help=help))


def _function_error(found: _Found, function: object, code: str, message: str, help: str) -> StillairError:
    """An error shown at the line that defines a function of the plugin."""
    source = getattr(function, "__code__", None)
    if source is None:
        return _error(found, code, message, help)
    # A decorated function begins at its first decorator.
    lines, first = inspect.getsourcelines(source)
    offset = next((i for i, line in enumerate(lines) if line.lstrip().startswith(("def ", "async "))), 0)
    line = lines[offset].rstrip("\n")
    name = source.co_name
    column = line.find(name) + 1
    path = Path(source.co_filename).as_posix()
    return StillairError(Fault(code, message, path, first + offset, max(1, column), len(name), line, help))


def _check(found: _Found) -> None:
    """The engine the plugin asks for, and hooks whose mark was forgotten."""
    wanted = getattr(found.module, "stillair_requires", None)
    if wanted is not None:
        engine = engine_version()
        try:
            fits = satisfies(engine, wanted) if isinstance(wanted, str) else None
        except VersionError:
            fits = None
        if fits is None:
            raise _error(
                found,
                "SA506",
                f"`stillair_requires` of the plugin `{found.name}` is not a version range: {wanted!r}",
                'write it like ">=0.1,<1"',
            )
        if not fits:
            raise _error(
                found,
                "SA506",
                f"the plugin `{found.name}` needs engine {wanted}, this one is {engine}",
                "install that engine, or a plugin made for this one",
            )
    marked = False
    for name, function in vars(found.module).items():
        if not callable(function) or getattr(function, "__module__", None) != found.module.__name__:
            continue
        if getattr(function, "stillair_impl", None):
            marked = True
        elif name.startswith("stillair_"):
            raise _function_error(
                found,
                function,
                "SA502",
                f"`{name}` of the plugin `{found.name}` is not marked as a hook",
                "write `@hookimpl` above it, or rename it",
            )
    if not marked:
        raise _error(
            found,
            "SA502",
            f"the plugin `{found.name}` answers no hook",
            "mark a function with `@hookimpl`, or begin the name of a module that is no plugin with `_`",
        )


def _register(manager: pluggy.PluginManager, found: _Found) -> None:
    for name, function in vars(found.module).items():
        if getattr(function, "stillair_impl", None) and inspect.signature(function).parameters:
            raise _function_error(
                found,
                function,
                "SA502",
                f"`{name}` of the plugin `{found.name}` takes arguments",
                "write it without arguments: none are given",
            )
    manager.register(found.module, found.name)
    for caller in manager.get_hookcallers(found.module) or ():
        functions = [each for each in caller.get_hookimpls() if each.plugin is found.module]
        if caller.spec is None:
            raise _function_error(
                found,
                functions[0].function,
                "SA502",
                f"the plugin `{found.name}` answers a hook `{caller.name}`, which does not exist",
                did_you_mean(caller.name, HOOKS) or f"the hooks are {', '.join(HOOKS)}",
            )
        for each in functions:
            if each.hookwrapper or each.wrapper:
                raise _function_error(
                    found,
                    each.function,
                    "SA502",
                    f"the plugin `{found.name}` wraps the hook `{caller.name}`",
                    "answer it plainly: no plugin may change what another gives",
                )


def _collect(manager: pluggy.PluginManager, loaded: list[_Found]) -> Plugins:
    from stillair.calculator import Calculator, Catalogue

    plugins = {id(each.module): Plugin(each.name, each.version, each.file, _digest(each)) for each in loaded}
    givers: dict[tuple[str, str], Plugin] = {}

    def asked(hook: str, kind: type[T], name_of: Callable[[T], str]) -> dict[str, T]:
        given: dict[str, T] = {}
        for each in loaded:
            for item in _answers(manager, each, hook, kind):
                name = name_of(item)
                first = givers.get((hook, name))
                if first is not None:
                    by = f"twice by `{each.name}`"
                    if first.name != each.name:
                        by = f"by `{first.name}` and by `{each.name}`"
                    raise _error(
                        each,
                        "SA505",
                        f"`{name}` of {hook} is given {by}",
                        "rename it, or remove one of the plugins",
                    )
                givers[hook, name] = plugins[id(each.module)]
                given[name] = item
        return given

    calculators = asked("stillair_calculators", Calculator, lambda item: item.name)
    catalogues = asked("stillair_catalogues", Catalogue, lambda item: item.name)
    packs = asked("stillair_packs", Path, lambda item: item.resolve().as_posix())
    views = asked("stillair_views", View, lambda item: item.name)
    return Plugins(
        plugins=tuple(plugins.values()),
        calculators=MappingProxyType(calculators),
        catalogues=MappingProxyType(catalogues),
        packs=tuple(packs.values()),
        views=MappingProxyType(views),
        givers=MappingProxyType(givers),
    )


def _answers(manager: pluggy.PluginManager, found: _Found, hook: str, kind: type[T]) -> Iterator[T]:
    """What one plugin answers to one hook, each item of the right type."""
    caller = getattr(manager.hook, hook)
    asked = f"`{hook}` of the plugin `{found.name}`"
    for implementation in caller.get_hookimpls():
        if implementation.plugin is not found.module:
            continue
        function = implementation.function
        try:
            with redirect_stdout(sys.stderr):
                answer = function()
        except (Exception, SystemExit) as error:
            raise StillairError(_raised(error, "SA503", f"{asked} raised", found.module.__name__)) from error
        wrong = None if isinstance(answer, list | tuple) else _described(answer)
        if wrong is None:
            wrong = next(
                (_described(item, "a list with ") for item in answer if not isinstance(item, kind)), None
            )
        if wrong is not None:
            raise _function_error(
                found,
                function,
                "SA504",
                f"{asked} gave {wrong}, not a list of {kind.__name__}",
                f"return a list of {kind.__name__}, or an empty list",
            )
        for item in answer:
            if isinstance(item, Path) and not item.is_dir():
                raise _function_error(
                    found,
                    function,
                    "SA504",
                    f"{asked} gave a folder that does not exist: {item.as_posix()}",
                    "return folders that are installed with the plugin",
                )
            yield item


def _described(value: object, before: str = "") -> str:
    described = "nothing" if value is None else f"{type(value).__name__} {str(value)[:40]!r}"
    return f"{before}{described} in it" if before else described


def _digest(found: _Found) -> str:
    """SHA-256 over the names and contents of the sources of a plugin: a module, or all of a package.

    Of one that is not installed, over all sources of the folder it is loaded from.
    """
    if found.root is not None:
        return digest_of_files(str(found.root), files_in(str(found.root), SOURCES))
    folder, name = os.path.split(found.file)
    names = files_in(folder, SOURCES) if hasattr(found.module, "__path__") else [name]
    return digest_of_files(folder, names)
