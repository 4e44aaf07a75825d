"""How much the outside world is asked: checks, the documents they name beside them, and what they are of.

A check is a test here with a document in the comment above it, in its docstring, or above a table it goes by.
What it is of is known by the calculators it calls, or by the limits of the packs it reads.

    python -m pytest tests/published/test_counted.py -s
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

from stillair.hooks import Plugins

HERE = Path(__file__).parent
#: Documents, and how a comment names each. What has no name of its own (a manual, an article) is not counted.
DOCUMENTS = {
    "40 CFR 82.152": r"40 CFR 82\.152",
    "40 CFR 82.156": r"40 CFR 82\.156",
    "40 CFR 82.157": r"40 CFR 82\.157",
    "40 CFR Part 84": r"40 CFR (?:[Pp]art )?84",
    "40 CFR 1065.644": r"40 CFR 1065\.644",
    "49 CFR 173": r"49 CFR 173",
    "29 CFR 1910": r"29 CFR 1910",
    "Regulation (EU) 517/2014": r"517/2014",
    "Regulation (EU) 2024/573": r"2024/573",
    "Regulation (EC) 1516/2007": r"1516/2007",
    "EN 378-1": r"EN 378-1",
    "UL 60335-2-40": r"UL 60335-2-40",
    "SAE J1628": r"SAE J1628",
    "SAE J2791": r"SAE J2791",
    "ASHRAE Handbook Fundamentals": r"ASHRAE Handbook",
    "ASHRAE Standard 34": r"ASHRAE Standard 34",
    "ASHRAE Standard 15": r"ASHRAE Standard 15",
    "ASHRAE Guideline 3": r"ASHRAE Guideline 3",
    "ASHRAE Journal, January 2021": r"ASHRAE Journal, January 2021",
    "AHRI Guideline K": r"AHRI Guideline K",
    "International Mechanical Code": r"International Mechanical Code",
    "California Residential Appendices, RA3.2": r"RA3",
    "U.S. Standard Atmosphere, 1976": r"Standard Atmosphere, 1976",
    "ISO 2533": r"ISO 2533",
    "IPCC assessment reports": r"IPCC|Assessment Report",
    "IAPWS R14-08": r"IAPWS R14",
    "IAPWS SR1-86": r"IAPWS SR1",
    "IAPWS R7-97": r"IAPWS R7",
    "IAPWS-95": r"IAPWS-95",
    "NASA CR-952": r"NASA CR-952",
    "NIST SP 811": r"NIST (?:SP|Special Publication) 811",
    "NIOSH Pocket Guide": r"NIOSH Pocket Guide",
    "VDI Heat Atlas": r"VDI Heat Atlas",
    "Perry's Handbook": r"Perry's Chemical",
    "CRC Handbook": r"CRC Handbook",
    "Kaye and Laby": r"Kaye and Laby",
    "Hyland and Wexler 1983": r"Hyland and Wexler",
    "Buck 1981": r"Buck, J\.",
    "Lemmon 2003": r"Lemmon, .*24 \(2003\)",
    "Span and others 2000": r"Span, Lemmon",
    "Akasaka 2013": r"Akasaka",
    "Pistochini and McMurry 2024": r"Pistochini",
    "German Environment Agency": r"German Environment Agency",
}


def documents(text: str) -> set[str]:
    flat = " ".join(re.sub(r"(?m)^\s*#:? ?", "", text).split())
    return {name for name, pattern in DOCUMENTS.items() if re.search(pattern, flat)}


class File:
    """A file of tests: what stands above each statement at its top, and what each names."""

    def __init__(self, path: Path) -> None:
        self.lines = path.read_text(encoding="utf-8").splitlines()
        self.tree = ast.parse("\n".join(self.lines))
        self.above: dict[str, str] = {}
        for node in self.tree.body:
            targets = node.targets if isinstance(node, ast.Assign) else []
            for target in targets:
                if isinstance(target, ast.Name):
                    self.above[target.id] = self.comment(node)

    def comment(self, node: ast.stmt) -> str:
        """The comment that ends right above a statement, its decorators counted."""
        decorators = getattr(node, "decorator_list", [])
        first = min([node.lineno, *(each.lineno for each in decorators)]) - 1
        begin = first
        while begin and self.lines[begin - 1].startswith("#"):
            begin -= 1
        return "\n".join(self.lines[begin:first])

    def named(self, node: ast.AST) -> set[str]:
        names = {each.id for each in ast.walk(node) if isinstance(each, ast.Name)}
        return names | {each.attr for each in ast.walk(node) if isinstance(each, ast.Attribute)}

    def checks(self) -> Iterator[tuple[str, set[str], set[str]]]:
        """Each test: its name, the documents beside it, and all that it names, through functions here too."""
        functions = {node.name: node for node in self.tree.body if isinstance(node, ast.FunctionDef)}
        for name, node in functions.items():
            if not name.startswith("test_"):
                continue
            named, seen = self.named(node), set()
            while new := (named & set(functions)) - seen:
                seen |= new
                for each in new:
                    named |= self.named(functions[each])
            said = [self.comment(node), ast.get_docstring(node) or ""]
            said += [self.above[each] for each in named if each in self.above]
            yield name, documents("\n".join(said)), named


def count() -> tuple[list[str], set[str], set[str]]:
    """The checks that name a document, the documents they name, and the calculators they are of."""
    calculators = set(Plugins.load().calculators)
    found: list[str] = []
    of_documents: set[str] = set()
    of_quantities: set[str] = set()
    for path in sorted(HERE.glob("test_*.py")):
        if path.name == Path(__file__).name:
            continue
        for name, known, named in File(path).checks():
            if known:
                found.append(f"{path.stem}.{name}")
                of_documents |= known
                of_quantities |= named & calculators
    return found, of_documents, of_quantities


def test_the_outside_world_is_asked_often_and_widely() -> None:
    checks, named, quantities = count()
    sys.stdout.write(
        f"\n{len(checks)} checks, {len(named)} documents, {len(quantities)} quantities\n"
        f"documents: {'; '.join(sorted(named))}\n"
        f"quantities: {', '.join(sorted(quantities))}\n"
    )
    assert len(set(checks)) == len(checks) >= 80
    assert len(named) >= 15
    assert len(quantities) >= 20


def test_a_document_listed_here_is_named_somewhere() -> None:
    assert count()[1] == set(DOCUMENTS)
