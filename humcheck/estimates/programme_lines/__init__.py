"""Mains hum under speech, music and other sound: lines that agree on one fundamental through the whole recording."""

from humcheck.estimates.programme_lines.estimate import ProgrammeHum, hum_under_programme

__all__ = ["ProgrammeHum", "hum_under_programme"]
