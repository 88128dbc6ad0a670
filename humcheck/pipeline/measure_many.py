"""Many takes, measured: those measured before are looked up, the others shared out among the cores."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from humcheck.comparison.material import MeasuredTake
from humcheck.errors import HumcheckError, UnusableTake
from humcheck.pipeline.cache import KeptTakes
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.sameness import require_different_recordings
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.pipeline.workers import Job, Measured, measured_side_by_side

if TYPE_CHECKING:
    from humcheck.audio.files import Hashed

#: Called with the number of takes done, their total, and the file that was done last.
Progress = Callable[[int, int, str], None]


def measure_files(
    requests: Sequence[TakeRequest],
    settings: MeasuringSettings,
    *,
    n_workers: int | None = None,
    kept: KeptTakes | None = None,
    progress: Progress | None = None,
) -> tuple[list[MeasuredTake], list[HumcheckError]]:
    """Measure files side by side; those that cannot be used are left out and told.

    Parameters
    ----------
    requests : sequence of TakeRequest
        What is to be measured; ids count them from ``t1``.
    settings : MeasuringSettings
        What the user set.
    n_workers : int, optional
        Takes measured at a time; all cores where it is not given.
    kept : KeptTakes, optional
        Where takes that were measured before are found, and new ones are kept.
    progress : callable, optional
        Told of each take that is done.

    Returns
    -------
    measured : list of MeasuredTake
        In the order of the requests.
    problems : list of HumcheckError
        One for each file that cannot be used.

    Raises
    ------
    UnusableCall
        If one recording stands in two places.
    """
    outcomes: list[Measured | None] = [None] * len(requests)
    n_done = 0

    def put(place: int, outcome: Measured) -> None:
        nonlocal n_done
        outcomes[place] = outcome
        n_done += 1
        if progress is not None:
            progress(n_done, len(requests), requests[place].path)

    new: list[int] = []
    hashes: dict[str, Hashed] = {}
    for place, request in enumerate(requests):
        found = None if kept is None else _found(kept, request, _id(place), settings, hashes)
        if found is None:
            new.append(place)
        else:
            put(place, found)
    jobs = [Job(requests[place], _id(place), hashes.get(requests[place].path)) for place in new]
    for index, outcome in measured_side_by_side(jobs, settings, n_workers=n_workers):
        if kept is not None and isinstance(outcome, MeasuredTake):
            kept.keep(outcome, requests[new[index]], settings)
        put(new[index], outcome)
    usable = [
        (request, outcome)
        for request, outcome in zip(requests, outcomes, strict=True)
        if isinstance(outcome, MeasuredTake)
    ]
    require_different_recordings(usable)
    problems = [outcome for outcome in outcomes if isinstance(outcome, HumcheckError)]
    return [take for _, take in usable], problems


def _id(place: int) -> str:
    return f"t{place + 1}"


def _found(
    kept: KeptTakes, request: TakeRequest, take_id: str, settings: MeasuringSettings, hashes: dict[str, Hashed]
) -> MeasuredTake | HumcheckError | None:
    """Return a take that was measured before; what its file's hash is goes into `hashes`."""
    from humcheck.audio.files import file_hashed

    if not os.path.isfile(request.path):
        return None  # what it is instead, measuring will say
    try:
        if request.path not in hashes:  # a long recording stands there once for each of its runs
            hashes[request.path] = file_hashed(request.path)
        return kept.find(hashes[request.path].sha256, request, take_id, settings)
    except UnusableTake as error:
        return error
