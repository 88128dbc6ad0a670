"""Steady tones of a take: level, frequency, harmonics, intermodulation, what is left without them, level steps."""

from humcheck.estimates.tones.fit import ToneFit, fit_tones
from humcheck.estimates.tones.take_tones import TakeTones, measure_tones

__all__ = ["TakeTones", "ToneFit", "fit_tones", "measure_tones"]
