"""How much is much: the steps from nothing to strong, one table for all findings.

The steps are this project's own convention. For noises they assume that full scale plays at about 100 dB(A), loud
headphone listening: then -100 dBr(A) lies near the threshold of hearing, -85 is heard in silence and -70 is in the way.
For differences they follow what listeners notice: about 1 dB, less side by side (handbook rule, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

from humcheck.results.rows import Severity


@dataclass(frozen=True, slots=True)
class Scale:
    """Values from which on a finding is slight, clear and strong."""

    slight: float
    clear: float
    strong: float

    def severity(self, value: float) -> Severity:
        """Return the step that `value` reaches."""
        if value >= self.strong:
            return "strong"
        if value >= self.clear:
            return "clear"
        return "slight" if value >= self.slight else "none"


NOISE_DBR_A = Scale(-100.0, -85.0, -70.0)
LEVEL_DB = Scale(0.3, 1.0, 3.0)
TONE_SPAN_DB = Scale(0.3, 1.0, 3.0)
CROSSTALK_DB = Scale(-75.0, -60.0, -40.0)
DISTORTION_PERCENT = Scale(0.02, 0.1, 1.0)
