"""Runs the command line in a process of its own and says what it answered, how long it took and how much it held."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What became of a call."""

    status: int
    output: str
    error: str
    seconds: float
    largest_mb: float

    @property
    def is_clean(self) -> bool:
        """Whether it spoke as agreed: no traceback, and where it refused, sentences and nothing else."""
        lines = self.error.splitlines()
        if self.status not in (0, 1, 2) or "Traceback" in self.error + self.output:
            return False
        spoken = all(line.startswith("humcheck: ") and line.isprintable() for line in lines)
        return spoken and (bool(lines) or self.status != 2)

    @property
    def is_refusal(self) -> bool:
        """Whether it is one clear sentence and status 2."""
        return self.is_clean and self.status == 2 and len(self.error.splitlines()) == 1 and not self.output


def answer_to(arguments: Sequence[str], folder: Path, *, longest_s: float = 60.0) -> Answer:
    """Call humcheck; what takes longer than `longest_s` is ended, with status -9."""
    with tempfile.TemporaryFile() as output, tempfile.TemporaryFile() as error:
        began_s = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-m", "humcheck", *arguments],
            stdin=subprocess.DEVNULL, stdout=output, stderr=error, cwd=folder,
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
        )  # fmt: skip
        status, usage = None, None
        while usage is None:
            pid, status, found = os.wait4(process.pid, os.WNOHANG)
            if pid:
                usage = found
            elif time.perf_counter() - began_s > longest_s:
                process.kill()
                longest_s = float("inf")
            else:
                time.sleep(0.005)
        process.returncode = os.waitstatus_to_exitcode(status or 0)
        texts = []
        for stream in (output, error):
            stream.seek(0)
            texts.append(stream.read().decode("utf-8", "backslashreplace"))
        return Answer(
            status=process.returncode,
            output=texts[0],
            error=texts[1],
            seconds=time.perf_counter() - began_s,
            largest_mb=usage.ru_maxrss / 1024,
        )


def files_in(folder: Path) -> dict[str, bytes | None]:
    """Return all that lies in a folder: names, and contents of plain files."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() and not path.is_symlink() else None
        for path in sorted(folder.rglob("*"))
        if path.is_symlink() or path.is_file() or path.is_fifo() or not any(path.iterdir())
    }
