"""Uses of one device, or of two, that differ in one thing alone: condition, fix, device."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from humcheck.comparison.changes import Compared, compare, unit_of_change
from humcheck.comparison.references import in_single_channels, is_compared, place_of
from humcheck.results import Measure
from humcheck.results.rows import Contrast

Groups = Iterable[Sequence[Measure]]


def contrast_changes(measures: Iterable[Measure]) -> list[Compared]:
    """Return the changes of contrast ``condition``, ``fix`` and ``device``.

    Parameters
    ----------
    measures : iterable of Measure
        One for each key, repeats averaged, in the order of the day. Both channels together are left out where each is
        there on its own.

    Notes
    -----
    Condition: rows whose conditions differ in one key are set against the row with the value of that key that the bench
    saw first; not to have the key counts as a value. Fix: against the same without a fix, or with the fix seen first.
    Device: each device against every earlier one by what came through them; the direct take that both share cancels,
    and its scatter does not count.
    """
    rows = in_single_channels(
        row for row in measures if row.role in ("direct", "through") and is_compared(row.quantity)
    )
    return [*_condition_changes(rows), *_fix_changes(rows), *_device_changes(rows)]


def grouped(rows: Iterable[Measure], *without: str) -> list[list[Measure]]:
    """Return rows that are alike but for some fields of their keys, groups of two and more."""
    groups: dict[tuple[Any, ...], list[Measure]] = {}
    for row in rows:
        groups.setdefault(place_of(row, *without), []).append(row)
    return [group for group in groups.values() if len(group) > 1]


def _condition_changes(rows: Sequence[Measure]) -> list[Compared]:
    alike = grouped(rows, "condition")
    changes: list[Compared] = []
    for name in dict.fromkeys(name for row in rows for name in row.condition):
        seen: dict[str | None, int] = {}
        for row in rows:
            seen.setdefault(row.condition.get(name), len(seen))
        for group in alike:
            for family in _alike_but_for(group, name):
                reference = min(family, key=lambda row: seen[row.condition.get(name)])
                more = {"condition": dict(reference.condition), "differs": name}
                changes += _against(reference, family, "condition", more)
    return changes


def _alike_but_for(group: Sequence[Measure], name: str) -> Groups:
    """Return the rows of a group whose conditions differ in one key alone."""
    families: dict[tuple[Any, ...], list[Measure]] = {}
    for row in group:
        rest = tuple(sorted(item for item in row.condition.items() if item[0] != name))
        families.setdefault(rest, []).append(row)
    return [family for family in families.values() if len(family) > 1]


def _fix_changes(rows: Sequence[Measure]) -> list[Compared]:
    changes: list[Compared] = []
    for group in grouped(rows, "fix"):
        reference = next((row for row in group if row.fix is None), group[0])
        changes += _against(reference, group, "fix", {"fix": reference.fix})
    return changes


def _device_changes(rows: Sequence[Measure]) -> list[Compared]:
    through = [row for row in rows if row.role == "through"]
    changes: list[Compared] = []
    for group in grouped(through, "subject"):
        for index, row in enumerate(group):
            for earlier in group[:index]:
                changes += _against(earlier, [row], "device", {})
    for group in grouped(_single_ports(through), "subject", "port"):
        for index, row in enumerate(group):
            for earlier in group[:index]:
                if earlier.port != row.port:
                    changes += _against(earlier, [row], "device", {"port": earlier.port})
    return changes


def _single_ports(rows: Sequence[Measure]) -> list[Measure]:
    """Return the rows of devices that were used at one port alone: its name need not be the other device's."""
    ports: dict[str, set[str | None]] = {}
    for row in rows:
        ports.setdefault(row.subject, set()).add(row.port)
    return [row for row in rows if len(ports[row.subject]) == 1]


def _against(reference: Measure, rows: Iterable[Measure], contrast: Contrast, more: dict[str, Any]) -> list[Compared]:
    changes = [
        compare(row, reference, contrast, unit=unit_of_change(row), more=more) for row in rows if row is not reference
    ]
    return [change for change in changes if change is not None]
