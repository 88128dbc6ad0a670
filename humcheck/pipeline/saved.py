"""Results files on disk."""

from __future__ import annotations

import os
import stat

from humcheck.errors import UnusableCall
from humcheck.results import Results, load_results

#: Far above any bench: a file beyond it is not ours, and reading it would only cost memory.
LARGEST_BYTES = 256 << 20


def read_results(path: str) -> Results:
    """Read a results file.

    Raises
    ------
    HumcheckError
        If it cannot be read or is no results file.
    """
    try:
        if not stat.S_ISREG(os.stat(path).st_mode):
            raise UnusableCall("is a folder, or no regular file", where=path, remedy="give a file written with --json")
        with open(path, "rb") as file:
            text = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise UnusableCall(f"cannot be read ({reason})", where=path, remedy="check the name") from error
    if len(text) > LARGEST_BYTES:
        raise UnusableCall("is too large for a results file", where=path, remedy="give a file written with --json")
    return load_results(text, where=path)
