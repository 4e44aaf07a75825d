"""Grammar of conditions and expressions, and the tree it gives, with positions."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lark import Lark, Token

__all__ = [
    "Aggregate",
    "Agrees",
    "Attribute",
    "Binary",
    "Call",
    "Compare",
    "ConditionError",
    "Constant",
    "Is",
    "Join",
    "Literal",
    "Name",
    "Nearest",
    "Negative",
    "Node",
    "Not",
    "Quantified",
    "parse",
]


class ConditionError(Exception):
    """What is wrong inside a condition: message, offsets in its text, and the way out."""

    def __init__(
        self, message: str, start: int, end: int, help: str | None = None, code: str = "SA300"
    ) -> None:
        super().__init__(message)
        self.message = message
        self.start = start
        self.end = max(end, start + 1)
        self.help = help
        self.code = code


@dataclass(frozen=True, slots=True)
class Node:
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Literal(Node):
    text: str


@dataclass(frozen=True, slots=True)
class Name(Node):
    """A name, possibly of one member (`dead of indoor`)."""

    name: str
    member: str | None = None


@dataclass(frozen=True, slots=True)
class Attribute(Node):
    of: Name
    attribute: str


@dataclass(frozen=True, slots=True)
class Call(Node):
    name: str
    arguments: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Binary(Node):
    operator: str
    left: Node
    right: Node


@dataclass(frozen=True, slots=True)
class Negative(Node):
    operand: Node


@dataclass(frozen=True, slots=True)
class Compare(Node):
    operator: str
    left: Node
    right: Node


@dataclass(frozen=True, slots=True)
class Is(Node):
    """`x is a`, `x is not one of a, b`, `x is at least a`."""

    subject: Node
    options: tuple[tuple[str, int, int], ...]
    negated: bool
    at_least: bool = False


@dataclass(frozen=True, slots=True)
class Agrees(Node):
    left: Node
    right: Node
    band: Node


@dataclass(frozen=True, slots=True)
class Join(Node):
    """`and` or `or` of several."""

    operator: str
    parts: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Not(Node):
    operand: Node


@dataclass(frozen=True, slots=True)
class Quantified(Node):
    """`every/any LIST has (…)`."""

    quantifier: str
    list: str
    inner: Node


@dataclass(frozen=True, slots=True)
class Aggregate(Node):
    """`count of X [with (…)]`, `entries of F`, `sum of E over LIST [with (…)]`, `highest of` and `lowest of`
    the same, `latest F`, `spread of …`, `since E`.
    """

    kind: str
    named: Name
    inner: Node | None = None
    window: Node | None = None
    option: str | None = None
    having: Node | None = None


@dataclass(frozen=True, slots=True)
class Nearest(Node):
    """`last F before G within W`, `first F after G`."""

    kind: str
    fact: Name
    anchor: Name
    window: Node | None


@dataclass(frozen=True, slots=True)
class Constant(Node):
    value: bool


#: A number with a unit, perhaps in parts: `5`, `10 psi`, `0.1 oz/yr`, `20 inHg vac`, `7 lb 8 oz`.
_QUANTITY = (
    r"\d+(?:\.\d+)?"
    r"(?:\s*(?!(?:and|or|within|over|is|before|after|has|with|of|agrees)(?![\w]))"
    r"(?:[Δ°%µA-Za-z][\w²³°]*(?:[·\/][A-Za-z³²]+[\w²³]*)*)"
    r"(?:\s+(?:vac|vol|w\.c\.))?"
    r"(?:\s+\d+(?:\.\d+)?\s*(?:oz|in|min|s|h)(?![\w]))*)?"
)

GRAMMAR = r"""
?start: disjunction
?disjunction: conjunction
            | conjunction (_OR conjunction)+      -> any_of
?conjunction: negation
            | negation (_AND negation)+           -> all_of
?negation: NOT negation                           -> negated
         | relation
?relation: sum
         | sum COMPARE sum                        -> compare
         | sum _IS option                         -> is_option
         | sum _IS NOT option                     -> is_not_option
         | sum _IS _ONE_OF option ("," option)*       -> is_one_of
         | sum _IS NOT _ONE_OF option ("," option)*   -> is_not_one_of
         | sum _IS _AT_LEAST option               -> is_at_least
         | sum _AGREES sum _WITHIN sum            -> agrees
?sum: product
    | sum PLUS product                            -> binary
    | sum MINUS product                           -> binary
?product: unary
    | product TIMES unary                         -> binary
    | product OVER unary                          -> binary
