"""The verbs that answer questions about a job and change nothing: next, may, why, whatif, jobs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta, timezone, tzinfo
from pathlib import Path

import click

from stillair.assess import May, Permission, assess, read_fact, read_value, split
from stillair.because import Because, because, lifting, permission_says, resolve
from stillair.condition.core import OptionDomain, Ref
from stillair.job import JobError, Line
from stillair.margin import Judgement, time_left, wait_says
from stillair.wording import Wording

from . import NO, STOPPED, Mistake
from .account_format import format_option, print_json
from .labels import fits, numbered, rule_said, standing, step_said
from .screen import Screen
from .session import Session, Settings

__all__ = ["jobs", "may", "next_", "whatif", "why", "zone_of"]

_SCREENFUL = 4096
"""Bytes of a file looked at to see whether it is a job."""


def zone_of(lines: Sequence[Line]) -> tzinfo:
    """The zone the job was begun in, so that it reads the same on every device."""
    return timezone(timedelta(minutes=lines[0].offset))


def _load(settings: Settings, job: str) -> Session:
    return Session.load(job, settings.plugin_dirs, by=settings.by, clock=settings.clock)


def _words(session: Session, at: float | None = None) -> Wording:
    return Wording(session.assess(at), zone_of(session.lines))


# -- next ----------------------------------------------------------------------------------------------------


@click.command("next")
@click.argument("job", type=click.Path())
@format_option
@click.pass_obj
def next_(settings: Settings, job: str, as_json: bool) -> None:
    """Say the next action of JOB: one step, why, and what it asks."""
    with _load(settings, job) as session:
        words = _words(session)
    action = words.found.next
    if as_json:
        from stillair import account

        print_json(account.next_action(words))
    else:
        _say_next(Screen(), words)
    if action.kind == "stopped":
        safety = any(b.safety for b in action.permission.blocked)
        raise click.exceptions.Exit(STOPPED if safety else NO)


def _say_next(screen: Screen, words: Wording) -> None:
    found, action = words.found, words.found.next
    for state in standing(found):
        word, said = rule_said(words, state)
        if word == "STOP":
            screen.say(said, "STOP: ", bold=True)
            lifted = words.program.rules[state.rule].spec.lifted_by
            if lifted:
                screen.say(lifted, "  lifted by: ")
    step = words.program.steps.get(action.step or "")
    title = step_said(words, step.spec.name, action.member) if step is not None else ""
    match action.kind:
        case "finished":
            screen.say("Nothing is left to do in the open checklists.")
        case "settle":
            assert action.suspicion is not None
            doubted = action.suspicion
            screen.say(f"Settle line {doubted.observation.line}, {doubted.ref}: {doubted.slip}")
            if doubted.other:
                screen.say(f"enter it again as {doubted.other}, or again as it was", "  ")
        case "list":
            spec = words.program.lists.get(action.list or "")
            screen.say(f"Say whether the list is complete: {spec.title if spec is not None else action.list}")
            if spec is not None and spec.ask:
                screen.say(spec.ask, "  ")
        case "stopped":
            screen.say(f"Stopped before: {title}", bold=True)
            _say_permission(screen, words, action.permission)
        case "wait":
            screen.say(f"Wait: {title}", bold=True)
        case "begin":
            screen.say(f"Begin the powered state: {action.why}", bold=True)
        case _:
            screen.say(title, bold=True)
    if step is not None and step.spec.do and action.kind in ("do", "ask", "begin", "wait"):
        screen.say(" ".join(step.spec.do.split()))
    if action.why and action.kind != "settle":
        screen.say(action.why, "why: ")
    if step is not None and step.spec.caution:
        screen.say(step.spec.caution, "CAUTION: ")
    for ref in action.facts if action.kind != "settle" else ():
        _say_question(screen, words, ref)
    for wait in found.running():
        screen.say(wait_says(words, found.view, wait.name), "wait: ")


def _say_question(screen: Screen, words: Wording, ref: Ref) -> None:
    screen.say(words.question(ref), "- ")
    fact = words.program.facts[ref.name]
    domain = fact.domain
    options = numbered(words.program, ref)
    if options and isinstance(domain, OptionDomain):
        said = ", ".join(f"{name} ({domain.labels.get(name, name)})" for name in options)
        if all(domain.labels.get(name, name).casefold() == name for name in options):
            said = ", ".join(options)
    else:
        said = fits(words.program, ref)
    screen.say(f"{words.name(ref)}= {said}", "  ")


# -- may -----------------------------------------------------------------------------------------------------


@click.command()
@click.argument("job", type=click.Path())
@click.argument("step", nargs=-1, required=True)
@format_option
@click.pass_obj
def may(settings: Settings, job: str, step: tuple[str, ...], as_json: bool) -> None:
    """Say whether STEP of JOB (or an activity) may be done: yes; not yet, what is missing; or no, why.

    Exit code 0: yes. 1: not yet, or no. 3: no, for safety.
    """
    with _load(settings, job) as session:
        words = _words(session)
    kind, name, member = resolve(words, " ".join(step))
    if kind not in ("step", "activity"):
        raise Mistake(f"`{name}` is a {kind}, not a step", "`stillair why` explains it")
    members: Sequence[str | None] = [member]
    per = words.program.steps[name].per if kind == "step" else None
    if per is not None and member is None:
        members = words.found.view.members(per)[0] or [None]
    is_step = kind == "step"
    answers = [
        (m, words.found.permission(name, m) if is_step else words.found.activity(name)) for m in members
    ]
    if as_json:
        from stillair import account

        told = [account.permission(words, name, m, a, step=is_step) for m, a in answers]
        if len(told) == 1:
            print_json(told[0])
        else:
            print_json({"format": account.PERMISSION, "step": name, "members": told})
    else:
        screen = Screen()
        for m, answer in answers:
            title = step_said(words, name, m) if is_step else words.program.activities[name].spec.title
            screen.say(f"{answer.may.value}: {title}", bold=True)
            _say_permission(screen, words, answer, name if is_step else None, m)
    raise click.exceptions.Exit(_code(answer for _, answer in answers))


def _code(answers: Iterator[Permission]) -> int:
    code = 0
    for answer in answers:
        if answer.may is May.YES:
            continue
        safety = answer.may is May.NO and any(b.safety for b in answer.blocked)
        code = max(code, STOPPED if safety else NO)
    return code


def _say_permission(
    screen: Screen, words: Wording, answer: Permission, step: str | None = None, member: str | None = None
) -> None:
    """What is missing, or what stands against it and what lifts that."""
    if answer.may is May.NOT_YET:
        if answer.missing:
            screen.say("missing:")
        for ref in answer.missing:
            screen.say(f"{words.name(ref)}: {words.question(ref)}", "- ")
        for said in permission_says(words, answer):
            screen.say(said, "because: ")
    for blocked in answer.blocked:
        screen.say(blocked.say, "because: ")
        if blocked.lifted_by:
            screen.say(blocked.lifted_by, "lifted by: ")
        if blocked.lines:
            screen.say(", ".join(map(str, blocked.lines)), "rests on line: ")
    if answer.may is May.NO and step is not None:
        if words.program.steps[step].spec.never is not None:
            screen.say("nothing lifts this", "lifted by: ")
            return
        for change in lifting(words, step, member):
            screen.say(change, "lifted by: ")


# -- why -----------------------------------------------------------------------------------------------------


@click.command()
@click.argument("job", type=click.Path())
@click.argument("name", nargs=-1, required=True)
@click.option("--at", metavar="TIME", help="As it was at that moment, by what had been entered then.")
@format_option
@click.pass_obj
def why(settings: Settings, job: str, name: tuple[str, ...], at: str | None, as_json: bool) -> None:
    """Explain NAME of JOB: a fact, finding, rule, calculation, step, activity, wait, place or limit.

    Every test is shown with its value and its margin; then what would decide it, or change it.
    """
    with _load(settings, job) as session:
        moment = session.at(at) if at is not None else None
        found = session.assess(moment, moment)
        words = Wording(found, zone_of(session.lines))
    told = because(words, " ".join(name))
    if as_json:
        from stillair import account

        print_json(account.why(told))
        return
    _say_because(Screen(), told)


def _say_because(screen: Screen, told: Because, indent: str = "") -> None:
    screen.say(f"{told.kind} {told.name}: {told.state}", indent, bold=not indent)
    if told.title != told.name:
        screen.say(told.title, indent)
    for said in told.says:
        screen.say(said, indent + "- ")
    if told.working is not None:
        for step in (*told.working.steps, told.working.result):
            screen.say(step, indent + "  ")
        if told.working.doubt:
            screen.say(f"{told.working.doubt}, at 95 %", indent + "  ± ")
        for formula in told.working.formulas:
            screen.say(formula, indent + "formula: ")
        for valid in told.working.valid:
            screen.say(valid, indent + "valid: ")
    for heading, tree in told.trees:
        screen.say(f"{heading}: {tree.verdict.word}", indent)
        _say_tree(screen, tree, indent + "  ")
    for member in told.members:
        _say_because(screen, member, indent + "  ")
    for text in told.decides:
        screen.say(text, indent + "would decide it: ")
    for text in told.changes:
        screen.say(text, indent + "would change it: ")
    if told.source:
        screen.say(told.source, indent + "source: ")


def _say_tree(screen: Screen, tree: Judgement, indent: str) -> None:
    word = f"{tree.verdict.word:<5} "
    screen.say(f"{tree.join}:" if tree.join else tree.text, indent + word)
    # Deep trees keep their words in sight on a narrow screen.
    inner = indent + "  " if len(indent) < 20 else indent
    if tree.says:
        screen.say(tree.says, inner)
    for step in tree.working:
        screen.say(step, inner + "= ")
    if tree.doubt:
        screen.say(f"{tree.doubt}, at 95 %", inner + "± ")
    if tree.settles:
        screen.say(tree.settles, inner + "settled: ")
    for part in tree.parts:
        _say_tree(screen, part, inner)


# -- whatif --------------------------------------------------------------------------------------------------


@click.command()
@click.argument("job", type=click.Path())
@click.argument("said", nargs=-1, metavar="[FACT=VALUE]...")
@click.option("--in", "later", metavar="DURATION", help="So much later than now, such as '10 min'.")
@format_option
@click.pass_obj
def whatif(settings: Settings, job: str, said: tuple[str, ...], later: str | None, as_json: bool) -> None:
    """Say what would change in JOB if this were observed now, or if so much time passed. Nothing is kept."""
    if not said and later is None:
        raise Mistake("nothing is supposed", "give FACT=VALUE, or --in '10 min'")
    with _load(settings, job) as session:
        before = _words(session)
        at = session.now() + (_seconds(later) if later is not None else 0.0)
        lines = [*session.lines, *_supposed(session, before, said, at)]
        after = Wording(assess(session.program, lines, at), before.zone)
    changed = list(_changed(before, after))
    if as_json:
        from stillair import account

        print_json(
            {
                "format": account.WHATIF,
                "supposed": list(said),
                "at": account.moment(before, at),
                "changes": [
                    {"what": what, "name": name, "was": was, "would_be": now}
                    for what, name, was, now in changed
                ],
                "next": account.next_action(after),
            }
        )
        return
    screen = Screen()
    screen.say("Nothing is kept. If this were so:")
    for text in said:
        screen.say(text, "  ")
    if later is not None:
        screen.say(f"{later} later, at {after.clock(at)}", "  ")
    if not changed:
        screen.say("no verdict, finding or permission would change", "- ")
    for what, name, was, now in changed:
        screen.say(f"{what} {name}: {was} -> {now}", "- ")
    screen.say()
    screen.say("Next would be:")
    _say_next(screen, after)


def _seconds(text: str) -> float:
    from stillair import quantity

    try:
        found = quantity.read(text, quantity.DIMENSIONS["duration"]).value
    except quantity.QuantityError as error:
        raise Mistake(str(error), error.help) from None
    if found < 0:
        raise Mistake(f"`{text}` lies in the past", "what is past is asked with `stillair why --at`")
    return found


def _supposed(session: Session, words: Wording, said: Sequence[str], at: float) -> Iterator[Line]:
    """Lines as they would stand in the job; a later one of the same fact counts."""
    members = session.members(words.found)
    number = len(session.lines)
    for text in said:
        name, value = split(text)
        ref = read_fact(session.program, name, members)
        entry = read_value(session.program, ref, value, now=at, zone=words.zone)
        number += 1
        yield Line(
            n=number,
            kind=entry.kind,
            taken=at,
            entered=at,
            offset=session.lines[0].offset,
            by=session.by,
            body=entry.body,
        )


def _changed(before: Wording, after: Wording) -> Iterator[tuple[str, str, str, str]]:
    """(what, name, was, would be) of findings, rules, waits, places, activities and steps that change."""
    for what, state in (
        ("finding", _grades),
        ("stop", _stops),
        ("caution", _cautions),
        ("rule", _rules),
        ("wait", _waits),
        ("place", _places),
        ("activity", _activities),
        ("step", _steps),
    ):
        was, now = state(before), state(after)
        for name in dict.fromkeys([*was, *now]):
            old, new = was.get(name, "not in the list"), now.get(name, "not in the list")
            if old != new:
                yield what, name, old, new


def _of(name: str, member: str | None) -> str:
    return f"{name} of {member}" if member is not None else name


def _grades(words: Wording) -> Mapping[str, str]:
    return {_of(f.name, f.member): f.grade.replace("_", " ") for f in words.found.findings}


def _verdicts(words: Wording, kind: str) -> dict[str, str]:
    found = {}
    for state in words.found.rules:
        spec = words.program.rules[state.rule].spec
        gives = "stop" if spec.stop else "caution" if spec.caution is not None else "finding"
        if gives == kind:
            found[_of(state.rule, state.member)] = state.verdict.word
    return found


def _stops(words: Wording) -> Mapping[str, str]:
    return _verdicts(words, "stop")


def _cautions(words: Wording) -> Mapping[str, str]:
    return _verdicts(words, "caution")


def _rules(words: Wording) -> Mapping[str, str]:
    return _verdicts(words, "finding")


def _waits(words: Wording) -> Mapping[str, str]:
    found = {}
    for name, state in words.found.waits.items():
        word = "ready" if state.options.mask == 1 else "not started" if state.started is None else "running"
        if word == "running" and state.ready_at is not None and words.found.at >= state.ready_at:
            word = "the time is up, its question is open"
        found[name] = word
    return found


def _places(words: Wording) -> Mapping[str, str]:
    return {p.place: p.status for p in words.found.places}


def _activities(words: Wording) -> Mapping[str, str]:
    return {name: words.found.activity(name).may.value for name in words.program.activities}


def _steps(words: Wording) -> Mapping[str, str]:
    return {_of(s.step, s.member): s.status for s in words.found.steps}


# -- jobs ----------------------------------------------------------------------------------------------------


@click.command()
@click.argument("folder", type=click.Path(), default=".")
@click.option("--all", "everything", is_flag=True, help="Closed jobs too.")
@format_option
@click.pass_obj
def jobs(settings: Settings, folder: str, everything: bool, as_json: bool) -> None:
    """List the open jobs of FOLDER with running waits and the time left. Damaged ones are shown too."""
    place = Path(folder)
    if not place.is_dir():
        raise Mistake(f"`{folder}` is not a folder", "name the folder the jobs are in")
    found = [_job(settings, path) for path in sorted(place.iterdir()) if _looks_like_job(path)]
    shown = [each for each in found if everything or each["state"] != "closed"]
    if as_json:
        from stillair import account

        print_json({"format": account.JOBS, "folder": place.as_posix(), "jobs": shown})
    else:
        _say_jobs(Screen(), shown, len(found) - len(shown))
    if any(each["state"] == "broken" for each in found):
        raise click.exceptions.Exit(NO)


def _looks_like_job(path: Path) -> bool:
    """Whether a file begins as a job does, or is called one."""
    if not path.is_file():
        return False
    if path.suffix == ".job":
        return True
    try:
        with path.open("rb") as stream:
            start = stream.read(_SCREENFUL)
    except OSError:
        return False
    return start.startswith(b"{") and b'"format":"stillair.job/' in start.split(b"\n")[0]


def _job(settings: Settings, path: Path) -> dict[str, object]:
    """One job: open, closed, torn, broken or unreadable, with its waits."""
    from stillair import account
    from stillair.fault import StillairError
    from stillair.job import verify

    told: dict[str, object] = {
        "file": path.name,
        "state": "unreadable",
        "title": None,
        "problems": [],
        "waits": [],
    }
    try:
        report = verify(path)
        if report.broken is not None:
            return told | {"state": "broken", "problems": list(report.problems)}
        with _load(settings, path.as_posix()) as session:
            words = _words(session)
            told["title"] = session.lines[0].body.get("title")
            told["last_entry"] = account.moment(words, session.last)
            told["differs"] = list(session.differs)
    except (JobError, StillairError, OSError) as error:
        return told | {"problems": [str(error)]}
    closed = "" in words.found.history.closed
    told["state"] = "torn" if report.torn is not None else "closed" if closed else "open"
    told["problems"] = list(report.problems)
    told["next"] = account.next_action(words) if not closed else None
    told["waits"] = [account.wait(words, state) for state in words.found.running()]
    told["said"] = _said(words)
    return told


def _said(words: Wording) -> str:
    action = words.found.next
    if action.kind == "finished":
        return "nothing left to do; not closed"
    title = step_said(words, action.step, action.member) if action.step is not None else "an entry in doubt"
    return f"stopped before: {title}" if action.kind == "stopped" else f"next: {title}"


def _say_jobs(screen: Screen, found: Sequence[Mapping[str, object]], closed: int) -> None:
    if not found:
        screen.say("no open job here" + (f"; {closed} closed, --all lists them" if closed else ""))
    for each in found:
        screen.say(f"{each['file']}: {each['state']}", bold=True)
        if each.get("title") and each["title"] != Path(str(each["file"])).stem:
            screen.say(str(each["title"]), "  ")
        problems = each["problems"]
        assert isinstance(problems, list)
        for problem in problems:
            screen.say(str(problem), "  ! ")
        differs = each.get("differs")
        for text in differs if isinstance(differs, list) else ():
            screen.say(str(text), "  ! ")
        if each.get("said"):
            screen.say(str(each["said"]), "  ")
        waits = each["waits"]
        assert isinstance(waits, list)
        for wait in waits:
            left = wait["left_s"]
            said = f"{time_left(left)} left" if isinstance(left, float) else "the time is up"
            screen.say(f"{wait['title']}: {said}", "  wait: ")
