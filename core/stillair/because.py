"""Why something is as it is: a fact, finding, rule, calculation, wait, activity, step, place or limit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from stillair.assess import Belief, EntryError, May, Observation, Permission, WaitState
from stillair.assess.beliefs import OpenClue, Weighed
from stillair.assess.program import FURTHER, FURTHER_STATES, Cond, Step, Trigger
from stillair.assess.view import Judged
from stillair.assess.waits import time_left
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.fault import did_you_mean
from stillair.margin import Judgement, changes, judgement, judgement_of_rule, wait_says
from stillair.possible import Number
from stillair.sought import disputed_said, going_on_said, quiet_said, share
from stillair.verdict import Reason, Verdict, Why
from stillair.wording import Wording, duration, exact
from stillair.working import Working, working

__all__ = [
    "Because",
    "because",
    "clue_says",
    "deciding",
    "explained",
    "lifting",
    "permission_says",
    "reading_used",
    "resolve",
    "said_trigger",
    "share",
]


@dataclass(frozen=True, slots=True)
class Because:
    """The explanation of one name.

    `state` is how it stands in a word or two, `says` plain statements, `trees` judged conditions under a
    heading, `decides` what would decide it where it is open, `changes` what would turn it where decided.
    """

    kind: str
    name: str
    title: str
    state: str
    says: tuple[str, ...] = ()
    trees: tuple[tuple[str, Judgement], ...] = ()
    working: Working | None = None
    decides: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    source: str | None = None
    members: tuple[Because, ...] = field(default=())


def explained(told: Because, indent: str = "") -> Iterator[tuple[str, str]]:
    """An explanation line by line: what stands before the text, and the text."""
    yield indent, f"{told.kind} {told.name}: {told.state}"
    if told.title != told.name:
        yield indent, told.title
    for said in told.says:
        yield indent + "- ", said
    if told.working is not None:
        for step in (*told.working.steps, told.working.result):
            yield indent + "  ", step
        if told.working.doubt:
            yield indent + "  ± ", f"{told.working.doubt}, at 95 %"
        for formula in told.working.formulas:
            yield indent + "formula: ", formula
        for valid in told.working.valid:
            yield indent + "valid: ", valid
    for heading, tree in told.trees:
        yield indent, f"{heading}: {tree.verdict.word}"
        yield from _branches(tree, indent + "  ")
    for member in told.members:
        yield from explained(member, indent + "  ")
    for text in told.decides:
        yield indent + "would decide it: ", text
    for text in told.changes:
        yield indent + "would change it: ", text
    if told.source:
        yield indent + "source: ", told.source


def _branches(tree: Judgement, indent: str) -> Iterator[tuple[str, str]]:
    yield indent + f"{tree.verdict.word:<5} ", f"{tree.join}:" if tree.join else tree.text
    # Deep trees keep their words in sight on a narrow screen.
    inner = indent + "  " if len(indent) < 20 else indent
    if tree.says:
        yield inner, tree.says
    for step in tree.working:
        yield inner + "= ", step
    if tree.doubt:
        yield inner + "± ", f"{tree.doubt}, at 95 %"
    if tree.settles:
        yield inner + "settled: ", tree.settles
    for part in tree.parts:
        yield from _branches(part, inner)


def resolve(wording: Wording, text: str) -> tuple[str, str, str | None]:
    """(kind, name, member) of what a person names: `leak of drain_port`. EntryError with the nearest name."""
    program = wording.program
    tables: Mapping[str, Iterable[str]] = {
        "fact": program.facts,
        "finding": program.findings,
        "calculation": program.calculations,
        "wait": program.waits,
        "activity": program.activities,
        "step": program.steps,
        "rule": program.rules,
        "place": program.places,
        "powered state": program.powered,
        "limit": program.limits,
        "event": program.events,
        "search": program.symbols.keys() & {FURTHER},
    }
    said = text.strip()
    name, _, member = said.partition(" of ")
    if not member and not any(said in names for names in tables.values()):
        name, _, member = said.partition(".")
    name, member = name.strip(), member.strip()
    for kind, names in tables.items():
        if name in names:
            return kind, name, _member(wording, kind, name, member or None)
    known = [n for names in tables.values() for n in names]
    raise EntryError(
        f"nothing is called `{name}`",
        did_you_mean(name, known) or "name a fact, finding, rule, calculation, step, activity or wait",
    )


def _member(wording: Wording, kind: str, name: str, member: str | None) -> str | None:
    if member is None:
        return None
    per = _list_of(wording, kind, name)
    if per is None:
        raise EntryError(f"`{name}` is not kept per member of a list", f"write `{name}` alone")
    known = wording.found.view.members(per)[0]
    if member not in known:
        shown = f"one of: {', '.join(known)}" if known else "the list is empty"
        raise EntryError(f"`{member}` is not in the list {per}", did_you_mean(member, known) or shown)
    return member


def _list_of(wording: Wording, kind: str, name: str) -> str | None:
    """The list something is kept for, one by one."""
    program = wording.program
    match kind:
        case "fact":
            return program.facts[name].per
        case "finding":
            return program.rules[program.findings[name][0]].per
        case "calculation":
            return program.calculations[name][1]
        case "step":
            return program.steps[name].per
        case "rule":
            return program.rules[name].per
        case "event":
            symbol = program.symbols.get(name)
            return symbol.per if symbol is not None else None
    return None


def because(wording: Wording, text: str) -> Because:
    """Why the thing of this name is as it is. EntryError if there is none."""
    kind, name, member = resolve(wording, text)
    per = _list_of(wording, kind, name)
    if per is not None and member is None:
        each = tuple(_one(wording, kind, name, m) for m in wording.found.view.members(per)[0])
        spec = wording.program.lists.get(per)
        title = spec.title if spec is not None else "Places"
        states = ", ".join(dict.fromkeys(b.state for b in each)) or "the list is empty"
        return Because(kind, name, f"{name}, for each of: {title}", states, members=each)
    return _one(wording, kind, name, member)


def _one(wording: Wording, kind: str, name: str, member: str | None) -> Because:
    match kind:
        case "fact":
            return _fact(wording, Ref(name, member))
        case "finding":
            return _finding(wording, name, member)
        case "calculation":
            return _calculation(wording, Ref(name, member))
        case "wait":
            return _wait(wording, name)
        case "activity":
            return _activity(wording, name)
        case "step":
            return _step(wording, name, member)
        case "rule":
            return _rule(wording, name, member)
        case "place":
            return _place(wording, name)
        case "powered state":
            return _powered(wording, name)
        case "limit":
            return _limit(wording, name)
        case "search":
            return _further(wording)
    return _event(wording, name, member)


def deciding(wording: Wording, missing: Iterable[Ref], reasons: Iterable[Reason] = ()) -> tuple[str, ...]:
    """The facts that would decide an open matter, with their questions, and the lists to be closed."""
    found = dict.fromkeys(f"{wording.name(ref)}: {wording.question(ref)}" for ref in missing)
    for reason in reasons:
        spec = wording.program.lists.get(reason.about)
        if reason.why is Why.OPEN_LIST and spec is not None:
            found[f"{spec.title}: {spec.ask or 'Is that all?'}"] = None
    return tuple(found)


def _settled(tree: Judgement) -> tuple[str, ...]:
    return tuple(dict.fromkeys(leaf.settles for leaf in tree.leaves if leaf.settles))


def lifting(wording: Wording, step: str, member: str | None) -> tuple[str, ...]:
    """What would lift the gates that fail before a step: one change if enough, else each failing test."""
    found: list[str] = []
    for _, cond, binding in gates(wording, wording.program.steps[step], member):
        if wording.found.view.judge(cond, binding) is not Verdict.FAILS:
            continue
        found.extend(would_lift(wording, cond, binding))
    return tuple(dict.fromkeys(found))


def would_lift(wording: Wording, cond: Cond, binding: Mapping[str, str]) -> tuple[str, ...]:
    """For a condition that fails, the one change that is enough, or every test that fails."""
    view = wording.found.view
    single = changes(wording, view, cond, binding)
    if single:
        return single
    tree = judgement(wording, view, cond, binding)
    return tuple(dict.fromkeys(leaf.text for leaf in tree.leaves if leaf.verdict is Verdict.FAILS))


def gates(wording: Wording, step: Step, member: str | None) -> Iterator[tuple[str, Cond, Mapping[str, str]]]:
    """The conditions that must hold before a step, each with a heading and the member in hand."""
    program = wording.program
    binding = {step.per: member} if step.per is not None and member is not None else {}
    activities = [step.spec.activity.text] if step.spec.activity is not None else []
    if step.per == "place" and member is not None and not activities:
        place = program.places[member].spec
        activities += [place.activity.text] if place.activity is not None else []
    for name in activities:
        activity = program.activities[name]
        if activity.gate is not None and step.powered is None:
            yield f"gate of {name}", activity.gate, {}
    if step.gate is not None:
        yield f"gate of {step.spec.name}", step.gate, binding
    if step.powered is not None:
        yield f"gate of {step.powered}", program.powered[step.powered].gate, {}


# -- one kind each -------------------------------------------------------------------------------------------


def reading_used(wording: Wording, observation: Observation) -> str:
    """What an observation is used as: its number with tolerance, or its option by label."""
    fact = wording.program.facts.get(observation.fact)
    value = observation.value
    if value is None:
        return f"cannot be had ({observation.why})" if observation.why else "cannot be had"
    if fact is not None and isinstance(fact.domain, NumberDomain) and isinstance(value, float):
        reading = wording.found.view.reading(fact, observation)
        return wording.value(Ref(observation.fact), reading)
    if fact is not None and isinstance(fact.domain, OptionDomain) and isinstance(value, str):
        return fact.domain.labels.get(value, value)
    return str(value)


def _fact(wording: Wording, ref: Ref) -> Because:
    fact = wording.program.facts[ref.name]
    view = wording.found.view
    value = view.value(ref)
    says = []
    trees: list[tuple[str, Judgement]] = []
    found = wording.found.history.before((ref.name, ref.member), view.moment)
    for observation in found[-5:]:
        who = f" by {observation.by}" if observation.by else ""
        with_ = f", with {observation.instrument}" if observation.instrument else ""
        said = f"line {observation.line}, {wording.clock(observation.taken)}{who}{with_}: "
        says.append(
            f"{said}read `{observation.read}`, used as {reading_used(wording, observation)}"
            if observation.read
            else said + reading_used(wording, observation)
        )
    if not found:
        says.append("no entry yet")
    if isinstance(value, Number) and wording.doubt(value, wording.unit(ref)):
        says.append(wording.doubt(value, wording.unit(ref)))
    if fact.good_for is not None:
        says.append(f"good for {duration(fact.good_for)}")
        if value.taken is not None and view.at - value.taken <= fact.good_for:
            says.append(f"good until {wording.clock(value.taken + fact.good_for)}")
    if fact.void_after:
        says.append(f"void after: {', '.join(said_trigger(t) for t in fact.void_after)}")
    if fact.spec.why:
        says.append(" ".join(fact.spec.why.split()))
    latest = next((o for o in reversed(found) if o.value is not None), None)
    if latest is not None and (fact.counts is not None or fact.place_counts):
        earlier = view.as_of(latest.moment, Judged(latest))
        binding = {fact.per: ref.member} if fact.per and ref.member else {}
        for heading, cond in (
            ("counts when", fact.counts),
            ("counts here when", fact.place_counts.get(ref.member or "")),
        ):
            if cond is not None:
                trees.append(
                    (
                        f"{heading}, as of {wording.clock(latest.taken)}",
                        judgement(wording, earlier, cond, binding),
                    )
                )
    if value.reasons:
        says.append(f"open: {wording.reasons(value.reasons)}")
    decides = deciding(wording, view.missing_of(ref)) if value.reasons else ()
    return Because(
        "fact",
        wording.name(ref),
        wording.question(ref),
        wording.value(ref, value),
        tuple(says),
        tuple(trees),
        decides=decides,
    )


def said_trigger(trigger: Trigger) -> str:
    return trigger.text.replace("_", " ")


def _finding(wording: Wording, name: str, member: str | None) -> Because:
    finding = wording.found.finding(name, member)
    view = wording.found.view
    label = wording.member(wording.program.rules[wording.program.findings[name][0]].per, member)
    says: list[str] = []
    trees = []
    decides: list[str] = []
    turned: tuple[str, ...] = ()
    source = None
    title = name
    if finding.rule is not None:
        rule = wording.program.rules[finding.rule]
        title = rule.spec.say or name
        if finding.decided is not None:
            says.append(f"decided {wording.clock(finding.decided)} by the rule {finding.rule}")
        if rule.spec.why:
            says.append(rule.spec.why)
        source = rule.spec.source
        if not rule.spec.while_:
            says.append("age does not undo it; a correction, a contradiction or a failing later check does")
    for each in wording.program.findings[name]:
        rule = wording.program.rules[each]
        binding = {rule.per: member} if rule.per and member else {}
        tree = judgement_of_rule(wording, each, member)
        trees.append((f"rule {each}, grade {rule.spec.grade}", tree))
        verdict = view.judge(rule.when, binding)
        if verdict is Verdict.OPEN:
            lists = view.reasons(rule.when, binding)
            decides.extend(deciding(wording, view.missing(rule.when, binding), lists))
            decides.extend(_settled(tree))
        elif each == finding.rule or finding.rule is None:
            turned = (*turned, *changes(wording, view, rule.when, binding))
    state = finding.grade.replace("_", " ")
    if finding.grade == "open":
        state = "open: may still be " + " or ".join(g.replace("_", " ") for g in finding.grades)
    return Because(
        "finding",
        f"{name} of {member}" if member else name,
        f"{label}: {title}" if label else title,
        state,
        tuple(says),
        tuple(trees),
        None,
        tuple(dict.fromkeys(decides)),
        tuple(dict.fromkeys(turned)),
        source,
    )


def _rule(wording: Wording, name: str, member: str | None) -> Because:
    rule = wording.program.rules[name]
    view = wording.found.view
    binding = {rule.per: member} if rule.per and member else {}
    verdict, decided = view.rule(rule, member)
    tree = judgement_of_rule(wording, name, member)
    spec = rule.spec
    gives = f"finding {spec.finding} ({spec.grade})" if spec.finding else "caution"
    if spec.stop:
        gives = f"stop of {', '.join(t.text for t in spec.stop)}"
    says = [f"gives: {gives}"]
    if decided is not None and spec.finding is not None and verdict is Verdict.HOLDS:
        says.append(f"decided {wording.clock(decided)}")
    said = spec.say or spec.caution
    if said:
        says.append(said)
    if spec.lifted_by:
        says.append(f"lifted by: {spec.lifted_by}")
    if spec.why:
        says.append(spec.why)
    if rule.when.safety:
        says.append("it rests on a safety fact: nothing overrides it")
    open_ = verdict is Verdict.OPEN
    decides: tuple[str, ...] = ()
    if open_:
        lists = view.reasons(rule.when, binding)
        decides = (*deciding(wording, view.missing(rule.when, binding), lists), *_settled(tree))
    return Because(
        "rule",
        f"{name} of {member}" if member else name,
        said or name,
        verdict.word,
        tuple(says),
        (("when", tree),),
        None,
        decides,
        changes(wording, view, rule.when, binding),
        spec.source,
    )


def _calculation(wording: Wording, ref: Ref) -> Because:
    formula, _, about = wording.program.calculations[ref.name]
    view = wording.found.view
    done = working(wording, view, formula, ref, wording.name(ref))
    says = [" ".join(about.split())] if about else []
    if done.reasons:
        says.append(f"open: {wording.reasons(done.reasons)}")
    open_ = done.number.undefined or bool(done.reasons)
    return Because(
        "calculation",
        wording.name(ref),
        done.expression,
        wording.value(ref, done.number),
        tuple(says),
        (),
        done,
        deciding(wording, view.missing_of(ref), done.reasons) if open_ else (),
        source="; ".join(done.sources) or None,
    )


def _wait(wording: Wording, name: str) -> Because:
    wait = wording.program.waits[name]
    view = wording.found.view
    state = view.wait(name)
    mask = state.options.mask
    word = "ready" if mask == 1 else "not started" if state.started is None else "running"
    if state.ready_at is not None and mask != 1 and view.at >= state.ready_at:
        word = "the time is up, not confirmed"
    says = [
        wait_says(wording, view, name),
        wait_lasts(wording, state),
        f"starts with: {', '.join(said_trigger(t) for t in wait.since)}",
    ]
    if wait.restarted_by:
        says.append(f"starts again after: {', '.join(said_trigger(t) for t in wait.restarted_by)}")
    if wait.spec.witness:
        says.append(f"asked at its end: {wait.spec.witness}")
    if wait.spec.then:
        says.append(f"then: {wait.spec.then}")
    decides = deciding(wording, view.missing_of(Ref(name))) if mask != 1 else ()
    if state.ready_at is not None and view.at < state.ready_at:
        decides = (f"{time_left(state.ready_at - view.at)} more", *decides)
    return Because("wait", name, wait.spec.title, word, tuple(says), decides=decides)


def _further(wording: Wording) -> Because:
    """Whether going on with the search is worth it, by what is believed."""
    view, search = wording.found.view, wording.found.search
    value = view.options(Ref(FURTHER))
    state = "open" if value.reasons else FURTHER_STATES.of_mask(value.mask)[0]
    worth = [] if search is None else [going_on_said(wording, search)]
    says = [*worth, *(wording.reason(reason) for reason in value.reasons)]
    decides = deciding(wording, view.missing_of(Ref(FURTHER))) if value.reasons else ()
    return Because("search", FURTHER, "Going on with the search", state, tuple(says), decides=decides)


def wait_lasts(wording: Wording, state: WaitState) -> str:
    """How long a wait lasts, and by which fact where one says it: `lasts 5 min, by discharge_time`."""
    lasts = wording.program.waits[state.name].lasts
    by = f", by {wording.name(Ref(lasts))}" if lasts is not None else ""
    if state.required is None:
        return f"how long it lasts is not known{by}"
    return f"lasts {duration(state.required)}{by}"


def permission_says(wording: Wording, permission: Permission) -> tuple[str, ...]:
    """What stands against it, or why it is not yet allowed."""
    if permission.may is May.NO:
        return tuple(
            f"{b.say}" + (f" Lifted by: {b.lifted_by}" if b.lifted_by else "") for b in permission.blocked
        )
    if permission.may is May.NOT_YET:
        return tuple(dict.fromkeys(wording.reason(r) for r in permission.reasons))
    return ()


def _activity(wording: Wording, name: str) -> Because:
    activity = wording.program.activities[name]
    found = wording.found
    permission = found.activity(name)
    trees = []
    turned: tuple[str, ...] = ()
    if activity.gate is not None:
        trees.append((f"gate of {name}", judgement(wording, found.view, activity.gate)))
        turned = changes(wording, found.view, activity.gate)
    trees += _stops(wording, [name])
    return Because(
        "activity",
        name,
        activity.spec.title,
        permission.may.value,
        permission_says(wording, permission),
        tuple(trees),
        None,
        deciding(wording, permission.missing),
        turned,
    )


def _stops(wording: Wording, activities: Sequence[str]) -> list[tuple[str, Judgement]]:
    """The stops of these activities that hold, or that are open and rest on a safety fact."""
    trees = []
    for state in wording.found.stops:
        rule = wording.program.rules[state.rule]
        if not {t.text for t in rule.spec.stop} & set(activities) or state.verdict is Verdict.FAILS:
            continue
        if state.verdict is Verdict.HOLDS or rule.when.safety:
            trees.append((f"stop {state.rule}", judgement_of_rule(wording, state.rule, state.member)))
    return trees


def _step(wording: Wording, name: str, member: str | None) -> Because:
    step = wording.program.steps[name]
    found = wording.found
    permission = found.permission(name, member)
    state = next((s for s in found.steps if s.step == name and s.member == member), None)
    status = state.status if state is not None else "not in the open checklists"
    says = list(permission_says(wording, permission))
    if step.spec.why:
        says.append(step.spec.why)
    skipped = found.history.skipped.get((name, member))
    if skipped is not None:
        says.append(f"skipped {wording.clock(skipped[0])} (line {skipped[2]}): {skipped[1]}")
    trees = []
    binding = {step.per: member} if step.per and member else {}
    if step.when is not None:
        trees.append(("relevant when", judgement(wording, found.view, step.when, binding)))
    for heading, cond, bound in gates(wording, step, member):
        trees.append((heading, judgement(wording, found.view, cond, bound)))
    activities = [step.spec.activity.text] if step.spec.activity is not None else []
    trees += _stops(wording, activities)
    if step.spec.wait is not None:
        says.append(wait_says(wording, found.view, step.spec.wait.text))
    decides = deciding(wording, permission.missing)
    if state is not None and state.status == "not yet":
        decides = tuple(dict.fromkeys((*decides, *deciding(wording, state.permission.missing))))
    changed = lifting(wording, name, member) if permission.may is May.NO and step.spec.never is None else ()
    return Because(
        "step",
        f"{name} of {member}" if member else name,
        step.spec.title,
        f"{status}; may be done: {permission.may.value}",
        tuple(says),
        tuple(trees),
        None,
        decides,
        changed,
    )


def _place(wording: Wording, name: str) -> Because:
    state = next((p for p in wording.found.places if p.place == name), None)
    title = wording.program.places[name].spec.title
    look = wording.program.look
    belief = wording.found.beliefs[name]
    likely = tuple(_likely(wording, belief))
    named = [*(each.clue for each in belief.weighed), *(each.clue for each in belief.open)]
    clues = tuple(_clue_tree(wording, name, clue) for clue in named)
    if state is None or look is None:
        return Because("place", name, title, "not looked", likely, clues)
    inner = _fact(wording, Ref(look, name))
    reason = [wording.reason(state.reason)] if isinstance(state.reason, Reason) else []
    return Because(
        "place",
        name,
        title,
        state.status,
        (*reason, *likely, *inner.says),
        (*clues, *inner.trees),
        decides=inner.decides,
    )


def _likely(wording: Wording, belief: Belief) -> Iterator[str]:
    """How likely a place is now, by its author and by the clues; nothing where no checklist has a clue."""
    search = wording.found.search
    if not wording.program.clues and search is None:
        return
    moved = "" if share(belief.now) == share(belief.first) else f", {share(belief.first)} without any clue"
    yield f"how likely, as a judgement and not measured: {share(belief.now)}{moved}"
    yield from (clue_says(wording, each) for each in belief.weighed)
    for each in belief.open:
        why = wording.reasons(each.reasons)
        yield f"{clue_says(wording, each)} Not counted: open{f', {why}' if why else ''}"
    if search is not None:
        yield from (quiet_said(wording, each) for each in search.quiet if each.place == belief.place)
        if belief.place in search.disputed:
            yield disputed_said(wording, search)
        if belief.place not in search.untold:
            now = share(search.posterior.places[belief.place])
            yield f"a fault there, after the looks that count: {now}"


def _clue_tree(wording: Wording, place: str, name: str) -> tuple[str, Judgement]:
    clue = wording.program.clues[name]
    binding = {} if clue.spec.per is None else {"place": place}
    return f"clue {name}", judgement(wording, wording.found.view, clue.when, binding)


def clue_says(wording: Wording, clue: Weighed | OpenClue) -> str:
    """A clue with its weight and its reason: `oil-here x3: Oil travels with the refrigerant.`"""
    why = " ".join(wording.program.clues[clue.clue].spec.why.split())
    return f"{clue.clue} x{clue.factor:g}: {why}"


def _powered(wording: Wording, name: str) -> Because:
    powered = wording.program.powered[name]
    view = wording.found.view
    verdict = view.judge(powered.gate)
    return Because(
        "powered state",
        name,
        powered.spec.title,
        verdict.word,
        (f"at most {duration(powered.at_most)}",),
        ((f"gate of {name}", judgement(wording, view, powered.gate)),),
        None,
        deciding(wording, view.missing(powered.gate)),
        changes(wording, view, powered.gate),
    )


def _limit(wording: Wording, name: str) -> Because:
    limit = wording.program.limits[name]
    spec = limit.spec
    says = [f"safer: {spec.safer}"]
    if spec.between is not None:
        says.append(f"may be set between {spec.between[0]} and {spec.between[1]}")
    if spec.about:
        says.append(" ".join(spec.about.split()))
    return Because(
        "limit", name, name, exact(limit.value, limit.unit, wording.zone), tuple(says), source=spec.source
    )


def _event(wording: Wording, name: str, member: str | None) -> Because:
    spec = wording.program.events[name]
    times = wording.found.history.events.get((name, member), [])
    says = [f"{wording.clock(at)} (line {line})" for at, line in times if at <= wording.found.at]
    state = f"happened {len(says)} times" if len(says) != 1 else "happened once"
    if not says:
        state = "has not happened, as far as is known"
    elif isinstance(wording.found.view.last_event(name, member), Reason):
        state += ", and has been undone since"
    undone = wording.program.undone.get(name, ())
    if undone:
        says.append(f"undone by: {', '.join(said_trigger(t) for t in undone)}")
    return Because(
        "event", name, spec.say if spec is not None else name.replace("_", " "), state, tuple(says)
    )
