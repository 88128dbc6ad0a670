"""Sound cards: which there are, a track played, and what comes back recorded. Needs the extra ``record``.

`run_session` knows no hardware: it moves blocks from a source to a writer and to a meter. `open_input` and
`open_player` make the source and the player of a real sound card.
"""

from humcheck.soundcard.devices import Device, choose_input, choose_output, list_devices
from humcheck.soundcard.library import quiet_library
from humcheck.soundcard.meter import LevelMeter, level_words
from humcheck.soundcard.session import Ending, Progress, Recorded, run_session
from humcheck.soundcard.streams import open_input, open_player
from humcheck.soundcard.writer import TakeWriter, space_for

__all__ = [
    "Device",
    "Ending",
    "LevelMeter",
    "Progress",
    "Recorded",
    "TakeWriter",
    "choose_input",
    "choose_output",
    "level_words",
    "list_devices",
    "open_input",
    "open_player",
    "quiet_library",
    "run_session",
    "space_for",
]
