"""Test tracks: layouts, waveforms that can be evaluated at any time, markers, timetables."""
