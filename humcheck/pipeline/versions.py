"""Which library versions a result was measured with."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

_LIBRARIES = ("numpy", "scipy", "soundfile", "soxr", "msgspec")


def library_versions() -> dict[str, str]:
    """Return the versions of Python and of the libraries that numbers depend on."""
    found = {"python": platform.python_version()}
    for name in _LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "unknown"
    return found
