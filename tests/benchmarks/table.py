"""Rows of the accuracy and cost tables, and how they are printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One figure: what was reached under which condition, against which target, over how many trials."""

    figure: str
    condition: str
    reached: float
    target: float
    unit: str
    n: int
    passed: bool
    note: str = ""


def print_table(title: str, rows: Sequence[Row]) -> None:
    """Print `rows` as Markdown, so that the table can be quoted as it stands."""
    print(f"\n### {title}\n")
    print("| figure | condition | reached | target | unit | n | met | note |")
    print("|---|---|---|---|---|---|---|---|")
    for row in rows:
        cells = (
            row.figure,
            row.condition,
            f"{row.reached:.4g}",
            f"{row.target:.4g}",
            row.unit,
            str(row.n),
            "yes" if row.passed else "NO",
            row.note,
        )
        print(f"| {' | '.join(cells)} |")
