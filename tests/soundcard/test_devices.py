"""Devices listed and chosen, and the library missed in one sentence. Names come from outside: anything may be one."""

from __future__ import annotations

import sys
from types import SimpleNamespace

import pytest

from humcheck.errors import UnusableCall
from humcheck.soundcard import library
from humcheck.soundcard.devices import Device, choose_input, choose_output, list_devices


class RefusedError(Exception):
    pass


def row(name, inputs, outputs, system=0, rate_hz=44100.0):
    return {
        "name": name,
        "hostapi": system,
        "max_input_channels": inputs,
        "max_output_channels": outputs,
        "default_samplerate": rate_hz,
    }


def fake_library(rows, default=(-1, -1), takes=(44100, 48000)):
    def check(*, device, channels, dtype, samplerate):
        if samplerate not in takes:
            raise RefusedError("Invalid sample rate")

    return SimpleNamespace(
        PortAudioError=RefusedError,
        default=SimpleNamespace(device=default),
        query_devices=lambda: rows,
        query_hostapis=lambda: [{"name": "First", "default_input_device": 1, "default_output_device": 0}],
        check_input_settings=check,
        check_output_settings=check,
    )


@pytest.fixture
def three(monkeypatch):
    rows = [row("Line out", 0, 2), row("Line in", 2, 0), row("Box [/red]", 2, 2)]
    monkeypatch.setattr("humcheck.soundcard.devices.sound_library", lambda: fake_library(rows))
    return list_devices(with_rates=True)


def test_names_channels_and_rates_are_told(three):
    assert [(device.name, device.n_inputs, device.n_outputs) for device in three] == [
        ("Line out", 0, 2), ("Line in", 2, 0), ("Box [/red]", 2, 2),
    ]  # fmt: skip
    assert all(device.rates_hz == (44100, 48000) for device in three)
    assert [device.default_input for device in three] == [False, True, False]
    assert [device.default_output for device in three] == [True, False, False]


def test_without_a_name_the_default_is_used(three):
    assert choose_input(three, None).number == 1
    assert choose_output(three, None).number == 0


@pytest.mark.parametrize("name", ["2", "box", "Box [/red]", " BOX "])
def test_a_device_is_named_by_its_number_or_a_part_of_its_name(three, name):
    assert choose_input(three, name).number == 2


def test_several_that_fit_are_told_by_number(three):
    with pytest.raises(UnusableCall, match="several devices fit 'i'; give one of the numbers 1, 2") as error:
        choose_input([*three[:2], Device(number=2, name="Mic", system="", n_inputs=1, n_outputs=0, rate_hz=1)], "i")
    assert "--list" in error.value.sentence()


def test_one_that_cannot_do_it_is_told(three):
    with pytest.raises(UnusableCall, match="it is none that plays; name another with --play-device"):
        choose_output(three, "line in")
    with pytest.raises(UnusableCall, match="no device that records fits 'lamp'"):
        choose_input(three, "lamp")


def test_an_empty_name_fits_nothing(three):
    with pytest.raises(UnusableCall):
        choose_input(three, "")


def test_a_machine_without_sound(monkeypatch):
    monkeypatch.setattr("humcheck.soundcard.devices.sound_library", lambda: fake_library([]))
    monkeypatch.setattr("humcheck.soundcard.devices._default", lambda *anything: -1)
    assert list_devices() == []
    for choose in (choose_input, choose_output):
        with pytest.raises(UnusableCall, match="was found; connect the sound card"):
            choose([], None)


def test_without_the_extra_the_remedy_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(UnusableCall, match=r"needs the extra 'record'; run: pip install humcheck\[record\]"):
        library.sound_library()
    assert library.sound_library_versions() == {}


@pytest.mark.parametrize(
    ("raised", "told"),
    [("OSError('PortAudio library not found')", "libportaudio2"), ("RuntimeError('no memory')", "does not start")],
)
def test_without_portaudio_the_remedy_is_told(monkeypatch, tmp_path, raised, told):
    """The library looks for PortAudio, and starts it, when it is imported."""
    (tmp_path / "sounddevice.py").write_text(f"raise {raised}\n", encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    with pytest.raises(UnusableCall, match=told):
        library.sound_library()


def test_chatter_of_the_sound_system_is_kept_away(capfd):
    import os

    with library.quiet_library() as terminal:
        os.write(2, b"ALSA lib: chatter\n")
        print("level", file=terminal, flush=True)
    os.write(2, b"after\n")
    assert capfd.readouterr().err == "level\nafter\n"
