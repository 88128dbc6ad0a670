"""The sound of one section of the track, as a take holds it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.results.rows import Channel
from humcheck.takes.clock import Clock
from humcheck.tracks.sections import Section

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionAudio:
    """The sound of one section as a take holds it.

    Attributes
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Full scale = 1, in the order of the track's channels.
    channels : tuple of str
        ``("left", "right")`` or ``("mono",)``.
    rate_hz : int
        Nominal rate of the take.
    start_index : int
        Take index of the first sample.
    clock : Clock
        The take's clock.
    section : Section
        What the track plays there.
    """

    samples: Array
    channels: tuple[Channel, ...]
    rate_hz: int
    start_index: int
    clock: Clock
    section: Section

    def track_time_s(self) -> Array:
        """Return the track time of each sample, shape (n_samples,)."""
        return self.clock.track_time_of_run_s(self.start_index, len(self.samples))
