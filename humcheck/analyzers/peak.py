"""The loudest peak of a recording that holds no track: what its own loudest sound is."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.audio.levels import Floats, amplitude_to_dbfs
from humcheck.results import Key, Measure, quantity
from humcheck.results.rows import Channel


def peak_rows(peak: Floats, key: Key, channels: Sequence[Channel]) -> list[Measure]:
    """Return `peak_level` of each channel that is not silent.

    Parameters
    ----------
    peak : numpy.ndarray, shape (n_channels,)
        Largest magnitude, full scale = 1.0.
    key : Key
        What the take belongs to.
    channels : sequence of str
        Names of the channels.
    """
    return [
        Measure(
            **key.fields(quantity="peak_level", channel=channel),
            value=amplitude_to_dbfs(float(largest)),
            unit=quantity("peak_level").unit,
        )
        for channel, largest in zip(channels, peak, strict=True)
        if largest > 0.0
    ]
