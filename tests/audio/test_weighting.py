import numpy as np
import pytest

from humcheck.audio.weighting import (
    F1_HZ,
    F2_HZ,
    F3_HZ,
    F4_HZ,
    a_weighting_db,
    c_weighting_db,
    ccir_rms_weighting_db,
    itu468_response,
    itu468_weighting_db,
)
from tests.audio.bs468_tables import TABLE_1
from tests.audio.iec61672_table3 import TABLE_3

ROWS = [pytest.param(n, row, id=f"IEC 61672-1:2013 table 3, {row[0]} Hz") for n, row in enumerate(TABLE_3, start=10)]


def exact_hz(n):
    return 1000.0 * 10.0 ** ((n - 30) / 10.0)


@pytest.mark.parametrize(("n", "row"), ROWS)
def test_a_and_c_match_the_printed_table(n, row):
    _, a_table, c_table, _, _, _, _ = row
    # The table is rounded to 0.1 dB; 1e-9 for values that fall on the half.
    assert a_weighting_db(exact_hz(n)) == pytest.approx(a_table, abs=0.05 + 1e-9)
    assert c_weighting_db(exact_hz(n)) == pytest.approx(c_table, abs=0.05 + 1e-9)


@pytest.mark.parametrize(("n", "row"), ROWS)
def test_a_and_c_match_the_expressions_of_annex_e(n, row):
    _, _, _, a_exact, c_exact, _, _ = row
    # Computed values rounded to 0.0001 dB.
    assert a_weighting_db(exact_hz(n)) == pytest.approx(a_exact, abs=6e-5)
    assert c_weighting_db(exact_hz(n)) == pytest.approx(c_exact, abs=6e-5)


@pytest.mark.parametrize(("n", "row"), ROWS)
def test_a_and_c_lie_inside_the_class_1_limits(n, row):
    nominal, a_table, c_table, _, _, upper, lower = row
    for goal, got in ((a_table, a_weighting_db(exact_hz(n))), (c_table, c_weighting_db(exact_hz(n)))):
        assert lower <= float(got) - goal <= upper, nominal


def test_the_table_has_its_34_rows():
    assert len(TABLE_3) == 34


def test_poles_follow_from_the_closed_expressions():
    # IEC 61672-1:2013 E.4.1 rounds them to 20.60, 107.7, 737.9 and 12194 Hz; more digits computed from annex E.
    assert pytest.approx((20.598997058, 107.652648643, 737.862230736, 12194.217147998)) == (F1_HZ, F2_HZ, F3_HZ, F4_HZ)


# Computed once from annex E.
@pytest.mark.parametrize(
    ("frequency_hz", "expected_db"),
    [
        (50.0, -30.2716),
        (60.0, -27.0457),
        (100.0, -19.1428),
        (120.0, -16.7070),
        (150.0, -13.9818),
        (180.0, -11.9484),
        (250.0, -8.6742),
        (300.0, -7.0540),
        (997.0, -0.0092),
        (15625.0, -6.4484),
        (15734.264, -6.5237),
    ],
)
def test_a_weight_of_mains_and_video_frequencies(frequency_hz, expected_db):
    assert a_weighting_db(frequency_hz) == pytest.approx(expected_db, abs=6e-5)


def test_c_is_3_db_down_at_its_design_frequencies():
    # IEC 61672-1:2013 annex E: fL = 10**1.5 Hz and fH = 10**3.9 Hz, 10 lg(1/2) dB re 1 kHz.
    assert c_weighting_db(np.array([10**1.5, 10**3.9])) == pytest.approx([-3.010300, -3.010300], abs=1e-6)


@pytest.mark.parametrize(
    ("frequency_hz", "expected_db", "upper", "lower"),
    [pytest.param(*row, id=f"ITU-R BS.468-4 table 1, {row[0]} Hz") for row in TABLE_1],
)
def test_468_weighting_matches_the_table(frequency_hz, expected_db, upper, lower):
    got = float(itu468_weighting_db(frequency_hz))
    # Rounded to 0.1 dB; this also settles the row whose tolerance is zero. Inside every other row's tolerance.
    assert got == pytest.approx(expected_db, abs=0.051)
    if upper > 0.0:
        assert lower <= got - expected_db <= upper


def test_ccir_rms_is_the_same_curve_with_0_db_at_2_khz():
    # AES17-2015 5.2.7 takes off 5.63 dB; 5.6292 is the curve's own value.
    frequency_hz = np.array([31.5, 1000.0, 2000.0, 6300.0, 20000.0])
    difference = itu468_weighting_db(frequency_hz) - ccir_rms_weighting_db(frequency_hz)
    assert difference == pytest.approx(np.full(5, 5.63), abs=0.005)
    assert ccir_rms_weighting_db(2000.0) == pytest.approx(0.0, abs=1e-12)


def test_complex_response_has_the_weighting_s_magnitude_and_no_delay_at_low_frequency():
    frequency_hz = np.array([31.5, 1000.0, 6300.0, 20000.0])
    response = itu468_response(frequency_hz)
    assert 20 * np.log10(np.abs(response)) == pytest.approx(itu468_weighting_db(frequency_hz))
    # One zero at 0 Hz: the network leads by a quarter turn far below its peak (elementary).
    assert np.angle(itu468_response(1.0), deg=True) == pytest.approx(90.0, abs=0.1)


@pytest.mark.parametrize("weighting", [a_weighting_db, c_weighting_db, itu468_weighting_db, ccir_rms_weighting_db])
def test_zero_frequency_reads_the_floor_and_shapes_are_kept(weighting):
    assert weighting(0.0) == -400.0
    assert weighting(np.zeros((2, 3))).shape == (2, 3)
    assert np.isfinite(weighting(384_000.0))


# --- other people's libraries ------------------------------------------------------------------------------------

GRID_HZ = np.geomspace(12.5, 20_000.0, 200)


def test_a_and_c_agree_with_librosa():
    librosa = pytest.importorskip("librosa", reason="librosa is not installed (extra crosscheck)")
    # 0.01 dB: librosa carries rounded poles.
    assert a_weighting_db(GRID_HZ) == pytest.approx(librosa.A_weighting(GRID_HZ, min_db=None), abs=0.01)
    assert c_weighting_db(GRID_HZ) == pytest.approx(librosa.C_weighting(GRID_HZ, min_db=None), abs=0.01)


def test_a_and_c_agree_with_pyfar():
    pyfar = pytest.importorskip("pyfar", reason="pyfar is not installed (extra crosscheck)")
    # 0.01 dB: pyfar takes the rounded normalising constants of the standard.
    for letter, ours in (("A", a_weighting_db), ("C", c_weighting_db)):
        theirs = pyfar.constants.frequency_weighting_curve(letter, list(GRID_HZ))
        assert ours(GRID_HZ) == pytest.approx(np.ravel(getattr(theirs, "freq", theirs)), abs=0.01)


def test_468_agrees_with_its_own_library():
    library = pytest.importorskip(
        "itu_r_468_weighting.filter", reason="itu-r-468-weighting is not installed (extra crosscheck)"
    )
    for option, ours in (("1khz", itu468_weighting_db), ("2khz", ccir_rms_weighting_db)):
        theirs = [library.r468(float(f), option, "db") for f in GRID_HZ]
        assert ours(GRID_HZ) == pytest.approx(theirs, abs=0.01)
