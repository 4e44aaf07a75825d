"""What a checklist file gives, and what is said of one that is not right."""

from __future__ import annotations

import json
import subprocess
import sys
from textwrap import dedent

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair.checklist import PlaceOrder, Run, Text
from stillair.fault import CODES, MOST_FAULTS, Fault, StillairError, did_you_mean
from stillair.reading import collisions, parse_checklist, read_checklist, schema

GOOD = """\
checklist: safety
title: Make the place safe
lists:
  source: {title: Sources, ask: Any other?, members: {indoor: Indoor unit, outdoor: Outdoor unit}, open: true}
instruments:
  gauge: {title: Low-side gauge, quantity: gauge pressure, repeat: 0.5 psi, check every: 365 d}
facts:
  blower:
    ask: Have you seen the indoor blower stand still?
    options: {stopped: It stands still, running: It turns}
    nature: state
    safety: true
    per: source
  look:
    ask: How strong is it?
    options: [none, faint, strong]
    counts when: {is: blower of indoor is stopped, for: [none], because: moving air thins it}
  dead:
    ask: Is it dead?
    kind: yes-no
    counts when: always
  static_pressure:
    ask: Static pressure
    quantity: gauge pressure
    between: -15 psig .. 700 psig
    read with: gauge
    good for: 30 min
    void after: [circuit_opened, blower becomes running]
events:
  circuit_opened: {say: The circuit was opened}
limits:
  pooling_time: {is: 15 min, between: 10 min .. 30 min, safer: neither, source: common practice}
  tries: {is: 3, safer: lower, source: judgement}
calculate:
  saturation: saturation_pressure(refrigerant, coldest, bubble)
  doubled: {is: 2 * tries, per: source}
activities:
  sniffing: {title: Sniffing, gate: blower is stopped}
waits:
  pool:
    title: Let it pool
    for: pooling_time
    since: [circuit_opened]
    restarted by: [blower becomes running]
    witness: Has anything run?
steps:
  - step: let-it-pool
    activity: sniffing
    do: Keep the cabinet shut.
    ask: [look]
    wait: pool
  - step: defeat-blower
    title: Switch the mitigation blower off
    never: It protects you
powered:
  - state: flush
    title: Flush
    frees: [indoor]
    of: source
    gate: always
    steps: [let-it-pool]
    at most: 60 s
    proof: [blower]
rules:
  - rule: leak-seen
    finding: leak
    grade: probable
    when: look is one of faint, strong
    while: true
  - rule: keep-off
    stop: [sniffing]
    lifted by: the blower seen standing still
    when: blower is running
  - rule: mind
    caution: Mind the fan
    when: >-
      blower is running
      or dead is no
places:
  - place: coil-cabinet
    title: Coil cabinet
    belief: 0.45
    minutes: 25
    order: {sinks: 1, level: 3, rises: 5}
    counts when: pool is ready
  - {place: valve, title: Service valve, belief: 0.1, minutes: 5, order: 2}
impossible:
  - {when: tries > 9, slip: A typing slip, facts: [static_pressure]}
suspect:
  - {facts: [static_pressure], expects: static_pressure > 3 psig}
cautions: [Mind the fan]
defers: [The local code]
"""

