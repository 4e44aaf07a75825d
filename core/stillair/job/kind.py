"""The kinds of line, what each of them holds, and what is refused."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from types import MappingProxyType
from typing import NamedTuple

from .error import JobError, quoted
from .line import JSON, Line

__all__ = [
    "FORMAT",
    "KINDS",
    "UNDO_WITHIN",
    "Content",
    "Field",
    "check_body",
    "check_correction",
    "check_kind",
    "may_be_personal",
]

FORMAT = "stillair.job/1"
"""What this program writes and reads; the number rises with every change an older program cannot read."""

UNDO_WITHIN = 60.0
"""Seconds after which withdrawing a line needs a reason (judgement, no source)."""

_LARGEST_WHOLE = 2**53
"""Whole numbers beyond this are not exact in every reader of JSON (RFC 8259, section 6)."""

_HEX = frozenset("0123456789abcdef")


class Content(NamedTuple):
    """What a field may hold: `expects` in words, and the test of it."""

    expects: str
    is_right: Callable[[JSON], bool]


class Field(NamedTuple):
    """One field of a body; `personal` if its text may be kept in the companion file instead."""

    content: Content
    required: bool = True
    personal: bool = False


def _is_text(value: JSON) -> bool:
    return isinstance(value, str) and not (value == "" or value.isspace())


def _is_number(value: JSON) -> bool:
    if isinstance(value, float):
        return abs(value) != float("inf") and value == value
    return isinstance(value, int) and not isinstance(value, bool) and abs(value) <= _LARGEST_WHOLE


def _is_value(value: JSON) -> bool:
    return isinstance(value, bool) or _is_text(value) or _is_number(value)


def _is_tolerance(value: JSON) -> bool:
    return value is None or (isinstance(value, int | float) and _is_number(value) and value >= 0)


def _is_count(value: JSON) -> bool:
    return isinstance(value, int) and _is_number(value) and value >= 1


def _is_sha256(value: JSON) -> bool:
    return isinstance(value, str) and len(value) == 64 and _HEX.issuperset(value)


def _is_versions(value: JSON) -> bool:
    return isinstance(value, Mapping) and all(
        isinstance(name, str)
        and _is_text(name)
        and isinstance(entry, Mapping)
        and entry.keys() == {"version", "digest"}
        and _is_text(entry["version"])
        and _is_sha256(entry["digest"])
        for name, entry in value.items()
    )


def _is_date(value: JSON) -> bool:
    try:
        return isinstance(value, str) and date.fromisoformat(value).isoformat() == value
    except ValueError:
        return False


def _is_file_name(value: JSON) -> bool:
    return (
        isinstance(value, str)
        and _is_text(value)
        and not set(value) & set("/\\:\0")
        and value not in (".", "..")
    )


_TEXT = Content("a text that is not empty", _is_text)
_TEXT_OR_NULL = Content("a text that is not empty, or null", lambda v: v is None or _is_text(v))
_VALUE = Content("a text that is not empty, a finite number, or true or false", _is_value)
_TOLERANCE = Content("a number that is not negative, or null when not known", _is_tolerance)
_COUNT = Content("a whole number from 1", _is_count)
_TRUTH = Content("true or false", lambda v: isinstance(v, bool))
_SHA256 = Content("a SHA-256 in lower-case hexadecimal", _is_sha256)
_VERSIONS = Content(
    "for each name a version and a digest (a SHA-256 in lower-case hexadecimal)", _is_versions
)
_DATE = Content("a date written YYYY-MM-DD", _is_date)
_FILE_NAME = Content("the name of a file, without folders", _is_file_name)
_BODY = Content("the fields of a line, or null", lambda v: v is None or isinstance(v, Mapping))
_FORMAT = Content(f"`{FORMAT}`", lambda v: v == FORMAT)

_name = Field(_TEXT)
_words = Field(_TEXT, personal=True)
_of = Field(_TEXT, required=False, personal=True)
_why = Field(_TEXT, required=False, personal=True)

KINDS: Mapping[str, Mapping[str, Field]] = MappingProxyType(
    {
        "job": {
            "format": Field(_FORMAT),
            "engine": _name,
            "title": _words,
            "packs": Field(_VERSIONS),
            "plugins": Field(_VERSIONS),
        },
        "open": {"checklist": _name},
        "close": {"checklist": Field(_TEXT_OR_NULL), "outcome": _words},
        "observe": {
            "fact": _name,
            "of": _of,
            "value": Field(_VALUE, personal=True),
            "read": _words,
            "unit": Field(_TEXT, required=False),
            "instrument": Field(_TEXT, required=False, personal=True),
        },
        "unavailable": {"fact": _name, "of": _of, "reason": _words, "why": _why},
        "event": {"event": _name, "of": _of, "why": _why},
        "member": {"list": _name, "member": _name, "label": _words},
        "listed": {"list": _name},
        "correct": {
            "line": Field(_COUNT),
            "why": _why,
            "undo": Field(_TRUTH, required=False),
            "body": Field(_BODY, required=False, personal=True),
        },
        "instrument": {
            "serial": _words,
            "kind": _name,
            "offset": Field(_TOLERANCE),
            "repeat": Field(_TOLERANCE),
            "resolution": Field(_TOLERANCE),
            "of_reading": Field(_TOLERANCE, required=False),
            "checked": Field(_DATE, required=False),
        },
        "done": {"step": _name, "of": _of, "why": _why},
        "skip": {"step": _name, "of": _of, "why": _words},
        "handover": {"to": _words},
        "note": {"text": _words, "behind": Field(_TOLERANCE, required=False)},
        "emergency": {},
        "move": {
            "engine": Field(_TEXT, required=False),
            "packs": Field(_VERSIONS),
            "plugins": Field(_VERSIONS),
            "why": _why,
        },
        "repaired": {"kept": Field(_FILE_NAME), "bytes": Field(_COUNT), "sha256": Field(_SHA256)},
    }
)
"""Every kind of line of format 1, with its fields.

