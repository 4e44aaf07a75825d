"""From nothing to the first question of `guide`, in a new process each time, with a warm cache.

    python tests/bench/bench_start.py

Wall time, least and median of many. Compiled Python files must be allowed (no PYTHONDONTWRITEBYTECODE).
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TRIES = 25


def main() -> None:
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder, "visit.job")
        command = [
            sys.executable,
            "-c",
            "from stillair.cli import main; main()",
            "guide",
            str(job),
            "--by",
            "A. Tech",
        ]
        times = []
        for _ in range(TRIES + 2):
            begun = time.perf_counter()
            subprocess.run(
                command, stdin=subprocess.DEVNULL, capture_output=True, check=True, env=environment
            )
            times.append((time.perf_counter() - begun) * 1000)
    print(f"first start (compiles the pack)  {times[0]:6.0f} ms")
    print(f"warm, least of {TRIES}              {min(times[2:]):6.0f} ms")
    print(f"warm, median                     {statistics.median(times[2:]):6.0f} ms")


if __name__ == "__main__":
    main()
