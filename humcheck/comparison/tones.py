"""What a device does to tones: gain, polarity, and the distortion that it adds.

Distortion products are complex shares of their tone, so what the device adds is a complex difference: a product that
the source has already is not blamed on the device, and one that cancels it is seen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from humcheck.analyzers.tone_rows import level_row, percent_row
from humcheck.comparison.changes import change_between
from humcheck.comparison.repeats import aggregate_repeats
from humcheck.estimates.tones import TakeTones, ToneFit
from humcheck.estimates.tones.intervals import line_power
from humcheck.estimates.tones.products import Products
from humcheck.results import Change, Measure, NotMeasured
from humcheck.results.rows import Channel, Key

#: A filter in the device turns the source's own products a little against its tone: so much of them is not certain.
FILTER_ALLOWANCE = 0.03
#: The tone shows the polarity where its phase is within 60 degrees of a plain or an inverted path.
_CERTAIN = 0.5

_PRODUCTS: dict[str, Callable[[TakeTones], Products | None]] = {
    "thd": lambda tones: None if tones.full_scale is None else tones.full_scale.harmonics,
    "imd_smpte": lambda tones: None if tones.smpte is None else tones.smpte.products,
    "imd_difference": lambda tones: None if tones.difference is None else tones.difference.products,
}


def gain_changes(through: Sequence[TakeTones], direct: Sequence[TakeTones], key: Key) -> list[Change | NotMeasured]:
    """Return `gain` of each channel: through over direct at 997 Hz, only that channel driven.

    Parameters
    ----------
    through, direct : sequence of TakeTones
        Repeated takes of one key, and of the direct path; at least one each.
    key : Key
        Of the through takes; quantity and channel are filled in here.

    Returns
    -------
    list of Change or NotMeasured
        One for each channel of the through takes, contrast ``direct``. With one take a side the interval is that of the
        takes' own noise.
    """
    rows: list[Change | NotMeasured] = []
    for channel in through[0].channels:
        value = _mean_level(through, key, channel)
        reference = _mean_level(direct, Key(subject="direct", role="direct", quantity="gain"), channel)
        if value is None or reference is None:
            which = "through" if value is None else "direct"
            reason = f"The tone of this channel, driven alone, is not heard in the {which} takes."
            rows.append(NotMeasured(**key.fields(quantity="gain", channel=channel), reason=reason))
            continue
        change = change_between(value, reference, "direct", unit="dB")
        if change is not None:
            rows.append(change)
    return rows


def gain_level(tones: TakeTones, key: Key, channel: Channel) -> Measure | None:
    """Return how much louder than in the track the 997 Hz tone arrives in a take, or None where it is not heard.

    It is no gain yet: the difference of two such rows is. The quantity is ``gain``; `channel` is the one driven.
    """
    tone = tones.alone.get(channel)
    if tone is None:
        return None
    value = float(tone.level_dbfs[0, 0]) - (tones.alone_nominal_dbfs or 0.0)
    return level_row(key, "gain", channel, value, float(tone.level_sd_db[0, 0]))


def polarity_rows(through: TakeTones, direct: TakeTones, key: Key) -> list[Measure | NotMeasured]:
    """Return `polarity` of each channel, 1 or -1: through re direct.

    It is taken from the markers, which hold all frequencies, and checked by the tone: once both takes lie on the
    track's time, the tone's phase differs by nothing or by half a turn but for what filters do at 997 Hz.
    """
    rows: list[Measure | NotMeasured] = []
    for channel in through.channels:
        fields = key.fields(quantity="polarity", channel=channel)
        sign = polarity_between(through, direct, channel)
        if sign is None:
            reason = "Markers and tone do not agree about the polarity, or the tone is not heard."
            rows.append(NotMeasured(**fields, reason=reason))
        else:
            rows.append(Measure(**fields, value=float(sign), unit=""))
    return rows


def polarity_between(through: TakeTones, direct: TakeTones, channel: Channel) -> int | None:
    """Return 1 or -1, or None where markers and tone disagree or neither tells."""
    marker = through.polarity.get(channel, 0) * direct.polarity.get(channel, 0)
    tone = _tone_sign(through.alone.get(channel), direct.alone.get(channel))
    if marker and tone and marker != tone:
        return None
    return (marker or tone) or None


def added_distortion(
    through: Sequence[TakeTones], direct: Sequence[TakeTones], key: Key
) -> list[Measure | NotMeasured]:
    """Return the distortion that the device adds: `thd`, `imd_smpte` and `imd_difference`, role ``added``.

    Parameters
    ----------
    through, direct : sequence of TakeTones
        Repeated takes of one key, and of the direct path; at least one each.
    key : Key
        Of the through takes.

    Returns
    -------
    list of Measure or NotMeasured
        In percent, one for each quantity and channel: the RMS sum of the complex differences, noise taken off, or an
        upper bound.
    """
    rows: list[Measure | NotMeasured] = []
    added = Key(**key.fields(role="added"))
    for name, products_of in _PRODUCTS.items():
        ours = [products for tones in through if (products := products_of(tones)) is not None]
        theirs = [products for tones in direct if (products := products_of(tones)) is not None]
        for index, channel in enumerate(through[0].channels):
            known = ours and theirs and direct[0].channels == through[0].channels
            sign = polarity_between(through[0], direct[0], channel)
            if not known or not _same_products([*ours, *theirs]) or sign is None:
                reason = "The takes do not both hold what is needed to tell the device's distortion from the source's."
                rows.append(NotMeasured(**added.fields(quantity=name, channel=channel), reason=reason))
                continue
            compared = theirs if sign > 0 else [products.inverted() for products in theirs]
            if name == "imd_smpte":
                compared = [
                    products.turned(_low_tone_turn(through[0], direct[0], index, sign)) for products in compared
                ]
            rows.append(_added_row(ours, compared, added, name, index, channel))
    return rows


def _mean_level(takes: Sequence[TakeTones], key: Key, channel: Channel) -> Measure | None:
    levels = [level for tones in takes if (level := gain_level(tones, key, channel)) is not None]
    return aggregate_repeats(levels)[0] if levels else None


def _tone_sign(through: ToneFit | None, direct: ToneFit | None) -> int:
    """Return the sign that the tone shows; 0 where it is not certain."""
    if through is None or direct is None:
        return 0
    ratio = through.amplitude[0, 0] / direct.amplitude[0, 0]
    along = float(np.real(ratio) / np.abs(ratio))
    return int(np.sign(along)) if abs(along) >= _CERTAIN else 0


def _low_tone_turn(through: TakeTones, direct: TakeTones, index: int, sign: int) -> tuple[float, float]:
    """Return by how much the device turns the SMPTE pair's low tone, in radians, and zero for the high one.

    A coupling capacitor turns 60 Hz by degrees where it leaves 7 kHz and the sidebands around it alone; the source's
    own sidebands are then seen against a turned reference.
    """
    if through.smpte is None or direct.smpte is None:
        return 0.0, 0.0
    ours, theirs = through.smpte.tones.amplitude[0, index], direct.smpte.tones.amplitude[0, index]
    return float(np.angle(sign * ours * np.conj(theirs))), 0.0


def _same_products(takes: Sequence[Products]) -> bool:
    first = takes[0].multiples
    return len(first) > 0 and all(np.array_equal(products.multiples, first) for products in takes)


def _added_row(
    through: Sequence[Products], direct: Sequence[Products], key: Key, name: str, index: int, channel: Channel
) -> Measure:
    ours, our_noise = _mean_share(through, index)
    theirs, their_noise = _mean_share(direct, index)
    noise = our_noise + their_noise + (FILTER_ALLOWANCE * np.abs(theirs)) ** 2
    return percent_row(key, name, channel, line_power(np.abs(ours - theirs) ** 2, noise))


def _mean_share(
    takes: Sequence[Products], index: int
) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.complex128]], np.ndarray[tuple[int, ...], np.dtype[np.float64]]]:
    """Return the mean complex shares of repeated takes and their variance: from the scatter, not below the noise's."""
    shares = np.array([products.share[:, index] for products in takes])
    noise = np.array([products.noise[:, index] for products in takes])
    variance = noise.mean(axis=0)
    if len(takes) > 1:
        variance = np.maximum(variance, np.var(shares, axis=0, ddof=1))
    return shares.mean(axis=0), variance / len(takes)
