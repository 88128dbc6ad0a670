"""What all tests share: a skip is a failure where everything is installed."""

from __future__ import annotations

import os

# The test processes share the cores already; set before anything imports numpy.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest  # noqa: E402

_SKIPS_FAIL = os.environ.get("HUMCHECK_SKIPS_FAIL") == "1"


def pytest_collection_modifyitems(items):
    """Keep the tests of a file on one core where they share something that is dear to make: it is made once."""
    for item in items:
        if any(_is_shared(definition) for definition in item._fixtureinfo.name2fixturedefs.values()):
            item.add_marker(pytest.mark.xdist_group(item.module.__name__))


def _is_shared(definitions):
    """Return whether a fixture is one of ours and made once for many tests: takes, clips, a browser, a sound server."""
    return any(one.baseid and one.scope in ("module", "package", "session") for one in definitions)


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
