"""The command line: one group, whose verbs are imported only when they are used."""

from __future__ import annotations

import sys

try:
    import errno
    import gc
    import importlib
    import os
    from collections.abc import Sequence
    from contextlib import suppress
    from itertools import pairwise
    from pathlib import Path
    from typing import Any, NamedTuple, TextIO

    import click
except KeyboardInterrupt:  # while nothing was begun
    sys.stderr.write("stillair: interrupted\n")
    raise SystemExit(130) from None

__all__ = ["STOPPED", "main"]

DONE, NO, WRONG, STOPPED, INTERRUPTED = 0, 1, 2, 3, 130
"""Exit codes: done; the answer is no, or a file cannot be used; wrong usage; stopped for safety; Ctrl-C."""

ERROR = "stillair.error/1"
"""The format of an error, printed where JSON was asked for."""

_COLLECT_AFTER = 50_000
"""Objects made, less those freed, after which garbage is looked for (judgement: some megabytes)."""

_WAYS_OUT = {
    errno.ENOENT: "look how it is spelt; a folder must be made first",
    errno.EACCES: "ask for the right to it, or choose another place",
    errno.EISDIR: "name a file, not a folder",
    errno.ENOTDIR: "name a folder, not a file",
    errno.ENOSPC: "free some space on that disk, or choose another",
}

_VERBS: dict[str, dict[str, tuple[str, str]]] = {
    "For the technician": {
        "demo": ("demo", "Play a whole job in a few seconds and keep its file and its trail."),
        "guide": ("guide", "Start or resume a job: one next action at a time."),
        "jobs": ("jobs", "List the open jobs of a folder and their running waits."),
        "note": ("note", "Enter facts: FACT=VALUE …"),
        "next": ("next_action", "Say the next action."),
        "may": ("may", "Say whether a step may be done, and if not, what is missing or why."),
        "why": ("why", "Explain a finding, a fact, a rule or a step."),
        "whatif": ("whatif", "Say what would follow if facts were so; nothing is kept."),
        "handover": ("journal", "Hand the job over to another person."),
        "close": ("journal", "Close a job, or one checklist of it."),
        "trail": ("trail", "Write the trail of a job."),
        "verify": ("verify", "Check that a job is as it was written."),
        "calc": ("calc", "Calculate one thing and show the working."),
        "instruments": ("instruments", "List the instruments of jobs and when their check is due."),
    },
    "For the company": {
        "lint": ("lint", "Check packs without running them."),
        "rehearse": ("rehearse", "Run the scenarios of packs."),
        "adjust": ("adjust", "Say what a company's pack adjusts, and whether it may."),
        "seal": ("seal", "Write down what packs are made of, so that all work by the same."),
        "compare": ("compare", "Say what changed between two versions of a pack."),
        "print": ("print", "Print a checklist to be read on paper."),
        "replay": ("replay", "Assess old jobs with other rules."),
        "learn": ("learn", "Learn from old jobs where leaks were."),
        "move": ("move", "Move a job to a newer pack or plugin, on the record."),
        "copy": ("copy", "Copy a job without its personal data."),
        "schema": ("schema", "Print the schema of a file format."),
        "tidy": ("tidy", "Bring the YAML of packs and scenarios into one form."),
        "explain": ("explain", "Explain the code of a fault."),
        "new-pack": ("new_pack", "Begin a pack."),
    },
    "For the author of a plugin": {
        "plugins": ("plugins", "List the plugins and what they give."),
        "new-plugin": ("new_plugin", "Begin a plugin."),
    },
}
"""For each verb the module here that defines it, and one line about it, so that help imports none of them."""


