"""The first files of a pack: one working checklist, with scenarios that pass."""

from __future__ import annotations

import json
from collections.abc import Mapping

from stillair.authoring.schema import checklist_schema, manifest_schema
from stillair.version import engine_version

__all__ = ["scaffold"]

_MANIFEST = """\
# yaml-language-server: $schema=.schema/manifest.json
pack: NAME
version: 0.1.0
title: TITLE
engine: ">=ENGINE,<1"
checklists: [FILE]
licence: All rights reserved
about: What it is for, and for whom.
"""

_CHECKLIST = """\
# yaml-language-server: $schema=.schema/checklist.json
checklist: WORK
title: TITLE
about: Change this checklist to your own. It is a small whole one, so that something works from the start.

facts:
  danger:
    ask: Any smoke, smell of gas or bare wire?
    kind: yes-no
    safety: true
    void after: [handover, emergency]
    why: People first. With a yes nobody works here.
    caution: If yes, leave. Touch no switch. Call for help from outside.
  switched_off:
    ask: Is the machine off and locked?
    kind: yes-no
    safety: true
    void after: [handover, emergency]
    why: What is not locked can start at any moment.
    caution: A switch is no lock. Somebody else can turn it on.
  oil_level:
    ask: Level of the oil
    quantity: length
    unit: in
    between: 0 in .. 10 in
    read with: dipstick
    good for: 30 min
    why: Too little oil ruins the bearings.
    how: Wipe the dipstick, put it in, and read it once.

instruments:
  dipstick:
    title: Dipstick
    quantity: length
    repeat: 0.1 in
    source: common practice

limits:
  least_oil:
    is: 2 in
    between: 1 in .. 4 in
    safer: higher
    source: judgement, no source
    about: Less than this is too little.

activities:
  measuring:
    title: Measuring inside the machine
    gate: danger is no and switched_off is yes
    caution: Parts may be hot.

steps:
  - step: look-round
    title: Look round before you touch
    do: Look from a few steps away.
    why: Any of these may end the visit before it begins.
    ask: [danger, switched_off]
  - step: measure-the-oil
    title: Measure the oil
    activity: measuring
    do: Open the lid and read the dipstick.
    why: The level decides whether it may run.
    ask: [oil_level]

rules:
  - rule: leave
    stop: [measuring]
    when: danger is yes
    say: Leave the room
    lifted by: The danger is gone, and you answer the question again.
    why: People first.
    source: common practice
  - rule: too-little-oil
    finding: oil
    grade: ruled out
    when: oil_level < least_oil
    say: There is too little oil in it
    why: Below the least level the pump draws air.
    source: common practice
  - rule: enough-oil
    finding: oil
    when: oil_level >= least_oil
    say: There is oil enough in it
    why: Above the least level the bearings are wet.
    source: common practice

groups:
  - group: the-oil
    rules: [too-little-oil, enough-oil]
    are: [exclusive, complete]

cautions:
  - Wear eye protection and gloves.

defers:
  - Ask the authority having jurisdiction. The maker's instructions come first where they are stricter.
"""

_ENOUGH = """\
scenario: There is oil enough
starts: 2026-01-05 09:00 +00:00
does:
  - expect: {next: look-round, asks: [danger, switched_off]}
  - note: {danger: "no", switched_off: "yes"}
    expect: {next: measure-the-oil, allowed: [measuring]}
  - note: {oil_level: 5 in}
    expect:
      findings: {oil: confirmed}
      next: finished
"""

_CLOSE = """\
scenario: Too close to call
starts: 2026-01-05 09:00 +00:00
does:
  - note: {danger: "no", switched_off: "yes", oil_level: 2 in}
    expect:
      findings: {oil: open}
      because: {too-little-oil: [oil_level < least_oil]}
"""

_STOP = """\
scenario: Nobody measures beside a danger
starts: 2026-01-05 09:00 +00:00
does:
  - note: {danger: "yes"}
    expect: {stopped: [measuring]}
  - cannot: {danger: too dark to see}
    expect:
      may: {measure-the-oil: not yet}
"""

_README = """\
# TITLE

Change the checklist, then look whether it is sound and whether the scenarios still come out:

    stillair lint NAME --profile published
    stillair print NAME

| Scenario | Shows |
|---|---|
| there-is-oil-enough | a plain job |
| too-close-to-call | a reading at the limit decides nothing |
| nobody-measures-beside-a-danger | a stop, and that unknown is not no |
"""


def scaffold(name: str) -> Mapping[str, str]:
    """The text of each file of a new pack, by its path in the folder."""
    work = name.replace("_", "-")
    words = {
        "NAME": name,
        "WORK": work,
        "FILE": f"{name}.yaml",
        "TITLE": name.replace("_", " ").capitalize(),
        "ENGINE": ".".join(engine_version().split(".")[:2]),
    }
    texts = {
        "manifest.yaml": _MANIFEST,
        f"{name}.yaml": _CHECKLIST,
        "scenarios/there-is-oil-enough.yaml": _ENOUGH,
        "scenarios/too-close-to-call.yaml": _CLOSE,
        "scenarios/nobody-measures-beside-a-danger.yaml": _STOP,
        "README.md": _README,
    }
    for word, meant in words.items():
        texts = {path: text.replace(word, meant) for path, text in texts.items()}
    for kind, schema in (("checklist", checklist_schema()), ("manifest", manifest_schema())):
        texts[f".schema/{kind}.json"] = json.dumps(schema, indent=1) + "\n"
    return texts
