"""Pooled scatter: what a cell of few takes borrows, what pluggings and the day add, and what a wild cell does."""

import math

import numpy as np
import pytest
from scipy import stats

from humcheck.comparison.drift import shared_no_drift
from humcheck.comparison.occasions import Occasion, occasions_of
from humcheck.comparison.repeats import aggregate_repeats, estimate_of, repeatability_of
from humcheck.comparison.scatter import Cell, scatter_of
from humcheck.results import Measure, TakeRow


def replugged(*values, own=0.0):
    return Cell(blocks=[[[(value, own)] for value in values]])


def repeated(*values, own=0.0):
    return Cell(blocks=[[[(value, own) for value in values]]])


def over_the_day(*values, own=0.0):
    return Cell(blocks=[[[(value, own)]] for value in values])


def level(value, take, *, device="Alder", port=None, role="through", half=0.0196, **more):
    fields = {"quantity": "hum_level", "channel": "left", "unit": "dBFS", "interval": "within", **more}
    return Measure(
        subject=device, role=role, port=port, value=value, low=value - half, high=value + half, takes=[take], **fields
    )


def test_one_cell_alone_is_the_guides_type_a_evaluation():
    # GUM (JCGM 100:2008) 4.2 and table G.2: t(0.975; 4) = 2.776; U95 = 2.776 x 0.192354 / sqrt(5) = 0.2388.
    (one,) = scatter_of([replugged(-72.1, -72.4, -71.9, -72.2, -72.3)], "p")
    low, high = one.estimate.interval()
    assert (high - low) / 2 == pytest.approx(0.2388, abs=5e-5)
    assert (one.repeatability, one.n_pluggings) == ("own", 5)


def test_the_difference_of_two_cells_is_students_pooled_t():
    from humcheck.comparison.intervals import difference, student_t_tail

    ours, theirs = (-60.0, -60.3, -59.8, -60.2), (-61.0, -60.9, -61.3)
    one, other = scatter_of([replugged(*ours), replugged(*theirs)], "p")
    between = difference(one.estimate, other.estimate)
    outside = stats.ttest_ind(ours, theirs, equal_var=True)
    assert between.degrees_of_freedom == outside.df == 5
    p_value = student_t_tail(between.value / between.standard_uncertainty, between.degrees_of_freedom)
    assert p_value == pytest.approx(outside.pvalue, rel=1e-9)


def test_a_single_take_borrows_the_scatter_of_the_others():
    first, second = (1.0, 1.2, 0.9), (5.0, 5.4)
    *_, single = scatter_of([replugged(*first), replugged(*second), replugged(3.0)], "p")
    # Pooled variance: (2 s1^2 + 1 s2^2) / 3.
    pooled = (2 * np.var(first, ddof=1) + np.var(second, ddof=1)) / 3
    assert single.estimate.standard_uncertainty == pytest.approx(math.sqrt(pooled))
    assert single.estimate.degrees_of_freedom == pytest.approx(3)
    assert single.repeatability == "borrowed"


def test_single_takes_everywhere_tell_nothing_of_scatter():
    one, other = scatter_of([replugged(1.0, own=0.04), replugged(2.0, own=0.09)], "p")
    assert (one.repeatability, other.repeatability) == ("unknown", "unknown")
    assert one.estimate.standard_uncertainty == pytest.approx(0.2)
    assert math.isinf(one.estimate.degrees_of_freedom)


def test_scatter_is_never_less_than_the_takes_own_noise():
    cell = scatter_of([replugged(1.0, 1.0001, own=0.04), replugged(3.0, own=0.04)], "p")
    assert cell[0].estimate.standard_uncertainty == pytest.approx(0.2 / math.sqrt(2))
    assert cell[1].estimate.standard_uncertainty == pytest.approx(0.2)


def test_a_noisy_cell_keeps_its_own_noise_beside_the_pool():
    # The pool's 0.05 holds 0.01 of own noise; the noisy take has 0.24 more of that.
    values = (0.0, math.sqrt(0.1))  # variance 0.05
    _, noisy = scatter_of([replugged(*values, own=0.01), replugged(3.0, own=0.25)], "p")
    assert noisy.estimate.standard_uncertainty**2 == pytest.approx(0.05 + 0.24)


