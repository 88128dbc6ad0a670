"""How much is much: the steps from nothing to strong, one table for all findings and for the page that explains them.

The steps are this project's own convention. Noises are judged by how far they stand above what can be heard, where
that is predicted. Where it is not, their A-weighted level counts, with full scale at about 100 dB(A), loud headphone
listening: then -100 dBr(A) lies near the threshold of hearing, -85 is heard in silence and -70 is in the way.
Differences follow what listeners notice: about 1 dB, less side by side (handbook rule, from memory).
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


#: Margin over what can be heard, in the listening setting in which most is heard.
MARGIN_DB = Scale(0.0, 15.0, 30.0)
NOISE_DBR_A = Scale(-100.0, -85.0, -70.0)
LEVEL_DB = Scale(0.5, 1.0, 3.0)
TONE_SPAN_DB = Scale(0.25, 1.0, 3.0)
CROSSTALK_DB = Scale(-75.0, -60.0, -40.0)
DISTORTION_PERCENT = Scale(0.02, 0.1, 1.0)

#: What each scale judges, its unit and its values, for people.
SCALES: tuple[tuple[str, str, Scale], ...] = (
    ("Noise: margin over what can be heard (prediction)", "dB", MARGIN_DB),
    ("Noise, where no margin is known: A-weighted level", "dBr(A)", NOISE_DBR_A),
    ("Level and balance: change", "dB", LEVEL_DB),
    ("Tone: loudest minus softest frequency, 40 Hz to 15 kHz (what lies beyond is slight at most)", "dB", TONE_SPAN_DB),
    ("Bleed: crosstalk at 1 kHz", "dB", CROSSTALK_DB),
    ("Distortion: harmonics of a tone near full scale", "percent", DISTORTION_PERCENT),
)
