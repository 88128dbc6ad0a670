"""Rows for the tests of causes: lines of a Fourier series, with the levels that belong to them."""

from __future__ import annotations

import math

from humcheck.results import Bench, Line, Measure, Results, Settings

QUANTITIES = {"mains": "hum_level", "field": "buzz_level", "mains_or_field": "hum_and_buzz_level"}
FLOOR_DBFS = -135.0


def results(lines=(), measures=()):
    return Results(
        bench=Bench(id="b", name="bench", created="2026-01-01T00:00:00Z"),
        settings=Settings(),
        humcheck_version="0",
        numbers_version=1,
        created="2026-01-01T00:00:00Z",
        measures=list(measures),
        lines=list(lines),
    )


def comb(amplitudes, *, top_dbfs=-70.0, hz=50.0, family="mains", left_db=0.0, right_db=0.0, **key):
    """Lines and levels of one use whose strongest harmonic stands at `top_dbfs`; weak ones are not found.

    Parameters
    ----------
    amplitudes : dict of int to float
        Fourier series: amplitude of each harmonic, any scale.
    """
    key = {"subject": "Alder", "role": "through", **key}
    name = QUANTITIES[family]
    largest = max(abs(value) for value in amplitudes.values())
    lines, measures = [], []
    for channel, gain_db in (("left", left_db), ("right", right_db)):
        levels = {
            order: top_dbfs + gain_db + 20 * math.log10(abs(value) / largest)
            for order, value in amplitudes.items()
            if value and order * hz < 20_000
        }
        found = {order: level for order, level in levels.items() if level > FLOOR_DBFS}
        for order, level in found.items():
            lines.append(
                Line(
                    **key, quantity=name, channel=channel, family=family, harmonic=order, frequency_hz=order * hz,
                    level_dbfs=level, low=level - 0.1, high=level + 0.1, id=f"l-{use_name(key)}-{channel}-{order}",
                )
            )  # fmt: skip
        total = 10 * math.log10(sum(10 ** (level / 10) for level in found.values())) if found else -130.0
        measures += level_rows(name, channel, total, None if found else "upper", **key)
    return lines, measures


def level_rows(name, channel, value, bound=None, *, n_takes=2, **key):
    """The level in dBFS and in dBr; of a use of a device the added part as well."""
    rows = []
    for quantity, unit in ((name, "dBFS"), (f"{name}_rel", "dBr")):
        for role in (key["role"], "added") if key["role"] == "through" else (key["role"],):
            known = bound is None
            rows.append(
                Measure(
                    **(key | {"role": role}), quantity=quantity, channel=channel, value=value, unit=unit, bound=bound,
                    low=value - 0.1 if known else None, high=value + 0.1 if known else None, n_takes=n_takes,
                    id=f"m-{quantity}-{role}-{use_name(key)}-{channel}",
                )
            )  # fmt: skip
    return rows


def use_name(key):
    return "-".join(str(key.get(name)) for name in ("subject", "port", "picture", "condition", "fix"))


def gathered(*parts):
    """Results of several combs."""
    return results([line for lines, _ in parts for line in lines], [row for _, rows in parts for row in rows])


def direct(*, picture=None, condition=None, value=-110.0, name="hum_level"):
    """A direct take whose level is known and whose lines are weak."""
    key = {"subject": "direct", "role": "direct", "picture": picture, "condition": condition or {}}
    rows = [row for channel in ("left", "right") for row in level_rows(name, channel, value, **key)]
    return [], rows
