"""The kinds of single value a checklist file is made of, checked as they are read.

Each is a type for pydantic: it takes a `Scalar` of the strict reader and gives a plain value or a
`Text` that knows its place. A flaw is told without its place; the reader adds it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from stillair.checklist import Member, Option, Text
from stillair.fault import did_you_mean
from stillair.strict_yaml import List, Node, Scalar, Table

__all__ = [
    "Flag",
    "Identifier",
    "Members",
    "Name",
    "Number",
    "Options",
    "Prose",
    "Range",
    "Reference",
    "Share",
    "Weights",
    "Words",
    "choice",
    "flaw",
]

# The words of the condition language: a name that is one of them could never be used in a condition.
RESERVED = frozenset(
    (
        *(
            "and",
            "or",
            "not",
            "is",
            "has",
            "with",
            "within",
            "over",
            "of",
            "before",
            "after",
            "always",
            "never",
        ),
        *("every", "any", "latest", "since", "last", "first", "now", "agrees", "becomes", "further_search"),
    )
)
# Ignorance is not an answer: it leaves every answer possible.
IGNORANCE = frozenset(
    (
        "unknown",
        "not known",
        "unseen",
        "unsure",
        "not sure",
        "cannot tell",
        "can't tell",
        "cant tell",
        "don't know",
        "dont know",
        "do not know",
        "no idea",
        "n/a",
        "n a",
        "not applicable",
    )
)
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_IDENTIFIER = re.compile(r"[a-z][a-z0-9_]*(?:-[a-z0-9_]+)*")
_OPTION = re.compile(r"[A-Za-z0-9][A-Za-z0-9_]*(?:-[A-Za-z0-9_]+)*")
_REFERENCE = re.compile(rf"{_IDENTIFIER.pattern}(?:\.{_IDENTIFIER.pattern})?")
_RANGE = re.compile(r"(?P<low>\S(?:.*?\S)?)\s*\.\.\s*(?P<high>[^.\s](?:.*\S)?)", re.DOTALL)
_NAMED = {"bool": "truth value", "int": "number", "float": "number"}


def flaw(
    code: str,
    message: str,
    *,
    help: str | None = None,
    key: str | None = None,
    at: Scalar | Text | None = None,
    start: int | None = None,
    length: int | None = None,
) -> PydanticCustomError:
    """What is wrong, to be raised inside a validator.

    `{here}` in the message stands for the key the value belongs to. The fault is shown under the value,
    under `key` inside it, or under the node `at`; `start` and `length` narrow it to a part of the text.
    """
    return PydanticCustomError(
        "flaw",
        "see context",
        {
            "code": code,
            "message": message,
            "help": help,
            "key": key,
            "at": at,
            "start": start,
            "length": length,
        },
    )


def _scalar(value: object) -> Scalar:
    value = getattr(value, "scalar", value)  # the key of a mapping brings its scalar along
    if isinstance(value, Scalar):
        if value.kind == "null":
            raise flaw("SA212", "{here} is empty", help="give it a value, or remove it")
        if not value.text.strip():
            raise flaw("SA212", "{here} is empty", help="give it a value, or remove it")
        return value
    shape = "a list" if isinstance(value, list | List) else "a mapping"
    raise flaw("SA203", f"{{here}} must be one text, not {shape}")


def _prose(value: object) -> str:
    scalar = _scalar(value)
    if scalar.kind != "text":
        raise flaw(
            "SA203",
            f"{{here}} must be text, not the {_NAMED[scalar.kind]} `{scalar.text}`",
            help=f'write "{scalar.text}" in quotes',
        )
    text = scalar.text.strip()
    html = _raw_html(text)
    if html is not None:
        raise flaw(
            "SA210",
            f"{{here}} holds raw HTML, `{html}`",
            help="use Markdown, or put a backslash before `<`",
            start=max(0, text.find(html)),
            length=len(html),
        )
    return text


def _raw_html(text: str) -> str | None:
    """The first piece of raw HTML in a CommonMark text."""
    if "<" not in text:
        return None
    from markdown_it import MarkdownIt

    for block in MarkdownIt("commonmark").parse(text):
        for token in (block, *(block.children or ())):
            if token.type in ("html_block", "html_inline"):
                return str(token.content).strip().split("\n")[0]
    return None


def _words(value: object) -> Text:
    scalar = _scalar(value)
    if scalar.kind == "bool":
        raise flaw(
            "SA203",
            f"{{here}} is the truth value `{scalar.text}`",
            help="write `always` or `never` for a condition that is settled",
        )
    return scalar.located()


def _reference(value: object) -> Text:
    text = _words(value)
    if not _REFERENCE.fullmatch(text.text):
        raise flaw("SA204", f"`{text}` is not a name", help="write `name`, or `pack.name` for another pack's")
    return text


def _flag(value: object) -> bool:
    scalar = _scalar(value)
    if scalar.kind != "bool":
        meant = {"yes": "true", "on": "true", "no": "false", "off": "false"}.get(scalar.text.lower())
        raise flaw(
            "SA203",
            f"{{here}} must be true or false, not `{scalar.text}`",
            help=f"write `{meant}`" if meant else None,
        )
    return scalar.text.lower() == "true"


def _number(value: object) -> float:
    scalar = _scalar(value)
    if scalar.kind not in ("int", "float") or not re.fullmatch(r"[-+0-9.eE]+", scalar.text):
        raise flaw("SA203", f"{{here}} must be a number, not `{scalar.text}`")
    return float(scalar.text)


def _share(value: object) -> float:
    number = _number(value)
    if not 0 <= number <= 1:
        raise flaw("SA203", f"{{here}} must lie between 0 and 1, not be {number:g}")
    return number


def _range(value: object) -> tuple[Text, Text]:
    text = _words(value)
    found = _RANGE.fullmatch(text.text)
    if not found:
        raise flaw("SA211", f"`{text}` is not a range", help="write `LOW .. HIGH`, each with its unit")
    return text.part(*found.span("low")), text.part(*found.span("high"))


def _key(pattern: re.Pattern[str], example: str, joint: str) -> Callable[[object], Text]:
    def check(value: object) -> Text:
        text = _words(value)
        if not pattern.fullmatch(text.text):
            fixed = re.sub(r"[^a-z0-9]+", joint, text.text.lower()).strip(joint)
            raise flaw(
                "SA204",
                f"`{text}` is not a name: {example}",
                help=f"write `{fixed}`" if pattern.fullmatch(fixed) else None,
            )
        if text.text in RESERVED:
            raise flaw("SA204", f"`{text}` is a word of the condition language and cannot be a name")
        return text

    return check


def choice(*allowed: str) -> Any:
    """The type of a value that is one of a few words."""

    def check(value: object) -> str:
        scalar = _scalar(value)
        if scalar.text not in allowed:
            listed = ", ".join(f"`{word}`" for word in allowed)
            near = did_you_mean(scalar.text, allowed)
            raise flaw("SA209", f"{{here}} cannot be `{scalar.text}`", help=near or f"use one of {listed}")
        return scalar.text

    return Annotated[str, PlainValidator(check), WithJsonSchema({"enum": list(allowed)})]


def _pairs(value: object) -> list[tuple[Text, str, Scalar]]:
    """Names, labels and where the labels stand: of a mapping `name: label`, or of a list of names."""
    pairs: list[tuple[Text, str, Scalar]] = []
    node: Node | None = getattr(value, "node", None)
    scalars: list[Scalar] = []
    seen: set[str] = set()
    if isinstance(node, Table):
        scalars = list(node.keys.values())
    elif isinstance(node, List) and all(isinstance(item, Scalar) for item in node.items):
        scalars = [item for item in node.items if isinstance(item, Scalar)]
    else:
        raise flaw("SA203", "{here} must be pairs `name: label`, or a list")
    for scalar in scalars:
        if scalar.kind != "text":
            raise flaw(
                "SA203",
                f"`{scalar.text}` must be text, not a {_NAMED.get(scalar.kind, 'null')}",
                help=f'write "{scalar.text}" in quotes',
                at=scalar,
            )
        name = scalar.located()
        if not _OPTION.fullmatch(name.text):
            fixed = re.sub(r"[^A-Za-z0-9]+", "_", name.text).strip("_").lower()
            raise flaw(
                "SA204",
                f"`{name}` is not a name: letters, digits, `_` and `-`",
                help=f"write `{fixed}`" if fixed else None,
                at=scalar,
            )
        if name.text in seen:
            raise flaw("SA205", f"`{name}` is listed twice", help="remove one of them", at=scalar)
        seen.add(name.text)
        label = name.text.replace("_", " ")
        beside = scalar
        if isinstance(node, Table):
            written = node.values[scalar.text]
            label = _labelled(scalar, written)
            beside = written if isinstance(written, Scalar) else scalar
        pairs.append((name, label, beside))
    return pairs


def _labelled(key: Scalar, value: Node) -> str:
    """The label of one option; a flaw in it is shown where it stands."""
    try:
        return _prose(value)
    except PydanticCustomError as error:
        context = dict(error.context or {})
        context["at"] = value if isinstance(value, Scalar) and value.text else key
        context["message"] = context["message"].replace("{here}", f"the label of `{key.text}`")
        raise PydanticCustomError("flaw", "see context", context) from None


def _options(value: object) -> tuple[Option, ...]:
    pairs = _pairs(value)
    for name, label, beside in pairs:
        for written, where in ((name.text, name), (label, beside)):
            if written.lower().replace("_", " ").replace("-", " ").strip(" .") in IGNORANCE:
                raise flaw(
                    "SA206",
                    f"`{written}` is not an answer: not knowing leaves every answer possible",
                    help="remove it; any question can be left open with a reason",
                    at=where,
                )
    if len(pairs) < 2:
        raise flaw(
            "SA207",
            "{here} must have two answers at least",
            help="for a yes/no question write `kind: yes-no`",
        )
    return tuple(Option(name.text, label, name) for name, label, _ in pairs)


def _members(value: object) -> tuple[Member, ...]:
    return tuple(Member(name.text, label, name) for name, label, _ in _pairs(value))


def _weights(value: object) -> tuple[tuple[Text | None, Text], ...]:
    """The name of one limit, or places with the name of a limit for each."""
    node: Node | None = getattr(value, "node", None)
    if not isinstance(node, Table):
        return ((None, _reference(value)),)
    if not node.keys:
        raise flaw("SA212", "{here} is empty", help="name a place, and a limit: `PLACE: LIMIT`")
    found = []
    for name, key in node.keys.items():
        written = node.values[name]
        if not isinstance(written, Scalar) or written.kind == "null":
            raise flaw("SA203", f"the weight of `{name}` must be the name of a limit", at=key)
        if not _REFERENCE.fullmatch(written.text):
            raise flaw(
                "SA204",
                f"`{written.text}` is not a name",
                help="declare the number as a limit, and name that",
                at=written,
            )
        found.append((_reference(key), written.located()))
    return tuple(found)


_TEXT = {"type": "string", "minLength": 1}
_TEXT_OR_NUMBER = {"type": ["string", "number"]}
_CHOICES = {
    "anyOf": [
        {"type": "object", "additionalProperties": {"type": "string"}},
        {"type": "array", "items": {"type": "string"}},
    ]
}

Prose = Annotated[str, PlainValidator(_prose), WithJsonSchema({**_TEXT, "contentMediaType": "text/markdown"})]
"""Text for people: CommonMark without raw HTML."""
Words = Annotated[Text, PlainValidator(_words), WithJsonSchema(_TEXT_OR_NUMBER)]
"""A condition, an expression or a quantity, not yet parsed."""
Reference = Annotated[
    Text, PlainValidator(_reference), WithJsonSchema({"type": "string", "pattern": f"^{_REFERENCE.pattern}$"})
]
"""The name of something declared elsewhere, perhaps in another pack."""
Name = Annotated[
    Text,
    PlainValidator(_key(_NAME, "a-z, digits and `_`, a letter first", "_")),
    WithJsonSchema({"type": "string", "pattern": f"^{_NAME.pattern}$"}),
]
"""A name that conditions use."""
Identifier = Annotated[
    Text,
    PlainValidator(_key(_IDENTIFIER, "a-z, digits, `_` and `-`, a letter first", "-")),
    WithJsonSchema({"type": "string", "pattern": f"^{_IDENTIFIER.pattern}$"}),
]
"""The name of a step, rule or place: it may hold `-`."""
Flag = Annotated[bool, PlainValidator(_flag), WithJsonSchema({"type": "boolean"})]
Number = Annotated[float, PlainValidator(_number), WithJsonSchema({"type": "number"})]
Share = Annotated[
    float, PlainValidator(_share), WithJsonSchema({"type": "number", "minimum": 0, "maximum": 1})
]
"""A number from 0 to 1."""
Range = Annotated[
    tuple[Text, Text], PlainValidator(_range), WithJsonSchema({"type": "string", "pattern": r"\.\."})
]
"""`LOW .. HIGH`."""
Weights = Annotated[
    tuple[tuple[Text | None, Text], ...],
    PlainValidator(_weights),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string"},
                {"type": "object", "additionalProperties": {"type": "string"}, "minProperties": 1},
            ]
        }
    ),
]
"""(place, limit): places with a limit for each; None where one limit is for the place in hand."""
Options = Annotated[tuple[Option, ...], PlainValidator(_options), WithJsonSchema(_CHOICES)]
Members = Annotated[tuple[Member, ...], PlainValidator(_members), WithJsonSchema(_CHOICES)]
