"""The fault of clocks whose drift changes during a take: sound cards do not do that, conversions and tapes do."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from humcheck.results.rows import Fault
from humcheck.takes.clock import Clock
from humcheck.tracks.layouts import Layout

#: Crystals warm up and wander by tenths of a ppm in minutes; none moves by this much within a take (common practice, no
#: source; quartz of +-50 ppm over 0-70 degrees moves by about 1 ppm per degree).
_CHANGES_PPM = 3.0
_EVERY_S = 0.5
_LINES = ("hum_frequency", "hum_wander", "buzz_frequency", "whistle_frequency")


def clock_change_ppm(clock: Clock, layout: Layout) -> tuple[float, float, float]:
    """Return how far the drift moves from the slowest to the fastest moment, in ppm, and both moments in track seconds.

    Parameters
    ----------
    clock : Clock
        The take's clock.
    layout : Layout
        The track; moments between its first and its last marker count.
    """
    if clock.is_straight:
        return 0.0, 0.0, 0.0
    time_s = np.arange(layout.markers[0].start_s, layout.markers[-1].end_s, _EVERY_S)
    drift_ppm = 1e6 * (clock.local_rate_hz(time_s) / clock.rate_hz - 1.0)
    slow, fast = int(np.argmin(drift_ppm)), int(np.argmax(drift_ppm))
    return float(drift_ppm[fast] - drift_ppm[slow]), float(time_s[slow]), float(time_s[fast])


def clock_change_faults(clock: Clock, layout: Layout) -> Iterator[Fault]:
    """Yield the fault of a drift that changes by more than crystals do."""
    change_ppm, *moments_s = clock_change_ppm(clock, layout)
    if change_ppm < _CHANGES_PPM:
        return
    start_s, end_s = (float(index) / clock.rate_hz for index in clock.take_index(np.array(sorted(moments_s))))
    yield Fault(
        code="drift-changes",
        start_s=start_s,
        end_s=end_s,
        sentence=f"The speed of the recording changes by {change_ppm:.0f} millionths between {start_s:.1f} s and "
        f"{end_s:.1f} s: player and recorder do not run on steady clocks, as when a system converts the rate while it "
        "plays, a wireless link catches up, or a tape plays. Levels are right, frequencies are not exact; record "
        "sound without keeping pace with a picture, over a wire.",
        spoils=list(_LINES),
    )
