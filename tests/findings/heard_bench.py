"""Small benches whose lines and hiss are given, for the tests of audibility."""

from __future__ import annotations

import numpy as np

from humcheck.audio.bands import band_edges_hz, third_octave_centres_hz
from humcheck.results import Bench, Curve, Line, Measure, Results, Settings

FAMILY_OF = {"hum_level": "mains", "buzz_level": "field", "hum_and_buzz_level": "mains_or_field"}
HALF_DB = 0.2


def total_db(levels):
    return float(10 * np.log10(np.sum(10 ** (np.asarray(levels) / 10))))


def white_bands(density_dbfs_per_hz):
    """Third octaves of white noise, as frequencies and levels."""
    centres = third_octave_centres_hz()
    lower, upper = band_edges_hz(centres)
    return centres.tolist(), (density_dbfs_per_hz + 10 * np.log10(upper - lower)).tolist()


def use_rows(
    lines, density, *, role="through", subject="Alder", channel="mono", scale_dbfs=-4.0, bounds=None, half=HALF_DB
):
    """Rows of one use: `lines` by level quantity as (Hz, dBr) pairs, white hiss of a density in dBr per Hz.

    The recorder reads everything `scale_dbfs` above dBr, as its gain may be; `bounds` are upper limits in dBr.
    """
    key = {"subject": subject, "role": role, "channel": channel}
    rows = {"measures": [], "curves": [], "lines": []}

    def level(quantity, value_dbr, bound=None):
        for name, value in ((quantity, value_dbr + scale_dbfs), (f"{quantity}_rel", value_dbr)):
            known = {} if bound else {"low": value - half, "high": value + half, "interval": "within"}
            rows["measures"].append(
                Measure(
                    **key,
                    quantity=name,
                    value=value,
                    unit="dBr" if name.endswith("_rel") else "dBFS",
                    bound=bound,
                    id=f"{name}-{role}-{subject}-{channel}",
                    **known,
                )
            )

    for quantity, pairs in lines.items():
        level(quantity, total_db([dbr for _, dbr in pairs]))
        for hz, dbr in pairs:
            rows["lines"].append(
                Line(
                    **key,
                    quantity=quantity,
                    family=FAMILY_OF.get(quantity, "other"),
                    frequency_hz=hz,
                    level_dbfs=dbr + scale_dbfs,
                    low=dbr + scale_dbfs - half,
                    high=dbr + scale_dbfs + half,
                )
            )
    for quantity, limit in (bounds or {}).items():
        level(quantity, limit, "upper")
    band_hz, band_dbr = white_bands(density)
    level("hiss_level", total_db(band_dbr))
    band_dbfs = [value + scale_dbfs for value in band_dbr]
    for name in ("hiss_spectrum", "noise_spectrum"):
        ends = {"low": [value - half for value in band_dbfs], "high": [value + half for value in band_dbfs]}
        rows["curves"].append(Curve(**key, quantity=name, unit="dBFS", frequency_hz=band_hz, value=band_dbfs, **ends))
    return rows


def results_of(*uses):
    return Results(
        bench=Bench(id="b", name="bench", created=""),
        settings=Settings(),
        humcheck_version="",
        numbers_version=1,
        created="",
        **{name: [row for use in uses for row in use[name]] for name in ("measures", "curves", "lines")},
    )