class Verbs(click.Group):
    """The verbs by name. A mistake of the user ends in a message and an exit code, never in a traceback."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [name for verbs in _VERBS.values() for name in verbs if _is_here(name)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        module = _module_of(cmd_name)
        if module is None or not _is_here(cmd_name):
            return None
        found = importlib.import_module(f"{__name__}.{module}")
        command = getattr(found, cmd_name.replace("-", "_"), None)
        if command is None:
            command = getattr(found, f"{cmd_name}_")
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if not name.startswith("-") and self.get_command(ctx, name) is None:
            from stillair.fault import did_you_mean

            near = did_you_mean(name, self.list_commands(ctx))
            raise Mistake(f"there is no verb `{name}`", near or "`stillair --help` lists them")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for title, verbs in _VERBS.items():
            rows = [(name, about) for name, (_, about) in verbs.items() if _is_here(name)]
            if rows:
                with formatter.section(title):
                    formatter.write_dl(rows)

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        args = list(sys.argv[1:] if args is None else args)
        often = gc.get_threshold()
        try:
            for stream in (sys.stdin, sys.stdout, sys.stderr):
                if hasattr(stream, "reconfigure"):
                    # A terminal without some character shows `?` for it rather than end the session.
                    stream.reconfigure(errors="replace")
            # By default garbage is looked for some sixty times while a session starts, and none is found.
            gc.set_threshold(max(_COLLECT_AFTER, often[0]), *often[1:])
            args = _fronted(args)
            code = super().main(args, prog_name or "stillair", complete_var, False, **extra)
        except (Exception, KeyboardInterrupt) as error:
            if isinstance(error, Answer):
                code = error.code
            elif isinstance(error, _NO_ARGS):
                click.echo(error.format_message(), err=True)
                code = WRONG
            else:
                told = _told(error)
                if told is None:
                    raise
                with suppress(OSError):
                    _say(told)
                    if _wants_json(args):
                        told.print_json()
                code = told.exit_code
        finally:
            gc.set_threshold(*often)
            _let_go(sys.stdout)
        if not standalone_mode:
            return code
        gc.freeze()  # the process ends: what is left need not be looked through once more
        sys.exit(code if isinstance(code, int) else DONE)


def _let_go(stream: TextIO | None) -> None:
    """Flush; what a full disk or a closed pipe does not take is given up, and not tried again at the end."""
    if stream is None:
        return
    try:
        stream.flush()
    except (OSError, ValueError):
        with suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, stream.fileno())
            os.close(nowhere)


_NO_ARGS: Any = getattr(click.exceptions, "NoArgsIsHelpError", ())
"""What newer versions of click raise where nothing but the program's name is written: its message is help."""


class Mistake(click.UsageError):
    """Wrong usage, with the way out."""

    def __init__(self, message: str, help: str | None = None) -> None:
        super().__init__(message)
        self.help = help


