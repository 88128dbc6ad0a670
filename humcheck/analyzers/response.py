"""What one take's sweep tells without a second take: harmonic distortion over frequency."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from humcheck.estimates.sweeps import ResponseEstimate
from humcheck.results import Trace
from humcheck.results.rows import Key

#: A point is shown where the harmonics' power stands this far above what noise alone reads.
ABOVE_NOISE_RATIO = 4.0


def distortion_traces(responses: Sequence[ResponseEstimate], key: Key) -> list[Trace]:
    """Return `thd` over the frequency of the fundamental, one trace for each driven channel.

    Parameters
    ----------
    responses : sequence of ResponseEstimate
        One for each sweep of one take.
    key : Key
        What the take belongs to.

    Returns
    -------
    list of Trace
        RMS of the harmonics of order 2 to 5, as far as they lie in the band, over the fundamental, in percent, at the
        sweep's level. Frequencies at which noise hides them are left out, and a trace without any point is too.
    """
    traces = []
    for response in responses:
        total: dict[float, float] = {}
        noise: dict[float, float] = {}
        for of_order in response.distortion:
            for at_hz, power, noise_power in zip(
                of_order.frequency_hz.tolist(), of_order.power.tolist(), of_order.noise_power.tolist(), strict=True
            ):
                total[at_hz] = total.get(at_hz, 0.0) + power
                noise[at_hz] = noise.get(at_hz, 0.0) + noise_power
        shown = [at_hz for at_hz in sorted(total) if total[at_hz] > ABOVE_NOISE_RATIO * noise[at_hz]]
        if shown:
            traces.append(
                Trace(
                    **key.fields(quantity="thd", channel=response.driven),
                    x=shown,
                    x_unit="Hz",
                    y=[float(100.0 * np.sqrt(total[at_hz])) for at_hz in shown],
                    unit="percent",
                )
            )
    return traces
