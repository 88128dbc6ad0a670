"""What a fix takes of the bass: an isolating transformer, or a small capacitor, passes low notes less well."""

from __future__ import annotations

from dataclasses import dataclass

from humcheck.findings.index import Use
from humcheck.results import Curve, Evidence

#: The lowest note of a bass guitar is 41 Hz (equal temperament, E1); hum and bass meet here.
BASS_HZ = 41.2
#: A change of tone is noticed from about 1 dB on, side by side from a quarter on (see `audibility.words`).
_NOTICED_DB = 0.25
_REFERENCE_HZ = 997.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BassLoss:
    """How much weaker 41 Hz comes through, re 997 Hz, with a fix than without.

    Attributes
    ----------
    loss_db : float
        Of the worse channel.
    least_db : float
        What is left of it when both curves' 95 % bands are taken at their unfavourable ends.
    """

    loss_db: float
    least_db: float
    evidence: tuple[Evidence, ...]

    @property
    def is_shown(self) -> bool:
        """Whether it is more than the curves' own uncertainty, and more than anybody fails to notice."""
        return self.least_db >= _NOTICED_DB


def bass_loss(plain: Use, fixed: Use) -> BassLoss | None:
    """Return what a fix takes of the bass; None where there are no responses to compare."""
    before, after = plain.curves("response_delta", "through"), fixed.curves("response_delta", "through")
    losses = [_loss(before[channel], after[channel]) for channel in after if channel in before and channel != "both"]
    known = [loss for loss in losses if loss is not None]
    return max(known, key=lambda loss: loss.loss_db, default=None)


def _loss(before: Curve, after: Curve) -> BassLoss | None:
    ends = [_bass(curve) for curve in (before, after)]
    if ends[0] is None or ends[1] is None:
        return None
    (plain, plain_half), (fixed, fixed_half) = ends[0], ends[1]
    loss = plain - fixed
    return BassLoss(
        loss_db=loss,
        least_db=loss - (plain_half**2 + fixed_half**2) ** 0.5,
        evidence=tuple(Evidence(curve=curve.id) for curve in (before, after) if curve.id),
    )


def _bass(curve: Curve) -> tuple[float, float] | None:
    """Return the response at 41 Hz re 997 Hz with half its 95 % band; None where the curve does not reach there."""
    import numpy as np

    hz = np.asarray(curve.frequency_hz)
    if hz.size < 2 or hz[0] > BASS_HZ or (curve.valid_from_hz or 0.0) > BASS_HZ or hz[-1] < _REFERENCE_HZ:
        return None
    at = np.log([BASS_HZ, _REFERENCE_HZ])
    bass, middle = np.interp(at, np.log(hz), curve.value)
    half = 0.0
    if curve.low is not None and curve.high is not None:
        halves = (np.asarray(curve.high) - np.asarray(curve.low)) / 2
        half = float(np.hypot(*np.interp(at, np.log(hz), halves)))
    return float(bass - middle), half
