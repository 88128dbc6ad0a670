"""Distortion over frequency from one sweep."""

from __future__ import annotations

import numpy as np
import pytest

from humcheck.analyzers.response import distortion_traces
from humcheck.estimates.sweeps import estimate_response
from humcheck.results import Key
from tests.estimates.swept_path import swept

KEY = Key(subject="Birch", role="through", quantity="thd")


def test_a_cubic_curve_distorts_alike_at_all_frequencies():
    """Derived: a3 A^2 / 4 over 1 + 3 a3 A^2 / 4 with a3 = 0.1 on the sweep's amplitude."""
    sound = swept(seed=1, curve=lambda x: x + 0.1 * x**3)
    square = sound.section.amplitudes[0] ** 2
    expected = 100 * 0.1 * square / 4 / (1 + 0.75 * 0.1 * square)
    (trace,) = distortion_traces([estimate_response(sound, "left")], KEY)
    assert (trace.quantity, trace.channel, trace.unit, trace.x_unit) == ("thd", "left", "percent", "Hz")
    # Its third harmonic lies in the band up to 7.4 kHz.
    shown = np.array(trace.x) < 7000
    assert np.count_nonzero(shown) > 20
    assert np.array(trace.y)[shown] == pytest.approx(expected, rel=0.02)


def test_a_clean_path_leaves_no_trace():
    assert distortion_traces([estimate_response(swept(seed=2, noise_dbfs=-70.0), "left")], KEY) == []
