"""Measured takes made by hand: a quiet section in a file, its lines, and the level of a tone."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
import soundfile

from humcheck.audio.writing import write_audio
from humcheck.comparison.material import MeasuredTake, QuietPart
from humcheck.estimates.lines import fit_lines
from humcheck.results import Key, TakeRow
from tests.line_sections import Comb, quiet_section

RATE_HZ = 48_000
HUM = Comb(50.013, {1: -70.0, 2: -82.0, 3: -74.0, 5: -80.0, 7: -86.0}, wander_hz=0.02, right=0.7)
BUZZ = Comb(59.94, {1: -90.0, 2: -84.0, 3: -86.0, 10: -88.0, 40: -92.0}, right=1.2)
HISS_DBFS = -92.0


@dataclass
class Tones:
    """All that matching looks at: where full scale arrives."""

    full_scale_dbfs: dict = field(default_factory=dict)


def quiet_samples(seed=1, *, combs=(HUM, BUZZ), duration_s=8.0, rate_hz=RATE_HZ, noise_dbfs=HISS_DBFS, n_channels=2):
    rng = np.random.default_rng(seed)
    samples, _ = quiet_section(
        duration_s, combs, rng, rate_hz=float(rate_hz), noise_dbfs=noise_dbfs, n_channels=n_channels
    )
    return samples


def measured(path, samples, *, role="through", device=None, take_id="t1", full_scale_dbfs=None, mains_hz=50.0, **key):
    """Write a take that holds a quiet section and nothing else, and measure that."""
    write_audio(path, samples, RATE_HZ, bits=32)
    subject = {"direct": "direct"}.get(role, device or take_id)
    row = TakeRow(
        id=take_id, file=path.name, sha256="0" * 64, role=role, device=device, rate_hz=RATE_HZ,
        channels=samples.shape[1], sample_format="WAV 32-bit float", duration_s=len(samples) / RATE_HZ,
    )  # fmt: skip
    return MeasuredTake(
        row=row,
        key=Key(subject=subject, role=role, quantity="", **key),
        tones=None if full_scale_dbfs is None else Tones({"left": full_scale_dbfs, "right": full_scale_dbfs}),
        quiet=QuietPart(
            path=str(path),
            start=0,
            stop=len(samples),
            swapped=False,
            lines=fit_lines(samples, float(RATE_HZ), mains_hz=mains_hz),
        ),
    )


def decoded(content):
    """Samples (n, n_channels) and rate of an excerpt's file."""
    samples, rate_hz = soundfile.read(io.BytesIO(content), dtype="float64", always_2d=True)
    return samples, rate_hz


def steady(samples, rate_hz):
    """The part of an excerpt between its fades."""
    return samples[rate_hz : -rate_hz // 2]


def rms(samples):
    return np.sqrt(np.mean(samples**2, axis=0))
