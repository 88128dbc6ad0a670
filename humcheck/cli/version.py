"""``humcheck --version``: the versions that decide the numbers."""

from __future__ import annotations

from humcheck.errors import EXIT_DONE


def print_versions() -> int:
    """Print this program's version and those of the libraries that its numbers and its recordings depend on."""
    from humcheck.pipeline.versions import library_versions
    from humcheck.soundcard.library import sound_library_versions
    from humcheck.version import NUMBERS_VERSION, __version__

    print(f"humcheck {__version__} (numbers version {NUMBERS_VERSION})")
    for name, version in (library_versions() | sound_library_versions()).items():
        print(f"{name} {version}")
    return EXIT_DONE
