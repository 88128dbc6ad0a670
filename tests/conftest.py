"""What all tests share: a skip is a failure where everything is installed."""

from __future__ import annotations

import os

# The test processes share the cores already; set before anything imports numpy.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest  # noqa: E402

_SKIPS_FAIL = os.environ.get("HUMCHECK_SKIPS_FAIL") == "1"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if _SKIPS_FAIL and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped where everything should be installed: {report.longrepr}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    report = yield
    if _SKIPS_FAIL and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"skipped where everything should be installed: {report.longrepr}"
    return report
