"""Where the open recordings lie that `fetch_open_data.py` brings: files of public packages, not of the repository."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

FOLDER = Path(os.environ.get("HUMCHECK_OPEN_DATA") or Path(__file__).parent / "data")

#: Drums, synthesisers, loops, bells without hum (see `negative_clips`).
MUSIC = (
    *("ambi_dark_woosh", "ambi_drone", "ambi_glass_hum", "ambi_glass_rub", "ambi_haunted_hum"),
    *("ambi_lunar_land", "ambi_piano", "ambi_sauna", "ambi_swoosh", "bass_drop_c", "bass_hard_c"),
    *("bass_thick_c", "bass_trance_c", "bass_voxy_c", "bass_woodsy_c", "drum_cymbal_hard", "drum_cymbal_open"),
    *("drum_roll", "drum_splash_hard", "drum_splash_soft", "elec_filt_snare", "glitch_bass_g", "glitch_perc1"),
    *("loop_3d_printer", "loop_amen", "loop_amen_full", "loop_breakbeat", "loop_compus", "loop_drone_g_97"),
    *("loop_electric", "loop_mehackit1", "loop_mehackit2", "loop_mika", "loop_perc1", "loop_perc2"),
    *("loop_safari", "loop_tabla", "loop_weirdo", "misc_cineboom", "perc_bell", "perc_bell2", "perc_door"),
    *("perc_till", "tabla_ghe2", "tabla_ghe3", "tabla_ghe5", "tabla_ghe7", "tabla_tun1", "tabla_tun2"),
    *("tabla_tun3", "vinyl_hiss", "vinyl_rewind"),
)
#: Animals, instruments and vehicles without hum, through a lossy codec.
SOUNDS = (
    *("badger", "bassoon", "beaver", "bee", "blackbird", "camel", "caribou", "cello", "dolphin", "drumkit"),
    *("firetruck", "grasshopper", "lightningbolt", "mosquito", "seagull", "tiger", "violin", "whale"),
)
#: Debian packages, and the endings of the files wanted out of each.
DEBIAN_FILES = {
    "sonic-pi-samples": (
        *("guit_e_fifths.flac", "elec_chime.flac", "bd_boom.flac", "guit_em9.flac", "guit_harmonics.flac"),
        *(f"/{name}.flac" for name in MUSIC),
    ),
    "tuxpaint-stamps-default": ("mammals/deer/doe.ogg", *(f"/{name}.ogg" for name in SOUNDS)),
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
