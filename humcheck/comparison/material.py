"""What is kept of a measured take: its row, its rows of numbers, and the complex estimates that comparisons need."""

from __future__ import annotations

from dataclasses import dataclass, field

from humcheck.estimates.lines import LineEstimate
from humcheck.estimates.rows import RowsEstimate
from humcheck.estimates.sweeps import ResponseEstimate
from humcheck.estimates.tones import TakeTones
from humcheck.results import Curve, Key, Line, Measure, NotMeasured, TakeRow, Trace
from humcheck.results.rows import Role
from humcheck.takes.programme import ProgrammeAlignment


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietPart:
    """Where a take is quiet, and the steady lines that were found there.

    Attributes
    ----------
    path : str
        The recording.
    start, stop : int
        Samples of it that were measured.
    swapped : bool
        Whether left and right are exchanged in the file.
    lines : LineEstimate
        Families of lines, in the channels' right order.
    """

    path: str
    start: int
    stop: int
    swapped: bool
    lines: LineEstimate


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredTake:
    """One take, measured; it holds no samples.

    Attributes
    ----------
    row : TakeRow
        As it stands in results.
    key : Key
        What its rows belong to.
    measures, curves, traces, lines, not_measured : tuple
        Rows of this take alone.
    tones : TakeTones or None
        None where the take holds no track.
    responses : tuple of ResponseEstimate
        One for each sweep that could be read.
    quiet : QuietPart or None
        None where hum and hiss could not be read.
    coded_rows : RowsEstimate or None
        None where the coded rows were neither shown nor found.
    """

    row: TakeRow
    key: Key
    measures: tuple[Measure, ...] = ()
    curves: tuple[Curve, ...] = ()
    traces: tuple[Trace, ...] = ()
    lines: tuple[Line, ...] = ()
    not_measured: tuple[NotMeasured, ...] = ()
    tones: TakeTones | None = None
    responses: tuple[ResponseEstimate, ...] = field(default=())
    quiet: QuietPart | None = None
    coded_rows: RowsEstimate | None = None

    @property
    def role(self) -> Role:
        """Role of the take."""
        return self.row.role


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeMatch:
    """Two takes of the same arbitrary material, lined up.

    Attributes
    ----------
    direct, through : MeasuredTake
        Both takes.
    direct_path, through_path : str
        Their recordings.
    through_samples : int
        Length of the through take, in samples of the direct take's rate.
    alignment : ProgrammeAlignment
        Where the material lies in the through take, at the direct take's rate.
    gain_db : float
        Through re direct, power mean of the channels.
    """

    direct: MeasuredTake
    through: MeasuredTake
    direct_path: str
    through_path: str
    through_samples: int
    alignment: ProgrammeAlignment
    gain_db: float
