"""Fuzz what reads files of others: ``python -m tests.fuzz [--seconds S] [--keep DIR] [NAME ...]``.

Guided by coverage (atheris, which drives libFuzzer): inputs that reach new lines of humcheck are kept and changed
further. Each target runs in a process of its own, for that is how libFuzzer ends. What makes a target raise anything
but a sentence for the user is written to a file, named, and fails the run.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import subprocess
import sys
import tempfile
from pathlib import Path

NAMES = ("audio", "results", "bench")
#: One input that takes longer, in seconds, or more memory, in MB, is a finding as well.
LONGEST_S, MOST_MB = 20, 2500


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(NAMES)}; all by default")
    parser.add_argument("--seconds", type=int, default=5, help="for each (default: %(default)s)")
    parser.add_argument("--keep", metavar="DIR", help="folder for inputs that were found, used again next time")
    parser.add_argument("--input", metavar="FILE", help="try this one input, without the fuzzer")
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.input:
        from tests.fuzz.targets import TARGETS

        TARGETS[arguments.names[0]][0](Path(arguments.input).read_bytes())
        return 0
    if importlib.util.find_spec("atheris") is None:
        print("not fuzzed: atheris is not installed (it has no wheel for every version of Python and every system)")
        return 0
    if arguments.inside:
        _fuzz(arguments.names[0], arguments.seconds, Path(arguments.keep))
    return sum(_apart(name, arguments.seconds, arguments.keep) for name in arguments.names or NAMES)


def _apart(name: str, seconds: int, keep: str | None) -> int:
    """Fuzz one target in a process of its own; return 1 if something was found."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(keep or made) / name
        folder.mkdir(parents=True, exist_ok=True)
        words = [sys.executable, "-m", "tests.fuzz", name, "--inside", "--seconds", str(seconds), "--keep", str(folder)]
        done = subprocess.run(words, capture_output=True, encoding="utf-8", errors="replace", check=False)
    lines = [line for line in done.stderr.splitlines() if not line.startswith(("INFO", "WARNING"))]
    tried = next((line for line in reversed(lines) if line.startswith("Done ")), "stopped early")
    print(f"{name}: {tried}", flush=True)
    if done.returncode:
        print("\n".join(lines[-60:]), done.stdout[-2000:], sep="\n", flush=True)
    return 1 if done.returncode else 0


def _fuzz(name: str, seconds: int, folder: Path) -> None:
    import atheris

    with atheris.instrument_imports(include=["humcheck"]):
        from tests.fuzz.targets import TARGETS
    target, seeds, longest = TARGETS[name]
    for seed in seeds():
        (folder / hashlib.sha256(seed).hexdigest()).write_bytes(seed)
    found = Path(tempfile.gettempdir()) / f"humcheck-fuzz-{name}-"
    options = [f"-max_total_time={seconds}", f"-max_len={longest}", f"-timeout={LONGEST_S}", f"-rss_limit_mb={MOST_MB}"]
    atheris.Setup(["fuzz", *options, "-len_control=0", f"-artifact_prefix={found}", str(folder)], target)
    atheris.Fuzz()


if __name__ == "__main__":
    sys.exit(main())
