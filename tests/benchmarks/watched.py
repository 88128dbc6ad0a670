"""Run a command and print what it took: ``python watched.py COMMAND ...``, its own output thrown away.

Prints processors' seconds, the peak memory of its largest process, and that of all its processes together (MB).
"""

from __future__ import annotations

import contextlib
import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator

_LOOK_S = 0.1
_PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")


def main() -> int:
    """Run the command, look at its processes now and then, and return its exit status."""
    process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
    together = 0
    while process.poll() is None:
        together = max(together, sum(map(_resident_bytes, _family(process.pid))))
        time.sleep(_LOOK_S)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    largest_mb = used.ru_maxrss / 1024
    print(used.ru_utime + used.ru_stime, largest_mb, max(together / 2**20, largest_mb))
    return process.returncode


def _family(pid: int) -> Iterator[int]:
    """Yield a process and all that it started, as Linux tells; elsewhere the process alone."""
    yield pid
    with contextlib.suppress(OSError), open(f"/proc/{pid}/task/{pid}/children", encoding="ascii") as file:
        for child in file.read().split():
            yield from _family(int(child))


def _resident_bytes(pid: int) -> int:
    with contextlib.suppress(OSError), open(f"/proc/{pid}/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * _PAGE_BYTES
    return 0


if __name__ == "__main__":
    sys.exit(main())