class Answer(Exception):
    """The end of a verb with an exit code, its message already printed."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--plugin-dir",
    "plugin_dirs",
    multiple=True,
    metavar="FOLDER",
    help="A folder with plugins that are not installed. May be given again.",
)
@click.option("--by", metavar="NAME", help="Who makes the entries.")
@click.option(
    "--sealed",
    metavar="FOLDER",
    envvar="STILLAIR_SEALED",
    help="Begin and move jobs only with the packs sealed in that folder. Or set STILLAIR_SEALED.",
)
@click.version_option(package_name="stillair", message="%(prog)s %(version)s")
@click.pass_context
def main(ctx: click.Context, plugin_dirs: tuple[str, ...], by: str | None, sealed: str | None) -> None:
    """Stillair guides a diagnostic job, one next action at a time, and keeps the record of it."""
    from .session import Session, Settings

    Session.has_written = False
    settings = ctx.obj if isinstance(ctx.obj, Settings) else Settings()
    for name, given in (("--by", by), ("--sealed", sealed)):
        written = ctx.get_parameter_source(name.removeprefix("--")) is click.core.ParameterSource.COMMANDLINE
        if written and not (given or "").strip():
            raise Mistake(f"{name} is empty", f"say what it is, or leave {name} out")
    settings.plugin_dirs = tuple(Path(folder) for folder in plugin_dirs)
    settings.by = by.strip() or None if by else None
    settings.sealed = Path(sealed) if sealed else None
    ctx.obj = settings


def _fronted(args: list[str]) -> list[str]:
    """The arguments with the options of every verb moved before it, wherever they were written."""
    front: list[str] = []
    rest: list[str] = []
    while args:
        arg = args.pop(0)
        if arg == "--":
            rest += [arg, *args]
            break
        name, sign, _ = arg.partition("=")
        if name not in ("--by", "--plugin-dir", "--sealed"):
            rest.append(arg)
            continue
        front.append(arg)
        if not sign and args:
            front.append(args.pop(0))
    return front + rest


def _module_of(verb: str) -> str | None:
    return next((verbs[verb][0] for verbs in _VERBS.values() if verb in verbs), None)


def _is_here(verb: str) -> bool:
    return os.path.exists(os.path.join(os.path.dirname(__file__), f"{_module_of(verb)}.py"))


def _wants_json(args: Sequence[str]) -> bool:
    return "--format=json" in args or ("--format", "json") in pairwise(args)


class _Told(NamedTuple):
    """What an error says to the user. `code` names its kind, or the fault; `text` is as printed on stderr."""

    exit_code: int
    code: str
    message: str
    help: str | None = None
    place: str | None = None
    text: str | None = None

    def print_json(self) -> None:
        from .account_format import print_json

        told = {"code": self.code, "message": self.message, "place": self.place, "help": self.help}
        print_json({"format": ERROR, **told})


def _say(told: _Told) -> None:
    from stillair.fault import printable

    where = f"{told.place}: " if told.place else ""
    help = [f"help: {told.help}"] if told.help else []
    lines = [told.text] if told.text is not None else [f"{where}{told.message}", *help]
    if told.text is None:
        # What was typed stands in these, and can never look like a line of its own.
        lines = [" ".join(line.splitlines()) for line in lines]
    for line in f"stillair: {chr(10).join(lines)}".split("\n"):
        click.echo(printable(line), err=True)


def _told(error: BaseException) -> _Told | None:
    """What the error says to the user; None if it is no mistake of theirs."""
    # While a class is made, Python tells of an interruption as the cause of a RuntimeError.
    broken = isinstance(error, RuntimeError) and isinstance(error.__cause__, KeyboardInterrupt)
    if broken or isinstance(error, click.Abort | KeyboardInterrupt):
        session = sys.modules.get(f"{__name__}.session")
        begun = session is not None and session.Session.has_written
        return _Told(INTERRUPTED, "interrupted", "interrupted", "what was entered is kept" if begun else None)
    if isinstance(error, click.UsageError):
        message = error.format_message().rstrip(".")
        usage = f"`{error.ctx.command_path} --help` shows what can be written" if error.ctx else None
        help = getattr(error, "help", None) or usage
        return _Told(WRONG, "usage", message[:1].lower() + message[1:], help)
    if isinstance(error, click.ClickException):
        return _Told(NO, "file", error.format_message())
    from stillair.assess import EntryError
    from stillair.fault import StillairError
    from stillair.job import JobError

    if isinstance(error, EntryError):
        return _Told(WRONG, "entry", error.message, error.help)
    if isinstance(error, JobError):
        place = f"line {error.line}" if error.line else None
        if error.path is not None:
            place = f"{error.path}:{error.line}" if error.line else f"{error.path}"
        missing = isinstance(error.__cause__, FileNotFoundError) or error.message == "does not exist"
        kind = "missing" if missing else "job"
        return _Told(WRONG if missing else NO, kind, error.message, error.help, place)
    if isinstance(error, StillairError):
        fault = error.faults[0]
        place = f"{fault.path}:{fault.line}:{fault.column}" if fault.line else fault.path
        more = f" (and {len(error.faults) - 1} more)" if len(error.faults) > 1 else ""
        code = STOPPED if any(f.code.startswith("SA5") for f in error.faults) else NO
        return _Told(code, fault.code, fault.message + more, fault.help, place, str(error))
    if isinstance(error, OSError):
        message = (error.strerror or str(error)).lower()
        help = _WAYS_OUT.get(error.errno or 0, "look whether it can be read and written, and try again")
        return _Told(NO, "file", message, help, str(error.filename or "the system"))
    return None
