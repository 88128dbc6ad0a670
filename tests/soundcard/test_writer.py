"""What lies on the disk, read by Python's own reader of WAV files, however the recording ended."""

from __future__ import annotations

import subprocess
import sys
import wave

import numpy as np
import pytest

from humcheck.audio.writing import own_output
from humcheck.soundcard.writer import DiskFull, TakeWriter, space_for

RATE_HZ = 48000


def steps_of(path):
    """Return the 24-bit samples as integers, read by the standard library."""
    with wave.open(str(path)) as file:
        assert (file.getsampwidth(), file.getframerate()) == (3, RATE_HZ)
        raw = np.frombuffer(file.readframes(file.getnframes()), dtype=np.uint8).reshape(-1, 3).astype(np.int32)
        steps = raw[:, 0] | raw[:, 1] << 8 | raw[:, 2] << 16
        return (steps - ((steps & 0x800000) << 1)).reshape(-1, file.getnchannels())


@pytest.mark.parametrize("n_channels", [1, 2])
def test_every_24_bit_sample_comes_through(tmp_path, n_channels):
    steps = np.random.default_rng(1).integers(-(2**23), 2**23, (5001, n_channels))
    with TakeWriter(tmp_path / "take.wav", rate_hz=RATE_HZ, n_channels=n_channels) as writer:
        for block in np.array_split(steps, 7):
            writer.write((block / 2.0**23).astype(np.float32))
    np.testing.assert_array_equal(steps_of(tmp_path / "take.wav"), steps)
    assert writer.n_samples_on_disk() == 5001
    assert own_output(tmp_path / "take.wav")


def test_what_does_not_fit_is_clipped_and_what_lies_between_is_rounded(tmp_path):
    samples = np.float32([[1.0], [-1.5], [0.6 / 2**23], [-0.6 / 2**23], [0.4 / 2**23]])
    with TakeWriter(tmp_path / "take.wav", rate_hz=RATE_HZ, n_channels=1) as writer:
        writer.write(samples)
    assert steps_of(tmp_path / "take.wav")[:, 0].tolist() == [2**23 - 1, -(2**23), 1, -1, 0]


def test_a_wav_file_that_can_hold_no_more_is_full(tmp_path):
    block = np.zeros((100, 2), dtype=np.float32)
    with TakeWriter(tmp_path / "take.wav", rate_hz=RATE_HZ, n_channels=2, most_bytes=1500) as writer:
        writer.write(block)
        writer.write(block)
        with pytest.raises(DiskFull, match="can hold no more"):
            writer.write(block)
    assert writer.n_samples_on_disk() == 200


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on the size of files, which this system lacks")
@pytest.mark.parametrize(("n_channels", "limit_bytes"), [(1, 100_001), (2, 100_000), (2, 100_003)])
def test_a_disk_that_takes_no_more_leaves_a_whole_file(tmp_path, n_channels, limit_bytes):
    """A limit on the size of files makes the disk refuse in the middle of a block, and of a sample."""
    path = tmp_path / "take.wav"
    code = (
        "import resource, sys, numpy as np\n"
        "from humcheck.soundcard.writer import DiskFull, TakeWriter\n"
        "path, n_channels, limit = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))\n"
        f"with TakeWriter(path, rate_hz={RATE_HZ}, n_channels=n_channels) as writer:\n"
        "    try:\n"
        "        for number in range(1000):\n"
        "            first = number * 2400\n"
        "            ramp = np.arange(first, first + 2400, dtype=np.float32) / np.float32(2**23)\n"
        "            writer.write(np.repeat(ramp[:, None], n_channels, axis=1))\n"
        "    except DiskFull as error: print(error)\n"
        "print(writer.n_samples_on_disk())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path), str(n_channels), str(limit_bytes)],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    reason, count = done.stdout.split("\n")[:2]
    assert reason == "the disk takes no more"
    steps = steps_of(path)
    assert len(steps) == int(count) > (limit_bytes - 200) // (3 * n_channels)
    np.testing.assert_array_equal(steps, np.repeat(np.arange(len(steps))[:, None], n_channels, axis=1))


def test_the_space_that_a_take_needs(tmp_path):
    needed, free = space_for(tmp_path / "take.wav", 10.0, RATE_HZ, 2)
    assert needed == 10 * 48000 * 2 * 3
    assert free > 0
