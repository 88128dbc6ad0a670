"""Takes set against each other: from files to results."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import msgspec

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.compare import compare_takes
from humcheck.comparison.material import MeasuredTake, ProgrammeMatch
from humcheck.comparison.take_faults import with_shared_faults
from humcheck.errors import HumcheckError, UnusableCall
from humcheck.evidence import Excerpts, make_excerpts
from humcheck.findings import find
from humcheck.findings.limits import limit_outcomes
from humcheck.pipeline.audibility import with_audibility
from humcheck.pipeline.measure_many import Progress, measure_files
from humcheck.pipeline.picture_circuit import with_circuit
from humcheck.pipeline.programme import programme_rows
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.pipeline.split_null import split_null_rows
from humcheck.pipeline.versions import library_versions
from humcheck.results import Bench, Results
from humcheck.version import NUMBERS_VERSION, __version__

__all__ = ["Outcome", "TakeRequest", "compare_files", "inspect_files", "measure_files", "results_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Results, what can be heard of them, and what became of the files that could not be used.

    Attributes
    ----------
    problems : tuple of HumcheckError
        One for each file that could not be used.
    notes : tuple of str
        What was left out on purpose, such as a run of a long recording in which a plug was moved.
    """

    results: Results
    excerpts: Excerpts = Excerpts()
    problems: tuple[HumcheckError, ...] = ()
    notes: tuple[str, ...] = ()


def compare_files(
    requests: Sequence[TakeRequest],
    settings: MeasuringSettings,
    *,
    bench_name: str,
    to_hear: bool = False,
    n_workers: int | None = None,
    progress: Progress | None = None,
) -> Outcome:
    """Measure takes and set through against direct.

    Parameters
    ----------
    requests : sequence of TakeRequest
        At least one direct take.
    settings : MeasuringSettings
        What the user set.
    bench_name : str
        Title of the report.
    to_hear : bool
        Whether excerpts are made.
    n_workers : int, optional
        Takes measured at a time; all cores by default.
    progress : callable, optional
        Told of each take that is done.

    Raises
    ------
    HumcheckError
        If no direct take can be used, or one recording stands in two roles.
    """
    measured, problems = measure_files(requests, settings, n_workers=n_workers, progress=progress)
    require_direct(measured, problems, UnusableCall("there is no direct take", remedy="record the source directly"))
    return outcome_of(measured, problems, requests, settings, bench_name=bench_name, to_hear=to_hear)


def require_direct(measured: Sequence[MeasuredTake], problems: Sequence[HumcheckError], missing: HumcheckError) -> None:
    """Raise what is wrong with the takes, or that no direct one was named, if none of them can be used."""
    if not any(take.role == "direct" for take in measured):
        raise problems[0] if problems else missing


def outcome_of(
    measured: Sequence[MeasuredTake],
    problems: Sequence[HumcheckError],
    requests: Sequence[TakeRequest],
    settings: MeasuringSettings,
    *,
    bench_name: str,
    to_hear: bool,
    notes: Sequence[str] = (),
) -> Outcome:
    """Return what measured takes tell when they are set against each other; their ids count the requests from 1."""
    matches: list[ProgrammeMatch] = []
    with_paths = [(take, requests[int(take.row.id[1:]) - 1].path) for take in measured]
    further = [*programme_rows(with_paths, matches), *split_null_rows(with_paths)]
    results = results_of(measured, settings, bench_name=bench_name, further=further)
    excerpts = make_excerpts(measured, matches) if to_hear else Excerpts()
    return Outcome(results=results, excerpts=excerpts, problems=tuple(problems), notes=tuple(notes))


def inspect_files(
    requests: Sequence[TakeRequest],
    settings: MeasuringSettings,
    *,
    to_hear: bool = False,
    n_workers: int | None = None,
    progress: Progress | None = None,
) -> Outcome:
    """Measure recordings that stand alone.

    Parameters
    ----------
    requests : sequence of TakeRequest
        At least one recording.
    settings : MeasuringSettings
        What the user set.
    to_hear : bool
        Whether excerpts are made.
    n_workers : int, optional
        Recordings measured at a time; all cores by default.
    progress : callable, optional
        Told of each recording that is done.

    Raises
    ------
    HumcheckError
        If none of them can be used.
    """
    measured, problems = measure_files(requests, settings, n_workers=n_workers, progress=progress)
    if not measured:
        raise problems[0]
    results = results_of(measured, settings, bench_name="inspection")
    excerpts = make_excerpts(measured) if to_hear else Excerpts()
    return Outcome(results=results, excerpts=excerpts, problems=tuple(problems))


def results_of(
    measured: Sequence[MeasuredTake],
    settings: MeasuringSettings,
    *,
    bench_name: str,
    further: Sequence[Any] = (),
) -> Results:
    """Return the results of takes that were measured already; `further` rows are kept as they are."""
    measured = with_shared_faults(measured)
    rows = compare_takes(measured, further, CertaintySettings(margins=settings.margins))
    created = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    results = Results(
        bench=Bench(id=uuid.uuid4().hex, name=bench_name, created=created),
        settings=settings.as_row(),
        humcheck_version=__version__,
        numbers_version=NUMBERS_VERSION,
        created=created,
        versions=library_versions(),
        takes=[take.row for take in measured],
    )
    numbered = {name: list(_with_ids(name, of_kind)) for name, of_kind in rows.items()}
    results = with_circuit(msgspec.structs.replace(results, **numbered))
    results = with_audibility(results, settings.listening)
    results = msgspec.structs.replace(results, limits=limit_outcomes(results, settings.limits))
    return msgspec.structs.replace(results, findings=find(results))


def _with_ids(kind: str, rows: Iterable[Any]) -> Iterable[Any]:
    """Give every row an id of its own, such as ``measures-12``; rows without that field stay as they are."""
    for number, row in enumerate(rows, start=1):
        yield msgspec.structs.replace(row, id=f"{kind}-{number}") if hasattr(row, "id") else row
