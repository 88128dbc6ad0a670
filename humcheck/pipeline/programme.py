"""Takes of arbitrary material: what the device does to it, once both takes are lined up."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from humcheck.audio.files import TakeFile
from humcheck.audio.levels import Floats
from humcheck.comparison.intervals import NORMAL_95
from humcheck.comparison.material import MeasuredTake, ProgrammeMatch
from humcheck.comparison.split_takes import is_split
from humcheck.errors import MeasurementError
from humcheck.estimates.programme import ProgrammeFit, fit_programme
from humcheck.results import Change, Measure, NotMeasured
from humcheck.takes.programme import align_programme
from humcheck.takes.quiet import quiet_stretch
from humcheck.takes.take import load_take

#: The stretch of longer takes that is used.
LONGEST_S = 100.0
_QUANTITIES = ("gain", "polarity", "residual_level")


def programme_rows(takes: Sequence[tuple[MeasuredTake, str]], matches: list[ProgrammeMatch] | None = None) -> list[Any]:
    """Return rows of takes without a track: gain, polarity and null of each through take re the first direct one.

    Parameters
    ----------
    takes : sequence of (MeasuredTake, str)
        The takes of a comparison, each with its file's path.
    matches : list of ProgrammeMatch, optional
        Takes that could be lined up are added to it.

    Returns
    -------
    list of Change, Measure and NotMeasured
        Empty where the takes hold tracks, or nothing plays in them (steady states are compared without alignment).
    """
    material = [
        (take, path)
        for take, path in takes
        if take.row.track is None and take.role in ("direct", "through") and not is_split(take)
    ]
    direct = next((pair for pair in material if pair[0].role == "direct"), None)
    if direct is None:
        return []
    rows: list[Any] = []
    for take, path in material:
        if take.role == "through":
            rows.extend(_rows_of_pair(direct, path, take, [] if matches is None else matches))
    return rows


def _rows_of_pair(
    direct_take: tuple[MeasuredTake, str], through_path: str, take: MeasuredTake, matches: list[ProgrammeMatch]
) -> Iterator[Any]:
    direct_path = direct_take[1]
    try:
        direct, through, rate_hz = _material(direct_path, through_path)
        if direct is None or through is None:
            return
        alignment = align_programme(direct, through, rate_hz)
        columns = range(min(direct.shape[1], through.shape[1]))
        fits = [
            fit_programme(
                direct[:, column], through[:, 1 - column if alignment.swapped else column], rate_hz, alignment
            )
            for column in columns
        ]
    except MeasurementError as error:
        for name in _QUANTITIES:
            yield NotMeasured(**take.key.fields(quantity=name), reason=_sentence(error.reason))
        return
    match = ProgrammeMatch(
        direct=direct_take[0],
        through=take,
        direct_path=direct_path,
        through_path=through_path,
        through_samples=len(through),
        alignment=alignment,
        gain_db=10 * math.log10(math.fsum(10 ** (fit.gain_db / 10) for fit in fits) / len(fits)),
    )
    matches.append(match)
    names = ("mono",) if len(fits) == 1 else ("left", "right")
    for channel, fit in zip(names, fits, strict=True):
        yield from _rows_of_fit(take, channel, fit)


def _material(direct_path: str, through_path: str) -> tuple[Floats | None, Floats | None, float]:
    """Return both takes at the direct one's rate; None for takes in which nothing plays."""
    from humcheck.audio.resampling import resample

    files = [load_take(path, seek_track=False).file for path in (direct_path, through_path)]
    if all(_nothing_plays(file) for file in files):
        return None, None, 0.0
    direct, through = (file.read(0, min(file.n_samples, int(LONGEST_S * file.rate_hz))) for file in files)
    return direct, resample(through, files[1].rate_hz, files[0].rate_hz), float(files[0].rate_hz)


def _nothing_plays(file: TakeFile) -> bool:
    try:
        return quiet_stretch(file).covers_all
    except MeasurementError:  # it plays without a pause
        return False


def _rows_of_fit(take: MeasuredTake, channel: str, fit: ProgrammeFit) -> Iterator[Any]:
    named: dict[str, Any] = {"channel": channel}
    own: dict[str, Any] = {"takes": [take.row.id]}
    yield Change(
        **take.key.fields(quantity="gain", **named),
        contrast="direct",
        value=fit.gain_db,
        unit="dB",
        low=fit.gain_db - NORMAL_95 * fit.gain_sd_db,
        high=fit.gain_db + NORMAL_95 * fit.gain_sd_db,
        reference={"subject": "direct", "role": "direct", "n_takes": 1},
    )
    yield Measure(**take.key.fields(quantity="polarity", **named), value=float(fit.polarity), unit="", **own)
    yield Measure(
        **take.key.fields(quantity="residual_level", **named),
        value=fit.residual_db,
        unit="dB",
        low=fit.residual_db - NORMAL_95 * fit.residual_sd_db,
        high=fit.residual_db + NORMAL_95 * fit.residual_sd_db,
        interval="within",
        detail={"scored_s": fit.scored_s, "drift_ppm": fit.drift_ppm},
        **own,
    )


def _sentence(reason: str) -> str:
    return reason[:1].upper() + reason[1:] + ("" if reason.endswith(".") else ".")
