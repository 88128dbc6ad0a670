"""Takes measured side by side, on all cores."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import (
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    as_completed,
)
from functools import partial
from multiprocessing import get_context
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from humcheck.comparison.material import MeasuredTake
from humcheck.errors import HumcheckError, UnusableTake
from humcheck.pipeline.measure import measure_take
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from humcheck.audio.files import Hashed

#: Processes cost about a second to start: threads do for a few takes.
_FEWEST_FOR_PROCESSES = 8
#: What the names of threads that measure begin with: nobody has to wait for them when the user has had enough.
THREAD_NAME = "humcheck-take"

Measured = MeasuredTake | HumcheckError
_Item = TypeVar("_Item")
_Result = TypeVar("_Result")


class Job(NamedTuple):
    """A take to be measured, its id in the results, and its file's hash if that is known."""

    request: TakeRequest
    take_id: str
    hashed: Hashed | None = None


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
    jobs : sequence of Job
        Takes.
    settings : MeasuringSettings
        What the user set.
    n_workers : int, optional
        Takes measured at a time; all cores where it is not given.
    """
    for place, outcome in side_by_side(partial(measured_or_error, settings), jobs, n_workers=n_workers):
        # What is wrong with the recording itself is an outcome, too, and says so in its own words.
        if isinstance(outcome, BrokenExecutor | MemoryError):
            yield place, _said(outcome, jobs[place].request)
        else:
            yield place, outcome


def side_by_side(
    function: Callable[[_Item], _Result], items: Sequence[_Item], *, n_workers: int | None = None
) -> Generator[tuple[int, _Result | BrokenExecutor | MemoryError], None, None]:
    """Call a function for each item on all cores; yield each result as it is done, with its item's place.

    Parameters
    ----------
    function : callable
        Of a module, so that another process finds it.
    items : sequence
        What it is called with.
    n_workers : int, optional
        Calls at a time; all cores where it is not given.

    Yields
    ------
    place : int
    result : object, or BrokenExecutor or MemoryError
        The last two where a process was ended from outside, or had no memory left.
    """
    count = max(1, min(n_workers or available_cores(), len(items)))
    if count == 1:
        for place, item in enumerate(items):
            yield place, function(item)
        return
    with _executor(count, len(items)) as workers:
        pending: dict[Future[_Result], int] = {
            workers.submit(function, item): place for place, item in enumerate(items)
        }
        for done in as_completed(pending):
            try:
                yield pending[done], done.result()
            except (BrokenExecutor, MemoryError) as error:
                yield pending[done], error


def measured_or_error(settings: MeasuringSettings, job: Job) -> Measured:
    """Measure one take; return what is wrong with it if it cannot be used."""
    try:
        return measure_take(job.request, job.take_id, settings, hashed=job.hashed)
    except HumcheckError as error:
        return error


@contextlib.contextmanager
def processes(n_workers: int) -> Iterator[Executor]:
    """Yield worker processes that end at once, whatever they are at, when this block or this process does.

    Python's own would finish what they are at after Ctrl-C, and wait for ever for a main process that was killed.
    """
    context = get_context("spawn")
    listening, held = context.Pipe(duplex=False)
    workers = ProcessPoolExecutor(
        n_workers, mp_context=context, initializer=_end_with_the_main_process, initargs=(listening,)
    )
    try:
        with _ctrl_c_held_back():
            for _ in range(n_workers):
                workers.submit(int)  # each call that finds none idle starts one
        yield workers
    except BaseException:
        workers.shutdown(wait=False, cancel_futures=True)
        raise
    else:
        workers.shutdown()
    finally:
        held.close()
        listening.close()


@contextlib.contextmanager
def _ctrl_c_held_back() -> Iterator[None]:
    """Keep Ctrl-C from processes that are started here: while they start they would answer it with a traceback."""
    if not hasattr(signal, "pthread_sigmask"):  # not on every system
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextlib.contextmanager
def _threads(n_workers: int) -> Iterator[Executor]:
    """Yield threads: nearly all the time goes into transforms that let go of the interpreter."""
    workers = ThreadPoolExecutor(max_workers=n_workers, thread_name_prefix=THREAD_NAME)
    try:
        yield workers
    except BaseException:
        workers.shutdown(wait=False, cancel_futures=True)
        raise
    else:
        workers.shutdown()


def _executor(n_workers: int, n_jobs: int) -> contextlib.AbstractContextManager[Executor]:
    return _threads(n_workers) if n_jobs < _FEWEST_FOR_PROCESSES else processes(n_workers)


def _end_with_the_main_process(listening: Connection) -> None:
    """Let a worker end at once and without a word, on Ctrl-C and when nobody holds the other end any more."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)

    def listen() -> None:
        listening.poll(None)  # returns when the other end is closed, by whatever cause
        os._exit(1)

    threading.Thread(target=listen, daemon=True).start()


def _said(error: BaseException, request: TakeRequest) -> HumcheckError:
    if isinstance(error, MemoryError):
        return UnusableTake("there is not enough memory to measure it", where=request.path, remedy="try --jobs 1")
    return UnusableTake(
        "the process that measured it was ended from outside, perhaps for want of memory",
        where=request.path,
        remedy="close other programs, or measure fewer takes at a time with --jobs 1",
    )
