"""Takes that hold the tone sections of a track, and nothing else, for tests of what is measured on tones.

Their sound is simulated (own clocks, filters, hum); their clock is the true one: no track has to be recognised here.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace

import numpy as np

from humcheck.errors import MeasurementError
from humcheck.results.rows import TrackIdentity
from humcheck.simulation import Crystal, Mains, PathModel, simulate_take
from humcheck.simulation.truth import Truth
from humcheck.takes.clock import Clock
from humcheck.tracks.layouts import Layout, layout

_KINDS = ("level", "tone", "quiet", "zero", "steps", "imd")
QUIET_S = 2.5
#: Two clocks that differ and wander, mains that wander: no test runs on ideal ones.
REAL_CLOCKS = {
    "player": Crystal(ppm=60.0, walk_ppm=0.3),
    "recorder_clock": Crystal(ppm=-40.0, ppm_per_minute=0.5),
    "mains": Mains(wander_mhz=20.0),
}


def tones_layout(*without: str) -> Layout:
    """The tone sections of the full track but for some, one close after the other."""
    sections, at_s = [], 0.5
    for section in layout("full", "short").sections:
        if section.kind in _KINDS and section.name not in without:
            duration_s = QUIET_S if section.kind == "quiet" else section.duration_s
            sections.append(replace(section, start_s=at_s, duration_s=duration_s))
            at_s = 0.25 * np.ceil((sections[-1].end_s + 0.25) / 0.25)
    identity = TrackIdentity(name="full", length="short", layout=1)
    return Layout(identity=identity, sections=tuple(sections), duration_s=at_s + 0.5)


@dataclass(frozen=True)
class LaidTake:
    """Samples laid against their layout by a known clock; it answers as a take does."""

    samples: np.ndarray
    rate_hz: int
    layout: Layout
    clock: Clock
    alignment: SimpleNamespace = field(default_factory=lambda: SimpleNamespace(polarity={}))

    @property
    def channels(self):
        return ("left", "right") if self.samples.shape[1] == 2 else ("mono",)

    def has_section(self, name):
        return self.layout.has_section(name)

    def section(self, name, before_s=0.0, after_s=0.0):
        if not self.layout.has_section(name):
            raise MeasurementError(f"The track has no section {name}.")
        section = self.layout.section(name)
        ends = self.clock.take_index(np.array([section.start_s - before_s, section.end_s + after_s]))
        start, stop = int(np.ceil(ends[0])), int(np.ceil(ends[1]))
        return SimpleNamespace(
            samples=self.samples[start:stop],
            channels=self.channels,
            rate_hz=self.rate_hz,
            start_index=start,
            clock=self.clock,
            section=section,
        )

    def with_samples(self, samples):
        return replace(self, samples=samples)

    def without(self, *names):
        kept = tuple(section for section in self.layout.sections if section.name not in names)
        return replace(self, layout=replace(self.layout, sections=kept))


def simulate_tones(*without, seed=0, rate_hz=48000, source_rate_hz=None, bits=24, **path) -> tuple[LaidTake, Truth]:
    """Return a simulated take of the tone sections, but for some, and its true values."""
    played = tones_layout(*without)
    take = simulate_take(
        played,
        path=PathModel(**(REAL_CLOCKS | path)),
        rate_hz=rate_hz,
        source_rate_hz=source_rate_hz,
        source_bits=bits,
        seed=seed,
        lead_s=0.3,
        tail_s=0.2,
    )
    polarity = dict(zip(("left", "right"), (int(sign) for sign in take.truth.polarity), strict=True))
    laid = LaidTake(
        samples=take.samples,
        rate_hz=rate_hz,
        layout=played,
        clock=true_clock(take.truth, played.duration_s),
        alignment=SimpleNamespace(polarity=polarity),
    )
    return laid, take.truth


def true_clock(truth: Truth, duration_s: float) -> Clock:
    knots_s = np.linspace(0.0, duration_s, 60)
    line = Clock(rate_hz=truth.rate_hz, offset_s=truth.offset_s, drift_ppm=truth.drift_ppm)
    wander = truth.take_index(knots_s) - line.take_index(knots_s)
    return replace(line, knots_s=knots_s, wander_samples=wander)
