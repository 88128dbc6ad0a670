"""What the numbers mean, in plain sentences with their evidence."""

from __future__ import annotations

from humcheck.findings.bench import whole_bench_findings
from humcheck.findings.footage import footage_findings
from humcheck.findings.index import RowIndex, uses_of
from humcheck.findings.noises import noise_findings, single_noise_findings
from humcheck.findings.picture import picture_findings
from humcheck.findings.sound import sound_findings
from humcheck.findings.takes import bench_findings, fitness_findings, take_findings
from humcheck.findings.uncompared import uncompared_findings
from humcheck.findings.volts import volts_findings
from humcheck.results import Finding, Results

__all__ = ["find"]

_WEIGHT = {"strong": 0, "clear": 1, "slight": 2, "none": 3}


def find(results: Results) -> list[Finding]:
    """Return the findings of a results file, for each device the weightiest first; every id is there once.

    Parameters
    ----------
    results : Results
        With measures, changes, lines and takes; its own findings are not looked at.
    """
    rows = RowIndex(results)
    found = [*fitness_findings(results), *take_findings(results)]
    found.extend(uncompared_findings(rows))
    for use in uses_of(rows, "through"):
        of_use = [*noise_findings(use), *picture_findings(use), *sound_findings(use)]
        found.extend(sorted(of_use, key=lambda finding: _WEIGHT[finding.severity]))
    for use in uses_of(rows, "single"):
        found.extend([*single_noise_findings(use), *(footage_findings(use) or picture_findings(use))])
    found.extend(list(whole_bench_findings(rows, found)))
    found.extend(bench_findings(rows))
    found.extend(volts_findings(rows))
    return found
