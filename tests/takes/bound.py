"""The Cramer-Rao bound on offset and drift, from the derivatives of the track's own formulas.

Model: each take channel holds ``gain * track(time)`` in white Gaussian noise of known power, the gain of each track
channel, the offset and the drift unknown (S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation
Theory, 1993, section 3.9: the information is the sum of products of the derivatives over the noise power). The data
are the long chirps of the markers, which is all that the alignment uses.
"""

import numpy as np

from humcheck.tracks.markers import CHIRP_S, SLOT_OFFSET_S
from humcheck.tracks.waveforms import marker_chirp, marker_chirp_derivative


def offset_and_drift_bound(layout, rate_hz, noise_rms):
    """Return the least standard deviations of offset (samples) and drift (ppm) of a straight stereo take, gain 1."""
    information = np.zeros((4, 4))  # gain left, gain right, offset in samples, drift
    for marker in layout.markers:
        for side, channel in enumerate(("left", "right")):
            start_s = marker.start_s + SLOT_OFFSET_S[channel]
            index = np.arange(np.ceil(start_s * rate_hz), (start_s + CHIRP_S) * rate_hz)
            time_s = index / rate_hz
            slope = marker_chirp_derivative(channel, time_s - start_s, rate_hz)
            columns = np.zeros((len(index), 4))
            columns[:, side] = marker_chirp(channel, time_s - start_s, rate_hz)
            columns[:, 2] = -slope / rate_hz
            columns[:, 3] = -slope * time_s
            information += columns.T @ columns
    # Scaled, because seconds and samples differ by many orders of magnitude.
    scale = 1.0 / np.sqrt(np.diag(information))
    covariance = np.linalg.inv(information * np.outer(scale, scale)) * np.outer(scale, scale) * noise_rms**2
    return np.sqrt(covariance[2, 2]), 1e6 * np.sqrt(covariance[3, 3])
