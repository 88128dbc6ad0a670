"""The steps of severity, as results define them; here for the rooms that judge."""

from __future__ import annotations

from humcheck.results.severity import (
    CROSSTALK_DB,
    DISTORTION_PERCENT,
    LEVEL_DB,
    MARGIN_DB,
    NOISE_DBR_A,
    TONE_SPAN_DB,
    Scale,
)

__all__ = ["CROSSTALK_DB", "DISTORTION_PERCENT", "LEVEL_DB", "MARGIN_DB", "NOISE_DBR_A", "TONE_SPAN_DB", "Scale"]
