"""A plug that crackles while it is moved, and a box that is switched over in silence: counted, and said."""

import numpy as np
import soundfile

from humcheck.pipeline.compare import compare_files
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings

RATE_HZ = 48000


def test_crackle_is_counted_and_said(tmp_path):
    rng = np.random.default_rng(4)
    time_s = np.arange(20 * RATE_HZ) / RATE_HZ
    sounds = {}
    for name in ("direct", "moved", "switched"):
        hum = 1e-4 * np.sin(2 * np.pi * 50.03 * time_s + rng.uniform(0, 6))
        sounds[name] = np.stack([hum + rng.normal(0, 3e-5, time_s.size) for _ in range(2)], axis=1)
    for at_s in (3.0, 6.5, 6.9, 12.0, 17.25):
        start = int(at_s * RATE_HZ)
        sounds["moved"][start : start + 480, 1] += 0.1 * np.exp(-np.arange(480) / 96)
    for name, sound in sounds.items():
        soundfile.write(tmp_path / f"{name}.wav", sound, RATE_HZ, subtype="PCM_24")
    alder = {"role": "through", "device": "Alder", "port": "2"}
    requests = [
        TakeRequest(path=str(tmp_path / "direct.wav"), role="direct"),
        TakeRequest(path=str(tmp_path / "moved.wav"), **alder, condition={"event": "plug moved"}),
        TakeRequest(path=str(tmp_path / "switched.wav"), **alder, condition={"event": "switched over"}),
    ]
    results = compare_files(requests, MeasuringSettings(mains_hz=50.0), bench_name="bench").results
    rates = {(row.condition["event"], row.channel): row for row in results.measures if row.quantity == "click_rate"}
    assert rates["plug moved", "right"].detail["clicks"] == 5
    assert rates["plug moved", "left"].value == 0
    assert rates["switched over", "right"].value == 0
    # A hand at the plug is no noise of the box.
    of_events = {row.quantity for row in results.measures if row.condition}
    assert of_events == {"click_rate", "thump_level"}
    sentences = {row.condition["event"]: row for row in results.findings if row.kind == "contacts"}
    assert "clicks 5 times" in sentences["plug moved"].sentence
    assert "-20 dBFS" in sentences["plug moved"].sentence
    assert sentences["plug moved"].cautions
    assert "free of clicks" in sentences["switched over"].sentence
    assert sentences["switched over"].severity == "none"
