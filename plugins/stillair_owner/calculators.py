"""The calculators this plugin gives. Each wraps a plain function on SI floats."""

from __future__ import annotations

from stillair.calculator import Calculator, Entry, Example, Input, OutOfRange, Source, calculator

from .potential import EDITIONS, counted, potential

__all__ = ["CALCULATORS"]

YEAR = 365 * 86_400.0
"""Seconds of a year of 365 d, as in g/yr and oz/yr (common practice)."""

REFRIGERANT = Input(catalogue="refrigerant")
EDITION = Input(
    options=tuple(EDITIONS),
    about="AR4, AR5, AR6: fourth, fifth and sixth report of the IPCC; AIM: the law of the United States; "
    "EU: that of the European Union",
)
MONEY = "in your own money"
POTENTIALS = (
    Source(f"1. AR4, IPCC 2007, Table 2.14, HFOs by Regulation (EU) 517/2014: {counted('gwp_ar4')}"),
    Source(f"2. AR5, IPCC 2013, Table 8.A.1, where < 1 counts as 1: {counted('gwp_ar5')}"),
    Source(f"3. AR6, IPCC 2021, Table 7.SM.7: {counted('gwp_ar6')}"),
    Source("4. AIM, 40 CFR Part 84, Appendix A: as AR4, HFOs as 1"),
    Source("5. EU, Regulation (EU) 2024/573, Annexes I and II, section 1: as AR4, HFOs as AR6"),
)
EDITIONS_DIFFER = (
    "over 100 years, where every component has a value; editions differ, so name the one you used"
)
ARITHMETIC = Source("1. arithmetic, at the prices of your company")


@calculator(
    inputs={"refrigerant": REFRIGERANT, "edition": EDITION},
    output="number",
    unit="1",
    formula="potential = sum over the components of mass fraction x potential in that edition",
    sources=POTENTIALS,
    valid=EDITIONS_DIFFER,
    examples=(
        Example({"refrigerant": "R-410A", "edition": "AR4"}, "2087.5", within="0.1"),
        Example({"refrigerant": "R-410A", "edition": "AR5"}, "1923.5", within="0.1"),
        Example({"refrigerant": "R-454B", "edition": "AR4"}, "466.3", within="0.1"),
        Example({"refrigerant": "R-454B", "edition": "AIM"}, "465.4", within="0.05"),
        Example({"refrigerant": "R-454B", "edition": "EU"}, "465.2", within="0.05"),
    ),
)
def gwp(refrigerant: Entry, edition: str) -> float:
    """How many times its mass of carbon dioxide a gas warms as much as, over 100 years."""
    return potential(refrigerant, edition)


@calculator(
    inputs={"refrigerant": REFRIGERANT, "mass": Input("mass"), "edition": EDITION},
    output="mass",
    unit="t",
    formula="carbon dioxide equivalent = mass x potential in that edition",
    sources=POTENTIALS,
    valid=EDITIONS_DIFFER,
    rises_with=("mass",),
    examples=(
        Example({"refrigerant": "R-410A", "mass": "1.774 kg", "edition": "AR4"}, "3.7 t", within="0.05 t"),
        Example({"refrigerant": "R-410A", "mass": "1.774 kg", "edition": "AR5"}, "3.4 t", within="0.05 t"),
        Example(
            {"refrigerant": "R-410A", "mass": "20 kg", "edition": "AR4"},
            "41.75 t",
            within="0.02 t",
            source="public pages on Regulation (EU) 517/2014 print 41.76 t, by a potential of 2088",
        ),
    ),
)
def co2_equivalent(refrigerant: Entry, mass: float, edition: str) -> float:
    """The mass of carbon dioxide that warms as much as a mass of refrigerant."""
    if not mass >= 0:
        raise OutOfRange("a mass below nothing warms nothing")
    return mass * potential(refrigerant, edition)


@calculator(
    inputs={
        "loss_a_year": Input("mass flow", about="what the circuit loses"),
        "price": Input("number", about=f"{MONEY}, of the amount named next"),
        "price_for": Input("mass", about="the amount of refrigerant that is the price of"),
        "visits_a_year": Input("number", about="how often somebody comes to top it up"),
        "visit_price": Input("number", about=f"{MONEY}, of one visit"),
    },
    output="number",
    unit="1",
    formula="cost a year = loss in a year / amount x price + visits a year x price of a visit",
    sources=(ARITHMETIC,),
    valid="as long as the leak does not grow and prices stay",
    rises_with=("loss_a_year", "price", "visits_a_year", "visit_price"),
    falls_with=("price_for",),
    examples=(
        Example(
            {
                "loss_a_year": "62.6 oz/yr",
                "price": "95",
                "price_for": "1 lb",
                "visits_a_year": "2",
                "visit_price": "160",
            },
            "692",
            within="0.5",
        ),
    ),
)
def owner_costs(
    loss_a_year: float, price: float, price_for: float, visits_a_year: float, visit_price: float
) -> float:
    """What topping up costs the owner in a year."""
    for amount, name in (
        (loss_a_year, "the loss"), (price, "the price"), (visits_a_year, "the number of visits"),
        (visit_price, "the price of a visit"),
    ):  # fmt: skip
        if not amount >= 0:
            raise OutOfRange(f"{name} is below nothing")
    if not price_for > 0:
        raise OutOfRange("the price is for no refrigerant at all: say for how much")
    return loss_a_year * YEAR / price_for * price + visits_a_year * visit_price


@calculator(
    inputs={
        "cost": Input("number", about=f"{MONEY}, paid once"),
        "saved_a_year": Input("number", about=f"{MONEY}"),
    },
    output="duration",
    unit="yr",
    formula="years = cost / saved in a year",
    sources=(ARITHMETIC,),
    valid="without interest, and as long as what is saved stays the same",
    rises_with=("cost",),
    falls_with=("saved_a_year",),
    examples=(
        Example({"cost": "1950", "saved_a_year": "690"}, "2.8 yr", within="0.05 yr"),
        Example({"cost": "9800", "saved_a_year": "900"}, "10.9 yr", within="0.05 yr"),
    ),
)
def years_to_pay_back(cost: float, saved_a_year: float) -> float:
    """After how long something has saved what it cost."""
    if not cost >= 0:
        raise OutOfRange("the cost is below nothing")
    if not saved_a_year > 0:
        raise OutOfRange("it saves nothing, so it never pays for itself")
    return cost / saved_a_year * YEAR


CALCULATORS: tuple[Calculator, ...] = (gwp, co2_equivalent, owner_costs, years_to_pay_back)
