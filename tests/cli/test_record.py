"""``humcheck record`` with a sound card made of lists: real tracks, no hardware, no waiting."""

from __future__ import annotations

import io
import re
import signal
import sys
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from humcheck.cli import main, record_course, record_words
from humcheck.cli.record_screen import meter_lines, screen
from humcheck.cli.record_words import device_table, reasons_of_course, reasons_within
from humcheck.soundcard import Device, Ending, LevelMeter, Progress, Recorded
from humcheck.takes.take import load_take
from humcheck.tracks.layouts import layout
from humcheck.tracks.writing import write_track
from tests.soundcard.fakes import BLOCK, RATE_HZ, FakePlayer, FakeSource

CARD = Device(number=0, name="card", system="First", n_inputs=2, n_outputs=2, rate_hz=RATE_HZ)


@pytest.fixture(scope="module")
def track(tmp_path_factory):
    path = tmp_path_factory.mktemp("track") / "silence.wav"
    write_track(path, layout("silence", "short"), rate_hz=RATE_HZ, bits=24)
    return path


@pytest.fixture
def unjudged(monkeypatch):
    """Leave out the inspection, which costs a second."""
    monkeypatch.setattr(record_words, "judge", lambda *anything, **more: 0)


@pytest.fixture
def card(monkeypatch, tmp_path):
    """Return what puts a fake card in place; its options are those of `FakeSource`."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(record_course, "list_devices", lambda: [CARD])

    def put(track=None, **options):
        player = None if track is None else FakePlayer(soundfile.read(track)[0])
        source = FakeSource(player, **options)
        monkeypatch.setattr(record_course, "open_input", lambda device, *, rate_hz, n_channels: source)
        monkeypatch.setattr(record_course, "open_player", lambda device, track: player)
        return source, player

    return put


def one_line(text):
    return " ".join(text.split())


def test_a_track_is_played_recorded_and_judged(card, track, tmp_path, capsys):
    source, player = card(track)
    assert main(["record", "take.wav", "--play", str(track)]) == 0
    told = capsys.readouterr()
    assert told.out.startswith("Start low")
    assert "headphones off and keep loudspeakers off" in told.out
    # The track of 27 s, a second before it and one and a half after it, each up to a block longer.
    assert float(re.search(r"take\.wav: ([0-9.]+) s recorded", told.out)[1]) == pytest.approx(29.55, abs=0.1)
    # The level tone stands at -1 dBFS in the track, and the card turns it down to 0.6: -4.4 dB.
    assert "Highest peak: left -5.4 dBFS, right -5.4 dBFS." in told.out
    assert told.out.rstrip().endswith("Keep this take: it can be used.")
    assert told.err == ""
    take = load_take(tmp_path / "take.wav")
    assert (take.track.name, take.track.length) == ("silence", "short")
    assert take.alignment.lost == ()
    assert soundfile.info(tmp_path / "take.wav").subtype == "PCM_24"
    assert (source.closed, player.closed) == (True, True)
    assert [path.name for path in tmp_path.iterdir()] == ["take.wav"]


def test_lost_sound_is_said_and_the_take_is_not_fit(card, track, capsys):
    card(track, events={300: "lost", 301: "lost"})
    assert main(["record", "take.wav", "--play", str(track)]) == 2
    told = one_line(capsys.readouterr().out)
    assert "Do not use this take: sound was lost 2 times on its way from the sound card" in told


def test_a_low_level_is_told_against_the_noise(unjudged, card, track, capsys):
    """A gain of 0.02 (-34 dB) brings the tone to -35 dBFS; noise of 1e-4 RMS reads -77 dBFS."""
    card(track, gain=0.02, noise=1e-4)
    main(["record", "take.wav", "--play", str(track)])
    told = one_line(capsys.readouterr().out)
    assert "Too low: the highest peak, -35 dBFS, is only 42 dB above the noise before the track" in told


def test_what_speaks_against_a_take():
    """Each of these makes it unfit; a fault that spoils nothing does not."""
    take = SimpleNamespace(track=None, faults=[SimpleNamespace(spoils=[], code="dc")])
    results = SimpleNamespace(measures=["row"], takes=[take])
    assert reasons_within(results, silent=False, track_expected=False) == []
    assert reasons_within(results, silent=False, track_expected=True)[0].startswith("the track was not recognised")
    take.faults = [SimpleNamespace(spoils=[], code="no-sound")]
    assert reasons_within(results, silent=False, track_expected=False) == ["it has the faults named above"]
    take.faults = [SimpleNamespace(spoils=["thd"], code="clipping")]
    assert reasons_within(results, silent=False, track_expected=False) == ["it has the faults named above"]
    results.measures = []
    assert reasons_within(results, silent=False, track_expected=False) == ["nothing in it could be measured"]
    assert reasons_within(None, silent=False, track_expected=False) == ["nothing in it could be measured"]


def test_a_player_that_runs_dry_makes_the_take_unfit():
    recorded = Recorded(n_samples=1, n_lost=0, n_gaps=2, ending=Ending("done"))
    assert reasons_of_course(recorded, played=True)[0].startswith("the playing fell silent 2 times")


@pytest.mark.parametrize("how", ["dead", "silent"])
def test_a_device_that_vanishes_leaves_what_was_recorded(card, tmp_path, capsys, monkeypatch, how):
    monkeypatch.setattr("humcheck.soundcard.session.GONE_AFTER_S", 0.0)
    card(noise=1e-3, events={40: how})
    assert main(["record", "take.wav"]) == 2
    told = one_line(capsys.readouterr().out)
    assert "the 2.0 s recorded until then are kept" in told
    assert "Do not use this take: it ended early, as" in told
    assert soundfile.info(tmp_path / "take.wav").frames == 40 * BLOCK


def test_ctrl_c_ends_it_and_the_take_is_kept(card, tmp_path, capsys):
    before = signal.getsignal(signal.SIGINT)
    card(noise=1e-3, events={159: lambda: signal.raise_signal(signal.SIGINT)})
    assert main(["record", "take.wav"]) == 0
    told = one_line(capsys.readouterr().out)
    assert "take.wav: stopped; the 8.0 s recorded until then are kept" in told
    assert "Keep this take" in told
    assert soundfile.info(tmp_path / "take.wav").frames == 160 * BLOCK
    assert signal.getsignal(signal.SIGINT) is before


def test_stopped_before_the_track_has_ended_it_is_not_fit(card, track, capsys):
    card(track, events={80: lambda: signal.raise_signal(signal.SIGTERM)})
    assert main(["record", "take.wav", "--play", str(track)]) == 2
    assert "it was stopped before the track had ended" in one_line(capsys.readouterr().out)


def test_alone_for_some_seconds(unjudged, card, tmp_path, capsys):
    card(noise=1e-3)
    assert main(["record", "take.wav", "--seconds", "3.5"]) == 0
    assert soundfile.info(tmp_path / "take.wav").duration == 3.5


def test_digital_silence_is_no_take(card, capsys):
    card(noise=0.0)
    assert main(["record", "take.wav", "--seconds", "3"]) == 2
    assert "digital silence: nothing reached the input" in one_line(capsys.readouterr().out)


def test_where_nothing_was_recorded_nothing_is_written(card, tmp_path, capsys):
    card(events={0: "dead"})
    assert main(["record", "take.wav"]) == 2
    told = capsys.readouterr()
    assert told.err.startswith("humcheck: take.wav: nothing was recorded: the device that records is gone; ")
    assert told.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_file_of_the_users_is_not_replaced(unjudged, card, tmp_path, capsys):
    card(noise=1e-3)
    soundfile.write(tmp_path / "take.wav", np.zeros((10, 2)), RATE_HZ)
    before = (tmp_path / "take.wav").read_bytes()
    assert main(["record", "take.wav", "--seconds", "3"]) == 2
    assert "was not written by humcheck" in capsys.readouterr().err
    assert (tmp_path / "take.wav").read_bytes() == before
    assert main(["record", "take.wav", "--seconds", "1", "--force"]) == 0
    capsys.readouterr()
    # Its own takes are no less the user's: a second run of the same line must not cost the first.
    assert main(["record", "take.wav", "--seconds", "2"]) == 2
    assert "take.wav: is a take already" in capsys.readouterr().err
    assert soundfile.info(tmp_path / "take.wav").duration == 1.0


def test_a_disk_without_room_is_told_before_anything_plays(card, track, tmp_path, capsys, monkeypatch):
    source, player = card(track)
    monkeypatch.setattr(record_course, "space_for", lambda *anything: (8_000_000, 1_000_000))
    assert main(["record", "take.wav", "--play", str(track)]) == 2
    assert "the take needs 8 MB, and 1 MB are free there; make room" in capsys.readouterr().err
    assert (source.started, player.started_at, player.closed) == (False, None, True)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "no file to record into is named"),
        (["take.flac"], "end the name in .wav"),
        (["take.wav", "--play", "track.wav", "--seconds", "3"], "leave --seconds out"),
        (["take.wav", "--play", "take.wav"], "is the track that is played"),
        (["take.wav", "--play", "missing.wav"], "missing.wav"),
        (["take.wav", "--rate", "17"], "17 Hz is no usable sampling rate"),
        (["take.wav", "--device", "lamp"], "no device that records fits 'lamp'"),
        (["nowhere/take.wav"], "its folder does not exist"),
    ],
)
def test_calls_that_make_no_sense(card, capsys, arguments, told):
    card()
    assert main(["record", *arguments]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1


def test_without_the_extra_one_sentence_tells_the_remedy(monkeypatch, tmp_path, capsys):
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    monkeypatch.chdir(tmp_path)
    for arguments in (["--list"], ["take.wav"]):
        assert main(["record", *arguments]) == 2
        error = capsys.readouterr().err
        assert error == (
            "humcheck: recording from a sound card needs the extra 'record'; run: pip install humcheck[record]\n"
        )


def test_the_table_of_devices_takes_names_as_they_are():
    hostile = Device(
        number=1,
        name="[/red] \x1b[2J\ncard",
        system="[bold]",
        n_inputs=2,
        n_outputs=0,
        rate_hz=44100,
        rates_hz=(44100, 48000),
        default_input=True,
    )
    lines = device_table([CARD, hostile]).split("\n")
    assert len(lines) == 3
    assert lines[0].split() == ["number", "records", "plays", "rates", "in", "Hz", "system", "name"]
    assert lines[2].endswith(r"[bold]  [/red] \x1b[2J\ncard (records by default)")
    assert "44100 48000" in lines[2]


def fed_meter(peak, n_channels=2):
    meter = LevelMeter(RATE_HZ, n_channels)
    meter.feed(np.full((BLOCK, n_channels), peak, dtype=np.float32))
    return meter


def test_the_meter_shows_level_countdown_and_warning():
    lines = meter_lines(Progress(phase="track", recorded_s=3.0, left_s=27.4, meter=fed_meter(0.95), n_lost=1))
    assert lines[0] == "3.0 s recorded, the track plays, 27 s left"
    assert lines[1].startswith("left  [####")
    assert lines[1].endswith("-0.4 dBFS, held   -0.4 dBFS")
    assert lines[3] == "Within 1 dB of full scale: turn down, aim for peaks of -6 to -3 dBFS."
    assert "Sound was lost, 1 time" in lines[4]
    quiet = meter_lines(Progress(phase="alone", recorded_s=3.0, left_s=None, meter=fed_meter(0.0, 1), n_lost=0))
    assert quiet[0] == "3.0 s recorded; Ctrl-C ends it"
    assert quiet[1].count("#") == 0
    assert len(quiet) == 2


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_it_is_shown_on_a_terminal_only():
    progress = Progress(phase="alone", recorded_s=3.0, left_s=None, meter=fed_meter(0.5), n_lost=0)
    for stream, shown in ((Terminal(), True), (io.StringIO(), False)):
        with screen(stream) as show:
            show(progress)
        assert ("3.0 s recorded" in stream.getvalue()) is shown


def test_a_terminal_that_was_closed_does_not_cost_the_take():
    class Closed(Terminal):
        def write(self, text):
            raise OSError("Input/output error")

    progress = Progress(phase="alone", recorded_s=3.0, left_s=None, meter=fed_meter(0.5), n_lost=0)
    with screen(Closed()) as show:
        show(progress)
