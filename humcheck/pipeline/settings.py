"""What the user set, as far as numbers depend on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from humcheck.findings.audibility import PRESETS, ListeningSetting
from humcheck.findings.limits import LimitSetting
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
    volts_uncertainty_percent : float or None
        95 % uncertainty of that.
    source_ohms, load_ohms : float or None
        Output resistance of the source and input resistance of what follows.
    listening : tuple of ListeningSetting
        Ways of listening for which audibility is predicted.
    margins : mapping of str to float
        By quantity: the difference that still counts as the same.
    limits : mapping of str to LimitSetting
        By quantity: what a builder demands.
    """

    mains_hz: float | None = None
    volts_at_full_scale: float | None = None
    volts_uncertainty_percent: float | None = None
    source_ohms: float | None = None
    load_ohms: float | None = None
    listening: tuple[ListeningSetting, ...] = PRESETS
    margins: Mapping[str, float] = field(default_factory=dict)
    limits: Mapping[str, LimitSetting] = field(default_factory=dict)

    def as_row(self) -> Settings:
        """Return the settings as they stand in results."""
        return Settings(
            mains_hz=self.mains_hz,
            volts_at_full_scale=self.volts_at_full_scale,
            volts_uncertainty_percent=self.volts_uncertainty_percent,
            source_ohms=self.source_ohms,
            load_ohms=self.load_ohms,
            margins=dict(self.margins),
            listening=[setting.statement for setting in self.listening],
        )
