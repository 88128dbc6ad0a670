"""All faults of a take that need its sound measured: gathered here, so that none is told twice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from humcheck.analyzers.band_limit import band_limit_faults, edge_band_limit, response_band_limit
from humcheck.analyzers.flat_tops import flat_top_faults
from humcheck.analyzers.low_cut import low_cut_faults, marker_low_cut_faults
from humcheck.analyzers.noise_faults import noise_faults
from humcheck.analyzers.rate_images import rate_image_faults
from humcheck.analyzers.steps import step_faults
from humcheck.estimates.marker_response import marker_responses
from humcheck.estimates.sweeps.grid import FREQUENCIES_HZ, IN_SERIES
from humcheck.estimates.sweeps.response import ResponseEstimate
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results.rows import Fault, Role
from humcheck.takes.take import Take

#: What makes the noise depend on the sound, as a gate or a gain control would.
_CHANGE_NOISE = ("lossy-coding", "noise-suppression", "undithered")


def tone_faults(take: Take, tones: TakeTones) -> list[Fault]:
    """Return the faults that tones, steps and the noise beside them show.

    Parameters
    ----------
    take : Take
        With a recognised track.
    tones : TakeTones
        Its tones.
    """
    noise = noise_faults(take)
    changed = any(fault.code in _CHANGE_NOISE for fault in noise)
    faults = step_faults(tones, take=take, noise_counts=not changed)
    if any(fault.code == "automatic-gain" for fault in faults):
        # It moves the noise as well.
        noise = [fault for fault in noise if fault.code != "gate"]
    faults += [fault for fault in noise if fault.code not in {known.code for known in faults}]
    if not _is_clipped([*take.faults, *faults]):
        faults += flat_top_faults(take)
    # Sound that is cut off after it was sampled has images of its own.
    return faults if _is_clipped([*take.faults, *faults]) else faults + rate_image_faults(take)


def _is_clipped(faults: Sequence[Fault]) -> bool:
    return any(fault.code in ("clipping", "overload") for fault in faults)


def sweep_faults(responses: Sequence[ResponseEstimate], rate_hz: float, role: Role) -> list[Fault]:
    """Return the faults that the responses of a take show.

    Parameters
    ----------
    responses : sequence of ResponseEstimate
        One for each sweep that could be read.
    rate_hz : float
        Sampling rate of the take.
    role : str
        Role of the take.
    """
    limits = [response_band_limit(response, rate_hz) for response in responses]
    return [*band_limit_faults(limits, role), *low_cut_faults(responses, role)]


def marker_faults(take: Take, role: Role) -> list[Fault]:
    """Return what the markers show of a response, as far as they reach: for takes of which no sweep could be read.

    Parameters
    ----------
    take : Take
        With a recognised track.
    role : str
        Role of the take.
    """
    responses = marker_responses(take)
    limits = []
    for response in responses:
        series = np.isin(response.frequency_hz, FREQUENCIES_HZ[IN_SERIES])
        curve = response.frequency_hz[series], response.magnitude[series], 2.0 * response.sd[series]
        limits.append(edge_band_limit(response.driven, *curve))
    return [*band_limit_faults(limits, role), *marker_low_cut_faults(responses, role)]
