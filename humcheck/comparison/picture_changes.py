"""The classic test: what a bright picture makes of the noise that a black one leaves."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import msgspec

from humcheck.comparison.changes import change_between
from humcheck.results import QUANTITIES, Change, Measure, quantity

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
    levels = [row for row in measures if row.role in ("direct", "through", "single") and _is_noise(row.quantity)]
    black = {row.identity("picture"): row for row in levels if row.picture == BLACK}
    changes: list[Change] = []
    for row in levels:
        reference = None if row.picture in (None, BLACK) else black.get(row.identity("picture"))
        change = None if reference is None else change_between(row, reference, "picture", unit="dB")
        if change is not None:
            described: dict[str, Any] = {**change.reference, "picture": BLACK}
            changes.append(msgspec.structs.replace(change, reference=described))
    return changes


def _is_noise(name: str) -> bool:
    return quantity(name).kind == "level" and f"{name}_rel" in QUANTITIES and not name.startswith("picture_")
