"""A whole bench: from its file to results."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from humcheck.benches.bench_file import read_bench
from humcheck.benches.model import Bench, BenchRun
from humcheck.errors import UnusableCall
from humcheck.findings.audibility import listening_settings
from humcheck.findings.limits import LimitSetting
from humcheck.pipeline.cache import KeptTakes
from humcheck.pipeline.compare import Outcome, outcome_of, require_direct
from humcheck.pipeline.measure_many import Progress, measure_files
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings

__all__ = ["Bench", "bench_files", "bench_settings", "kept_folder", "measure_bench", "read_bench"]


def bench_settings(bench: Bench) -> MeasuringSettings:
    """Return what a bench file sets.

    Raises
    ------
    UnusableCall
        If a way of listening is unknown.
    """
    return MeasuringSettings(
        mains_hz=bench.mains_hz,
        volts_at_full_scale=bench.volts_at_full_scale,
        volts_uncertainty_percent=bench.volts_uncertainty_percent,
        source_ohms=bench.source_ohms,
        load_ohms=bench.load_ohms,
        listening=listening_settings(list(bench.listening) or None),
        margins=dict(bench.margins),
        limits={
            name: LimitSetting(quantity=name, min=limit.min, max=limit.max) for name, limit in bench.limits.items()
        },
    )


def bench_files(bench: Bench) -> list[str]:
    """Return the paths of all recordings that a bench names."""
    return [*(take.path for take in bench.takes), *(recording.path for recording in bench.recordings)]


def kept_folder(bench: Bench) -> Path:
    """Return where measured takes are kept: beside the bench file, under its name."""
    path = Path(bench.path)
    return path.with_name(f"{path.stem}.measured")


def measure_bench(
    bench: Bench,
    *,
    settings: MeasuringSettings | None = None,
    n_workers: int | None = None,
    progress: Progress | None = None,
    to_hear: bool = False,
) -> Outcome:
    """Measure the takes of a bench and set them against each other.

    Parameters
    ----------
    bench : Bench
        Read and checked.
    settings : MeasuringSettings, optional
        Those of the bench file by default.
    n_workers : int, optional
        Takes measured at a time; all cores by default.
    progress : callable, optional
        Told of each take that is done.
    to_hear : bool, optional
        Whether excerpts are made.

    Raises
    ------
    HumcheckError
        If no direct take can be used, one recording stands in two places, or a long recording does not hold the runs
        that the bench file names.
    """
    settings = settings or bench_settings(bench)
    notes: list[str] = []
    requests = list(_requests(bench, notes))
    kept = KeptTakes(kept_folder(bench))
    measured, problems = measure_files(requests, settings, n_workers=n_workers, kept=kept, progress=progress)
    remedy = "record the source directly and name that take"
    require_direct(measured, problems, UnusableCall("names no direct take", where=bench.path, remedy=remedy))
    return outcome_of(measured, problems, requests, settings, bench_name=bench.name, to_hear=to_hear, notes=notes)


def _requests(bench: Bench, notes: list[str]) -> Iterator[TakeRequest]:
    """Yield what is to be measured; what is left out of long recordings is added to `notes`."""
    from humcheck.takes.cutting import hand_out

    for take in bench.takes:
        yield _request(take, take.path)
    for recording in bench.recordings:
        handed = hand_out(recording.path, recording.runs)
        for run, found in handed.runs:
            yield _request(run, recording.path, found.span)
        notes += [f"{Path(recording.path).name}: {found.words}" for found in handed.dropped]


def _request(run: BenchRun, path: str, span: tuple[int, int] | None = None) -> TakeRequest:
    return TakeRequest(
        path=path,
        role=run.role,
        device=run.device,
        port=run.port,
        picture=run.picture,
        condition=dict(run.condition),
        fix=run.fix,
        plugging=run.plugging,
        run=span,
    )
