"""How often the running evaluator is open where an exact reasoner would decide, over random conditions.

Run from the project folder: `python tests/bench/exactness.py [worlds]`. Not timed, not a test: the evaluator
is sound, and this says what that costs.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "core"))
import test_soundness as soundness


def main(worlds: int) -> None:
    """Print the shares over so many random worlds."""
    tally: Counter[str] = Counter()
    wrong = sum(1 for _ in soundness.disagreements(range(10_000, 10_000 + worlds), tally, Counter()))
    missed, decided = tally["exact decided, engine open"], tally["decided"]
    large = tally["too many completions"]
    print(f"{tally['conditions']} conditions judged by both, {large} too large to enumerate")
    print(f"decided by the engine: {decided} ({decided / tally['conditions']:.1%}), of these wrong: {wrong}")
    print(
        f"open though every completion agrees: {missed}: {missed / tally['conditions']:.1%} of all, "
        f"{missed / (missed + decided):.1%} of those that can be decided"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