REFUSED = [
    (
        "unknown key",
        "    nature: state",
        "    natur: state",
        """
        safety.yaml:11:5: fact `blower` has no key `natur` [SA201]
              natur: state
              ^^^^^
        help: did you mean `nature`?
        """,
    ),
    (
        "unknown key far from every known one",
        "{say: The circuit was opened}",
        "{say: The circuit was opened, zzz: 1}",
        """
        safety.yaml:30:49: event `circuit_opened` has no key `zzz` [SA201]
            circuit_opened: {say: The circuit was opened, zzz: 1}
                                                          ^^^
        help: known here: `say`, `per`, `undone by`
        """,
    ),
    (
        "unknown key of the checklist",
        "defers: [",
        "defer: [",
        """
        safety.yaml:92:1: the checklist has no key `defer` [SA201]
          defer: [The local code]
          ^^^^^
        help: did you mean `defers`?
        """,
    ),
    (
        "unknown choice",
        "    nature: state",
        "    nature: stat",
        """
        safety.yaml:11:13: `nature` of fact `blower` cannot be `stat` [SA209]
              nature: stat
                      ^^^^
        help: did you mean `state`?
        """,
    ),
    (
        "choice far from every other",
        "safer: lower",
        "safer: both",
        """
        safety.yaml:33:25: `safer` of limit `tries` cannot be `both` [SA209]
            tries: {is: 3, safer: both, source: judgement}
                                  ^^^^
        help: use one of `longer`, `shorter`, `higher`, `lower`, `neither`
        """,
    ),
    (
        "no question",
        "    ask: How strong is it?",
        "    why: It matters",
        """
        safety.yaml:14:3: fact `look` has no `ask` [SA202]
            look:
            ^^^^
        help: add `ask`
        """,
    ),
    (
        "no title",
        "title: Make the place safe",
        "about: It matters",
        """
        safety.yaml:1:12: the checklist has no `title` [SA202]
          checklist: safety
                     ^^^^^^
        help: add `title`
        """,
    ),
    (
        "text where a list is needed",
        "cautions: [Mind the fan]",
        "cautions: Mind the fan",
        """
        safety.yaml:91:11: `cautions` must be a list [SA203]
          cautions: Mind the fan
                    ^^^^^^^^^^^^
        help: write `[Mind the fan]`
        """,
    ),
    (
        "list where text is needed",
        "    ask: Is it dead?",
        "    ask: [Is it dead?]",
        """
        safety.yaml:19:10: `ask` of fact `dead` must be one text, not a list [SA203]
              ask: [Is it dead?]
                   ^
        """,
    ),
    (
        "mapping where text is needed",
        "    ask: Is it dead?",
        "    ask: {is: dead}",
        """
        safety.yaml:19:5: `ask` of fact `dead` must be one text, not a mapping [SA203]
              ask: {is: dead}
              ^^^
        """,
    ),
    (
        "text where a mapping is needed",
        "  circuit_opened: {say: The circuit was opened}",
        "  circuit_opened: The circuit was opened",
        """
        safety.yaml:30:19: event `circuit_opened` must be a mapping `key: value` [SA203]
            circuit_opened: The circuit was opened
                            ^^^^^^^^^^^^^^^^^^^^^^
        """,
    ),
    (
        "yes for true",
        "safety: true",
        "safety: yes",
        """
        safety.yaml:12:13: `safety` of fact `blower` must be true or false, not `yes` [SA203]
              safety: yes
                      ^^^
        help: write `true`
        """,
    ),
    (
        "truth value as condition",
        "    when: blower is running",
        "    when: true",
        """
        safety.yaml:73:11: `when` of rule `keep-off` is the truth value `true` [SA203]
              when: true
                    ^^^^
        help: write `always` or `never` for a condition that is settled
        """,
    ),
    (
        "truth value as calculation",
        "  saturation: saturation_pressure(refrigerant, coldest, bubble)",
        "  saturation: false",
        """
        safety.yaml:35:15: calculation `saturation` is the truth value `false` [SA203]
            saturation: false
                        ^^^^^
        help: write `always` or `never` for a condition that is settled
        """,
    ),
    (
        "number as prose",
        "title: Let it pool",
        "title: 15",
        """
        safety.yaml:41:12: `title` of wait `pool` must be text, not the number `15` [SA203]
              title: 15
                     ^^
        help: write "15" in quotes
        """,
    ),
    (
        "empty value",
        "    do: Keep the cabinet shut.",
        "    do:",
        """
        safety.yaml:49:5: `do` of step `let-it-pool` is empty [SA212]
              do:
              ^^
        help: give it a value, or remove it
        """,
    ),
    (
        "empty section",
        "  circuit_opened: {say: The circuit was opened}",
        "",
        """
        safety.yaml:29:1: `events` is empty [SA212]
          events:
          ^^^^^^
        help: give it a value, or remove it
        """,
    ),
    (
        "blank text",
        "    do: Keep the cabinet shut.",
        '    do: "  "',
        """
        safety.yaml:49:9: `do` of step `let-it-pool` is empty [SA212]
              do: "  "
                  ^^^^
        help: give it a value, or remove it
        """,
    ),
    (
        "raw HTML",
        "    do: Keep the cabinet shut.",
        "    do: Keep the <b>cabinet</b> shut.",
        """
        safety.yaml:49:18: `do` of step `let-it-pool` holds raw HTML, `<b>` [SA210]
              do: Keep the <b>cabinet</b> shut.
                           ^^^
        help: use Markdown, or put a backslash before `<`
        """,
    ),
    (
        "raw HTML in a block",
        "    do: Keep the cabinet shut.",
        "    do: |\n      Keep it shut.\n\n      <script>x()</script>",
        """
        safety.yaml:52:7: `do` of step `let-it-pool` holds raw HTML, `<script>x()</script>` [SA210]
                <script>x()</script>
                ^^^^^^^^^^^^^^^^^^^^
        help: use Markdown, or put a backslash before `<`
        """,
    ),
    (
        "option that means unknown",
        "running: It turns",
        "not_sure: I could not see it",
        """
        safety.yaml:10:41: `not_sure` is not an answer: not knowing leaves every answer possible [SA206]
              options: {stopped: It stands still, not_sure: I could not see it}
                                                  ^^^^^^^^
        help: remove it; any question can be left open with a reason
        """,
    ),
    (
        "label that means unknown",
        "running: It turns",
        "other: Cannot tell",
        """
        safety.yaml:10:48: `Cannot tell` is not an answer: not knowing leaves every answer possible [SA206]
              options: {stopped: It stands still, other: Cannot tell}
                                                         ^^^^^^^^^^^
        help: remove it; any question can be left open with a reason
        """,
    ),
    (
        "listed option that means unknown",
        "[none, faint, strong]",
        "[none, faint, unknown]",
        """
        safety.yaml:16:28: `unknown` is not an answer: not knowing leaves every answer possible [SA206]
              options: [none, faint, unknown]
                                     ^^^^^^^
        help: remove it; any question can be left open with a reason
        """,
    ),
    (
        "one option only",
        "[none, faint, strong]",
        "[none]",
        """
        safety.yaml:16:14: `options` of fact `look` must have two answers at least [SA207]
              options: [none]
                       ^
        help: for a yes/no question write `kind: yes-no`
        """,
    ),
    (
        "option twice",
        "[none, faint, strong]",
        "[none, faint, none]",
        """
        safety.yaml:16:28: `none` is listed twice [SA205]
              options: [none, faint, none]
                                     ^^^^
        help: remove one of them
        """,
    ),
    (
        "number as option",
        "[none, faint, strong]",
        "[none, 1]",
        """
        safety.yaml:16:21: `1` must be text, not a number [SA203]
              options: [none, 1]
                              ^
        help: write "1" in quotes
        """,
    ),
    (
        "option with a space",
        "running: It turns",
        "turning fast: It turns",
        """
        safety.yaml:10:41: `turning fast` is not a name: letters, digits, `_` and `-` [SA204]
              options: {stopped: It stands still, turning fast: It turns}
                                                  ^^^^^^^^^^^^
        help: write `turning_fast`
        """,
    ),
    (
        "label that is a number",
        "running: It turns",
        "running: 7",
        """
        safety.yaml:10:50: the label of `running` must be text, not the number `7` [SA203]
              options: {stopped: It stands still, running: 7}
                                                           ^
        help: write "7" in quotes
        """,
    ),
    (
        "options as text",
        "[none, faint, strong]",
        "none or faint",
        """
        safety.yaml:16:14: `options` of fact `look` must be pairs `name: label`, or a list [SA203]
              options: none or faint
                       ^^^^^^^^^^^^^
        """,
    ),
    (
        "no domain",
        "    kind: yes-no",
        "    how: Use the meter",
        """
        safety.yaml:18:3: fact `dead` has no domain [SA207]
            dead:
            ^^^^
        help: add one of `options`, `quantity`, `catalogue`, `kind`; `kind: yes-no` for yes or no
        """,
    ),
    (
        "two domains",
        "    kind: yes-no",
        "    kind: yes-no\n    catalogue: refrigerant",
        """
        safety.yaml:21:5: fact `dead` has more than one domain: `kind` and `catalogue` [SA207]
              catalogue: refrigerant
              ^^^^^^^^^
        help: keep one of them
        """,
    ),
    (
        "range without quantity",
        "    kind: yes-no",
        "    kind: yes-no\n    between: 1 psig .. 2 psig",
        """
        safety.yaml:21:5: `between` belongs to a quantity, and fact `dead` has `kind` [SA208]
              between: 1 psig .. 2 psig
              ^^^^^^^
        help: remove it
        """,
    ),
    (
        "quantity without range",
        "    between: -15 psig .. 700 psig",
        "    why: It matters",
        """
        safety.yaml:24:5: fact `static_pressure` has a quantity and no `between` [SA202]
              quantity: gauge pressure
              ^^^^^^^^
        help: add the lowest and the highest value that can be: `between: LOW .. HIGH`
        """,
    ),
    (
        "range without dots",
        "-15 psig .. 700 psig",
        "-15 psig to 700 psig",
        """
        safety.yaml:25:14: `-15 psig to 700 psig` is not a range [SA211]
              between: -15 psig to 700 psig
                       ^^^^^^^^^^^^^^^^^^^^
        help: write `LOW .. HIGH`, each with its unit
        """,
    ),
    (
        "half a range",
        "-15 psig .. 700 psig",
        "-15 psig ..",
        """
        safety.yaml:25:14: `-15 psig ..` is not a range [SA211]
              between: -15 psig ..
                       ^^^^^^^^^^^
        help: write `LOW .. HIGH`, each with its unit
        """,
    ),
    (
        "evidence for an option that is not there",
        "for: [none]",
        "for: [strongly]",
        """
        safety.yaml:17:58: `strongly` is not an option of fact `look` [SA209]
          …s: blower of indoor is stopped, for: [strongly], because: moving air thins i…
                                                 ^^^^^^^^
        help: did you mean `strong`?
        """,
    ),
    (
        "name in capitals",
        "  look:",
        "  Look:",
        """
        safety.yaml:14:3: `Look` is not a name: a-z, digits and `_`, a letter first [SA204]
            Look:
            ^^^^
        help: write `look`
        """,
    ),
    (
        "name with a dash where conditions use it",
        "  circuit_opened: {",
        "  circuit-opened: {",
        """
        safety.yaml:30:3: `circuit-opened` is not a name: a-z, digits and `_`, a letter first [SA204]
            circuit-opened: {say: The circuit was opened}
            ^^^^^^^^^^^^^^
        help: write `circuit_opened`
        """,
    ),
    (
        "step name with spaces",
        "- step: let-it-pool",
        "- step: Let it pool",
        """
        safety.yaml:47:11: `Let it pool` is not a name: a-z, digits, `_` and `-`, a letter first [SA204]
            - step: Let it pool
                    ^^^^^^^^^^^
        help: write `let-it-pool`
        """,
    ),
    (
        "word of the condition language as a name",
        "  dead:",
        "  latest:",
        """
        safety.yaml:18:3: `latest` is a word of the condition language and cannot be a name [SA204]
            latest:
            ^^^^^^
        """,
    ),
    (
        "name of something else",
        "  circuit_opened: {",
        "  look: {",
        """
        safety.yaml:30:3: the event `look` has the name of the fact in line 14 [SA205]
            look: {say: The circuit was opened}
            ^^^^
        help: give one of them another name
        """,
    ),
    (
        "finding with the name of a fact",
        "finding: leak",
        "finding: dead",
        """
        safety.yaml:66:14: the finding `dead` has the name of the fact in line 18 [SA205]
              finding: dead
                       ^^^^
        help: give one of them another name
        """,
    ),
    (
        "name of a built-in event",
        "  circuit_opened: {",
        "  handover: {",
        """
        safety.yaml:30:3: the event `handover` has the name of a built-in event [SA205]
            handover: {say: The circuit was opened}
            ^^^^^^^^
        help: rename it
        """,
    ),
    (
        "name of the built-in list",
        "  source: {title",
        "  place: {title",
        """
        safety.yaml:4:3: the list `place` has the name of a built-in list [SA205]
            place: {title: Sources, ask: Any other?, members: {indoor: Indoor unit, ou…
            ^^^^^
        help: rename it
        """,
    ),
    (
        "step twice",
        "- step: defeat-blower",
        "- step: let-it-pool",
        """
        safety.yaml:52:11: the step `let-it-pool` is declared twice, first in line 47 [SA205]
            - step: let-it-pool
                    ^^^^^^^^^^^
        help: give one of them another name
        """,
    ),
    (
        "reference that is no name",
        "    ask: [look]",
        "    ask: [look at it]",
        """
        safety.yaml:50:11: `look at it` is not a name [SA204]
              ask: [look at it]
                    ^^^^^^^^^^
        help: write `name`, or `pack.name` for another pack's
        """,
    ),
    (
        "step with nothing to do",
        "    never: It protects you",
        "    why: It protects you",
        """
        safety.yaml:52:5: step `defeat-blower` has nothing to do [SA202]
            - step: defeat-blower
              ^^^^
        help: add one of `do`, `ask`, `wait`, `marks`
        """,
    ),
    (
        "step that must never be done and is optional",
        "    never: It protects you",
        "    never: It protects you\n    optional: true",
        """
        safety.yaml:55:5: step `defeat-blower` must never be done and has `optional` [SA208]
              optional: true
              ^^^^^^^^
        help: remove one of them
        """,
    ),
    (
        "wait without witness",
        "    witness: Has anything run?",
        "    then: Go on",
        """
        safety.yaml:44:5: wait `pool` can be restarted and has no `witness` [SA202]
              restarted by: [blower becomes running]
              ^^^^^^^^^^^^
        help: add the question asked at its end: has anything started it again?
        """,
    ),
    (
        "wait since nothing",
        "    since: [circuit_opened]",
        "    since: []",
        """
        safety.yaml:43:5: `since` is empty [SA212]
              since: []
              ^^^^^
        help: name the event the wait starts with
        """,
    ),
    (
        "rule without end",
        "    finding: leak\n    grade: probable",
        "    say: Look here",
        """
        safety.yaml:65:5: rule `leak-seen` concludes nothing [SA202]
            - rule: leak-seen
              ^^^^
        help: add one of `finding`, `caution`, `stop`
        """,
    ),
    (
        "rule with two ends",
        "    finding: leak",
        "    finding: leak\n    caution: Mind the fan",
        """
        safety.yaml:67:5: rule `leak-seen` has `finding` and `caution` [SA208]
              caution: Mind the fan
              ^^^^^^^
        help: make a rule of each
        """,
    ),
    (
        "grade of a stop",
        "    stop: [sniffing]",
        "    stop: [sniffing]\n    grade: confirmed",
        """
        safety.yaml:72:5: `grade` belongs to a `finding`, and rule `keep-off` has `stop` [SA208]
              grade: confirmed
              ^^^^^
        help: remove it
        """,
    ),
    (
        "unknown grade",
        "grade: probable",
        "grade: likely",
        """
        safety.yaml:67:12: `grade` of rule `leak-seen` cannot be `likely` [SA209]
              grade: likely
                     ^^^^^^
        help: use one of `suspected`, `probable`, `confirmed`, `ruled out`, `not found`
        """,
    ),
    (
        "stop that nothing lifts",
        "    lifted by: the blower seen standing still",
        "    why: It matters",
        """
        safety.yaml:71:5: rule `keep-off` stops work and does not say what lifts the stop [SA202]
              stop: [sniffing]
              ^^^^
        help: add `lifted by`
        """,
    ),
    (
        "stop of nothing",
        "    stop: [sniffing]",
        "    stop: []",
        """
        safety.yaml:71:5: `stop` is empty [SA212]
              stop: []
              ^^^^
        help: name the activities that may not go on
        """,
    ),
    (
        "powered state without proof",
        "    proof: [blower]",
        "    proof: []",
        """
        safety.yaml:63:5: `proof` of powered state `flush` is empty [SA212]
              proof: []
              ^^^^^
        """,
    ),
    (
        "belief above one",
        "belief: 0.45",
        "belief: 45",
        """
        safety.yaml:82:13: `belief` of place `coil-cabinet` must lie between 0 and 1, not be 45 [SA203]
              belief: 45
                      ^^
        """,
    ),
    (
        "no minutes",
        "    minutes: 25",
        "    minutes: 0",
        """
        safety.yaml:83:5: `minutes` of place `coil-cabinet` must be more than 0 [SA203]
              minutes: 0
              ^^^^^^^
        """,
    ),
    (
        "order that is no number",
        "order: 2",
        "order: first",
        """
        safety.yaml:86:74: `order` of place `valve` must be a number [SA203]
          … {place: valve, title: Service valve, belief: 0.1, minutes: 5, order: first}
                                                                                 ^^^^^
        help: or write `{sinks: 1, level: 2, rises: 3}`
        """,
    ),
    (
        "order without one of three",
        "{sinks: 1, level: 3, rises: 5}",
        "{sinks: 1, level: 3}",
        """
        safety.yaml:84:5: `order` of place `coil-cabinet` has no `rises` [SA202]
              order: {sinks: 1, level: 3}
              ^^^^^
        help: add `rises`
        """,
    ),
    (
        "closed list without members",
        "ask: Any other?, members: {indoor: Indoor unit, outdoor: Outdoor unit}, open: true",
        "open: false",
        """
        safety.yaml:4:3: list `source` is closed and has no members [SA208]
            source: {title: Sources, open: false}
            ^^^^^^
        help: add `members`, or `open: true`
        """,
    ),
    (
        "open list without question",
        "ask: Any other?, members",
        "members",
        """
        safety.yaml:4:3: list `source` is open and has no question [SA202]
            source: {title: Sources, members: {indoor: Indoor unit, outdoor: Outdoor u…
            ^^^^^^
        help: add `ask`
        """,
    ),
    (
        "item that is no mapping",
        "  - rule: mind",
        "  - mind\n  - rule: mind",
        """
        safety.yaml:74:5: rule 3 must be a mapping `key: value` [SA203]
            - mind
              ^^^^
        """,
    ),
    (
        "unknown key in a part of a fact",
        "because: moving",
        "becuase: moving",
        """
        safety.yaml:17:65: `counts when` of fact `look` has no key `becuase` [SA201]
          …{is: blower of indoor is stopped, for: [none], becuase: moving air thins it}
                                                          ^^^^^^^
        help: did you mean `because`?
        """,
    ),
    (
        "several faults in the order of the file",
        "    nature: state\n    safety: true",
        "    natur: state\n    safety: on",
        """
        safety.yaml:11:5: fact `blower` has no key `natur` [SA201]
              natur: state
              ^^^^^
        help: did you mean `nature`?
        safety.yaml:12:13: `safety` of fact `blower` must be true or false, not `on` [SA203]
              safety: on
                      ^^
        help: write `true`
        """,
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "expected"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED]
)
def test_refused_with_its_place_and_the_way_out(old: str, new: str, expected: str) -> None:
    """One change to a good checklist, and exactly what is said about it."""
    assert GOOD.count(old) == 1
    with pytest.raises(StillairError) as raised:
        read_checklist(GOOD.replace(old, new), "safety.yaml")
    assert str(raised.value) == dedent(expected).strip("\n")


