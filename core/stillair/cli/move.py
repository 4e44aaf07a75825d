"""`move`: an open job goes over to newer packs, on request and on the record."""

from __future__ import annotations

import hashlib
import os
import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from stillair import account
from stillair.assess import Program, assess
from stillair.authoring.lost import fitting
from stillair.authoring.moving import Moving, moving
from stillair.fault import Fault, StillairError
from stillair.hooks import Plugins
from stillair.job import JSON, Job, JobError, Line, pack_digest
from stillair.pack import BELIEFS, MANIFEST, gather
from stillair.version import VersionError, read_version

from . import STOPPED, Answer, Mistake
from .account_format import format_option, print_json
from .cache import Texts, load_program
from .entering import check_reason
from .opening import keep_set_back, say_opening
from .packs import choose, choose_sealed, differences, encoded, instead, name_in, recorded_in, texts_of
from .permitting import in_charge_only, open_only
from .screen import Screen, after_keeping
from .session import Session, Settings, in_time, writer

__all__ = ["move"]

Versions = Mapping[str, Mapping[str, str]]


@click.command()
@click.argument("job", type=click.Path())
@click.option("--pack", "packs", multiple=True, metavar="NAME", help="The newer pack, by name or folder.")
@click.option("--yes", is_flag=True, help="Go over; without it, only what would come of it is said.")
@click.option("--text", "looked_at", metavar="TEXT", help="With --yes: only if it is still what was shown.")
@click.option("--why", metavar="TEXT", help="The reason; needed where something is loosened.")
@format_option
@click.pass_obj
def move(
    settings: Settings,
    job: str,
    packs: tuple[str, ...],
    yes: bool,
    looked_at: str | None,
    why: str | None,
    as_json: bool,
) -> None:
    """Say what JOB would come to by the packs that are installed now, or sealed; with --yes, go over to them.

    Entries made before are judged by the newer rules afterwards. A closed job is not moved.
    Exit code 3: not moved, as something would be loosened and no reason is given.
    """
    if why is not None:
        why = check_reason(why)
    if not os.path.exists(job):
        raise JobError("does not exist", help="`stillair guide` starts a job", path=Path(job))
    screen = Screen()
    plugins = Plugins.load(settings.plugin_dirs)
    with _opened(settings, job, yes) as opened:
        was, recorded = recorded_in(opened.lines)
        texts = _wanted(settings, plugins, list(was), packs)
        new = load_program([texts[name] for name in sorted(texts)], plugins)
        in_time(new, settings.clock)
        with Session(opened, new, plugins, settings.clock, settings.by) as session:
            open_only(session, assess(new, fitting(session.lines, new), session.now()), job)
            in_charge_only(session, job, "it is moved")
            now = {
                name: {"version": new.packs[name][0], "digest": pack_digest(encoded(texts[name]))}
                for name in texts
            }
            others = [
                f"{text}: what follows from that is not shown" for text in differences(recorded, plugins)
            ]
            same = now == was and not others
            if looked_at is not None and looked_at != _text(now):
                message = f"what it would go over to is no longer {looked_at} but {_text(now)}"
                raise Mistake(message, "look again without --yes")
            old, untold = _older(opened, was, plugins)
            going = moving(session.lines, old, new, session.now())
            options = [f" --pack {shlex.quote(pack)}" for pack in packs]
            found = _Found(
                job,
                _typed(settings) + shlex.quote(job) + "".join(options),
                was,
                now,
                going,
                (*going.loosened, *_back(was, now), *others),
                (*untold, *_unlearned(opened, was, texts)),
            )
            line: Line | None = None
            if yes and not same and (why is not None or not found.loosened):
                if not as_json:
                    say_opening(session, screen)
                    keep_set_back(session, screen)
                line = _write(session, texts, found, why)
    with after_keeping():
        if as_json:
            print_json(found.account(line))
        elif same:
            screen.say("the job goes by these packs and plugins already: there is nothing to move")
        else:
            found.say(screen, line, yes)
    if yes and line is None and not same:
        raise Answer(STOPPED)


def _opened(settings: Settings, job: str, write: bool) -> Job:
    if not write:
        return Job.open(job)
    now = settings.clock.now()
    return Job.resume(job, writer=writer(), now=now, offset=settings.clock.offset(now))


def _wanted(
    settings: Settings, plugins: Plugins, names: Sequence[str], packs: Sequence[str]
) -> Mapping[str, dict[str, str]]:
    """The texts of the packs to go over to: those given, and of the job's other packs what is there now."""
    given = [name_in(gather(Path(p))[MANIFEST], Path(p)) if Path(p).is_dir() else p for p in packs]
    wanted = [*packs, *(name for name in names if name not in given)]
    if settings.sealed is not None:
        return choose_sealed(settings.sealed, plugins, wanted)
    installed = {name_in(gather(folder)[MANIFEST], folder) for folder in plugins.packs}
    for name in packs:
        if name not in installed and not Path(name).is_dir():
            raise StillairError(
                Fault("SA401", f"there is no pack `{name}`", "", help=instead(name, installed))
            )
    for name in names:
        if name not in given and name not in installed:
            # Not from a folder that happens to lie here and has its name.
            message = f"the pack `{name}` of the job is not installed"
            raise StillairError(Fault("SA401", message, "", help="name its folder with --pack"))
    return choose(plugins, wanted)


