"""A recording of the clip's playback: what each picture does is told apart, without a label."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from humcheck.pipeline.compare import inspect_files
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.simulation.periodic import add_periodic
from humcheck.simulation.raster import Picture, PictureLeak, RasterTiming
from humcheck.tracks.layouts import CLIP_LAYOUT, layout
from humcheck.tracks.pictures_code import row_code
from humcheck.tracks.rendering import render_track

RATE_HZ = 48000
LEAK_DBFS = -110.0
ROWS = {"black": np.zeros(288), "white": np.ones(288), "rows": row_code(288).astype(float)}


def test_each_picture_gets_rows_of_its_own(tmp_path):
    track = layout("silence", "standard", CLIP_LAYOUT)
    sound = 0.5 * render_track(track, RATE_HZ, 24)
    sound += np.random.default_rng(3).normal(0, 10 ** (-95 / 20) / np.sqrt(2), sound.shape)
    leak = PictureLeak(level_dbfs_at_1k=LEAK_DBFS)
    for shown in track.pictures:
        picture = Picture(rows=tuple(ROWS[shown.name]), timing=RasterTiming(), leaks=(leak,))
        index = np.arange(round(shown.start_s * RATE_HZ), round(shown.end_s * RATE_HZ))
        part = np.zeros((2, index.size))
        add_periodic(part, picture.amplitudes(0.49 * RATE_HZ), index / RATE_HZ * 25.0 * (1 + 20e-6))
        sound[index] += part.T
    path = tmp_path / "clip.wav"
    soundfile.write(path, sound, RATE_HZ, subtype="PCM_24")
    results = inspect_files([TakeRequest(path=str(path), role="single")], MeasuringSettings()).results
    assert results.takes[0].track is not None
    assert results.takes[0].track.layout == CLIP_LAYOUT
    noise = {
        row.picture: row.value for row in results.measures if (row.quantity, row.channel) == ("noise_level", "left")
    }
    assert set(noise) == {"black", "white", "rows"}
    # Line tone of white: 2/pi sin(pi 0.8125) of the step, of which a sine of full swing is half; 6 dB an octave.
    line_tone_dbfs = LEAK_DBFS + 20 * np.log10(4 / np.pi * np.sin(np.pi * 0.8125)) + 20 * np.log10(15.625)
    assert noise["white"] == pytest.approx(
        10 * np.log10(10 ** (line_tone_dbfs / 10) + 10 ** (noise["black"] / 10)), abs=0.5
    )
    assert not any(fault.code == "mutes-on-zero" for fault in results.takes[0].faults)
    coupling = [row for row in results.measures if (row.quantity, row.channel) == ("picture_coupling", "left")]
    assert [row.picture for row in coupling if row.bound is None] == ["rows"]
    assert coupling[-1].value == pytest.approx(LEAK_DBFS, abs=0.3)
