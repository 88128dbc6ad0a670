"""Whether the test reached the levels that sources may give, where the recorder was calibrated."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings.index import RowIndex
from humcheck.results import Finding

#: What strong sources give at most, RMS (common practice, no source).
STRONG_SOURCE_VOLTS = 2.0
#: So near to it counts as reached.
_REACHED_SHARE = 0.9


def volts_findings(rows: RowIndex) -> Iterator[Finding]:
    """Yield how many volts the source gave at its loudest; nothing without a calibration or without a track.

    Parameters
    ----------
    rows : RowIndex
        All rows; a take's `gain_db` is the level at which the track's full scale arrived.
    """
    volts_at_full_scale = rows.results.settings.volts_at_full_scale
    received_db = [
        take.gain_db
        for take in rows.results.takes
        if take.role == "direct" and take.track is not None and take.gain_db is not None
    ]
    if volts_at_full_scale is None or not received_db:
        return
    volts = volts_at_full_scale * 10.0 ** (max(received_db) / 20.0)
    rest = f"That is what strong sources give at most ({STRONG_SOURCE_VOLTS:g} V)."
    if volts < _REACHED_SHARE * STRONG_SOURCE_VOLTS:
        untested = f"how a device bears more than {volts:.2g} V was not tested"
        rest = f"Strong sources give up to {STRONG_SOURCE_VOLTS:g} V: {untested}."
    yield Finding(
        subject="direct",
        role="direct",
        quantity="tone_level",
        id="volts-reached",
        kind="readiness",
        severity="none",
        sentence=f"At the track's full scale the source gave {volts:.2g} V RMS on this bench. {rest}",
        confidence="from the calibration of the recorder",
    )
