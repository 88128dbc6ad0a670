"""Print every benchmark table: ``python -m tests.benchmarks [--quick] [NAME ...]``."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import time
from pathlib import Path

from tests.benchmarks.table import print_table

_NOT_TABLES = {"__init__", "__main__", "table", "watched"}


def main() -> int:
    # As the command line does: takes are measured side by side, one thread each. No table is imported yet.
    for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(variable, "1")
    folder = Path(__file__).parent
    names = sorted(path.stem for path in folder.glob("*.py") if path.stem not in _NOT_TABLES)
    names = [name for name in names if not name.startswith("test_")]
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    parser.add_argument("--quick", action="store_true", help="fewer trials")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(names)}")
    arguments = parser.parse_args()
    missed = 0
    for name in arguments.names or names:
        began = time.perf_counter()
        rows = importlib.import_module(f"tests.benchmarks.{name}").run(quick=arguments.quick)
        print_table(f"{name} ({time.perf_counter() - began:.0f} s)", rows)
        missed += sum(not row.passed for row in rows)
    print(f"\n{missed} targets missed")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
