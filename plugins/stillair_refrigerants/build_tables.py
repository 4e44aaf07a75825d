"""Make tables/saturation.json with CoolProp: python -m stillair_refrigerants.build_tables

Pure refrigerants use their own equation of state, blends the mixture model of their parts by mass. Nothing
is written unless every line rises without a jump, bubble is at or above dew, the look-up inverts, and the
look-up agrees with the model between the nodes.

Confidence (judgement): "good" is a pure substance or a blend whose pairs all come from Lemmon and Jacobsen,
J. Phys. Chem. Ref. Data 33 (2004) 593; "check-chart" a blend with pairs fitted since 2022 (Bell),
which moved its pressures by up to 4 %; "estimated" a blend with R-744, whose pairs have reducing parameters
alone.
"""

from __future__ import annotations

import functools
import hashlib
import itertools
import json
import math
import sys
from collections.abc import Callable, Mapping, Sequence

from . import catalogue, saturation
from .model import Model, ModelError
from .saturation import node_temperature as kelvin

__all__ = ["TableError", "build", "check", "digest", "main"]

LOWEST, HIGHEST, STEP = -60.0, 150.0, 5.0
#: What the look-up may be off between nodes.
PRESSURE_ERROR, TEMPERATURE_ERROR = 2e-4, 0.01
#: How much the slope of ln p over 1/T may change from one interval to the next: away from the critical point
#: it changes by under 1 % per 5 °F (computed), a wrong root by far more.
SLOPE_CHANGE = 0.05
#: K that a round trip pressure, temperature may be off.
ROUND_TRIP = 1e-5
#: Relative difference allowed between bubble and dew of a pure substance.
SAME = 1e-6


class TableError(Exception):
    """A table is not fit to be used; the text names refrigerant and point."""


def highest(model: Model) -> float:
    """°F: the highest node; of a pure substance not above its critical point."""
    critical = model.critical_temperature()
    return HIGHEST if critical is None else min(HIGHEST, float(math.floor(critical * 1.8 - 459.67)))


def build(name: str) -> saturation.Record:
    """The table of one refrigerant, refined where the look-up would be off, and checked."""
    model = Model(name)
    top = highest(model)
    nodes = [LOWEST + STEP * i for i in range(int((HIGHEST - LOWEST) / STEP) + 1)]
    nodes = [node for node in nodes if node < top] + [top]
    lines = ("bubble",) if model.pure else saturation.LINES
    solve = functools.cache(lambda fahrenheit, line: model.saturated(kelvin(fahrenheit), line))
    worst = max((abs(solve(n, "bubble")[0] / solve(n, "dew")[0] - 1) for n in nodes), default=0.0)
    if model.pure and worst > SAME:
        raise TableError(f"{name}: bubble and dew of a pure substance differ by {worst:.2g}")
    nodes = _refined(nodes, lines, lambda fahrenheit, line: solve(fahrenheit, line)[0])
    unsolved: list[tuple[float, float, str]] = []
    if top < HIGHEST:
        critical = (model.critical_temperature() or 0.0) * 1.8 - 459.67
        reason = f"above its critical point, {critical:.1f} °F, liquid and vapour are one"
        unsolved.append((top, HIGHEST, reason))
    record = saturation.Record(
        model=model.description,
        confidence=catalogue.load()["refrigerants"][name]["confidence"],
        fahrenheit=nodes,
        bubble=[_rounded(solve(n, "bubble")[0], 8) for n in nodes],
        dew=[] if model.pure else [_rounded(solve(n, "dew")[0], 8) for n in nodes],
        liquid_density=[_rounded(solve(n, "bubble")[1], 6) for n in nodes],
        second_virial=[_rounded(model.second_virial(kelvin(n)), 5) for n in saturation.VIRIAL_NODES],
        unsolved=unsolved,
    )
    check(name, record)
    return record


def _refined(
    nodes: Sequence[float], lines: Sequence[str], solve: Callable[[float, str], float]
) -> list[float]:
    """The nodes, with intervals halved until the middle is within the errors allowed."""
    found = [nodes[0]]
    for high in nodes[1:]:
        low = found[-1]
        middle = (low + high) / 2
        halves = [low, middle, high] if any(_off(low, middle, high, line, solve) for line in lines) else None
        found.extend(_refined(halves, lines, solve)[1:] if halves else [high])
    return found


