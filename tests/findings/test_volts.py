"""Volts of a calibrated bench: worked by hand from decibels."""

import msgspec
import pytest

from humcheck.findings.index import RowIndex
from humcheck.findings.volts import volts_findings
from humcheck.report.catalogue import Catalogue
from humcheck.report.tables import cell
from humcheck.results import Measure, Settings, TakeRow, TrackIdentity
from tests.findings.test_limits import results

TAKE = TakeRow(
    id="t1",
    file="direct.wav",
    sha256="",
    role="direct",
    rate_hz=48000,
    channels=2,
    sample_format="",
    duration_s=60.0,
    track=TrackIdentity(name="full", length="short", layout=1),
    gain_db=-6.0206,
)


def calibrated(volts, **more):
    return msgspec.structs.replace(results(takes=[TAKE]), settings=Settings(volts_at_full_scale=volts), **more)


@pytest.mark.parametrize(
    # -6.0206 dB is one half (20 lg 0.5).
    ("volts", "words"),
    [(1.24, "gave 0.62 V RMS"), (1.24, "more than 0.62 V was not tested"), (4.0, "what strong sources give at most")],
)
def test_the_level_reached_is_said(volts, words):
    (finding,) = volts_findings(RowIndex(calibrated(volts)))
    assert words in finding.sentence


def test_without_a_calibration_nothing_is_said():
    assert not list(volts_findings(RowIndex(calibrated(None))))


def test_levels_stand_in_dbv_too():
    # 0 dBFS at 2 V RMS is 20 lg 2 = +6.02 dBV.
    dbv = Catalogue(calibrated(2.0)).dbv_at_full_scale
    row = Measure(subject="Alder", role="through", quantity="hum_level", value=-80.0, unit="dBFS")
    assert dbv == pytest.approx(6.0206, abs=1e-4)
    assert "74.0" in cell(row, dbv_at_full_scale=dbv).detail
    assert "dBV" in cell(row, dbv_at_full_scale=dbv).detail
    assert "dBV" not in cell(row).detail
