"""Takes measured side by side, on all cores."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor, as_completed
from multiprocessing import get_context

from humcheck.comparison.material import MeasuredTake
from humcheck.errors import HumcheckError, UnusableTake
from humcheck.pipeline.measure import measure_take
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings

#: Processes cost about a second to start: threads do for a few takes.
_FEWEST_FOR_PROCESSES = 8

Measured = MeasuredTake | HumcheckError
Job = tuple[TakeRequest, str]


def available_cores() -> int:
    """Return how many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def measured_side_by_side(
    jobs: Sequence[Job], settings: MeasuringSettings, *, n_workers: int | None = None
) -> Iterator[tuple[int, Measured]]:
    """Measure takes and yield each as it is done, with its place among the jobs.

    Parameters
    ----------
    jobs : sequence of (TakeRequest, str)
        Requests and ids.
    settings : MeasuringSettings
        What the user set.
    n_workers : int, optional
        Takes measured at a time; all cores where it is not given.
    """
    count = max(1, min(n_workers or available_cores(), len(jobs)))
    if count == 1:
        for place, (request, take_id) in enumerate(jobs):
            yield place, measured_or_error(request, take_id, settings)
        return
    with _executor(count, len(jobs)) as workers:
        pending = {
            workers.submit(measured_or_error, request, take_id, settings): place
            for place, (request, take_id) in enumerate(jobs)
        }
        try:
            for done in as_completed(pending):
                yield pending[done], _outcome(done, jobs[pending[done]][0])
        except BaseException:
            workers.shutdown(wait=False, cancel_futures=True)
            raise


def measured_or_error(request: TakeRequest, take_id: str, settings: MeasuringSettings) -> Measured:
    """Measure one take; return what is wrong with it if it cannot be used."""
    try:
        return measure_take(request, take_id, settings)
    except HumcheckError as error:
        return error


def _executor(n_workers: int, n_jobs: int) -> Executor:
    if n_jobs < _FEWEST_FOR_PROCESSES:
        # Threads: nearly all the time goes into transforms that let go of the interpreter.
        return ThreadPoolExecutor(max_workers=n_workers)
    return ProcessPoolExecutor(n_workers, mp_context=get_context("spawn"), initializer=_end_quietly)


def _end_quietly() -> None:
    """Let Ctrl-C end a worker at once and without a word: the main process speaks."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _outcome(done: Future[Measured], request: TakeRequest) -> Measured:
    from concurrent.futures.process import BrokenProcessPool

    try:
        return done.result()
    except BrokenProcessPool:
        return UnusableTake(
            "the process that measured it was ended from outside, perhaps for want of memory",
            where=request.path,
            remedy="close other programs, or measure fewer takes at a time with --jobs 1",
        )
    except MemoryError:
        return UnusableTake("there is not enough memory to measure it", where=request.path, remedy="try --jobs 1")
