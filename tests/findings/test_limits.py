"""Limits: met where the whole interval lies within, not met where all of it lies outside, nothing shown in between.

The rule is guarded acceptance of JCGM 106:2012, 8.3 (clause number from memory).
"""

import pytest

from humcheck.findings.limits import LimitSetting, judge, limit_outcomes
from humcheck.results import Bench, Change, Curve, Measure, NotMeasured, Results, Settings

AT_MOST = LimitSetting(quantity="hum_level_rel", max=-80.0)
BETWEEN = LimitSetting(quantity="gain", min=-0.5, max=0.5)


@pytest.mark.parametrize(
    ("limit", "row", "outcome"),
    [
        (AT_MOST, (-81.0, -81.5, -80.5, None), "pass"),
        (AT_MOST, (-80.2, -80.7, -79.7, None), "not_measurable"),
        (AT_MOST, (-79.0, -79.5, -78.5, None), "fail"),
        (AT_MOST, (-79.8, -80.3, -79.3, None), "not_measurable"),
        # What noise hides: an upper bound below the limit shows that it is met, one above it shows nothing.
        (AT_MOST, (-85.0, None, None, "upper"), "pass"),
        (AT_MOST, (-75.0, None, None, "upper"), "not_measurable"),
        (AT_MOST, (-75.0, None, None, "lower"), "fail"),
        (AT_MOST, (-85.0, None, None, "lower"), "not_measurable"),
        (BETWEEN, (0.0, -0.1, 0.1, None), "pass"),
        (BETWEEN, (0.45, 0.35, 0.55, None), "not_measurable"),
        (BETWEEN, (-0.8, -0.9, -0.7, None), "fail"),
        (BETWEEN, (0.2, None, None, None), "pass"),
    ],
)
def test_the_interval_decides(limit, row, outcome):
    assert judge(limit, *row) == outcome


def results(**rows):
    return Results(
        bench=Bench(id="b", name="b", created="2026-01-01T00:00:00Z"),
        settings=Settings(),
        humcheck_version="0",
        numbers_version=1,
        created="2026-01-01T00:00:00Z",
        **rows,
    )


def key(quantity, channel, **more):
    return {"subject": "Alder", "role": "through", "port": "1", "quantity": quantity, "channel": channel, **more}


def test_every_use_and_channel_is_judged_by_what_was_measured_of_it():
    made = results(
        measures=[
            Measure(**key("hum_level_rel", "left"), value=-90.0, unit="dBr", low=-91.0, high=-89.0),
            Measure(**key("hum_level_rel", "right"), value=-70.0, unit="dBr", low=-71.0, high=-69.0),
            Measure(**key("hum_level_rel", "both"), value=-73.0, unit="dBr", low=-74.0, high=-72.0),
        ],
        changes=[
            Change(**key("gain", "left"), contrast="direct", value=-0.1, unit="dB", low=-0.11, high=-0.09),
            Change(**key("hum_level_rel", "left"), contrast="direct", value=20.0, unit="dB", low=19.0, high=21.0),
        ],
        curves=[
            Curve(
                **key("response_delta", "left"),
                unit="dB",
                frequency_hz=[20.0, 1000.0, 20000.0],
                value=[-2.0, 0.0, -0.5],
                low=[-2.1, -0.1, -0.6],
                high=[-1.9, 0.1, -0.4],
            )
        ],
        not_measured=[NotMeasured(**key("crosstalk_1k", "both"), reason="The source is mono.")],
    )
    limits = {
        limit.quantity: limit
        for limit in (
            AT_MOST,
            BETWEEN,
            LimitSetting(quantity="response_delta", min=-1.0, max=1.0),
            LimitSetting(quantity="crosstalk_1k", max=-60.0),
            LimitSetting(quantity="thd", max=0.1),
        )
    }
    found = {(row.quantity, row.channel): row.outcome for row in limit_outcomes(made, limits)}
    assert found == {
        ("hum_level_rel", "left"): "pass",
        ("hum_level_rel", "right"): "fail",
        ("gain", "left"): "pass",
        ("response_delta", "left"): "fail",
        ("crosstalk_1k", "both"): "not_measurable",
        ("thd", "both"): "not_measurable",
    }
