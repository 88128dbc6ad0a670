"""Circuit values of the picture's leak added to results, from their own rows and settings."""

from __future__ import annotations

import msgspec

from humcheck.comparison.picture_circuit import circuit_rows
from humcheck.results import Results


def with_circuit(results: Results) -> Results:
    """Return results with the capacitance or resistance that a coupling stands for, where circuit values are given."""
    rows = circuit_rows(results.measures, results.settings)
    first = len(results.measures) + 1
    numbered = [msgspec.structs.replace(row, id=f"measures-{number}") for number, row in enumerate(rows, start=first)]
    return msgspec.structs.replace(results, measures=[*results.measures, *numbered])
