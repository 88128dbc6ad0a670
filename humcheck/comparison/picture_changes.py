"""The classic test: what a bright picture makes of the noise that a black one leaves."""

from __future__ import annotations

from collections.abc import Iterable

from humcheck.comparison.changes import Compared, compare, judged
from humcheck.comparison.references import is_level, place_of
from humcheck.results import Change, Measure

#: The control: a picture that leaks nothing but its sync.
BLACK = "black"


def picture_changes(measures: Iterable[Measure]) -> list[Change]:
    """Return every noise, hum and buzz level under a picture minus the same under a black one, contrast ``picture``.

    Parameters
    ----------
    measures : iterable of Measure
        One for each key, repeats averaged; levels of takes that differ in the picture alone are set against each other.
        Where both are bounds there is no change.
    """
    return judged(compared_pictures(measures))


def compared_pictures(measures: Iterable[Measure]) -> list[Compared]:
    """Return the same changes, not judged yet."""
    levels = [row for row in measures if row.role in ("direct", "through", "single") and _is_noise(row.quantity)]
    black = {place_of(row, "picture"): row for row in levels if row.picture == BLACK}
    changes: list[Compared | None] = []
    for row in levels:
        reference = None if row.picture in (None, BLACK) else black.get(place_of(row, "picture"))
        if reference is not None:
            changes.append(compare(row, reference, "picture", unit="dB", more={"picture": BLACK}))
    return [change for change in changes if change is not None]


def _is_noise(name: str) -> bool:
    return is_level(name) and not name.startswith("picture_")