def test_nested_variance_matches_the_analysis_of_variance():
    # Balanced: the variance of a cell's mean is the mean square between pluggings over the number of takes
    # (any textbook's nested design; mean squares from scipy's one-way analysis: F = MS_between / MS_within).
    pluggings = [(1.0, 1.1, 0.9), (1.6, 1.5, 1.7), (0.7, 0.9, 0.8)]
    (cell,) = scatter_of([Cell(blocks=[[[(value, 0.0) for value in plug] for plug in pluggings]])], "p")
    within = np.mean([np.var(plug, ddof=1) for plug in pluggings])
    between = stats.f_oneway(*pluggings).statistic * within
    assert cell.estimate.standard_uncertainty**2 == pytest.approx(between / 9)
    assert cell.estimate.degrees_of_freedom == pytest.approx(2)


def test_mere_repeats_borrow_what_replugging_does():
    # Repeats scatter with variance 0.005, pluggings (single takes) with 0.5: a plugging's own part is 0.495.
    repeats, plugs = repeated(1.0, 1.1), replugged(2.0, 3.0)
    cell, _ = scatter_of([repeats, plugs], "p")
    assert cell.estimate.standard_uncertainty**2 == pytest.approx(0.495 + 0.005 / 2)
    assert cell.repeatability == "borrowed"


def test_mere_repeats_alone_leave_replugging_unknown():
    cell, other = scatter_of([repeated(1.0, 1.1, 0.9), repeated(4.0)], "p")
    assert cell.repeatability == other.repeatability == "replugging unknown"
    assert cell.estimate.standard_uncertainty == pytest.approx(0.1 / math.sqrt(3))


def test_cochrans_critical_value_sets_a_wild_cell_aside():
    # Cochran's C for 5 cells of 3 takes (2 degrees of freedom) at 1 %: 0.788 (Cochran 1941; ISO 5725-2 table 4, p = 5,
    # n = 3; from memory). Four cells of variance 1 and one of variance v: C = v / (4 + v).
    for share, is_wild in ((0.780, False), (0.797, True)):
        spread = math.sqrt(4 * share / (1 - share))
        cells = [replugged(-1.0, 0.0, 1.0)] * 4 + [replugged(-spread, 0.0, spread)]
        quiet, *_, wild = scatter_of(cells, "p")
        assert (wild.estimate.pool is None) is is_wild
        assert wild.estimate.degrees_of_freedom == pytest.approx(2 if is_wild else 10)
        if is_wild:
            assert quiet.estimate.standard_uncertainty == pytest.approx(1 / math.sqrt(3))
            assert wild.estimate.standard_uncertainty == pytest.approx(spread / math.sqrt(3))


def test_a_rough_device_has_a_pool_of_its_own():
    from dataclasses import replace

    calm = [replace(replugged(-0.1, 0.0, 0.1), group="Alder")] * 3
    rough = [replace(replugged(-1.0, 0.0, 1.0), group="Birch")] * 3
    one, *_, other = scatter_of([*calm, *rough], "p")
    assert one.estimate.standard_uncertainty == pytest.approx(0.1 / math.sqrt(3))
    assert other.estimate.standard_uncertainty == pytest.approx(1 / math.sqrt(3))
    assert one.estimate.degrees_of_freedom == other.estimate.degrees_of_freedom == 6
    assert one.estimate.pool != other.estimate.pool


def test_drift_of_the_day_enters_a_cell_of_takes_made_in_a_row_whole():
    # Mean squares 1 and 1e-8, each of few degrees of freedom: no doubt about the drift, and Student's t of the day's.
    day, in_a_row = over_the_day(0.0, 1.0, 2.0), replugged(5.0, 5.0001, 5.0002)
    direct, through, single = scatter_of([day, in_a_row, replugged(7.0)], "p")
    # GUM 4.2 for the direct takes: mean square 1 over 3; takes made in a row share the day's whole variance.
    for cell, variance in ((direct, 1 / 3), (through, 1.0), (single, 1.0)):
        half = cell.estimate.interval()[1] - cell.estimate.value
        # Student's t of two degrees of freedom, 4.303 (any table); ratios beyond those thought possible have no weight.
        assert half == pytest.approx(4.303 * math.sqrt(variance), rel=0.08)


