"""The chance that a detector notices a leak that is there."""

from __future__ import annotations

from math import erfc, inf, log, sqrt

from stillair.calculator import Calculator, Example, Input, OutOfRange, Source, calculator

__all__ = ["CALCULATORS"]

PROBIT = Source(
    "1. Probit model: the chance of an answer is the normal integral of the logarithm of the dose; Finney, "
    "Probit Analysis, 1947, from memory. That a search with a detector follows it is judgement"
)


#: Below this the model says nothing: a detector is not a hundred times better than its label.
_LEAST = 0.01


@calculator(
    inputs={
        "adequacy": Input("number", about="the leak over what the detector can sense by its label"),
        "best": Input("fraction", about="the chance with a leak as large as one likes"),
        "field": Input("fraction", about="how many times worse than its label it is in the field"),
        "spread": Input("fraction", about="standard deviation of the logarithm of what it needs"),
    },
    output="number",
    unit="1",
    formula="chance = best * Phi(ln(adequacy / field) / spread)",
    sources=(PROBIT,),
    valid="adequacy of 0 and more; best from 0 to 1; field and spread from 0.01 up",
    rises_with=("adequacy", "best"),
    falls_with=("field",),
    examples=(
        # Half of the best where the leak is what the detector needs in the field.
        Example(
            {"adequacy": "2", "best": "90 %", "field": "200 %", "spread": "70 %"}, "0.45", within="0.0001"
        ),
        # ln(9 / 2) / 0.7 = 2.149 standard deviations: Phi = 0.9842.
        Example(
            {"adequacy": "9", "best": "90 %", "field": "200 %", "spread": "70 %"}, "0.8858", within="0.0002"
        ),
    ),
)
def chance_to_notice(adequacy: float, best: float, field: float, spread: float) -> float:
    """How likely a careful look with a detector is to notice a leak that is there."""
    if not 0 <= adequacy < inf:
        raise OutOfRange(f"an adequacy of {adequacy:g} is no number of times that can be")
    if not 0 <= best <= 1:
        raise OutOfRange(f"a best chance of {best:g} is not between 0 and 1")
    if not (_LEAST <= field < inf and _LEAST <= spread < inf):
        raise OutOfRange(f"`field` {field:g} and `spread` {spread:g} must be numbers of {_LEAST:g} or more")
    if adequacy == 0:
        return 0.0
    return best * erfc(-log(adequacy / field) / (spread * sqrt(2))) / 2


CALCULATORS: tuple[Calculator, ...] = (chance_to_notice,)
