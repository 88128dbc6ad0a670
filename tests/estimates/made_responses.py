"""Response estimates put together from numbers, for what is done with them afterwards."""

from __future__ import annotations

import numpy as np

from humcheck.estimates.sweeps import FREQUENCIES_HZ, Gain, ResponseEstimate

FREEDOM = 36.0


def noisy_gain(true, sd, rng=None, noise_sd=None):
    """Return a gain that scatters around `true` as its `sd` says, or sits on it without `rng`."""
    true = np.asarray(true, dtype=complex)
    sd = np.broadcast_to(np.asarray(sd, dtype=float), true.shape).copy()
    value = true
    if rng is not None:
        value = true + sd / np.sqrt(2) * (rng.standard_normal(true.shape) + 1j * rng.standard_normal(true.shape))
    even = sd if noise_sd is None else np.broadcast_to(noise_sd, true.shape)
    return Gain(value=value, sd=sd, freedom=np.full(true.shape, FREEDOM), noise_sd=np.asarray(even, dtype=float))


def made_response(
    *, gain=None, gain_sd=1e-5, crosstalk=None, crosstalk_sd=1e-6, driven="left", idle="right", rng=None, noise_sd=None
):
    """Return an estimate over the whole grid; `gain` and `crosstalk` are functions of frequency (1 and 0 without)."""
    ones = np.ones(FREQUENCIES_HZ.shape, dtype=complex)
    true_gain = ones if gain is None else gain(FREQUENCIES_HZ) * ones
    true_leak = 0 * ones if crosstalk is None else crosstalk(FREQUENCIES_HZ) * ones
    leak = None if idle is None else noisy_gain(true_leak, crosstalk_sd, rng, noise_sd)
    at_1k = None
    if idle is not None:
        true_1k = np.zeros(1) if crosstalk is None else crosstalk(np.array([1000.0])) * np.ones(1)
        at_1k = noisy_gain(true_1k, np.min(crosstalk_sd), rng, None if noise_sd is None else np.min(noise_sd))
    return ResponseEstimate(
        driven=driven,
        idle=idle,
        frequency_hz=FREQUENCIES_HZ,
        gain=noisy_gain(true_gain, gain_sd, rng),
        crosstalk=leak,
        crosstalk_1k=at_1k,
        distortion=(),
        delay_s=0.0,
        method_sd_db=np.full(FREQUENCIES_HZ.shape, 2e-5),
    )
