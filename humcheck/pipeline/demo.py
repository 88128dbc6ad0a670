"""The demo: the whole job on a made-up bench, measured by the same code as anybody's takes."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import msgspec

from humcheck.audio.writing import LEFTOVER_PREFIX, refuse_to_overwrite, write_whole
from humcheck.comparison.material import MeasuredTake
from humcheck.errors import UnusableCall
from humcheck.evidence import (
    Excerpts,
    folder_name,
    make_excerpts,
    refuse_folder,
    takes_heard,
    with_excerpts,
    write_folder,
)
from humcheck.findings.audibility import PRESETS, ListeningSetting
from humcheck.pipeline.compare import results_of
from humcheck.pipeline.demo_bench import (
    RATE_HZ,
    TRACK_BITS,
    TRACK_LENGTH,
    DemoTake,
    demo_takes,
    plain_takes,
    write_demo_takes,
)
from humcheck.pipeline.demo_file import bench_file_of
from humcheck.pipeline.measure import measure_take
from humcheck.pipeline.measure_many import Progress
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.pipeline.workers import side_by_side
from humcheck.report.page import render_page
from humcheck.report.truth import TruthRow
from humcheck.results import RESULTS_MARK, Results, results_to_json

BENCH_NAME = "The library's travelling show"
_CHANNELS = ("left", "right")


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOutcome:
    """What the demo left behind.

    Attributes
    ----------
    results : Results
        Of the whole bench.
    written : tuple of Path
        Files, in the order in which a reader would open them.
    """

    results: Results
    written: tuple[Path, ...]


def run_demo(
    folder: str | Path,
    *,
    seed: int = 1,
    force: bool = False,
    keep_takes: bool = False,
    listening: tuple[ListeningSetting, ...] = PRESETS,
    progress: Progress | None = None,
    device: str | None = None,
) -> DemoOutcome:
    """Write tracks, make takes, measure them, and write one report for each box and one for all.

    Parameters
    ----------
    folder : path
        Everything is written in here; it is made if need be.
    seed : int
        Another seed gives another day on the same bench.
    force : bool
        Replace files that are not our own.
    keep_takes : bool
        Leave the simulated recordings in the folder, to try other commands on.
    listening : tuple of ListeningSetting
        Ways of listening for which audibility is predicted.
    progress : callable, optional
        Told of each take that is done.
    device : str, optional
        Only this box, with the direct takes: a third of the time, and one page.

    Raises
    ------
    HumcheckError
        If the folder cannot be written, holds files of other making under the names needed, or there is no such box.
    """
    from humcheck.tracks.writing import write_tracks

    target = _made(Path(folder))
    takes = _chosen(demo_takes(seed), device)
    pages = [target / f"{name}.html" for name in _pages(takes)]
    for path in (*pages, *(page.with_suffix(".json") for page in pages)):
        refuse_to_overwrite(path, force=force, mark=RESULTS_MARK if path.suffix == ".json" else "humcheck")
    for page in pages:
        refuse_folder(page, force=force)
    write_tracks(_made(target / "demo-tracks"), rate_hz=RATE_HZ, bits=TRACK_BITS, length=TRACK_LENGTH, force=force)
    settings = replace(_SETTINGS, listening=listening)
    if keep_takes:
        kept = _made(target / "demo-takes")
        measured = _measured(kept, takes, seed=seed, keep=True, force=force, progress=progress)
        write_whole(kept / "bench.toml", bench_file_of(takes, BENCH_NAME), force=force)
        return _written(target, takes, measured, settings, force)
    with tempfile.TemporaryDirectory(prefix=LEFTOVER_PREFIX, dir=target, ignore_cleanup_errors=True) as hidden:
        measured = _measured(Path(hidden), takes, seed=seed, keep=False, force=force, progress=progress)
        # Excerpts are cut from the takes, so the pages are written while those are there.
        return _written(target, takes, measured, settings, force)


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UnusableCall(
            f"the folder cannot be made ({error.strerror})", where=folder, remedy="choose another with --out"
        ) from error
    return folder


def _chosen(takes: Sequence[DemoTake], device: str | None) -> list[DemoTake]:
    """Return the takes of one box, and those that belong to none; all of them where no box is named."""
    if device is None:
        return list(takes)
    if device.lower() not in _devices(takes):
        known = ", ".join(name.capitalize() for name in _devices(takes))
        raise UnusableCall(f"the demo has no box called {device}", remedy=f"name one of {known}")
    return [take for take in takes if _belongs(take.device, device)]


def _belongs(device: str | None, box: str) -> bool:
    """Return whether a take is of a box, or of the bench without any."""
    return device is None or device.lower() == box.lower()


def _pages(takes: Sequence[DemoTake]) -> list[str]:
    """Return the names of the pages: one for all boxes and one for each."""
    devices = _devices(takes)
    return devices if len(devices) == 1 else ["demo", *devices]


def _devices(takes: Sequence[DemoTake]) -> list[str]:
    return sorted({take.device.lower() for take in takes if take.device is not None})


def _measured(
    folder: Path, takes: Sequence[DemoTake], *, seed: int, keep: bool, force: bool, progress: Progress | None
) -> list[MeasuredTake]:
    """Make the takes and measure them; those that nobody will hear are not kept, since they fill a disk."""
    make = partial(_made_and_measured, folder, seed, keep, force)
    measured: list[MeasuredTake | None] = [None] * len(takes)
    # Closed before the folder that the workers write into is taken away.
    with closing(side_by_side(make, list(enumerate(take.file_name for take in takes)))) as outcomes:
        for count, (place, outcome) in enumerate(outcomes, start=1):
            if isinstance(outcome, BaseException):
                remedy = "close other programs"
                raise UnusableCall("the demo ran out of memory, or was ended from outside", remedy=remedy)
            measured[place] = outcome
            if progress is not None:
                progress(count, len(takes), takes[place].file_name)
    done = [take for take in measured if take is not None]
    if not keep:
        # Of one box alone more uses are heard than of several.
        of_boxes = [[take for take in done if _belongs(take.row.device, box)] for box in _devices(takes)]
        heard = {take.row.file for group in (done, *of_boxes) for take in takes_heard(group)}
        write_demo_takes(folder, seed=seed, jobs=2, file_names=heard)
    return done


def _made_and_measured(folder: Path, seed: int, keep: bool, force: bool, job: tuple[int, str]) -> MeasuredTake:
    place, file_name = job
    take = next(take for take in demo_takes(seed) if take.file_name == file_name)
    path = take.write(folder, force=force)
    request = TakeRequest(
        path=str(path),
        role=take.role,
        device=take.device,
        port=take.port,
        picture=take.picture,
        condition=dict(take.condition),
        fix=take.fix,
        plugging=take.plugging,
    )
    measured = measure_take(request, f"t{place + 1}", _SETTINGS)
    if not keep:
        path.unlink()
    return measured


_SETTINGS = MeasuringSettings(mains_hz=50.0)


def _written(
    target: Path,
    takes: Sequence[DemoTake],
    measured: Sequence[MeasuredTake],
    settings: MeasuringSettings,
    force: bool,
) -> DemoOutcome:
    whole = _results_of(measured, settings, BENCH_NAME)
    written: list[Path] = []
    if len(_devices(takes)) > 1:
        written = _write_pair(target / "demo.html", whole, make_excerpts(measured), list(_truth_rows(takes)), force)
    for device in _devices(takes):
        of_device = [take for take in measured if _belongs(take.row.device, device)]
        truth = list(_truth_rows(_chosen(takes, device)))
        results = _results_of(of_device, settings, f"{BENCH_NAME}: {device.capitalize()}")
        written += _write_pair(target / f"{device}.html", results, make_excerpts(of_device), truth, force)
    return DemoOutcome(results=whole, written=tuple(written))


def _results_of(measured: Sequence[MeasuredTake], settings: MeasuringSettings, name: str) -> Results:
    return msgspec.structs.replace(results_of(measured, settings, bench_name=name), commands=["humcheck demo"])


def _write_pair(page: Path, results: Results, excerpts: Excerpts, truth: Sequence[TruthRow], force: bool) -> list[Path]:
    saved = page.with_suffix(".json")
    results, sounds = with_excerpts(results, excerpts, folder_name(saved))
    write_whole(page, render_page(results, truth=truth, sounds=sounds), force=force)
    write_folder(excerpts, saved, force=force)
    write_whole(saved, results_to_json(results), force=force, mark=RESULTS_MARK)
    return [page, saved]


def _truth_rows(takes: Sequence[DemoTake]) -> Iterator[TruthRow]:
    """Yield the simulation's own values of every use, without the small changes from take to take."""
    plain = {take.file_name: take for take in plain_takes()}
    direct = next(take for take in takes if take.role == "direct" and take.track == "full")
    seen: set[tuple[object, ...]] = set()
    for take in takes:
        full = take.track == "full"
        use = (take.device, take.port, take.picture, take.fix, *take.condition.items())
        if take.role != "through" or ((*use, full) in seen):
            continue
        seen.add((*use, full))
        for index, channel in enumerate(_CHANNELS):
            if use not in seen:
                yield from _noise_and_gain(plain[take.file_name], plain[direct.file_name], index, channel)
            if full:
                yield from _of_full_track(plain[take.file_name], index, channel)
        seen.add(use)


