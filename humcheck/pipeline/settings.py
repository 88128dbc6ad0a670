"""What the user set, as far as numbers depend on it."""

from __future__ import annotations

from dataclasses import dataclass

from humcheck.findings.audibility import PRESETS, ListeningSetting
from humcheck.results import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuringSettings:
    """Settings of a measurement.

    Attributes
    ----------
    mains_hz : float or None
        Nominal mains frequency, 50 or 60; None lets each take decide.
    volts_at_full_scale : float or None
        RMS volts of a sine that reads 0 dBFS.
    listening : tuple of ListeningSetting
        Ways of listening for which audibility is predicted.
    """

    mains_hz: float | None = None
    volts_at_full_scale: float | None = None
    listening: tuple[ListeningSetting, ...] = PRESETS

    def as_row(self) -> Settings:
        """Return the settings as they stand in results."""
        return Settings(
            mains_hz=self.mains_hz,
            volts_at_full_scale=self.volts_at_full_scale,
            listening=[setting.statement for setting in self.listening],
        )
