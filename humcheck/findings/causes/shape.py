"""The shape of a family of lines: which harmonics hold its power, how far up it reaches, in which channel it stands.

What the shapes mean is elementary: a waveform whose second half repeats the first with the opposite sign holds odd
harmonics only, one whose second half repeats the first with the same sign even ones only; a jump in the waveform lets
the harmonics fall 6 dB per octave, a kink 12 dB per octave (Fourier series).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from humcheck.results import Line

#: Less than this above the direct take is what the mains does by itself between two takes (common practice, no source).
TAKE_TO_TAKE_DB = 1.0
#: Where a dense comb begins, how far under the strongest line its lines may lie, and how many there must be.
HIGH_HZ = 1000.0
_DENSE_DEPTH_DB = 40.0
_DENSE_LINES = 8
#: Between a jump in the waveform (-6 dB per octave) and a kink (-12).
_EDGE_SLOPE_DB = -9.0
_LOWEST_DB = -300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnLine:
    """One line, with what it holds beyond the same line of the direct take."""

    line: Line
    level_dbfs: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """What a family's lines have in common.

    Attributes
    ----------
    fundamental_hz : float
        Rate of the family.
    levels_dbfs : mapping of int to float
        Level of each harmonic found, channels averaged by power.
    channels_dbfs : mapping of str to float
        Level of all lines of each channel.
    line_ids : tuple of str
        Rows, the strongest first.
    """

    fundamental_hz: float
    levels_dbfs: Mapping[int, float]
    channels_dbfs: Mapping[str, float]
    line_ids: tuple[str, ...] = field(default=())

    def share(self, orders: Iterable[int]) -> float:
        """Return the share of the family's power in some of its harmonics, 0 to 1."""
        powers = {order: 10 ** (level / 10) for order, level in self.levels_dbfs.items()}
        total = math.fsum(powers.values())
        return math.fsum(powers[order] for order in orders if order in powers) / total if total > 0 else 0.0

    @property
    def fundamental(self) -> float:
        """Share of the fundamental."""
        return self.share([1])

    @property
    def odd(self) -> float:
        """Share of the odd harmonics from the third on."""
        return self.share(order for order in self.levels_dbfs if order % 2 and order > 1)

    @property
    def even(self) -> float:
        """Share of the even harmonics."""
        return self.share(order for order in self.levels_dbfs if order % 2 == 0)

    @property
    def is_dense(self) -> bool:
        """Whether many harmonics reach beyond 1 kHz without falling as fast as those of a smooth waveform."""
        top = max(self.levels_dbfs.values(), default=_LOWEST_DB)
        high = [
            order
            for order, level in self.levels_dbfs.items()
            if order * self.fundamental_hz >= HIGH_HZ and level >= top - _DENSE_DEPTH_DB
        ]
        return len(high) >= _DENSE_LINES and self.slope_db_per_octave > _EDGE_SLOPE_DB

    @property
    def slope_db_per_octave(self) -> float:
        """Fall of the stronger half of the comb (odd or even harmonics), a straight line over octaves."""
        parity = 0 if self.even > self.odd + self.fundamental else 1
        points = [(math.log2(order), level) for order, level in self.levels_dbfs.items() if order % 2 == parity]
        if len(points) < 3:
            return -math.inf
        mean_x = math.fsum(x for x, _ in points) / len(points)
        mean_y = math.fsum(y for _, y in points) / len(points)
        spread = math.fsum((x - mean_x) ** 2 for x, _ in points)
        return math.fsum((x - mean_x) * (y - mean_y) for x, y in points) / spread

    @property
    def strongest_hz(self) -> float:
        """Frequency of the strongest harmonic."""
        return max(self.levels_dbfs, key=lambda order: self.levels_dbfs[order]) * self.fundamental_hz

    @property
    def reach_hz(self) -> float:
        """Frequency of the highest harmonic within 40 dB of the strongest."""
        top = max(self.levels_dbfs.values(), default=_LOWEST_DB)
        orders = [order for order, level in self.levels_dbfs.items() if level >= top - _DENSE_DEPTH_DB]
        return max(orders, default=0) * self.fundamental_hz

    @property
    def left_minus_right_db(self) -> float | None:
        """Level difference of the channels; None for a single channel."""
        left, right = self.channels_dbfs.get("left"), self.channels_dbfs.get("right")
        if left is None and right is None:
            return None
        return (_LOWEST_DB if left is None else left) - (_LOWEST_DB if right is None else right)


def own_lines(lines: Sequence[Line], direct: Sequence[Line]) -> list[OwnLine]:
    """Return the lines that stand above the same lines of the direct take beyond doubt, with what they hold more.

    Parameters
    ----------
    lines : sequence of Line
        Of the take in question.
    direct : sequence of Line
        Of the direct take beside it; empty where the lines stand for themselves.
    """
    beside = {_place(line): line for line in direct}
    for line in direct:
        # What may be either is set against what was told apart in the direct take.
        if line.family in ("mains", "field"):
            beside.setdefault(("mains_or_field", *_place(line)[1:]), line)
    own = []
    for line in lines:
        if line.bound is not None:
            continue
        other = beside.get(_place(line))
        if other is None:
            own.append(OwnLine(line=line, level_dbfs=line.level_dbfs))
            continue
        low = line.level_dbfs if line.low is None else line.low
        high = other.level_dbfs if other.high is None else other.high
        if low > high and line.level_dbfs > other.level_dbfs + TAKE_TO_TAKE_DB:
            more = 10 ** (line.level_dbfs / 10) - 10 ** (other.level_dbfs / 10)
            own.append(OwnLine(line=line, level_dbfs=10 * math.log10(more)))
    return own


def shape_of(own: Sequence[OwnLine]) -> Shape | None:
    """Return the shape of a comb's lines, or None where no line has a place in a comb."""
    placed = [(row.line.harmonic, row) for row in own if row.line.harmonic]
    if not placed:
        return None
    channels = sorted({row.line.channel for _, row in placed})
    powers: dict[int, float] = {}
    by_channel = dict.fromkeys(channels, 0.0)
    for order, row in placed:
        power = 10 ** (row.level_dbfs / 10)
        powers[order] = powers.get(order, 0.0) + power / len(channels)
        by_channel[row.line.channel] += power
    strongest_order, strongest = max(placed, key=lambda item: item[1].level_dbfs)
    return Shape(
        fundamental_hz=strongest.line.frequency_hz / strongest_order,
        levels_dbfs={order: 10 * math.log10(powers[order]) for order in sorted(powers)},
        channels_dbfs={channel: 10 * math.log10(power) for channel, power in by_channel.items()},
        line_ids=strongest_ids([row for _, row in placed]),
    )


def strongest_ids(own: Sequence[OwnLine], most: int = 4) -> tuple[str, ...]:
    """Return the ids of the strongest lines."""
    ordered = sorted(own, key=lambda row: -row.level_dbfs)
    return tuple(row.line.id for row in ordered if row.line.id)[:most]


def _place(line: Line) -> tuple[object, ...]:
    # Lines without a place in their family are the same where they lie within a few hertz: clocks differ by ppm only.
    frequency = 0 if line.harmonic is not None else round(12 * math.log2(line.frequency_hz) * 8)
    return line.family, line.channel, line.harmonic, line.sideband, frequency
