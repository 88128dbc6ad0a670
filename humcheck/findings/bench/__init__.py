"""Findings over a whole bench: ports, conditions, fixes, the order of devices, and what was not tested."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.conditions import condition_findings
from humcheck.findings.bench.events import event_findings
from humcheck.findings.bench.fixes import fix_findings
from humcheck.findings.bench.hunting import hunt_findings
from humcheck.findings.bench.kept_limits import kept_limits_findings
from humcheck.findings.bench.loading import loading_findings
from humcheck.findings.bench.nearly_alike import nearly_alike_changes
from humcheck.findings.bench.neighbours import neighbour_findings
from humcheck.findings.bench.port_tone import port_tone_findings
from humcheck.findings.bench.ports import port_findings
from humcheck.findings.bench.ranking import ranking_findings
from humcheck.findings.bench.readiness import readiness_findings
from humcheck.findings.bench.together import together_findings
from humcheck.findings.bench.untested import untested_findings
from humcheck.findings.index import RowIndex
from humcheck.results import Finding

__all__ = ["whole_bench_findings"]

_FINDERS = (
    port_findings,
    port_tone_findings,
    neighbour_findings,
    condition_findings,
    event_findings,
    loading_findings,
    together_findings,
    fix_findings,
    hunt_findings,
    kept_limits_findings,
    ranking_findings,
    readiness_findings,
    untested_findings,
)


def whole_bench_findings(rows: RowIndex, found: Sequence[Finding]) -> Iterator[Finding]:
    """Yield what only a whole bench can tell.

    Parameters
    ----------
    rows : RowIndex
        All rows.
    found : sequence of Finding
        What was found of single uses.
    """
    bench = BenchRows(rows, found)
    bench.add(nearly_alike_changes(bench))
    for find in _FINDERS:
        yield from find(bench)