def test_every_part_of_a_checklist_is_kept() -> None:
    """What is written is found again under its name."""
    checklist = read_checklist(GOOD, "safety.yaml")
    facts = {fact.name: fact for fact in checklist.facts}
    assert list(facts) == ["blower", "look", "dead", "static_pressure"]
    assert [(o.name, o.label) for o in facts["blower"].options] == [
        ("stopped", "It stands still"),
        ("running", "It turns"),
    ]
    assert facts["blower"].safety
    assert str(facts["blower"].per) == "source"
    assert [o.label for o in facts["look"].options] == ["none", "faint", "strong"]
    assert facts["look"].counts_when is not None
    assert [str(v) for v in facts["look"].counts_when.values] == ["none"]
    assert facts["dead"].kind == "yes-no"
    assert [o.name for o in facts["dead"].options] == ["yes", "no"]
    assert facts["dead"].counts_when is not None
    assert str(facts["dead"].counts_when.condition) == "always"
    assert facts["static_pressure"].kind == "quantity"
    assert [str(end) for end in facts["static_pressure"].between or ()] == ["-15 psig", "700 psig"]
    assert [str(e) for e in facts["static_pressure"].void_after] == [
        "circuit_opened",
        "blower becomes running",
    ]
    limits = {limit.name: str(limit.value) for limit in checklist.limits}
    assert limits == {"pooling_time": "15 min", "tries": "3"}
    calculations = {each.name: str(each.expression) for each in checklist.calculations}
    assert calculations["saturation"] == "saturation_pressure(refrigerant, coldest, bubble)"
    assert calculations["doubled"] == "2 * tries"
    assert [step.title for step in checklist.steps] == ["Let it pool", "Switch the mitigation blower off"]
    assert checklist.steps[1].never == "It protects you"
    assert [rule.grade for rule in checklist.rules] == ["probable", "confirmed", "confirmed"]
    assert [rule.while_ for rule in checklist.rules] == [True, False, False]
    assert [str(stopped) for stopped in checklist.rules[1].stop] == ["sniffing"]
    assert checklist.rules[2].when.text == "blower is running or dead is no"
    assert [place.order for place in checklist.places] == [PlaceOrder(1, 3, 5), PlaceOrder(2, 2, 2)]
    assert [member.name for member in checklist.lists[0].members] == ["indoor", "outdoor"]
    assert str(checklist.waits[0].duration) == "pooling_time"
    assert str(checklist.powered[0].at_most) == "60 s"
    assert checklist.instruments[0].repeat == Text("0.5 psi")
    assert checklist.impossible[0].slip == "A typing slip"
    assert str(checklist.suspect[0].expects) == "static_pressure > 3 psig"
    assert (checklist.cautions, checklist.defers) == (("Mind the fan",), ("The local code",))