?unary: MINUS unary                               -> negative
      | primary
?primary: QUANTITY                                -> literal
    | NAME "(" sum ("," sum)* ")"                 -> call
    | path
    | ALWAYS                                      -> constant
    | NEVER                                       -> constant
    | EVERY NAME _HAS "(" disjunction ")"         -> quantified
    | ANY NAME _HAS "(" disjunction ")"           -> quantified
    | COUNT_OF NAME _WITH "(" disjunction ")"     -> aggregate_with
    | COUNT_OF NAME                               -> aggregate
    | ENTRIES_OF NAME _OF option                  -> aggregate_member
    | ENTRIES_OF NAME _AS option                  -> entries_as
    | ENTRIES_OF NAME                             -> aggregate
    | over_members _OVER NAME _WITH "(" disjunction ")" -> aggregate_over_with
    | over_members _OVER NAME                     -> aggregate_over
    | LATEST NAME                                 -> aggregate
    | SPREAD_OF NAME _OVER primary                -> aggregate_window
    | SINCE NAME                                  -> aggregate
    | LAST name _BEFORE name _WITHIN primary      -> nearest
    | LAST name _BEFORE name                      -> nearest
    | FIRST name _AFTER name _WITHIN primary      -> nearest
    | FIRST name _AFTER name                      -> nearest
    | "(" disjunction ")"
over_members: (SUM_OF | HIGHEST_OF | LOWEST_OF) primary
name: NAME
?path: NAME                                       -> plain_name
     | NAME _OF option                            -> member_name
     | NAME DOT NAME                              -> dotted
     | NAME DOT NAME _OF option                   -> dotted_member
option: OPTION

