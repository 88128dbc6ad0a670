"""The picture of a video file sought in its sound: the leak that its rows would make, predicted and matched.

A row of brightness b is a pulse of that height, as long as the visible part of a line. A stray capacitance passes on
its slope. Rows follow one another at the line rate, so the leak's spectrum is that of the sequence of rows, repeated at
every multiple of the line rate, times the pulse's. Music is strong below 8 kHz: only what lies above is compared, each
moment and frequency weighed by how little else is heard there.

Stages: `clock` (line rate), `fields` (frames to rows as drawn), `whitening` (weights), `matching` and `search` (is it
there at all, by what changes), `place` (where exactly), `level` and `share` (how strong), `find` (all of it).
"""

from humcheck.estimates.footage.estimate import FootageEstimate
from humcheck.estimates.footage.find import LONGEST_S, SHORTEST_S, find_footage
from humcheck.estimates.footage.share import QuietStretch

__all__ = ["LONGEST_S", "SHORTEST_S", "FootageEstimate", "QuietStretch", "find_footage"]
