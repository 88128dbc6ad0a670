"""The library that talks to sound cards, found or missed in one sentence, and kept from chattering."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from typing import Any, TextIO

from humcheck.errors import UnusableCall


def sound_library() -> Any:
    """Return the module `sounddevice`.

    Raises
    ------
    UnusableCall
        If it, or the PortAudio library that it stands on, is not installed.
    """
    try:
        import sounddevice
    except ModuleNotFoundError:
        raise UnusableCall(
            "recording from a sound card needs the extra 'record'", remedy="run: pip install humcheck[record]"
        ) from None
    except OSError:
        raise UnusableCall(
            "recording from a sound card needs the PortAudio library, which is not installed",
            remedy="on Debian and Ubuntu run: sudo apt install libportaudio2",
        ) from None
    except Exception as error:
        # The library starts PortAudio when it is imported, and raises an error of its own if that fails.
        raise UnusableCall(
            f"the sound system does not start ({error})", remedy="see that it runs, then try again"
        ) from error
    return sounddevice


def sound_library_versions() -> dict[str, str]:
    """Return the versions of the library and of PortAudio; none where they are not installed."""
    try:
        library = sound_library()
    except UnusableCall:
        return {}
    number = int(library.get_portaudio_version()[0])
    portaudio = ".".join(str(number >> shift & 0xFF) for shift in (16, 8, 0))
    return {"sounddevice": str(library.__version__), "portaudio": portaudio}


@contextlib.contextmanager
def quiet_library() -> Iterator[TextIO]:
    """Keep the sound system's libraries from writing to standard error; yield a stream that still reaches it.

    They write of every device that is missing, and of every one that vanishes, behind Python's back.
    """
    try:
        sys.stderr.flush()
        kept = os.dup(2)
    except (OSError, AttributeError):  # no standard error at all
        yield sys.stderr
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    encoding = getattr(sys.stderr, "encoding", None) or "utf-8"
    try:
        with os.fdopen(os.dup(kept), "w", encoding=encoding, errors="backslashreplace") as stream:
            os.dup2(nowhere, 2)
            yield stream
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
