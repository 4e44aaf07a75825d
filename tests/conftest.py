"""For every test."""

from __future__ import annotations

import gc


def pytest_collection_finish() -> None:
    """What was collected stays: garbage is seldom looked for, and a quarter of the time is saved."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 10, 10)