def _typed(settings: Settings) -> str:
    """The verb with what says where packs and plugins come from, as it is typed again."""
    folders = [f"--plugin-dir {shlex.quote(folder.as_posix())} " for folder in settings.plugin_dirs]
    sealed = f"--sealed {shlex.quote(settings.sealed.as_posix())} " if settings.sealed is not None else ""
    return f"stillair {''.join(folders)}{sealed}move "


def _text(now: Versions) -> str:
    """What stands for the texts of all packs together."""
    return hashlib.sha256("".join(now[name]["digest"] for name in sorted(now)).encode()).hexdigest()[:12]


def _older(job: Job, was: Versions, plugins: Plugins) -> tuple[Program | None, tuple[str, ...]]:
    """The rules the job goes by so far; or None, and why they cannot be run here."""
    try:
        texts: list[Texts] = [texts_of(job.packs, entry["digest"]) for _, entry in sorted(was.items())]
        return load_program(texts, plugins), ()
    except JobError as error:
        return None, (f"the older rules cannot be run here: {error.message}",)
    except StillairError as error:
        return None, tuple(f"the older rules cannot be run here: {fault.message}" for fault in error.faults)


def _back(was: Versions, now: Versions) -> Iterator[str]:
    """What is said of packs that would go back to an older version, or be left."""
    for name, entry in was.items():
        if name not in now:
            yield f"the pack {name} {entry['version']} is left"
            continue
        try:
            older = read_version(now[name]["version"]) < read_version(entry["version"])
        except VersionError:
            older = True
        if older:
            yield f"the pack {name} goes back from {entry['version']} to {now[name]['version']}"


def _unlearned(job: Job, was: Versions, texts: Mapping[str, Mapping[str, str]]) -> Iterator[str]:
    for name, entry in was.items():
        try:
            learned = BELIEFS in job.packs.read(entry["digest"])
        except JobError:
            continue
        if learned and BELIEFS not in texts.get(name, {}):
            yield f"the beliefs learned for {name} {entry['version']} do not come along; those written count"


def _write(session: Session, texts: Mapping[str, dict[str, str]], found: _Found, why: str | None) -> Line:
    """The move, what is withdrawn, opened and closed with it, and what it loosens: all of it or nothing."""
    with session.job.packs.begun() as store, session.together():
        for name in texts:
            store.keep(encoded(texts[name]))
        plugins = {p.name: {"version": p.version, "digest": p.digest} for p in session.plugins.plugins}
        body: dict[str, JSON] = {"engine": writer(), "packs": found.now, "plugins": plugins}
        line = session.write("move", body if why is None else {**body, "why": why})
        for kind, each in found.going.lines:
            session.write(kind, each)
        for text in found.loosened:
            session.write("note", {"text": f"Moved all the same, {why}: {text}"})
    return line


@dataclass(frozen=True, slots=True)
class _Found:
    """What going over comes to, from one set of versions to another."""

    job: str
    typed: str
    """The verb as it was typed, without what would write."""
    was: Versions
    now: Versions
    going: Moving
    loosened: tuple[str, ...]
    remarks: tuple[str, ...]

    def versions(self) -> Iterator[str]:
        for name in sorted({*self.was, *self.now}):
            was, now = self.was.get(name), self.now.get(name)
            if was == now:
                continue
            ends = [
                f"{each['version']}, text {each['digest'][:12]}" if each else "none" for each in (was, now)
            ]
            yield f"{name}: {ends[0]}; now {ends[1]}"

    def say(self, screen: Screen, line: Line | None, yes: bool) -> None:
        for text in self.versions():
            screen.say(text, bold=True)
        for text in self.remarks:
            screen.say(text, "CAUTION: ")
        for change in self.going.changes:
            of = f" of {change.of}" if change.of is not None else ""
            screen.say(f"{change.kind} {change.name}{of}: was {change.was}, now {change.now}", "otherwise: ")
        for ref in self.going.asked:
            screen.say(f"{ref}: {self.going.after.program.facts[ref.name].spec.ask}", "asked now: ")
        for each in self.going.lost:
            end = "; it is withdrawn" if each.withdrawn else ""
            screen.say(f"line {each.line}, {each.what}: {each.why}{end}", "no place: ")
        for text in self.loosened:
            screen.say(text, "LOOSER: ", bold=True)
        if line is not None:
            screen.say(f"moved, in line {line.n}. Go on: stillair guide {self.job}", "kept ", bold=True)
            return
        reason = " --why WHY" if self.loosened else ""
        screen.say("not moved: what is looser needs a reason" if yes else "Nothing is moved yet.", bold=True)
        screen.exactly(f"help: to go over: {self.typed} --yes --text {_text(self.now)}{reason}")

    def account(self, line: Line | None) -> dict[str, object]:
        return {
            "format": account.MOVE,
            "job": self.job,
            "moved": line is not None,
            "line": line.n if line is not None else None,
            "was": self.was,
            "now": self.now,
            "remarks": list(self.remarks),
            "changes": [change._asdict() for change in self.going.changes],
            "asked": [str(ref) for ref in self.going.asked],
            "lost": [each._asdict() for each in self.going.lost],
            "loosened": list(self.loosened),
        }