_OR.9: /or(?![\w-])/
_AND.9: /and(?![\w-])/
NOT.9: /not(?![\w-])/
_IS.9: /is(?![\w-])/
_ONE_OF.10: /one\s+of(?![\w-])/
_AT_LEAST.10: /at\s+least(?![\w-])/
_AGREES.9: /agrees\s+with(?![\w-])/
_WITHIN.9: /within(?![\w-])/
_HAS.9: /has(?![\w-])/
_WITH.9: /with(?![\w-])/
_OVER.9: /over(?![\w-])/
_OF.9: /of(?![\w-])/
_AS.9: /as(?![\w-])/
_BEFORE.9: /before(?![\w-])/
_AFTER.9: /after(?![\w-])/
ALWAYS.9: /always(?![\w-])/
NEVER.9: /never(?![\w-])/
EVERY.9: /every(?![\w-])/
ANY.9: /any(?![\w-])/
COUNT_OF.10: /count\s+of(?![\w-])/
ENTRIES_OF.10: /entries\s+of(?![\w-])/
SUM_OF.10: /sum\s+of(?![\w-])/
HIGHEST_OF.10: /highest\s+of(?![\w-])/
LOWEST_OF.10: /lowest\s+of(?![\w-])/
SPREAD_OF.10: /spread\s+of(?![\w-])/
LATEST.9: /latest(?![\w-])/
SINCE.9: /since(?![\w-])/
LAST.9: /last(?![\w-])/
FIRST.9: /first(?![\w-])/
COMPARE: /<=|>=|<|>|==|=|!=/
PLUS: "+"
MINUS: /[-−]/
TIMES: "*"
OVER: "/"
DOT: "."
QUANTITY: /%s/
NAME: /[A-Za-z][A-Za-z0-9_]*(?:-[A-Za-z0-9_]+)*/
OPTION: /[A-Za-z0-9][\w]*(?:[-.][\w]+)*/
%ignore /\s+/
""".replace("%s", _QUANTITY)


#: Levels of a condition. Python takes about 200 nested brackets, and nobody reads more than a few.
DEEPEST = 60


@cache
def _parser() -> Lark:
    from lark import Lark

    return Lark(GRAMMAR, parser="lalr", lexer="contextual", propagate_positions=True)


@lru_cache(4096)
def parse(text: str) -> Node:
    """The tree of a condition or expression; ConditionError with the place and what was expected.

    Kept, for a named condition is read wherever it is used.
    """
    from lark.exceptions import UnexpectedCharacters, UnexpectedEOF, UnexpectedInput, UnexpectedToken

    try:
        tree = _parser().parse(text)
    except UnexpectedToken as error:
        if error.token.type == "$END":
            raise ConditionError("the condition ends too early", len(text) - 1, len(text)) from None
        start = error.token.start_pos or 0
        raise ConditionError(
            f"'{error.token}' is not expected here", start, start + len(error.token), _hint(text, start)
        ) from None
    except UnexpectedCharacters as error:
        start = error.pos_in_stream or 0
        found = text[start : start + 1]
        raise ConditionError(
            f"'{found}' is not expected here", start, start + 1, _hint(text, start)
        ) from None
    except (UnexpectedEOF, UnexpectedInput):
        raise ConditionError("the condition ends too early", max(0, len(text) - 1), len(text)) from None
    return _build(tree, text, DEEPEST)


def _hint(text: str, start: int) -> str | None:
    rest = text[start:]
    if rest.startswith(("&", "|", "!")):
        return "write and, or, not"
    return None


def _span(tree: Any) -> tuple[int, int]:
    meta = tree.meta
    if meta.empty:
        return (0, 1)
    return (meta.start_pos, meta.end_pos)


def _token(token: Token) -> tuple[str, int, int]:
    start = token.start_pos or 0
    return (str(token), start, start + len(token))


def _leaf(token: Token) -> Name:
    text, start, end = _token(token)
    return Name(start, end, text)


def _build(tree: Any, text: str, room: int) -> Node:
    """Lark's tree as ours; `room` is how much deeper it may go."""
    kind: str = tree.data
    parts: list[Any] = tree.children
    start, end = _span(tree)
    if not room:
        help = "make a finding of a part of it"
        raise ConditionError("the condition is nested too deeply", start, end, help)

    def node(index: int) -> Node:
        return _build(parts[index], text, room - 1)

    def options(first: int) -> tuple[tuple[str, int, int], ...]:
        return tuple(_token(part.children[0]) for part in parts[first:])

    match kind:
        case "any_of" | "all_of":
            joined = tuple(node(index) for index in range(len(parts)))
            return Join(start, end, "or" if kind == "any_of" else "and", joined)
        case "negated":
            return Not(start, end, node(1))
        case "compare":
            return Compare(start, end, str(parts[1]), node(0), node(2))
        case "is_option" | "is_one_of":
            return Is(start, end, node(0), options(1), False)
        case "is_not_option" | "is_not_one_of":
            return Is(start, end, node(0), options(2), True)
        case "is_at_least":
            return Is(start, end, node(0), options(1), False, True)
        case "agrees":
            return Agrees(start, end, node(0), node(1), node(2))
        case "binary":
            operator = str(parts[1]).replace("−", "-")
            return Binary(start, end, operator, node(0), node(2))
        case "negative":
            inner = node(1)
            if isinstance(inner, Literal):
                return Literal(start, end, "-" + inner.text)
            return Negative(start, end, inner)
        case "literal":
            return Literal(start, end, str(parts[0]))
        case "call":
            return Call(start, end, str(parts[0]), tuple(node(index) for index in range(1, len(parts))))
        case "constant":
            return Constant(start, end, str(parts[0]) == "always")
        case "quantified":
            return Quantified(start, end, str(parts[0]), str(parts[1]), node(2))
        case "aggregate_with":
            return Aggregate(start, end, "count", _leaf(parts[1]), node(2))
        case "entries_as":
            option = str(parts[2].children[0])
            return Aggregate(start, end, "entries", _leaf(parts[1]), option=option)
        case "aggregate_member":
            subject = Name(start, end, str(parts[1]), str(parts[2].children[0]))
            return Aggregate(start, end, str(parts[0]).split()[0], subject)
        case "aggregate":
            return Aggregate(start, end, str(parts[0]).split()[0], _leaf(parts[1]))
        case "aggregate_over" | "aggregate_over_with":
            word, item = parts[0].children
            over = str(word).split()[0]
            having = node(2) if len(parts) > 2 else None
            return Aggregate(start, end, over, _leaf(parts[1]), _build(item, text, room - 1), having=having)
        case "aggregate_window":
            return Aggregate(start, end, "spread", _leaf(parts[1]), None, node(2))
        case "nearest":
            names = [_leaf(part.children[0]) for part in (parts[1], parts[2])]
            window = node(3) if len(parts) > 3 else None
            return Nearest(start, end, str(parts[0]), names[0], names[1], window)
        case "plain_name":
            return Name(start, end, str(parts[0]))
        case "member_name":
            return Name(start, end, str(parts[0]), str(parts[1].children[0]))
        case "dotted":
            return Attribute(start, end, _leaf(parts[0]), str(parts[2]))
        case "dotted_member":
            member = str(parts[3].children[0])
            return Attribute(start, end, Name(start, end, str(parts[0]), member), str(parts[2]))
    raise AssertionError(kind)
