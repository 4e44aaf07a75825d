"""A report in the Static Analysis Results Interchange Format, SARIF 2.1.0 (OASIS Standard, 27 March 2020)."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import quote

from stillair.fault import CODES, Fault
from stillair.version import engine_version

from .report import Report

__all__ = ["sarif"]

_SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"


def sarif(report: Report) -> dict[str, object]:
    """The log of one run: a rule for each code that is met, a result for each fault."""
    every = [*report.faults, *(each.fault for each in report.accepted)]
    codes = sorted({fault.code for fault in every})
    rules = [{"id": code, "shortDescription": {"text": CODES[code]}} for code in codes]
    results = [_result(fault, codes) for fault in report.faults]
    for each in report.accepted:
        because = {
            "kind": "inSource",
            "status": "accepted",
            "justification": f"{each.because} (until {each.until})",
        }
        results.append({**_result(each.fault, codes), "suppressions": [because]})
    driver = {"name": "stillair", "version": engine_version(), "rules": rules}
    run = {"tool": {"driver": driver}, "columnKind": "unicodeCodePoints", "results": results}
    return {"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]}


def _result(fault: Fault, codes: list[str]) -> dict[str, object]:
    return {
        "ruleId": fault.code,
        "ruleIndex": codes.index(fault.code),
        "level": "error",
        "message": {"text": "\n".join(_said(fault))},
        "locations": [{"physicalLocation": _place(fault)}],
    }


def _said(fault: Fault) -> Iterator[str]:
    yield fault.message
    if fault.help:
        yield f"help: {fault.help}"
    if fault.scenario:
        yield f"seen in this scenario:\n{fault.scenario}"


def _place(fault: Fault) -> dict[str, object]:
    place: dict[str, object] = {"artifactLocation": {"uri": quote(fault.path)}}
    if fault.line:
        start, end = fault.column, fault.column + fault.length
        place["region"] = {"startLine": fault.line, "startColumn": start, "endColumn": end}
    return place
