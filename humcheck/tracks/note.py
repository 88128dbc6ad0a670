"""The plain-text note that lies beside the tracks: how to play them, how to set the level."""

from __future__ import annotations

from humcheck.audio.writing import MARK
from humcheck.tracks.layouts import layout
from humcheck.tracks.markers import NAMES

NOTE_NAME = "how-to-play.txt"

_WHAT = {
    "full": "everything in one; the one to use if you use only one",
    "sweep": "level and tone only: gain, balance, response, bleed between left and right",
    "silence": "hum, buzz and hiss only; short, for many pictures, supplies or cables",
}

_TEXT = """\
How to play the test tracks ({mark})
{rule}

{files}
These files: {rate} Hz, {bits} bits, stereo. Beside each lies a timetable (.json) that says what plays when.

START AT LOW VOLUME
  The tracks hold loud tones and sweeps up to the highest notes. Take headphones off, turn loudspeakers down or
  off, and only then press play. High, steady tones can harm tweeters: never listen to them at full volume.

WHAT TO RECORD
  1. Direct: player -> leads -> recorder, with a plain coupler where the box will be. Same leads, same display
     connected, same supplies as later.
  2. Through: the same, with the box instead of the coupler. One recording for each port, picture, supply.
  Start the recorder first, then the track. Stop after the track has ended. A recording may begin and end as
  early or late as you like; the tool finds the track in it by its markers. Do not edit, normalise or convert it.

SETTING THE LEVEL
  The steady tone in the first four seconds is as loud as the track ever gets. Play it again and again, and set
  the recorder's input so that its peaks read between -6 and -3 dB (0 dB being the most it can take). Then leave
  the knob alone: direct and through must be recorded at the same setting.
  Turn off in the recorder: automatic gain, noise suppression, echo cancelling, limiters, "enhancement".
  Use a line input. The microphone socket of a laptop is often mono, and too sensitive.
  Player: volume at maximum or at a fixed line level; equaliser, surround, bass boost and loudness levelling off.

DISC PLAYER
  An audio disc holds 44.1 kHz and 16 bits: {disc}
  Burn the WAV files as an audio disc, "disc at once", with level matching off. Burn no MP3.
  A video disc with uncompressed (PCM) sound wants 48 kHz: make the tracks with --rate 48000.

COMPUTER
  Play the WAV file with any plain player at 100 % volume. Set the system's sample rate to that of the file
  ({rate} Hz), and switch off notification sounds and sound effects. A laptop's charger is a well-known source
  of hum: record once on battery as well.

MEDIA STICK OR TELEVISION BOX
  Copy the WAV files to the stick. Choose "PCM" or "stereo" as the sound output, not a surround format, and turn
  off night mode and volume levelling. If WAV is refused, a lossless format (FLAC) is the next best; lossy
  formats cut the highest notes and add noise of their own.

CONSOLES AND COMPUTERS THAT CAN PLAY NO TRACK
  Record a steady state instead: boot or pause screen, half a minute, gain of the recorder left alone; once
  direct, once through the box.
"""


def note_text(length: str, rate_hz: int, bits: int) -> str:
    """Return the note for a set of tracks of one length, rate and word length."""
    title_length = len(f"How to play the test tracks ({MARK})")
    return _TEXT.format(
        mark=MARK,
        rule="=" * title_length,
        files="".join(_file_line(name, length) for name in NAMES),
        rate=rate_hz,
        bits=bits,
        disc="these files fit."
        if (rate_hz, bits) == (44100, 16)
        else "make the tracks with --rate 44100 --bits 16 for it.",
    )


def _file_line(name: str, length: str) -> str:
    minutes, seconds = divmod(round(layout(name, length).duration_s), 60)
    return f"  {name + '.wav':12s} {minutes}:{seconds:02d}  {_WHAT[name]}\n"