def _off(low: float, middle: float, high: float, line: str, solve: Callable[[float, str], float]) -> bool:
    x0, x, x1 = (1 / kelvin(f) for f in (low, middle, high))
    y0, y, y1 = (math.log(solve(f, line)) for f in (low, middle, high))
    error = y0 + (x - x0) / (x1 - x0) * (y1 - y0) - y
    slope = (y1 - y0) / (kelvin(high) - kelvin(low))
    # Half of what is allowed: the worst point may lie beside the middle.
    return abs(error) > PRESSURE_ERROR / 2 or abs(error / slope) > TEMPERATURE_ERROR / 2


def check(name: str, record: saturation.Record) -> None:
    """TableError unless the lines rise, have no jump, bubble is at or above dew, and the look-up inverts."""
    inverse = [1 / kelvin(f) for f in record["fahrenheit"]]
    if any(b <= a for a, b in zip(record["fahrenheit"], record["fahrenheit"][1:], strict=False)):
        raise TableError(f"{name}: the temperatures do not rise")
    for line, pressures in (("bubble", record["bubble"]), ("dew", record["dew"] or record["bubble"])):
        if not all(math.isfinite(p) and p > 0 for p in pressures) or len(pressures) != len(inverse):
            raise TableError(f"{name}: the {line} line has a point that is not a pressure")
        logs = [math.log(p) for p in pressures]
        slopes = [(b - a) / (y - x) for a, b, x, y in zip(logs, logs[1:], inverse, inverse[1:], strict=False)]
        for fahrenheit, slope in zip(record["fahrenheit"], slopes, strict=False):
            if slope >= 0:
                raise TableError(f"{name}: the {line} line does not rise at {fahrenheit:g} °F")
        for fahrenheit, before, after in zip(record["fahrenheit"][1:], slopes, slopes[1:], strict=False):
            if abs(after / before - 1) > SLOPE_CHANGE:
                raise TableError(f"{name}: the {line} line jumps at {fahrenheit:g} °F")
    for fahrenheit, bubble, dew in zip(record["fahrenheit"], record["bubble"], record["dew"], strict=False):
        if bubble < dew:
            raise TableError(f"{name}: dew lies above bubble at {fahrenheit:g} °F")
    density = record["liquid_density"]
    if not all(math.isfinite(d) and b < d for d, b in itertools.pairwise(density)):
        raise TableError(f"{name}: the density of the liquid does not fall as it warms")
    table = saturation.read(name, record)
    for low, high in zip(table.kelvin, table.kelvin[1:], strict=False):
        for temperature in (low, 0.7 * low + 0.3 * high, high):
            for line in saturation.LINES:
                back = table.temperature(table.pressure(temperature, line), line)
                if abs(back - temperature) > ROUND_TRIP:
                    raise TableError(f"{name}: the {line} line does not invert at {temperature:.2f} K")


def digest(refrigerants: Mapping[str, saturation.Record]) -> str:
    """SHA-256 of the tables, in the one way of writing them that does not depend on layout."""
    text = json.dumps(refrigerants, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _rounded(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}")


def _written(records: Mapping[str, saturation.Record], version: str) -> str:
    head = {
        "made_by": "python -m stillair_refrigerants.build_tables",
        "coolprop": version,
        "digest": digest(records),
    }
    lines = [json.dumps(head)[:-1] + ', "refrigerants": {']
    for i, (name, record) in enumerate(records.items()):
        columns = [
            f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in record.items()
        ]
        end = "," if i + 1 < len(records) else ""
        lines.append(f" {json.dumps(name)}: {{\n" + ",\n".join(columns) + "\n }" + end)
    return "\n".join([*lines, "}}"]) + "\n"


def main() -> int:
    import CoolProp

    try:
        records = {name: build(name) for name in catalogue.refrigerants().names}
    except (ModelError, TableError) as error:
        sys.stderr.write(f"{error}\nnothing was written\n")
        return 1
    saturation.FILE.parent.mkdir(exist_ok=True)
    saturation.FILE.write_text(_written(records, CoolProp.__version__), encoding="utf-8", newline="\n")
    nodes = sum(len(record["fahrenheit"]) for record in records.values())
    sys.stdout.write(f"{len(records)} refrigerants, {nodes} nodes\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