def test_the_days_interval_is_the_quantile_of_all_sizes_of_drift_together():
    """Against numerical integration: chi-square laws of both mean squares, drift none or even in its logarithm."""
    from scipy import integrate, optimize

    day, in_a_row = (0.0, 0.3, 1.1, 0.4), (5.0, 5.4, 5.1, 5.5, 5.3)
    _, through = scatter_of([over_the_day(*day), replugged(*in_a_row)], "p", no_drift=0.4)
    squares, below = np.var(day, ddof=1) * 3, np.var(in_a_row, ddof=1) * 4
    largest = max(300.0, 100 * (squares / 3) / (below / 4) - 100)

    def tail(half, ratio):
        # Joint law of both sums of squares, the variance of replugging integrated out (Student's t of 7 degrees).
        likelihood = ratio**-1.5 * (below + squares / ratio) ** -3.5
        scale = math.sqrt((below + squares / ratio) / 7 * (1 / 5 + ratio - 1))
        return likelihood, likelihood * 2 * stats.t.sf(half / scale, 7)

    def probability(half):
        sums = np.array(tail(half, 1.0)) * 0.4
        for index in (0, 1):
            of_drift = integrate.quad(lambda x: tail(half, math.exp(x))[index], 0, math.log(largest))[0]  # noqa: B023
            sums[index] += 0.6 * of_drift / math.log(largest)
        return sums[1] / sums[0]

    half = optimize.brentq(lambda value: probability(value) - 0.05, 0.01, 100)
    low, high = through.estimate.interval()
    # One of Student's t stands for the mixture; it may be off by as much as no reader of an interval sees.
    assert (high - low) / 2 == pytest.approx(half, rel=0.1)


def test_calm_direct_takes_say_nothing_and_like_ones_help():
    calm = [over_the_day(0.0, 1e-4, 2e-4), replugged(5.0, 6.0, 7.0, 6.0, 5.5)]
    assert scatter_of(calm, "p")[1].estimate.degrees_of_freedom == pytest.approx(4)
    # Without drift, the direct takes' two degrees of freedom add to the four.
    like = scatter_of([over_the_day(0.0, 0.8, 1.4), calm[1]], "p", no_drift=1.0)[1].estimate
    pooled = (np.var((0.0, 0.8, 1.4), ddof=1) * 2 + np.var((5.0, 6.0, 7.0, 6.0, 5.5), ddof=1) * 4) / 6
    assert like.standard_uncertainty**2 == pytest.approx(pooled / 5)
    assert like.degrees_of_freedom == pytest.approx(6)


@pytest.mark.parametrize(("more", "held_at_least"), [(0.0, 0.94), (0.2, 0.94), (0.5, 0.85)])
def test_two_single_takes_over_the_day_are_judged_by_their_own_noise(more, held_at_least):
    """Two direct takes and one through, own noise 0.1, and scatter that none of them states."""
    rng = np.random.default_rng(17)
    held, halves = [], []
    for _ in range(300):
        values = math.hypot(0.1, more) * rng.standard_normal(3)
        _, through = scatter_of([over_the_day(*values[:2], own=0.01), replugged(values[2], own=0.01)], "p")
        low, high = through.estimate.interval()
        held.append(low <= 0 <= high)
        halves.append((high - low) / 2)
    # Binomial: 300 trials, 1.3 % each way, three of them. Where scatter is five times the noise, two takes that happen
    # to agree hide it.
    assert np.mean(held) >= held_at_least - 3 * 0.013
    # Student's t of one degree of freedom would be 12.706 times the scatter (any table).
    assert np.mean(halves) < 0.5 * 12.706 * math.hypot(0.1, more)


def test_what_other_quantities_say_of_the_day():
    still, drifting = [-2.0], [2.0]
    names = ("hum", "hiss", "gain", "balance")
    all_still = shared_no_drift(dict.fromkeys(names, still))
    assert all_still > shared_no_drift({**dict.fromkeys(names, still), "hum": drifting}) > 0.5
    assert shared_no_drift(dict.fromkeys(names, drifting)) < 0.3
    # Nothing known: as likely as not. One question asked by three rows counts once.
    assert shared_no_drift({}) == pytest.approx(0.5)
    assert shared_no_drift({"hum": still * 3}) == shared_no_drift({"hum": still})


def test_noisy_cells_do_not_blur_quiet_ones():
    """Paule and Mandel by hand: 2 x 1.04 / (v + 0.04) + 2 x 0.5 / (v + 4) = 4 has the root v = 0.628."""
    quiet, noisy = replugged(-1.02, 0.0, 1.02, own=0.04), replugged(-0.7071, 0.0, 0.7071, own=4.0)
    variance = 2 * 1.0404 / 2
    one, other = scatter_of([quiet, noisy], "p")
    found = one.estimate.standard_uncertainty**2 * 3 - 0.04
    assert 2 * variance / (found + 0.04) + 2 * 0.5 / (found + 4.0) == pytest.approx(4.0, rel=1e-4) or found == 0.0
    assert other.estimate.standard_uncertainty**2 * 3 == pytest.approx(found + 4.0)
    # Drawn: true variance beyond noise 1; quiet and noisy cells by turns.
    rng = np.random.default_rng(3)
    own = [0.01, 25.0] * 40
    cells = [replugged(*(rng.standard_normal(3) * math.sqrt(1 + noise)), own=noise) for noise in own]
    estimate = scatter_of(cells, "p")[0].estimate
    assert estimate.standard_uncertainty**2 * 3 == pytest.approx(1.01, rel=0.35)  # 80 degrees of freedom: 16 %, twice