def test_a_fault_inside_a_folded_condition_is_shown_in_its_own_line() -> None:
    """The compiler points into a condition by offset; the reader knows the line of the file."""
    when = read_checklist(GOOD, "safety.yaml").rules[2].when
    fault = when.fault("SA201", "no fact is called `dead`", start=when.text.index("dead"), length=4)
    assert fault.render() == dedent(
        """\
        safety.yaml:78:10: no fact is called `dead` [SA201]
                or dead is no
                   ^^^^"""
    )


def test_a_fault_over_two_lines_ends_with_the_first() -> None:
    """The caret never runs past the end of the line it stands under."""
    when = read_checklist(GOOD, "safety.yaml").rules[2].when
    assert when.fault("SA201", "x").length == len("blower is running")


def test_two_texts_that_read_the_same_are_equal_wherever_they_stand() -> None:
    """Packs are compared by what they say."""
    assert Text("a", "x.yaml", (Run(0, 1, 1, "a"),)) == Text("a", "y.yaml")
    assert Text("a").fault("SA201", "x") == Fault("SA201", "x", "")


def test_one_finding_may_be_reached_by_several_rules() -> None:
    """A finding may be suspected by one rule and confirmed by another."""
    second = "  - {rule: sure, finding: leak, when: always}\nplaces:\n"
    checklist = read_checklist(GOOD.replace("places:\n", second), "safety.yaml")
    assert [str(rule.finding) for rule in checklist.rules if rule.finding] == ["leak", "leak"]