`job` opens the file and stands nowhere else; `open` and `close` are of a checklist (`close` with null: of the
job); `observe` holds the value as understood and as `read`; `unavailable` says why a fact cannot be had;
`member` adds to a list and `listed` says that the list is whole; `correct` names an earlier `line` and gives
its new `body`, or withdraws it when that is null or absent; `event` and `done` say `why` only where it was
done though not permitted; `instrument` declares tolerances in the canonical
unit of what the instrument reads, null when not known; `move` goes over to other versions of packs and
plugins; `repaired` names the file in which a torn last line was kept; the `behind` of a `note` is by how many
seconds the clock stood before the last entry, whose time is then written instead.
"""

_CORRECTABLE = frozenset(KINDS) - {"job", "move", "repaired"}


def check_kind(kind: str) -> None:
    """JobError unless lines of this kind exist."""
    if kind not in KINDS:
        raise JobError(f"{quoted(kind)} is not a kind of line", help=_nearest(kind, KINDS))


def check_body(kind: str, body: Mapping[str, JSON], left_out: frozenset[str] = frozenset()) -> None:
    """JobError unless the body holds what its kind asks for; fields `left_out` count as there."""
    fields = KINDS[kind]
    for key, value in body.items():
        field = fields.get(key)
        if field is None:
            raise JobError(f"a line of kind `{kind}` has no field {quoted(key)}", help=_nearest(key, fields))
        if not field.content.is_right(value):
            raise JobError(
                f"`{key}` of a line of kind `{kind}` does not hold {field.content.expects}",
                help=f"give {field.content.expects}",
            )
    for key, field in fields.items():
        if field.required and key not in body and key not in left_out:
            raise JobError(
                f"`{key}` is missing from a line of kind `{kind}`", help=f"give {field.content.expects}"
            )


def may_be_personal(kind: str, key: str) -> bool:
    """Whether the companion file may hold this field of such a line."""
    field = KINDS[kind].get(key)
    return key == "by" or (field is not None and field.personal)


def check_correction(line: Line, before: Sequence[Line]) -> None:
    """JobError unless a line of kind `correct` names a line it may correct, and fits it.

    A correction can itself be withdrawn, not given a new body: to say something else, correct the first
    line again. An undo withdraws within a minute, and is the only correction without a reason.
    """
    number = line.body["line"]
    if not isinstance(number, int) or number > len(before):
        raise JobError(f"line {number} does not exist before line {line.n}", help="name an earlier line")
    target = before[number - 1]
    if target.kind not in _CORRECTABLE:
        raise JobError(
            f"line {number} is of kind `{target.kind}`, which is never corrected",
            help="say it in a line of kind `note`",
        )
    body = line.body.get("body")
    undo = line.body.get("undo") is True
    if undo and (body is not None or "body" in line.personal):
        raise JobError("an undo gives no new content", help="leave `undo` out and say why")
    if "why" not in line.body and "why" not in line.personal:
        if not undo:
            raise JobError("a correction says why", help="give `why`, or undo within a minute")
        if not 0 <= line.entered - target.entered <= UNDO_WITHIN:
            raise JobError(
                f"line {number} was entered more than a minute ago: withdrawing it needs a reason",
                help="give `why`",
            )
    if isinstance(body, Mapping):
        if target.kind == "correct":
            raise JobError(
                f"line {number} is a correction: it can be withdrawn, not corrected",
                help=f"correct line {target.body['line']} again",
            )
        check_body(target.kind, body)
        if target.personal - {"by"} and "body" not in line.personal:
            raise JobError(
                f"line {number} holds personal data: its correction must keep `body` personal",
                help="name `body` among the personal fields",
            )


def _nearest(name: object, known: Mapping[str, object]) -> str:
    from ..fault import did_you_mean

    return did_you_mean(str(name), known) or f"known are {', '.join(known) or 'none'}"
