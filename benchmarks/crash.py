"""Kill drafts at random moments (kill -9) and see that the next run makes of them what a clean one would.

    python benchmarks/crash.py [--moments 30] [--seed 1]

Half of the moments fall into runs that make parts in one process, half into runs with two worker processes, spread
over the whole of a run and random within each stretch. The script is tests/crash_runs.py; see there for what is looked
at. Ends with exit code 1 where anything is not as it should be.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
GONE_S = 3.0


def main() -> None:
    """Run all moments and print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--moments", type=int, default=30)
    arguments.add_argument("--seed", type=int, default=1)
    options = arguments.parse_args()
    bad = 0
    head = ("processes", "moments", "parts landed by then", "equal", "made twice", "left over", "workers gone, s")
    print(f"| {' | '.join(head)} |\n|{'---|' * len(head)}", flush=True)
    for workers, moments in ((1, options.moments // 2), (2, options.moments - options.moments // 2)):
        with tempfile.TemporaryDirectory(prefix="crash-") as folder:
            script = [sys.executable, str(ROOT / "tests" / "crash_runs.py"), folder]
            paths = os.pathsep.join([str(ROOT), str(ROOT / "tests"), os.environ.get("PYTHONPATH", "")])
            done = subprocess.run(
                [*script, str(moments), str(options.seed), str(workers)],
                stdout=subprocess.PIPE, text=True, check=True, env={**os.environ, "PYTHONPATH": paths},
            )  # fmt: skip
        told = [json.loads(line) for line in done.stdout.splitlines()]
        equal = sum(one["equal"] for one in told)
        twice = sum(one["made_twice"] + max(0, one["landed"] - one["kept"]) for one in told)
        left = sum(len(one["left"]) + len(one["partial"]) for one in told)
        gone_s = max(one["gone_s"] for one in told)
        landed = ", ".join(str(one["landed"]) for one in told)
        print(f"| {workers} | {len(told)} | {landed} | {equal} | {twice} | {left} | {gone_s:.2f} |", flush=True)
        bad += (len(told) - equal) + twice + left + (gone_s >= GONE_S)
    raise SystemExit(1 if bad else 0)


if __name__ == "__main__":
    main()
