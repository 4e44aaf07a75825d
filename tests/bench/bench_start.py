"""From nothing to the first question of `guide`, in a new process each time, with a warm cache.

    python tests/bench/bench_start.py

Wall time until the prompt is shown, least and median of many. Compiled Python files must be allowed
(no PYTHONDONTWRITEBYTECODE). Below it what the bare interpreter takes to start and end.
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
PROMPT = b"\n> "


def first_question(job: Path, environment: dict[str, str]) -> float:
    """Milliseconds until the first question is shown."""
    verb = ["-c", "from stillair.cli import main; main()", "guide", str(job), "--by", "A. Tech"]
    begun = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, *verb], stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment
    ) as process:
        assert process.stdin is not None and process.stdout is not None
        shown = b""
        while not shown.endswith(PROMPT):
            more = os.read(process.stdout.fileno(), 65536)
            if not more:
                raise SystemExit("the session ended before its first question")
            shown += more
        took = time.perf_counter() - begun
        process.stdin.close()
    return took * 1000


def bare(environment: dict[str, str]) -> float:
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", "pass"], check=True, env=environment)
    return (time.perf_counter() - begun) * 1000


def main() -> None:
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as folder:
        environment |= dict.fromkeys(("XDG_CACHE_HOME", "LOCALAPPDATA"), folder)
        job = Path(folder, "visit.job")
        times = [first_question(job, environment) for _ in range(TRIES + 2)]
    print(f"first start (compiles the pack)  {times[0]:6.0f} ms")
    print(f"warm, least of {TRIES}              {min(times[2:]):6.0f} ms")
    print(f"warm, median                     {statistics.median(times[2:]):6.0f} ms")
    print(f"the bare interpreter, least      {min(bare(environment) for _ in range(TRIES)):6.0f} ms")


if __name__ == "__main__":
    main()
