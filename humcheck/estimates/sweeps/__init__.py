"""Responses, crosstalk and distortion over frequency, from recorded sweeps."""

from humcheck.estimates.sweeps.distortion import Distortion
from humcheck.estimates.sweeps.gains import Gain, mean_gain
from humcheck.estimates.sweeps.grid import FREQUENCIES_HZ, IN_SERIES, REFERENCE_HZ, index_of
from humcheck.estimates.sweeps.response import AFTER_S, BEFORE_S, ResponseEstimate, estimate_response, valid_points

__all__ = [
    "AFTER_S",
    "BEFORE_S",
    "FREQUENCIES_HZ",
    "IN_SERIES",
    "REFERENCE_HZ",
    "Distortion",
    "Gain",
    "ResponseEstimate",
    "estimate_response",
    "index_of",
    "mean_gain",
    "valid_points",
]
