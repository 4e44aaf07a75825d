"""What each part of a trail says, from the assessment alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TypeAlias

from stillair.assess import Finding, PlaceState, RuleState
from stillair.because import deciding, reading_used, said_trigger
from stillair.carried import carried
from stillair.condition.core import Ref
from stillair.job import JSON
from stillair.job import Line as Entry
from stillair.margin import Judgement, judgement_of_rule, wait_says
from stillair.verdict import Verdict, Why
from stillair.wording import Wording, duration, exact
from stillair.working import working

from .document import Code, Item, Line, Part, Strong, line
from .prose import prose

__all__ = [
    "calculations",
    "cautions",
    "finding_title",
    "findings",
    "introduction",
    "limits",
    "periods",
    "places",
    "quoted",
    "ranked",
    "stop_said",
    "undecided",
]

_RANKS = ("confirmed", "probable", "suspected", "not_found", "ruled_out")
"""The order findings are told in: what is surest first, what is not so last."""

_ORDER = (
    "The order of authority: law and the adopted code, as the authority having jurisdiction reads them.",
    "Then the instructions of the equipment maker. Then the rules of the company. Then this checklist.",
    "Where two of them differ, the stricter wins.",
    "Work that needs a licence or a certificate stays with those who hold it.",
)

Block: TypeAlias = Line | tuple[Item, ...]


def items(found: Iterable[Item]) -> tuple[Item, ...]:
    return tuple(found)


def introduction(wording: Wording, title: str | None, ended: str) -> Part:
    """What the trail is, and is not; the deferral of every pack."""
    found = wording.found
    begun = wording.moment(found.history.start)
    facts = [
        Item(line("Job: ", Strong(title) if title is not None else "title left out of this copy")),
        Item(line("Begun: ", begun)),
        Item(line("Assessed as of: ", wording.moment(found.at))),
        Item(line("State: ", ended)),
    ]
    defers = [prose(text) for c in wording.program.checklists.values() for text in c.defers]
    return Part(
        "What this is, and what it is not",
        (
            line(
                "This is the record of one job. "
                "It says what was asked, what was observed, what follows and why. "
                "It names what could not be decided."
            ),
            items(facts),
            line(
                "It is not a permit, an inspection or a certificate. "
                "It never says that anything complies with a code."
            ),
            items(Item(line(text)) for text in (*_ORDER, *dict.fromkeys(defers))),
            line(
                "A number is given with its tolerance. "
                "± means at 95 %: of 100 such readings about 95 are so near. "
                "Where a tolerance decides, the margin is shown."
            ),
        ),
    )


# -- stops and cautions --------------------------------------------------------------------------------------


def cautions(wording: Wording, entries: Sequence[Entry]) -> Part:
    """Stops in force or not ruled out, what was done all the same, emergencies, cautions; in every trail."""
    found = wording.found
    program = wording.program
    blocks: list[Block] = []
    holding = [s for s in found.stops if s.verdict is Verdict.HOLDS]
    open_stops = [s for s in found.stops if s.verdict is Verdict.OPEN and program.rules[s.rule].when.safety]
    if holding:
        blocks.append(line(Strong("Stops in force."), " What they name may not go on."))
        blocks.append(items(_stop(wording, s) for s in holding))
    else:
        blocks.append(line("No stop is in force at this time."))
    if open_stops:
        blocks.append(
            line(
                Strong("Stops not ruled out."),
                " What they rest on is not known now, so the work they name waits.",
            )
        )
        blocks.append(
            items(
                Item(
                    line(Strong(stop_said(wording, s)), " (", Code(_rule_name(s)), ")"),
                    items(Item(line(wording.reason(r))) for r in s.reasons),
                )
                for s in open_stops
            )
        )
    emergencies = found.history.events.get(("emergency", None), [])
    if emergencies:
        blocks.append(line(Strong("Emergency shown:"), " leave, do not switch, call."))
        blocks.append(
            items(Item(line(wording.clock(at), f", line {n}")) for at, n in emergencies if at <= found.at)
        )
    anyway = items(_anyway(wording, entries))
    if anyway:
        blocks.append(line(Strong("Done though not permitted:")))
        blocks.append(anyway)
    unchecked = items(_unchecked(wording))
    if unchecked:
        blocks.append(line(Strong("Instruments whose check is overdue or not known:")))
        blocks.append(unchecked)
    given = [
        Item(line(Strong(prose(program.rules[s.rule].spec.caution))), _because(wording, s))
        for s in found.cautions
        if s.verdict is Verdict.HOLDS
    ]
    always = dict.fromkeys(prose(t) for c in program.checklists.values() for t in c.cautions)
    blocks.append(line(Strong("Cautions.")))
    blocks.append(
        items([*given, *(Item(line(text)) for text in always)])
        or items([Item(line("The checklists of this job give no caution of their own."))])
    )
    return Part("Stops and cautions", tuple(blocks))


def _anyway(wording: Wording, entries: Sequence[Entry]) -> Iterator[Item]:
    """Each step or event that was entered as done against permission, with the words why."""
    history = wording.found.history
    for entry in entries:
        if entry.kind not in ("event", "done"):
            continue
        if entry.entered > history.known or entry.taken > wording.found.at:
            continue
        stands, body = entry, entry.body
        if entry.n in history.corrected:
            stands = entries[history.corrected[entry.n] - 1]
            replaced = stands.body.get("body")
            if not isinstance(replaced, Mapping):
                continue
            body = replaced
        why = body.get("why")
        if why is None and "why" not in stands.left_out:
            continue
        said = "left out of this copy" if why is None else quoted(str(why))
        yield Item(
            line(
                Strong(_done_title(wording, entry.kind, body)),
                " was done though not permitted at that time: ",
                f"{said}. {wording.clock(entry.taken)}, line {stands.n}.",
            )
        )


def _done_title(wording: Wording, kind: str, body: Mapping[str, JSON]) -> str:
    program = wording.program
    of = f", {body['of']}" if body.get("of") else ""
    if kind == "done":
        step = program.steps.get(str(body["step"]))
        return (prose(step.spec.title) if step is not None else str(body["step"])) + of
    name = str(body["event"])
    powered = program.powered.get(name.removesuffix("_begun"))
    if powered is not None and name.endswith("_begun"):
        return prose(powered.spec.title)
    spec = program.events.get(name)
    return (prose(spec.say) if spec is not None else name.replace("_", " ")) + of


def quoted(text: str) -> str:
    """Words of a person in quotation marks, which they cannot close."""
    return "“" + text.replace("“", '"').replace("”", '"') + "”"


def _unchecked(wording: Wording) -> Iterator[Item]:
    """Each instrument past its check date, or without one where its kind is checked, and its readings."""
    found = wording.found
    for each in carried(wording):
        said = each.caution(found.at, wording.zone)
        if said is None:
            continue
        read = items(
            Item(line(Code(wording.name(Ref(o.fact, o.member))), f", {at}, line {o.line}"))
            for o in each.doubtful(wording)
            for at in (wording.clock(o.taken),)
        )
        under = [Item(line("Readings taken with it:" if read else "No reading rests on it."), read)]
        yield Item(line(Strong(f"{said}.")), tuple(under))


def _rule_name(state: RuleState) -> str:
    return f"{state.rule} of {state.member}" if state.member else state.rule


def _label(wording: Wording, state: RuleState) -> str:
    per = wording.program.rules[state.rule].per
    label = wording.member(per, state.member)
    return f"{label}: " if label else ""


def stop_said(wording: Wording, state: RuleState) -> str:
    """What a stop says, with the member it is about."""
    spec = wording.program.rules[state.rule].spec
    return _label(wording, state) + (prose(spec.say) or state.rule)


def _stop(wording: Wording, state: RuleState) -> Item:
    spec = wording.program.rules[state.rule].spec
    stopped = [wording.program.activities[t.text].spec.title for t in spec.stop]
    under = [Item(line("Stopped: ", "; ".join(stopped)))]
    if spec.lifted_by:
        under.append(Item(line("Lifted by: ", prose(spec.lifted_by))))
    if wording.program.rules[state.rule].when.safety:
        under.append(Item(line("It rests on a safety fact: nothing overrides it.")))
    under += _because(wording, state)
    return Item(line(Strong(stop_said(wording, state)), " (", Code(_rule_name(state)), ")"), items(under))


def _because(wording: Wording, state: RuleState) -> tuple[Item, ...]:
    """Why a rule is as it is: its reason, every test with its margin, its lines and its source."""
    spec = wording.program.rules[state.rule].spec
    under: list[Item] = []
    if spec.why:
        under.append(Item(line("Why: ", prose(spec.why))))
    tree = judgement_of_rule(wording, state.rule, state.member)
    under += tests(tree)
    if tree.lines:
        under.append(Item(line(_lines(tree.lines))))
    if spec.source:
        under.append(Item(line("Source: ", prose(spec.source))))
    return tuple(under)


def _lines(numbers: Sequence[int]) -> str:
    word = "line" if len(numbers) == 1 else "lines"
    return f"Rests on {word} {', '.join(map(str, numbers))}."


def own_tests(tree: Judgement) -> Iterator[Judgement]:
    """The tests of a condition, without those of the findings and lists it refers to."""
    if tree.says:
        yield tree
        return
    for part in tree.parts:
        yield from own_tests(part)


def tests(tree: Judgement) -> list[Item]:
    """Each test with its value, its margin and its verdict, and how its number came about."""
    found = []
    for each in own_tests(tree):
        under = [Item(line(Code(step))) for step in each.working]
        if each.doubt:
            under.append(Item(line(Code(each.doubt), " at 95 %")))
        if each.settles:
            under.append(Item(line(each.settles)))
        says = Code(f"{each.says}: {each.verdict.word}")
        found.append(Item(line(Code(each.text), " – ", says), tuple(under)))
    return found


# -- findings ------------------------------------------------------------------------------------------------


def findings(wording: Wording) -> Part:
    """Findings that stand, with grade, time and reason; then what was looked for and is not so."""
    found = wording.found
    standing = ranked(f for f in found.findings if f.rule is not None)
    absent = [f for f in found.findings if f.grade == "none"]
    blocks: list[Block] = []
    if standing:
        blocks.append(items(_finding(wording, f) for f in standing))
    else:
        blocks.append(line("Nothing has been found yet."))
    if absent:
        blocks.append(line(Strong("Looked for, and not so:")))
        grouped: dict[tuple[object, ...], list[Finding]] = {}
        for finding in absent:
            under = _absent(wording, finding)
            grouped.setdefault((finding.name, *under), []).append(finding)
        blocks.append(items(_absent_item(wording, group) for group in grouped.values()))
    return Part("Findings", tuple(blocks))


def ranked(found: Iterable[Finding]) -> list[Finding]:
    """Findings with a grade that says something: the surest first, within a grade by time."""
    known = [f for f in found if f.grade in _RANKS]
    return sorted(known, key=lambda f: (_RANKS.index(f.grade), f.decided if f.decided is not None else 0.0))


def finding_title(wording: Wording, finding: Finding, rule_name: str) -> str:
    """What the rule that gave a finding says, with the member it is about."""
    rule = wording.program.rules[rule_name]
    label = wording.member(rule.per, finding.member)
    said = prose(rule.spec.say) or finding.name.replace("_", " ")
    return f"{label}: {said}" if label else said


def _finding(wording: Wording, finding: Finding) -> Item:
    assert finding.rule is not None
    state = next(s for s in wording.found.rules if (s.rule, s.member) == (finding.rule, finding.member))
    grade = finding.grade.replace("_", " ")
    when = f", {wording.moment(finding.decided)}" if finding.decided is not None else ""
    under = list(_because(wording, state))
    stronger = [g.replace("_", " ") for g in finding.grades if g not in (finding.grade, "none")]
    if stronger:
        under.append(Item(line("What is still open may make it: ", " or ".join(stronger), ".")))
    under.append(Item(line("Rule ", Code(_rule_name(state)), ", finding ", Code(finding.name), ".")))
    return Item(
        line(Strong(finding_title(wording, finding, finding.rule)), f" – {grade}{when}"), tuple(under)
    )


def _absent(wording: Wording, finding: Finding) -> tuple[Item, ...]:
    """The tests that fail, rule by rule."""
    under: list[Item] = []
    for name in wording.program.findings[finding.name]:
        tree = judgement_of_rule(wording, name, finding.member)
        failing = [each for each in own_tests(tree) if each.verdict is Verdict.FAILS]
        under += [Item(line(Code(f"{each.says}: {each.verdict.word}"))) for each in failing[:2]]
    return tuple(under)


def _absent_item(wording: Wording, group: Sequence[Finding]) -> Item:
    """By its name alone: the words of a finding that is not so are too easily read as one that is."""
    name = group[0].name
    per = wording.program.rules[wording.program.findings[name][0]].per
    where = tuple(Item(line("At: ", wording.member(per, f.member))) for f in group if f.member)
    return Item(line(Code(name)), (*_absent(wording, group[0]), *where))


# -- what is open --------------------------------------------------------------------------------------------


def undecided(wording: Wording) -> Part:
    """Open findings, grouped where they are open for the same reasons, and entries that are in doubt."""
    found = wording.found
    blocks: list[Block] = []
    if found.suspicions:
        blocks.append(line(Strong("Entries in doubt."), " Nothing rests on them until they are settled."))
        blocks.append(
            items(
                Item(line(Code(wording.name(s.ref)), f", line {s.observation.line}: ", prose(s.slip)))
                for s in found.suspicions
            )
        )
    open_findings = [f for f in found.findings if f.grade == "open"]
    groups: dict[tuple[str, tuple[str, ...]], list[Finding]] = {}
    for finding in open_findings:
        of = f" of {finding.member}"
        reasons = tuple(dict.fromkeys(wording.reason(r).replace(of, "") for r in finding.reasons))
        groups.setdefault((finding.name, reasons), []).append(finding)
    if groups:
        blocks.append(items(_open(wording, group, reasons) for (_, reasons), group in groups.items()))
    unwatched = [
        Item(line(Code(wait_says(wording, found.view, name))))
        for name, state in found.waits.items()
        if state.started is not None and any(r.why is Why.UNWATCHED for r in state.options.reasons)
    ]
    if unwatched:
        blocks.append(line(Strong("Waits nobody watched:")))
        blocks.append(items(unwatched))
    if not blocks:
        blocks.append(line("Every finding of the open checklists is decided."))
    return Part("What could not be decided, and what would decide it", tuple(blocks))


def _open(wording: Wording, group: Sequence[Finding], reasons: Sequence[str]) -> Item:
    first = group[0]
    rules = wording.program.findings[first.name]
    per = wording.program.rules[rules[0]].per
    may = " or ".join("not so" if g == "none" else g.replace("_", " ") for g in first.grades)
    under = [Item(line(reason)) for reason in reasons[:6]]
    if len(reasons) > 6:
        under.append(Item(line(f"and {len(reasons) - 6} more reasons")))
    missing: dict[Ref, None] = {}
    settled: dict[str, None] = {}
    for name in rules:
        rule = wording.program.rules[name]
        binding = {rule.per: first.member} if rule.per and first.member else {}
        missing.update(dict.fromkeys(wording.found.view.missing(rule.when, binding)))
        if len(group) == 1:
            tree = judgement_of_rule(wording, name, first.member)
            settled.update(dict.fromkeys(e.settles for e in own_tests(tree) if e.settles))
    if missing:
        shown = [ref if len(group) == 1 else Ref(ref.name) for ref in missing]
        questions = deciding(wording, shown)
        under.append(
            Item(line("What would decide it:"), items(Item(line(question)) for question in questions))
        )
    if settled:
        under.append(Item(line("Too close to call:"), items(Item(line(text)) for text in settled)))
    if per is not None:
        where = tuple(Item(line(Strong(wording.member(per, f.member)))) for f in group)
        under.insert(0, Item(line("Open at:"), where))
    return Item(line(Code(first.name), f" – may still be {may}"), tuple(under))


# -- places --------------------------------------------------------------------------------------------------


def places(wording: Wording) -> Part | None:
    """Places checked, voided, waiting for a later check, not reached, not looked at; None without places."""
    found = wording.found
    if not wording.program.places or not found.places:
        return None
    groups: dict[str, list[PlaceState]] = {}
    for state in found.places:
        known = state.status in ("not looked", "not reached", "void", "waiting", "disputed")
        groups.setdefault(state.status if known else "checked", []).append(state)
    said = (
        ("checked", "Checked, and it counts:"),
        ("void", "Looked at, but void: it proves nothing."),
        ("waiting", "Looked at, and waiting for what must follow before it counts:"),
        ("disputed", "Looked at, and the entries differ:"),
        ("not reached", "Not reached:"),
        ("not looked", "Not looked at:"),
    )
    blocks: list[Block] = []
    for key, title in said:
        if key in groups:
            blocks.append(line(Strong(title)))
            blocks.append(items(_place(wording, state) for state in groups[key]))
    if "not reached" not in groups:
        blocks.append(line("No place was given up as not reached."))
    return Part("Places", tuple(blocks))


def _place(wording: Wording, state: PlaceState) -> Item:
    title = wording.program.places[state.place].spec.title
    pieces: list[str | Strong | Code] = [Strong(title)]
    under: list[Item] = []
    observation = state.observation
    if observation is not None:
        what = reading_used(wording, observation)
        pieces.append(f": {what}, {wording.clock(observation.taken)}, line {observation.line}")
    if state.reason is not None and state.status != "not reached":
        under.append(Item(line("Because: ", wording.reason(state.reason))))
    return Item(tuple(pieces), tuple(under))


# -- calculations, limits ------------------------------------------------------------------------------------


def calculations(wording: Wording) -> Part | None:
    """Each calculation with the numbers put in, its tolerance, and where the formula comes from."""
    found = []
    view = wording.found.view
    for name, (formula, per, about) in wording.program.calculations.items():
        members: Sequence[str | None] = [None] if per is None else view.members(per)[0]
        for member in members:
            ref = Ref(name, member)
            done = working(wording, view, formula, ref, wording.name(ref))
            under = [Item(line(prose(about)))] if about else []
            under += [Item(line(Code(step))) for step in done.steps]
            if done.doubt:
                under.append(Item(line(Code(done.doubt), " at 95 %")))
            if done.number.undefined or done.reasons:
                reasons = list(dict.fromkeys(wording.reason(r) for r in done.reasons))
                under.append(Item(line("Not known: "), items(Item(line(reason)) for reason in reasons)))
            under += [Item(line("Formula: ", Code(text))) for text in done.formulas]
            under += [Item(line("Valid: ", Code(text))) for text in done.valid]
            under += [Item(line("Source: ", prose(text))) for text in done.sources]
            if done.number.lines:
                under.append(Item(line(_lines(done.number.lines))))
            head = line(Code(f"{done.result}"), " – ", Code(done.expression))
            found.append(Item(head, tuple(under)))
    return Part("Calculations", (items(found),)) if found else None


def limits(wording: Wording) -> Part | None:
    """Each limit in force with its value, how far it may be set, and where it comes from."""
    found = []
    for limit in wording.program.limits.values():
        spec = limit.spec
        range_ = f", may be set from {spec.between[0]} to {spec.between[1]}" if spec.between else ""
        safer = f", safer: {spec.safer}" if spec.safer != "neither" else ""
        value = exact(limit.value, limit.unit, wording.zone)
        under = [Item(line(prose(spec.about)))] if spec.about else []
        under.append(Item(line("Source: ", prose(spec.source))))
        found.append(Item(line(Code(f"{spec.name} = {value}"), f"{range_}{safer}"), tuple(under)))
    return Part("Limits in force", (items(found),)) if found else None


# -- waits and powered states --------------------------------------------------------------------------------


def periods(wording: Wording) -> Part | None:
    """Waits, required and achieved, and what was powered, for how long, and how it was proved off again."""
    blocks: list[Block] = []
    waits = [item for name in wording.program.waits for item in _wait(wording, name)]
    if waits:
        blocks.append(
            line(
                "Times are by the clock alone, that of the device, also while the program was shut. "
                "Where ",
                Code("verify"),
                " says that the clock went back, they are in doubt.",
            )
        )
        blocks.append(line(Strong("Waits, required and achieved:")))
        blocks.append(items(waits))
    powered = [item for name in wording.program.powered for item in _powered(wording, name)]
    if powered:
        blocks.append(line(Strong("Powered states, exceptions to the lockout:")))
        blocks.append(items(powered))
    elif wording.program.powered:
        blocks.append(line("No powered state was begun."))
    return Part("Waits and powered states", tuple(blocks)) if blocks else None


def _wait(wording: Wording, name: str) -> Iterator[Item]:
    """One item for each time the wait was started or started again."""
    found = wording.found
    wait = wording.program.waits[name]
    lines = {o.taken for each in found.history.observations.values() for o in each}
    lines |= {at for each in found.history.events.values() for at, _ in each}
    runs: dict[float, tuple[str, float | None]] = {}
    ended: dict[float, float] = {}
    before: float | None = None
    for moment in sorted({t for t in lines if t <= found.at} | {found.at}):
        state = found.view.as_of(moment).wait(name)
        if state.started != before and before is not None and before in runs:
            ended.setdefault(before, moment)
        before = state.started
        if state.started is None:
            continue
        ready = state.options.taken if state.options.mask == 1 else None
        held = runs.get(state.started)
        if held is None or (held[1] is None and ready is not None):
            runs[state.started] = (state.restarted_by, ready)
    required = duration(wait.duration)
    title = prose(wait.spec.title)
    if not runs:
        starts = ", ".join(said_trigger(t) for t in wait.since)
        yield Item(line(Strong(title), f": required {required}, never started. It starts with: {starts}."))
    for started, (again, ready) in runs.items():
        began = f"began {wording.clock(started)}" + (f" again ({again})" if again else "")
        if ready is not None:
            said = f"achieved {duration(ready - started)}, ready {wording.clock(ready)}"
        elif started in ended:
            said = f"broken off {wording.clock(ended[started])} after {duration(ended[started] - started)}"
        else:
            said = f"not ready: {duration(found.at - started)} so far"
            if found.at - started >= wait.duration:
                said = (
                    f"{duration(found.at - started)} by the clock, and nobody has said that nothing happened"
                )
        yield Item(line(Strong(title), f": required {required}, {began}, {said}."))


def _powered(wording: Wording, name: str) -> Iterator[Item]:
    found = wording.found
    powered = wording.program.powered[name]
    begun = [e for e in found.history.events.get((f"{name}_begun", None), []) if e[0] <= found.at]
    ended = [e for e in found.history.events.get((f"{name}_ended", None), []) if e[0] <= found.at]
    for index, (start, start_line) in enumerate(begun):
        after = begun[index + 1] if index + 1 < len(begun) else (float("inf"), 0)
        end = next((e for e in ended if (start, start_line) < e < after), None)
        limit = duration(powered.at_most)
        said = f": begun {wording.clock(start)} (line {start_line}), "
        if end is None:
            said += f"no end entered; at most {limit} was allowed"
        else:
            lasted = end[0] - start
            over = ", longer than allowed" if lasted > powered.at_most else ""
            said += f"ended {wording.clock(end[0])} (line {end[1]}) after {duration(lasted)}, "
            said += f"at most {limit} allowed{over}"
        freed = [wording.member(powered.spec.of.text, t.text) for t in powered.spec.frees]
        under = [Item(line("Freed: ", "; ".join(freed)))]
        proofs = list(_proofs(wording, name, (start, start_line), after))
        under.append(
            Item(line("Proved off again by:" if proofs else "Not proved off again yet."), tuple(proofs))
        )
        yield Item(line(Strong(prose(powered.spec.title)), said), tuple(under))


def _proofs(
    wording: Wording, name: str, begun: tuple[float, int], after: tuple[float, int]
) -> Iterator[Item]:
    powered = wording.program.powered[name]
    spec = powered.spec
    freed = {t.text for t in spec.frees}
    for proved, _ in powered.proof:
        fact = wording.program.facts[proved]
        members: Sequence[str | None] = [None]
        if fact.per is not None:
            known = wording.found.view.members(fact.per)[0]
            members = [m for m in known if m in freed or fact.per != spec.of.text]
        for member in members:
            for observation in wording.found.history.before((fact.name, member), wording.found.at):
                if begun < (observation.taken, observation.line) < after:
                    said = reading_used(wording, observation)
                    yield Item(
                        line(
                            Code(wording.name(Ref(fact.name, member))),
                            f": {said}, {wording.clock(observation.taken)}, line {observation.line}",
                        )
                    )
                    break