def test_a_name_declared_in_two_files_of_a_pack_names_both() -> None:
    """All files of a pack share their names."""
    first = parse_checklist(GOOD, "safety.yaml")
    second = parse_checklist(
        "checklist: search\ntitle: Search\nevents: {look: {say: Looked}}\n", "search.yaml"
    )
    assert [fault.render() for fault in collisions([first, second])] == [
        "search.yaml:3:10: the event `look` has the name of the fact in safety.yaml:14 [SA205]\n"
        "  events: {look: {say: Looked}}\n"
        "           ^^^^\n"
        "help: give one of them another name"
    ]


def test_less_than_and_links_are_no_raw_html() -> None:
    """Prose may compare numbers and link to a page."""
    prose = "Below 3 < 5, see <https://example.org>"
    checklist = read_checklist(GOOD.replace("do: Keep the cabinet shut.", f"do: {prose}"), "safety.yaml")
    assert checklist.steps[0].do == prose


def test_the_schema_knows_every_key() -> None:
    """Editors can be told what belongs where."""
    written = json.dumps(schema())
    for key in ("counts when", "read with", "lifted by", "restarted by", "at most", "check every"):
        assert f'"{key}"' in written


def test_records_need_neither_pydantic_nor_yaml() -> None:
    """A compiled checklist starts without the reader."""
    program = (
        "import sys, stillair.checklist, stillair.fault, stillair.pack; "
        "print([m for m in ('pydantic', 'yaml', 'markdown_it', 'lark') if m in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


def test_a_code_outside_the_table_cannot_be_used() -> None:
    """Every code can be explained."""
    with pytest.raises(ValueError, match="SA999"):
        Fault("SA999", "x", "f.yaml")


def test_meanings_are_one_line_in_lower_case() -> None:
    """The table reads like the messages do."""
    for code, meaning in CODES.items():
        assert code[:2] == "SA" and code[2:].isdigit() and len(code) == 5
        assert "\n" not in meaning and not meaning.endswith(".")


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("blowr", "did you mean `blower`?"),
        ("static-pressure", "did you mean `static_pressure`?"),
        ("zzz", None),
    ],
)
def test_the_nearest_name_is_offered(written: str, expected: str | None) -> None:
    """A slip of the finger is answered with the name that was meant."""
    assert did_you_mean(written, ["blower", "static_pressure"]) == expected


