"""What follows from a job, as JSON: every account names its format and version, and every number its unit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, TypeAlias

from stillair.assess import Action, Finding, Permission, RuleState, StepState, WaitState
from stillair.assess.beliefs import OpenClue, Weighed
from stillair.because import Because, deciding, lifting, permission_says
from stillair.carried import carried
from stillair.condition.core import OptionDomain, Ref
from stillair.due import Instrument
from stillair.fault import Fault
from stillair.margin import Judgement
from stillair.possible import Number, Options
from stillair.quantity import Unit
from stillair.sought import better_tests, chosen_place, why_now
from stillair.verdict import Verdict
from stillair.wording import Wording, in_unit, number, span_of
from stillair.working import Working

if TYPE_CHECKING:
    from stillair.calculate import Calculated
    from stillair.calculator import Calculator
    from stillair.hooks import Plugins
    from stillair.job import Report

__all__ = [
    "ADJUSTMENT",
    "ASSESSMENT",
    "CALCULATION",
    "CALCULATOR",
    "CALCULATORS",
    "COMPARISON",
    "COVERAGE",
    "DUE",
    "EXPLANATION",
    "INSTRUMENTS",
    "JOBS",
    "LINT",
    "MOVE",
    "MUTATION",
    "NEXT",
    "PERMISSION",
    "PLUGINS",
    "REHEARSAL",
    "REPLAY",
    "SEALED",
    "TIDY",
    "TRAIL",
    "VERIFY",
    "WHATIF",
    "WHY",
    "assessment",
    "calculation",
    "calculator",
    "calculators",
    "due",
    "explanation",
    "instruments",
    "lint",
    "moment",
    "next_action",
    "permission",
    "plugins",
    "verification",
    "why",
]

ADJUSTMENT = "stillair.adjustment/1"
ASSESSMENT = "stillair.assessment/1"
CALCULATION = "stillair.calculation/1"
CALCULATOR = "stillair.calculator/1"
CALCULATORS = "stillair.calculators/1"
COMPARISON = "stillair.comparison/1"
COVERAGE = "stillair.coverage/1"
DUE = "stillair.due/1"
INSTRUMENTS = "stillair.instruments/1"
EXPLANATION = "stillair.explanation/1"
JOBS = "stillair.jobs/1"
LINT = "stillair.lint/1"
MOVE = "stillair.move/1"
MUTATION = "stillair.mutation/1"
NEXT = "stillair.next/1"
PERMISSION = "stillair.permission/1"
PLUGINS = "stillair.plugins/1"
REHEARSAL = "stillair.rehearsal/1"
REPLAY = "stillair.replay/1"
SEALED = "stillair.sealed/1"
TIDY = "stillair.tidy/1"
TRAIL = "stillair.trail/1"
VERIFY = "stillair.verify/1"
WHATIF = "stillair.whatif/1"
WHY = "stillair.why/1"

Account: TypeAlias = dict[str, object]


def moment(wording: Wording, at: float | None) -> str | None:
    """ISO 8601 in the zone of the job; None where there is no such moment."""
    if at is None or not math.isfinite(at):
        return None
    local = datetime.fromtimestamp(at, UTC).astimezone(wording.zone)
    return local.isoformat(timespec="milliseconds" if local.microsecond else "seconds")


def amount(value: Number, unit: Unit) -> Account:
    """A number as value, low, high and tolerance in one unit; null where it has none.

    While it may be several values, only low and high are given, tolerance included.
    """
    one, low, high = span_of(value, unit)
    tolerance = None
    if one is not None:
        from stillair.quantity import difference_unit

        tolerance = in_unit(value.tolerance, difference_unit(unit))
    return {
        "value": one,
        "low": low,
        "high": high,
        "unit": unit.symbol,
        "tolerance": tolerance,
        "shown": number(value, unit),
    }


def value_of(wording: Wording, ref: Ref, value: Number | Options) -> Account:
    """What a fact may be: a number with its span, or the options still possible."""
    if isinstance(value, Number):
        unit = wording.unit(ref)
        if unit.dimension.name == "moment":
            low, high = value.span()
            ends = {"low": moment(wording, low), "high": moment(wording, high)}
            return {"value": None if value.ignorant else moment(wording, value.low), **ends, "unit": "UTC"}
        return amount(value, unit)
    domain = wording.options_of(ref)
    names = domain.of_mask(value.mask) if isinstance(domain, OptionDomain) else ()
    return {"value": names[0] if len(names) == 1 else None, "possible": list(names)}


# -- the assessment ------------------------------------------------------------------------------------------


def assessment(wording: Wording) -> Account:
    """Everything an assessment holds."""
    found = wording.found
    return {
        "format": ASSESSMENT,
        "at": moment(wording, found.at),
        "packs": {n: {"version": v, "digest": d} for n, (v, d) in sorted(wording.program.packs.items())},
        "facts": _facts(wording),
        "calculations": _calculations(wording),
        "rules": [_rule(wording, s) for s in found.rules],
        "findings": [_finding(wording, f) for f in found.findings],
        "stops": [_rule(wording, s) for s in found.stops if s.verdict.word == "holds"],
        "cautions": [_rule(wording, s) for s in found.cautions if s.verdict.word == "holds"],
        "waits": [wait(wording, state) for state in found.waits.values()],
        "places": [
            {
                "place": p.place,
                "title": wording.program.places[p.place].spec.title,
                "status": p.status,
                "line": p.observation.line if p.observation is not None else None,
                "reason": wording.reason(p.reason) if p.reason is not None else None,
                **_belief(wording, p.place),
            }
            for p in found.places
        ],
        "learned": _learned(wording),
        "search": _search(wording),
        "doubted": [
            {"fact": wording.name(s.ref), "line": s.observation.line, "slip": s.slip, "other": s.other}
            for s in found.suspicions
        ],
        "steps": [_step(wording, s) for s in found.steps],
        "next": _action(wording, found.next),
    }


def _belief(wording: Wording, place: str) -> Account:
    """How likely a place is, as a share of 1, and the clues that weigh on it or could."""
    belief = wording.found.beliefs[place]
    search = wording.found.search

    def clue(each: Weighed | OpenClue) -> Account:
        why = wording.program.clues[each.clue].spec.why
        return {"clue": each.clue, "limit": each.limit, "factor": each.factor, "why": why}

    return {
        "belief": belief.now,
        "belief_without_clues": belief.first,
        "clues": [clue(each) for each in belief.weighed],
        "open_clues": [{**clue(each), "reasons": _reasons(wording, each.reasons)} for each in belief.open],
        "belief_after_looks": None
        if search is None or place in search.untold
        else search.posterior.places[place],
        "silences": [
            {"check": q.check, "chance": q.chance, "worked_out": q.known, "line": q.line}
            for q in (search.quiet if search is not None else ())
            if q.place == place
        ],
    }


def _learned(wording: Wording) -> Account | None:
    """From what the beliefs were learned; None where they are as written."""
    if not wording.program.learned:
        return None
    band = wording.found.band
    return {
        "packs": [
            {"pack": pack, "jobs": jobs, "faults": faults, "strength": strength}
            for pack, (jobs, faults, strength) in wording.program.learned.items()
        ],
        "band": None
        if band is None
        else {"group": band.group, "band": band.band, "jobs": band.jobs, "faults": band.faults},
    }


def _search(wording: Wording) -> Account | None:
    """The order of search and what it rests on; None where no check says what a look is worth."""
    search = wording.found.search
    if search is None:
        return None
    return {
        "elsewhere": search.posterior.elsewhere,
        "second": search.posterior.second,
        "unfound": search.posterior.unfound,
        "order": list(search.plan.order),
        "order_if_all_allowed": list(search.whole_plan.order),
        "expected_min": search.plan.minutes,
        "expected_min_of_author": search.plan.author_minutes,
        "pinned_costs_min": search.plan.pin_costs if search.plan.pinned else None,
        "rate_per_min": search.rate,
        "tools": [
            {
                "tool": tool,
                "at_hand": False if verdict is Verdict.FAILS else None,
                "reasons": _reasons(wording, why),
            }
            for tool, verdict, why in search.lacking
        ],
        "over": search.over,
        "better": list(better_tests(wording, search)) if search.over else [],
    }


def _facts(wording: Wording) -> list[Account]:
    view = wording.found.view
    facts = []
    for name, fact in wording.program.facts.items():
        members: Sequence[str | None] = [None] if fact.per is None else view.members(fact.per)[0]
        for member in members:
            ref = Ref(name, member)
            value = view.value(ref)
            facts.append(
                {
                    "fact": name,
                    "of": member,
                    **value_of(wording, ref, value),
                    "lines": list(value.lines),
                    "taken": moment(wording, value.taken),
                    "reasons": _reasons(wording, value.reasons),
                    "safety": fact.spec.safety,
                }
            )
    return facts


def _calculations(wording: Wording) -> list[Account]:
    view = wording.found.view
    found = []
    for name, (_, per, _) in wording.program.calculations.items():
        members: Sequence[str | None] = [None] if per is None else view.members(per)[0]
        for member in members:
            ref = Ref(name, member)
            value = view.number(ref)
            reasons = _reasons(wording, value.reasons)
            found.append(
                {"calculation": name, "of": member, **value_of(wording, ref, value), "reasons": reasons}
            )
    return found


def _reasons(wording: Wording, reasons: Iterable[object]) -> list[Account]:
    from stillair.verdict import Reason

    return [
        {"why": r.why.value, "about": wording.about(r.about), "text": r.text}
        for r in dict.fromkeys(reasons)
        if isinstance(r, Reason)
    ]


def _rule(wording: Wording, state: RuleState) -> Account:
    spec = wording.program.rules[state.rule].spec
    return {
        "rule": state.rule,
        "of": state.member,
        "verdict": state.verdict.word,
        "gives": "stop" if spec.stop else "caution" if spec.caution else "finding",
        "say": spec.caution or spec.say,
        "stops": [t.text for t in spec.stop],
        "lifted_by": spec.lifted_by,
        "safety": wording.program.rules[state.rule].when.safety,
        "lines": list(state.lines),
        "reasons": _reasons(wording, state.reasons),
        "source": spec.source,
    }


def _finding(wording: Wording, finding: Finding) -> Account:
    rule = wording.program.rules.get(finding.rule or "")
    return {
        "finding": finding.name,
        "of": finding.member,
        "grade": finding.grade.replace("_", " "),
        "grades": [g.replace("_", " ") for g in finding.grades],
        "rule": finding.rule,
        "say": rule.spec.say if rule is not None else None,
        "decided": moment(wording, finding.decided),
        "lines": list(finding.lines),
        "reasons": _reasons(wording, finding.reasons),
    }


def wait(wording: Wording, state: WaitState) -> Account:
    """A wait: its state, when it began, when it is ready, seconds required and left.

    `required_by` names the fact that says how long it lasts; while that is not known there are no seconds.
    """
    spec = wording.program.waits[state.name]
    mask = state.options.mask
    word = "ready" if mask == 1 else "not started" if state.started is None else "running"
    left: float | None = None
    if state.ready_at is not None:
        left = max(0.0, state.ready_at - wording.found.at)
        if word == "running" and not left:
            word = "time up"
    return {
        "wait": state.name,
        "title": spec.spec.title,
        "state": word,
        "started": moment(wording, state.started),
        "ready_at": moment(wording, state.ready_at),
        "required_s": state.required,
        "required_by": spec.lasts,
        "left_s": left if word == "running" else None,
        "restarted_by": state.restarted_by or None,
        "reasons": _reasons(wording, state.options.reasons),
    }


def _step(wording: Wording, state: StepState) -> Account:
    return {
        "step": state.step,
        "of": state.member,
        "status": state.status,
        "asks": [wording.name(ref) for ref in state.asks],
    }


# -- one question each ---------------------------------------------------------------------------------------


def permission(wording: Wording, name: str, member: str | None, answer: Permission, *, step: bool) -> Account:
    """Whether a step or an activity may go on, what is missing, what stands against it and what lifts it."""
    never = step and wording.program.steps[name].spec.never is not None
    lifts = list(lifting(wording, name, member)) if step and not never and answer.blocked else []
    return {
        "format": PERMISSION,
        "step" if step else "activity": name,
        "of": member,
        "may": answer.may.value,
        "never": never,
        "safety": any(b.safety for b in answer.blocked),
        "blocked": [
            {
                "rule": b.rule,
                "because": b.say,
                "lifted_by": b.lifted_by,
                "safety": b.safety,
                "lines": list(b.lines),
            }
            for b in answer.blocked
        ],
        "lifts": lifts,
        "missing": [{"fact": wording.name(r), "ask": wording.question(r)} for r in answer.missing],
        "because": list(permission_says(wording, answer)),
    }


def next_action(wording: Wording) -> Account:
    """The one next action, with the waits that run meanwhile."""
    return {
        "format": NEXT,
        "at": moment(wording, wording.found.at),
        **_action(wording, wording.found.next),
        "waits": [wait(wording, state) for state in wording.found.running()],
    }


def _why_now(wording: Wording, action: Action) -> str | None:
    chosen = chosen_place(action, wording.found.search)
    return None if chosen is None else why_now(wording, chosen)


def _action(wording: Wording, action: Action) -> Account:
    step = wording.program.steps.get(action.step or "")
    facts = []
    for ref in action.facts:
        fact = wording.program.facts[ref.name]
        domain = fact.domain
        options = (
            [{"option": n, "label": domain.labels.get(n, n)} for n in domain.names]
            if isinstance(domain, OptionDomain) and domain.catalogue is None
            else []
        )
        facts.append(
            {
                "fact": wording.name(ref),
                "ask": wording.question(ref),
                "kind": fact.spec.kind,
                "options": options,
                "unit": fact.unit.symbol if fact.unit is not None else None,
                "why": fact.spec.why,
                "caution": fact.spec.caution,
            }
        )
    return {
        "action": action.kind,
        "step": action.step,
        "of": action.member,
        "title": step.spec.title if step is not None else None,
        "do": step.spec.do if step is not None else None,
        "caution": step.spec.caution if step is not None else None,
        "why": action.why,
        "why_now": _why_now(wording, action),
        "facts": facts,
        "wait": action.wait,
        "list": action.list,
        "doubted": {"line": action.suspicion.observation.line, "slip": action.suspicion.slip}
        if action.suspicion is not None
        else None,
        "blocked": [
            {"because": b.say, "lifted_by": b.lifted_by, "safety": b.safety}
            for b in action.permission.blocked
        ],
        "missing": list(deciding(wording, action.permission.missing)),
    }


def why(found: Because) -> Account:
    """An explanation with its judged trees."""
    return {"format": WHY, **_because(found)}


def _because(found: Because) -> Account:
    account: Account = {
        "kind": found.kind,
        "name": found.name,
        "title": found.title,
        "state": found.state,
        "says": list(found.says),
        "trees": [{"heading": heading, **_judgement(tree)} for heading, tree in found.trees],
        "working": _working(found.working) if found.working is not None else None,
        "would_decide": list(found.decides),
        "would_change": list(found.changes),
        "source": found.source,
    }
    if found.members:
        account["members"] = [_because(each) for each in found.members]
    return account


def _judgement(tree: Judgement) -> Account:
    return {
        "test": tree.text,
        "verdict": tree.verdict.word,
        "join": tree.join or None,
        "says": tree.says or None,
        "settles": tree.settles or None,
        "working": list(tree.working),
        "tolerance": tree.doubt or None,
        "lines": list(tree.lines),
        "parts": [_judgement(part) for part in tree.parts],
    }


def _working(done: Working) -> Account:
    return {
        "expression": done.expression,
        "steps": list(done.steps),
        "result": done.result,
        "tolerance": done.doubt or None,
        "formulas": list(done.formulas),
        "valid": list(done.valid),
        "sources": list(done.sources),
    }


# -- calculators ---------------------------------------------------------------------------------------------


def calculation(found: Calculated) -> Account:
    """The result of one calculator with its working and sources.

    Where an option was not given, `low` and `high` cover all of them.
    """
    result = amount(found.number, found.unit)
    return {
        "format": CALCULATION,
        "calculator": found.calculator.name,
        "inputs": {
            each.name: {
                "typed": each.typed,
                "understood": each.understood,
                "possible": list(each.possible) or None,
                "value": in_unit(each.value, each.unit)
                if each.value is not None and each.unit is not None
                else None,
                "unit": each.unit.symbol if each.unit is not None else None,
            }
            for each in found.inputs
        },
        **result,
        "undecided": [each.name for each in found.undecided],
        "remarks": list(found.remarks),
        "reasons": list(found.reasons),
        "working": list(found.working),
        "formula": found.calculator.formula,
        "valid": found.calculator.valid,
        "sources": [source.text for source in found.calculator.sources],
    }


def calculator(each: Calculator) -> Account:
    """The documentation of a calculator."""
    return {"format": CALCULATOR, **_calculator(each)}


def _calculator(each: Calculator) -> Account:
    return {
        "calculator": each.name,
        "about": each.about,
        "formula": each.formula,
        "valid": each.valid,
        "inputs": {
            name: {
                "quantity": given.dimension,
                "series": given.series,
                "catalogue": given.catalogue,
                "options": list(given.options),
                "default": given.default,
                "about": given.about or None,
            }
            for name, given in each.inputs.items()
        },
        "output": each.output,
        "unit": each.unit,
        "rises_with": list(each.rises_with),
        "falls_with": list(each.falls_with),
        "remarks": [{"side": r.side, "bound": r.bound, "say": r.say} for r in each.remarks],
        "sources": [source.text for source in each.sources],
        "examples": [
            {"inputs": dict(e.inputs), "result": e.result, "within": e.within, "source": e.source or None}
            for e in each.examples
        ],
    }


def calculators(found: Mapping[str, Calculator]) -> Account:
    return {"format": CALCULATORS, "calculators": [_calculator(each) for _, each in sorted(found.items())]}


# -- files, instruments, plugins -----------------------------------------------------------------------------


def verification(report: Report, differs: Sequence[str]) -> Account:
    """What `verify` found; `differs` says how the plugins differ from those recorded."""
    return {
        "format": VERIFY,
        "ok": report.ok,
        "rederivable": not differs,
        "lines": report.lines,
        "intact": report.intact,
        "broken": {"line": report.broken.line, "why": report.broken.why}
        if report.broken is not None
        else None,
        "torn": {"line": report.torn.n, "bytes": len(report.torn.data)} if report.torn is not None else None,
        "companion": report.companion.state,
        "packs": dict(report.packs),
        "kept": dict(report.kept),
        "problems": list(report.problems),
        "remarks": list(report.remarks),
        "differs": list(differs),
        "last_hash": report.last_hash,
    }


def instruments(wording: Wording, now: float) -> Account:
    """The instruments of a job with tolerances, check dates and readings, as of the moment `now`."""
    return {
        "format": INSTRUMENTS,
        "instruments": [
            {
                "serial": each.serial,
                "kind": each.kind,
                "declared": each.declared,
                "unit": each.unit,
                "offset": each.offset,
                "repeat": each.repeat,
                "resolution": each.resolution,
                "of_reading": each.of_reading,
                "checked": each.checked,
                "doubted": each.doubted,
                "check_due": each.due(),
                "overdue": each.overdue(now, wording.zone),
                "lines": list(each.lines),
            }
            for each in carried(wording)
        ],
    }


def due(listed: Sequence[Instrument], day: date, jobs: int, problems: Sequence[tuple[str, str]]) -> Account:
    """The instruments of many jobs by when their check is due, as of a day."""
    return {
        "format": DUE,
        "day": day.isoformat(),
        "jobs": jobs,
        "due": sum(each.is_due for each in listed),
        "instruments": [
            {
                "serial": each.serial,
                "kind": each.kind,
                "state": each.state,
                "checked": each.checked,
                "checked_in": each.checked_in,
                "check_due": each.due,
                "interval_s": each.interval_s,
                "rests_on": each.rests_on,
                "last_used": each.last.taken.isoformat(timespec="seconds")
                if each.last.carried.lines
                else None,
                "by": each.last.by,
                "job": each.last.job,
                "jobs": list(each.jobs),
                "doubted": list(each.doubted),
            }
            for each in listed
        ],
        "problems": [{"job": path, "message": message} for path, message in problems],
    }


def lint(faults: Sequence[Fault], accepted: Iterable[tuple[Fault, str, str]], profile: str) -> Account:
    """What lint found: faults, and those that are accepted with the reason and the last day."""
    held = [{**_fault(fault), "because": because, "until": until} for fault, because, until in accepted]
    return {
        "format": LINT,
        "profile": profile,
        "ok": not faults,
        "faults": [_fault(fault) for fault in faults],
        "accepted": held,
    }


def _fault(fault: Fault) -> Account:
    return {
        "code": fault.code,
        "message": fault.message,
        "path": fault.path,
        "line": fault.line,
        "column": fault.column,
        "length": fault.length,
        "source_line": fault.source_line,
        "help": fault.help,
        "scenario": fault.scenario,
    }


def explanation(code: str, means: str, text: str) -> Account:
    """The page of a code, as Markdown."""
    return {"format": EXPLANATION, "code": code, "means": means, "text": text}


def plugins(found: Plugins) -> Account:
    """Every plugin: version, file, digest, what it gives."""
    given: dict[str, dict[str, list[str]]] = {p.name: {} for p in found.plugins}
    for (hook, name), plugin in found.givers.items():
        given[plugin.name].setdefault(hook.removeprefix("stillair_"), []).append(name)
    return {
        "format": PLUGINS,
        "plugins": [
            {
                "plugin": p.name,
                "version": p.version,
                "file": p.file,
                "digest": p.digest,
                "gives": {hook: sorted(names) for hook, names in sorted(given[p.name].items())},
            }
            for p in found.plugins
        ],
    }