def take(name, role, plugging=None):
    return TakeRow(
        id=name, file=f"{name}.wav", sha256="", role=role, plugging=plugging, rate_hz=48000, channels=2,
        sample_format="PCM_24", duration_s=1.0,
    )  # fmt: skip


def test_direct_takes_with_nothing_between_them_are_one_moment():
    rows = [take("a", "direct"), take("b", "direct"), take("c", "through", "1"), take("d", "direct")]
    found = occasions_of(rows)
    assert found["a"].block == found["b"].block != found["d"].block
    assert found["c"].plugging == "1"


def test_where_all_direct_takes_stand_together_each_plugging_is_a_moment():
    rows = [take("a", "direct", "1"), take("b", "direct", "1"), take("c", "direct", "2"), take("d", "through")]
    found = occasions_of(rows)
    assert found["a"].block == found["b"].block != found["c"].block


def test_rows_say_whose_scatter_they_rest_on():
    occasions = {name: Occasion(plugging=plug) for name, plug in (("a", "1"), ("b", "2"), ("c", "1"))}
    rows = aggregate_repeats(
        [level(-60.0, "a", port="1"), level(-60.4, "b", port="1"), level(-70.0, "c", port="2")], occasions
    )
    own, borrowed = rows
    assert (own.n_takes, own.interval, repeatability_of(own)) == (2, "between", "own")
    assert (borrowed.n_takes, borrowed.interval, repeatability_of(borrowed)) == (1, "between", "borrowed")
    # Student's t with one degree of freedom: 12.706; s = 0.4 / sqrt(2).
    assert borrowed.high - borrowed.value == pytest.approx(12.706 * 0.4 / math.sqrt(2), rel=1e-4)
    assert estimate_of(borrowed).standard_uncertainty == pytest.approx(0.4 / math.sqrt(2))


def test_the_recorders_own_takes_and_frequencies_are_no_part_of_the_pool():
    floor = level(-100.0, "a", role="recorder")
    frequency = {"quantity": "hum_frequency", "unit": "Hz"}
    rows = [
        level(-60.0, "b"), level(-60.4, "c"), floor,
        level(50.0, "b", **frequency), level(50.1, "c", **frequency), level(49.9, "d", port="2", **frequency),
    ]  # fmt: skip
    _, alone, _, single = aggregate_repeats(rows)
    assert alone == floor
    assert (single.interval, single.detail) == ("within", {})


def test_distortion_scatters_in_proportion():
    percent = {"quantity": "thd", "unit": "percent"}
    rows = [level(value, name, half=0.0, **percent) for name, value in (("a", 0.9), ("b", 1.1))]
    rows.append(level(0.01, "c", half=0.0, port="2", **percent))
    _, small = aggregate_repeats(rows)
    # Relative standard deviation of 0.9 and 1.1 is 0.1414.
    assert estimate_of(small).standard_uncertainty == pytest.approx(0.01 * 0.1414, rel=1e-3)


def test_the_guides_own_nested_design():
    """JCGM 100:2008 (GUM), H.5, table H.9: a voltage standard read five times on each of ten days (in microvolts).

    The table is from memory; the Guide's totals, which it was checked with, stand below.
    """
    means = (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)
    deviations = (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)
    # Five values with that mean and that standard deviation.
    shape = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / math.sqrt(2.5)
    days = [
        [(mean + deviation * step, 0.0) for step in shape] for mean, deviation in zip(means, deviations, strict=True)
    ]
    (cell,) = scatter_of([Cell(blocks=[days])], "p")
    assert cell.estimate.value == pytest.approx(97, abs=0.5)
    # u(V) = s(V_j) / sqrt(10) = 57 / sqrt(10) = 18, with 9 degrees of freedom (H.5.2.5: F = 2.25 shows a day effect).
    assert cell.estimate.standard_uncertainty == pytest.approx(18, abs=0.5)
    assert cell.estimate.degrees_of_freedom == pytest.approx(9)
    # A day with a single reading has s_B^2 + s_W^2 = 43^2 + 85^2.
    _, single = scatter_of([Cell(blocks=[days]), replugged(0.0)], "p")
    assert single.estimate.standard_uncertainty == pytest.approx(math.hypot(43, 85), abs=1)
