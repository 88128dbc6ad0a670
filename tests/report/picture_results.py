"""Made-up results of pictures for the page's tests: levels under each picture, coupling, and folded fields."""

from __future__ import annotations

import math

from humcheck.results import Curve, Results, Trace
from tests.report.fake_results import Maker

FIELD_MS, N_LINES, N_POINTS = 19.968, 312, 600
GRID_HZ = [round(1000.0 * 2 ** (step / 6), 3) for step in range(-24, 26)]
#: Coupling at 1 kHz in dBFS of a capacitance, by role and channel.
COUPLING_DBFS = {
    ("direct", "left"): -131.0,
    ("direct", "right"): -133.0,
    ("through", "left"): -80.0,
    ("through", "right"): -86.0,
}


def rows_of_code(index: int) -> float:
    """Return a made-up code's brightness at a line of the field: bands of unequal height."""
    return float(12 <= index < 252 and (index // 7) % 3 == 0)


def fold_at(share: float, size: float) -> float:
    """Return a sound that follows the rows: a shared ground's."""
    return size * (rows_of_code(int(share * N_LINES)) - 0.3)


def _coupling(maker: Maker, subject: str, role: str, channel: str, level: float) -> None:
    key = {"subject": subject, "role": role, "channel": channel, "picture": "rows"}
    value = [level + 6.0206 * math.log2(hz / 1000) for hz in GRID_HZ]
    curve = Curve(
        quantity="picture_coupling_curve",
        id=maker.next_id(),
        unit="dBFS",
        frequency_hz=GRID_HZ,
        value=value,
        low=[one - 0.4 for one in value],
        high=[one + 0.4 for one in value],
        **key,
    )
    maker.add("curves", curve)
    maker.measure("picture_coupling", level, "dBFS", **key)
    bend = {"bend": 0.02, "bend_low": -0.1, "bend_high": 0.14}
    maker.measure("picture_coupling_slope", 6.02, "dB/octave", 0.1, detail=bend, **key)


def _fold(maker: Maker, subject: str, role: str, picture: str, size: float) -> None:
    key = {"subject": subject, "role": role, "picture": picture}
    time_ms = [FIELD_MS * index / N_POINTS for index in range(N_POINTS)]
    for channel, factor in (("left", 1.0), ("right", 0.5)):
        sound = [round(fold_at(index / N_POINTS, factor * size), 3) for index in range(N_POINTS)]
        for name, x, y in (("picture_fold", time_ms, sound), ("picture_fold_noise", [0.0, FIELD_MS], [2.0, 2.0])):
            row = Trace(quantity=name, channel=channel, x=x, x_unit="ms", y=y, unit="uFS", **key)
            maker.add("traces", row)
    line_ms = [FIELD_MS * (index + 0.5) / N_LINES for index in range(N_LINES)]
    shown = [rows_of_code(index) for index in range(N_LINES)]
    maker.add("traces", Trace(quantity="picture_rows", channel="both", x=line_ms, x_unit="ms", y=shown, unit="", **key))


def picture_results() -> Results:
    """Return a bench with one device, each of three pictures shown."""
    maker = Maker(11)
    for role, file, device in (("direct", "direct", None), ("through", "birch", "Birch")):
        for picture in ("black", "white", "rows"):
            maker.take(f"{file}-{picture}.wav", role, device=device, picture=picture)
    for (role, channel), level in COUPLING_DBFS.items():
        _coupling(maker, "direct" if role == "direct" else "Birch", role, channel, level)
    for channel, level in (("left", -80.0), ("right", -86.0)):
        curve = Curve(
            quantity="picture_coupling_curve", unit="dBFS", frequency_hz=GRID_HZ, value=[level - 0.1] * len(GRID_HZ),
            subject="Birch", role="added", channel=channel, picture="rows",
        )  # fmt: skip
        maker.add("curves", curve)
    _fold(maker, "direct", "direct", "rows", 3.0)
    _fold(maker, "Birch", "through", "rows", 400.0)
    _fold(maker, "Birch", "through", "white", 200.0)
    for name, bright in (("hum_level", 0.0), ("buzz_level", 18.0), ("hiss_level", 0.1), ("noise_level", 12.0)):
        for channel in ("left", "right"):
            key = {"subject": "Birch", "role": "through", "channel": channel}
            for picture, more in (("black", 0.0), ("white", bright), ("rows", 1.2 * bright)):
                maker.level(name, -90.0 + more, picture=picture, **key)
            for picture, more in (("white", bright), ("rows", 1.2 * bright)):
                reference = {"subject": "Birch", "role": "through", "picture": "black"}
                maker.change(name, more, "dB", 0.3, contrast="picture", reference=reference, picture=picture, **key)
    return maker.results()