def test_nothing_a_file_holds_can_steer_the_terminal() -> None:
    """A fault shows control characters as replaced, and its caret stays in place."""
    fault = Fault("SA109", "bad \x1b[31m", "a\x1bb.yaml", 1, 7, 1, "key: \x1bx\u202e")
    assert fault.render() == ("a\ufffdb.yaml:1:7: bad \ufffd[31m [SA109]\n  key: \ufffdx\ufffd\n        ^")


def test_what_is_told_of_a_hostile_file_has_an_end() -> None:
    """A key of a hundred thousand letters, or a thousand unknown keys, do not fill the screen."""
    text = GOOD + "".join(f"k{i}: 1\n" for i in range(1000))
    with pytest.raises(StillairError) as raised:
        read_checklist(text, "safety.yaml")
    assert len(raised.value.faults) == MOST_FAULTS
    with pytest.raises(StillairError) as raised:
        read_checklist(GOOD.replace("10 min .. 30 min", "x" * 100_000), "safety.yaml")
    assert len(str(raised.value)) < 1000


PIECES = (
    "{",
    "}",
    "[",
    "]",
    ":",
    "- ",
    "&a",
    "*a",
    "!t",
    "'",
    '"',
    "|",
    "\n",
    "  ",
    "\t",
    "null",
    "1",
    "<b>",
    "\x00",
)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), st.sampled_from(PIECES)), min_size=1, max_size=4)
)
def test_a_damaged_file_is_read_or_refused_with_a_place(damage: list[tuple[float, int, str]]) -> None:
    """Whatever is cut out or put in, the answer is a checklist or faults that stand inside the file."""
    text = GOOD
    for share, cut, piece in damage:
        place = int(share * len(text))
        text = text[:place] + piece + text[place + cut :]
    try:
        read_checklist(text, "safety.yaml")
    except StillairError as error:
        lines = text.split("\n")
        for fault in error.faults:
            assert fault.render()
            assert fault.line <= len(lines)
            if fault.line and fault.line <= len(lines):
                assert fault.source_line == lines[fault.line - 1]
                assert 1 <= fault.column <= len(fault.source_line) + 1
