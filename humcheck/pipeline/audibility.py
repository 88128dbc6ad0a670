"""Audibility added to results, from their own rows alone."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from humcheck.evidence import with_media_of
from humcheck.findings import find
from humcheck.findings.audibility import ListeningSetting, audibility_rows
from humcheck.results import Measure, NotMeasured, Results


def with_audibility(results: Results, listening: Sequence[ListeningSetting]) -> Results:
    """Return results with the margins over what can be heard, in place of those that they may hold already."""
    margins = audibility_rows(results, listening)
    measures = [row for row in results.measures if row.listening is None]
    heard = [row for row in margins if isinstance(row, Measure)]
    for number, row in enumerate(heard, start=len(results.measures) + 1):
        measures.append(msgspec.structs.replace(row, id=f"measures-{number}"))
    missing = [row for row in results.not_measured if not row.quantity.startswith("audible_margin")]
    missing += [row for row in margins if isinstance(row, NotMeasured)]
    stated = msgspec.structs.replace(results.settings, listening=[setting.statement for setting in listening])
    return msgspec.structs.replace(results, measures=measures, not_measured=missing, settings=stated)


def heard_otherwise(results: Results, listening: Sequence[ListeningSetting]) -> Results:
    """Return results with audibility predicted, and findings written, for other ways of listening."""
    heard = with_audibility(results, listening)
    return msgspec.structs.replace(heard, findings=with_media_of(find(heard), results.findings))
