"""The sound folded over one field: what repeats with every field of the picture, beside the rows that were drawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.estimates.lines.result import FamilyEstimate, LineEstimate
from humcheck.estimates.rows.basebands import RasterLines
from humcheck.estimates.rows.curve import CouplingFit, terms
from humcheck.estimates.rows.rasters import RASTERS, Complexes, Orders, Raster, harmonics, pattern

#: Points of a folded field: two for each line of the longest one, and no more.
N_POINTS = 600
#: What a picture must explain of the sound to be placed beside it, and how much more it must leave anywhere else.
LEAST_EXPLAINED, BETTER_THAN_ELSEWHERE = 0.5, 2.0
_ELSEWHERE_LINES = 6.0
#: How much more uncertain than its neighbours a line is that hum covers.
COVERED, _NEIGHBOURS = 8.0, 61
#: A family at a field rate is a picture's if its ratio to the line rate is a raster's within so many lines.
IN_STEP_LINES = 0.01
#: Lines of the field that are shown before the picture begins.
LEAD_LINES = 12
_PLACES_PER_LINE = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoldedField:
    """One field of sound, the mean over all fields of a section.

    Attributes
    ----------
    field_rate_hz : float
        Fields per second in the take's clock.
    time_s : numpy.ndarray, shape (n_points,)
        From `LEAD_LINES` above the picture's top on; where its place is not known, from anywhere.
    sound : numpy.ndarray, shape (n_ch, n_points)
        Full scale = 1.0, up to half the line rate: what is finer than a row is left out.
    noise_sd : numpy.ndarray, shape (n_ch,)
        Standard deviation of the noise that is left in it.
    line_time_s, brightness : numpy.ndarray, shape (n_lines,)
        Middle of each line of the field, and how bright it is: 0 black to 1 white. Empty where its place is not known.
    """

    field_rate_hz: float
    time_s: Floats
    sound: Floats
    noise_sd: Floats
    line_time_s: Floats
    brightness: Floats


def fold_rows(lines: RasterLines, coupling: CouplingFit) -> FoldedField:
    """Return the field of the coded rows that were found.

    Parameters
    ----------
    lines : RasterLines
        The raster's lines in the sound.
    coupling : CouplingFit
        What was read from them; it stands in for the lines that hum covers.
    """
    raster = lines.match.raster
    order = lines.order
    used = (order % raster.n_fields == 0) & (order < raster.n_lines / 2)
    turned = lines.amplitude * np.exp(2j * np.pi * order * coupling.delay)
    expected = coupling.gain(lines.frequency_hz) * lines.expected()
    covered = coupling.outlier | _covered(lines.variance, np.abs(expected))
    rows = pattern(raster, lines.match.shown)
    return _folded(
        raster,
        order[used] // raster.n_fields,
        np.where(covered, expected, turned)[:, used],
        np.where(covered, 0.0, lines.variance)[:, used],
        lines.line_rate_hz / raster.lines_per_field,
        rows[: int(np.ceil(raster.lines_per_field))],
    )


def _covered(variance: Floats, size: Floats) -> npt.NDArray[np.bool_]:
    """Return the lines that hum makes so uncertain that they would only add to the noise, by their expected size."""
    from scipy.ndimage import percentile_filter

    # Most of the lowest lines may be covered: the quarter that is least uncertain tells what the noise is.
    usual = percentile_filter(variance, 25, size=(1, _NEIGHBOURS), mode="reflect")
    return np.asarray((variance > COVERED * usual) & (variance > (size / 2) ** 2))


def field_family(lines: LineEstimate, line_rate_hz: float | None) -> FamilyEstimate | None:
    """Return the strongest family that is a picture's.

    Where the line rate was seen, one that keeps step with it, whatever it was taken for; else one at a field rate.

    Parameters
    ----------
    lines : LineEstimate
        Of the section.
    line_rate_hz : float or None
        Where it was seen.
    """
    if line_rate_hz is None:
        found = [family for family in lines.of_kind("field") if family.detected.any()]
    else:
        kinds = (*lines.of_kind("field"), *lines.of_kind("mains_or_field"), *lines.of_kind("mains"))
        found = [family for family in kinds if family.detected.any() and _in_step(family, line_rate_hz)]
    return max(found, key=lambda family: float(family.power.sum()), default=None)


def _in_step(family: FamilyEstimate, line_rate_hz: float) -> bool:
    n_lines = line_rate_hz / family.fundamental_hz
    return min(abs(n_lines - raster.lines_per_field) for raster in RASTERS) < IN_STEP_LINES


def fold_family(family: FamilyEstimate, picture: str, line_rate_hz: float | None = None) -> FoldedField | None:
    """Return the field of a family at the picture's field rate, with the picture placed beside it where that is clear.

    Parameters
    ----------
    family : FamilyEstimate
        Of kind ``"field"``.
    picture : str
        ``"white"`` or ``"top-half"``: what was on the screen.
    line_rate_hz : float, optional
        Where it was seen.

    Returns
    -------
    FoldedField or None
        None where the family has fewer than two lines.
    """
    raster = _raster_of(family.fundamental_hz, line_rate_hz)
    order = np.array(family.harmonics, dtype=np.int64)
    used = (order > 0) & (order < raster.lines_per_field / 2)
    if used.sum() < 2:
        return None
    order = order[used]
    amplitude = family.amplitude[used].T
    # What the unbiased mean square leaves out of the amplitude's own is the noise.
    variance = np.maximum(np.abs(amplitude) ** 2 - 2 * family.mean_square[used].T, 1e-30)
    place = _placed(raster, order, amplitude, variance, picture)
    if place is None:
        return _folded(raster, order, amplitude, variance, family.fundamental_hz, None)
    delay, rows = place
    turned = amplitude * np.exp(2j * np.pi * order * delay)
    return _folded(raster, order, turned, variance, family.fundamental_hz, rows)


def _folded(
    raster: Raster, order: Orders, amplitude: Complexes, variance: Floats, field_rate_hz: float, rows: Floats | None
) -> FoldedField:
    """Return the sum of the lines; their phases count from the middle of the first line drawn."""
    n_lines = raster.lines_per_field
    phase = np.arange(N_POINTS) / N_POINTS
    sound = np.real(amplitude @ np.exp(2j * np.pi * np.multiply.outer(order, phase - (LEAD_LINES + 0.5) / n_lines)))
    none = np.zeros(0)
    shown = none if rows is None else np.roll(rows, LEAD_LINES)
    return FoldedField(
        field_rate_hz=field_rate_hz,
        time_s=phase / field_rate_hz,
        sound=sound,
        noise_sd=np.sqrt(variance.sum(axis=1) / 2),
        line_time_s=np.asarray((np.arange(shown.size) + 0.5) / (n_lines * field_rate_hz), dtype=np.float64),
        brightness=shown,
    )


def _raster_of(field_rate_hz: float, line_rate_hz: float | None) -> Raster:
    """Return the raster without interlace that has as many lines in a field; of the second field nothing is lost."""
    plain = [raster for raster in RASTERS if raster.n_fields == 1]
    if line_rate_hz is None:
        return min(plain, key=lambda raster: abs(raster.line_rate_hz / raster.n_lines - field_rate_hz))
    return min(plain, key=lambda raster: abs(line_rate_hz / field_rate_hz - raster.n_lines))


def _placed(
    raster: Raster, order: Orders, amplitude: Complexes, variance: Floats, picture: str
) -> tuple[float, Floats] | None:
    """Return where the picture begins, as a share of the field, and its rows, if one place fits clearly best."""
    n_delays = raster.n_lines * _PLACES_PER_LINE
    delay = np.arange(n_delays) / n_delays
    turned = amplitude[:, np.newaxis] * np.exp(2j * np.pi * np.multiply.outer(delay, order))
    weight = np.broadcast_to(1 / (variance + np.median(np.abs(amplitude) ** 2)), amplitude.shape)
    whole = float((weight * np.abs(amplitude) ** 2).sum())
    best: tuple[float, int, Floats] | None = None
    for rows in _screens(raster, picture):
        expected = harmonics(raster, rows, order)
        frequency_hz: Floats = order.astype(np.float64) * (raster.line_rate_hz / raster.n_lines)
        columns = terms((0, 1), frequency_hz) * expected
        explained = _explained(columns, turned, weight) / whole
        place = int(np.argmax(explained))
        away = np.abs((np.arange(n_delays) - place + n_delays / 2) % n_delays - n_delays / 2)
        elsewhere = float(explained[away > _ELSEWHERE_LINES * _PLACES_PER_LINE].max())
        share = float(explained[place])
        clear = share >= LEAST_EXPLAINED and 1 - elsewhere >= BETTER_THAN_ELSEWHERE * (1 - share)
        if clear and (best is None or share > best[0]):
            best = (share, place, rows)
    return None if best is None else (float(delay[best[1]]), best[2])


def _explained(columns: Complexes, turned: Complexes, weight: Floats) -> Floats:
    """Return the weighted power that real factors of the columns explain at every delay, shape (n_delays,)."""
    total = np.zeros(turned.shape[1])
    for channel in range(len(turned)):
        weighted = np.conj(columns) * weight[channel]
        gram = np.real(weighted @ columns.T)
        right = np.real(turned[channel] @ weighted.T)
        total += np.einsum("da,ab,db->d", right, np.linalg.pinv(gram, rcond=1e-9, hermitian=True), right)
    return total


def _screens(raster: Raster, picture: str) -> Iterator[npt.NDArray[np.float64]]:
    """Yield the rows of a field as screens of usual heights show the picture."""
    heights = (240, 224, 232, 200, 192) if raster.n_visible == 240 else (288, 240, 256, 272, 200)
    for height in heights:
        rows = np.zeros(raster.n_lines)
        rows[: height if picture == "white" else height // 2] = 1.0
        yield rows
