"""Progress on the terminal: to standard error, and only where somebody looks."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from humcheck.pipeline.measure_many import Progress


@contextmanager
def shown_progress(words: str) -> Iterator[Progress | None]:
    """Yield what is to be told of each step that is done; None where standard error is no terminal.

    Parameters
    ----------
    words : str
        What is going on, such as ``"measuring takes"``.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(words, total=None)

        def tell(done: int, total: int, path: str) -> None:
            from humcheck.errors import printable

            bar.update(task, completed=done, total=total, description=f"{words}: {printable(os.path.basename(path))}")

        yield tell