def _noise_and_gain(take: DemoTake, direct: DemoTake, index: int, channel: str) -> Iterator[TruthRow]:
    truth = take.truth
    yield _truth(take, channel, "hum_level", truth.hum_level_dbfs[index], "dBFS", "through")
    yield _truth(take, channel, "buzz_level", truth.buzz_level_dbfs[index], "dBFS", "through")
    yield _truth(take, channel, "hiss_level", truth.hiss_level_dbfs[index], "dBFS", "through")
    yield _truth(take, channel, "gain", truth.gain_db[index] - direct.truth.gain_db[index], "dB", "change")


def _of_full_track(take: DemoTake, index: int, channel: str) -> Iterator[TruthRow]:
    truth = take.truth
    yield _truth(take, channel, "crosstalk_1k", truth.crosstalk_1k_db[index], "dB", "through")
    thd_percent = float(truth.thd_percent(_FULL_SCALE_TONE_DBFS)[index])
    if thd_percent > 0:
        yield _truth(take, channel, "thd", thd_percent, "percent", "through")


def _truth(take: DemoTake, channel: str, quantity: str, value: float, unit: str, role: str) -> TruthRow:
    return TruthRow(
        subject=take.device or "",
        channel=channel,
        quantity=quantity,
        true_value=float(value),
        unit=unit,
        role=role,
        port=take.port,
        picture=take.picture,
        fix=take.fix,
        condition=dict(take.condition),
    )


#: Level of the tone near full scale in the track.
_FULL_SCALE_TONE_DBFS = -1.001
