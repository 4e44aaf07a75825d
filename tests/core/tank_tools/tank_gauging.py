"""A plugin for tests: what a column of liquid weighs, and a view of the trail."""

from __future__ import annotations

from stillair.calculator import (
    Attribute,
    Calculator,
    Catalogue,
    Entry,
    Example,
    Input,
    OutOfRange,
    Source,
    calculator,
)
from stillair.hooks import View, hookimpl

GRAVITY = 9.80665

LIQUIDS = Catalogue(
    "liquid",
    (
        Attribute("density", "density", unit="kg/m3", source="from memory"),
        Attribute("burning", "option", ("yes", "no"), source="from memory"),
    ),
    (
        Entry("water", {"density": 1000.0, "burning": "no"}),
        Entry("oil", {"density": 800.0, "burning": "yes"}),
    ),
    "from memory",
)


@calculator(
    inputs={"liquid": Input(catalogue="liquid"), "depth": Input("length")},
    output="gauge pressure",
    unit="psig",
    formula="pressure = density x 9.80665 m/s2 x depth",
    sources=(Source("Pascal's law"),),
    valid="from 0 to 100 m",
    rises_with=("depth",),
    examples=(Example({"liquid": "water", "depth": "10 m"}, "14.22 psig", within="0.01 psi"),),
)
def weight_pressure(liquid: Entry, depth: float) -> float:
    """What a gauge under the liquid shows."""
    if not 0 <= depth <= 100:
        raise OutOfRange("the depth is outside 0 to 100 m")
    density = liquid["density"]
    assert isinstance(density, float)
    return density * GRAVITY * depth


@calculator(
    inputs={
        "base": Input("length"),
        "height": Input("length"),
        "shape": Input(options=("box", "cone"), about="cone holds a third"),
        "spare": Input("length", default="0 in"),
    },
    output="area",
    unit="in2",
    formula="share = base x (height - spare), a third of it for a cone",
    sources=(Source("geometry"),),
    valid="any size",
    rises_with=("base", "height"),
    falls_with=("spare",),
    examples=(Example({"base": "2 in", "height": "3 in", "shape": "box"}, "6 in2", within="0.001 in2"),),
)
def share(base: float, height: float, shape: str, spare: float) -> float:
    """A made-up share, to be worked by hand."""
    return base * (height - spare) * (1.0 if shape == "box" else 1 / 3)


@hookimpl
def stillair_calculators() -> list[Calculator]:
    return [weight_pressure, share]


@hookimpl
def stillair_catalogues() -> list[Catalogue]:
    return [LIQUIDS]


@hookimpl
def stillair_views() -> list[View]:
    return [View("tally", lambda found: "### Tally\n\nA *view* of the plugin.", about="Tally of the plugin")]
