"""Causes from the simulated sound itself: path, recorder, file, estimates of lines, comparison, finding.

What is simulated: mains current round a loop (odd harmonics), the published series of a full-wave rectified sine, a
dimmer's waveform through a small gap, a white picture leaking through a small capacitance, and the frames of a link.
"""

from __future__ import annotations

from dataclasses import replace

import msgspec
import numpy as np
import pytest
from scipy import fft

from humcheck.pipeline.compare import measure_files, results_of
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.simulation import (
    TIMING_312,
    Crystal,
    FrameComb,
    Hiss,
    Hum,
    Mains,
    PathModel,
    Picture,
    PictureLeak,
    Recorder,
    ground_loop,
    harmonics,
    rectified,
    simulate_take,
)

SETTINGS = MeasuringSettings(mains_hz=50.0)
DURATION_S = 10.0


def dimmer(level_dbfs, n_harmonics=300):
    """Mains switched on in the middle of each half wave, caught through a gap: rising 6 dB per octave."""
    phase = np.arange(1 << 15) / (1 << 15)
    wave = np.where(phase % 0.5 < 0.25, 0.0, np.sin(2 * np.pi * phase))
    series = fft.rfft(wave)[1 : n_harmonics + 1] * np.arange(1, n_harmonics + 1)
    scaled = series / np.sqrt(np.sum(np.abs(series) ** 2)) * 10 ** (level_dbfs / 20)
    return tuple(complex(value) for value in scaled)


def hum(amplitudes, right=0.9):
    return {"hum": (Hum(amplitudes=amplitudes, right=right),)}


CASES = {
    "ground-loop": hum(ground_loop(-68.0, n_harmonics=17, fall_db=5.0, phase_seed=3)),
    "supply-ripple": hum(rectified(-75.0)),
    "mains-pulses": hum(dimmer(-80.0)),
    "picture-crosstalk": {"picture": Picture.plain("white", TIMING_312, PictureLeak(level_dbfs_at_1k=-95.0))},
    "digital-frames": {"frames": FrameComb(level_dbfs=-100.0)},
    "": {},
}


def path(*, hum=(), **more):
    bench = Hum(amplitudes=harmonics({1: -97.0, 3: -104.0}, phase_seed=1))
    return PathModel(
        mains=Mains(frequency_hz=50.02, wander_mhz=15.0),
        hum=(bench, *hum),
        hiss=(Hiss.both(-92.0),),
        recorder_clock=Crystal(ppm=20.0),
        recorder=Recorder(bits=24),
        **more,
    )


@pytest.fixture(scope="module")
def takes(tmp_path_factory):
    """The direct take, one take of each case, and the recorder alone, all with the same hum of the bench."""
    folder = tmp_path_factory.mktemp("takes")
    requests = []
    for index, (name, case) in enumerate([("direct", {}), *CASES.items(), ("recorder", {})]):
        take = simulate_take(None, path=path(**case), rate_hz=48000, seed=index, duration_s=DURATION_S)
        take.write(folder / f"{index}.wav")
        role = name if name in ("direct", "recorder") else "through"
        device = (name or "none") if role == "through" else None
        picture = None if role == "recorder" else "white"
        requests.append(TakeRequest(path=str(folder / f"{index}.wav"), role=role, device=device, picture=picture))
    measured, problems = measure_files(requests, SETTINGS)
    assert not problems
    return measured


@pytest.fixture(scope="module")
def findings(takes):
    """Findings of each case, all set against the same direct take."""
    used = [take for take in takes if take.role != "recorder"]
    found = results_of(used, SETTINGS, bench_name="bench").findings
    return {name: [row for row in found if row.subject == (name or "none")] for name in CASES}


@pytest.mark.parametrize("cause", [name for name in CASES if name])
def test_the_cause_that_was_simulated_is_named(findings, cause):
    named = [row for row in findings[cause] if row.cause]
    assert {row.cause for row in named} == {cause}
    assert any(row.severity != "none" for row in named)
    for row in named:
        assert "pattern alone" in row.confidence
        assert any(pointer.line for pointer in row.evidence)


def test_no_cause_is_named_where_nothing_was_added(findings):
    assert [row.sentence for row in findings[""] if row.cause or row.severity != "none"] == []


def test_hum_that_the_recorder_has_alone_is_nobody_elses(takes):
    used = [take for take in takes if take.row.device in (None, "none")]
    results = results_of(used, SETTINGS, bench_name="bench")
    levels = [row for row in results.measures if row.quantity == "hum_level" and row.role in ("direct", "through")]
    assert levels
    assert all(row.bound == "upper" for row in levels)
    bench = next(row for row in results.findings if row.kind == "bench")
    assert "recorder's or the bench's own" in bench.sentence
    assert not [row for row in results.findings if row.cause]


def test_a_take_that_stands_alone_has_a_cause_too(takes):
    alone = next(take for take in takes if take.row.device == "ground-loop")
    key = msgspec.structs.replace(alone.key, subject="t1", role="single")

    def single(row):
        return msgspec.structs.replace(row, subject="t1", role="single")

    take = replace(
        alone,
        key=key,
        row=msgspec.structs.replace(alone.row, role="single", device=None),
        measures=tuple(single(row) for row in alone.measures),
        lines=tuple(single(row) for row in alone.lines),
    )
    found = results_of([take], SETTINGS, bench_name="inspection").findings
    assert [row.cause for row in found if row.kind == "hum"] == ["ground-loop"]


def test_the_lines_of_the_ripple_follow_the_published_series(takes):
    """Full-wave rectified sine: 2 / (pi (4 n^2 - 1)) at 2 n times the mains, so 1/5 and 3/35 of the first."""
    ripple = next(take for take in takes if take.row.device == "supply-ripple")
    levels = {line.harmonic: line for line in ripple.lines if line.channel == "left" and line.family == "mains"}
    for harmonic, share in ((4, 1 / 5), (6, 3 / 35), (8, 1 / 21)):
        expected = levels[2].level_dbfs + 20 * np.log10(share)
        # 95 % intervals of two lines, wide enough for one in ten thousand.
        allowed = 2 * ((levels[harmonic].high - levels[harmonic].low) / 2 + (levels[2].high - levels[2].low) / 2)
        assert levels[harmonic].level_dbfs == pytest.approx(expected, abs=allowed)
        assert allowed < 0.5
