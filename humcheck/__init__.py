"""Hum, buzz, bleed and tone of an audio path, measured against a direct recording."""

from humcheck.version import __version__

__all__ = ["__version__"]
