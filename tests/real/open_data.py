"""Where the open recordings lie that `fetch_open_data.py` brings: files of public packages, not of the repository."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

FOLDER = Path(os.environ.get("HUMCHECK_OPEN_DATA") or Path(__file__).parent / "data")

#: Debian packages, and the endings of the files wanted out of each.
DEBIAN_FILES = {
    "sonic-pi-samples": ("guit_e_fifths.flac", "elec_chime.flac", "bd_boom.flac"),
    "tuxpaint-stamps-default": ("mammals/deer/doe.ogg",),
    "codec2-examples": ("raw/hts.raw", "raw/hts2.raw", "raw/vk5qi.raw"),
    "libmysofa1": ("MIT_KEMAR_normal_pinna.sofa",),
    "alsa-utils": (".wav",),
}
#: Packages of the Python index with their version, and the endings of the files wanted out of each.
PYTHON_FILES = {
    ("biosignalsnotebooks", "0.6.14"): (
        "signal_sample_single_hub_bvp_2017_1_17.h5",
        "bvp_rest.h5",
        "emg_fatigue.h5",
        "sync_acc_1.h5",
        "sync_acc_2.h5",
        "sync_cable_light.h5",
    ),
    ("scipy", "1.11.4"): ("scipy/misc/ecg.dat",),
    ("gwpy", "4.1.0"): ("testing/data/HLV-HW100916-968654552-1.hdf",),
}


def open_data_file(package: str, name: str) -> Path:
    """Return the path of one file of a package; skips the test where it was not fetched."""
    path = FOLDER / package / name
    if not path.is_file():
        pytest.skip(f"{package}/{name} is not here: run `python tests/real/fetch_open_data.py`")
    return path
