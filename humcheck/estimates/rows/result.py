"""What is known of the picture's leak into a quiet section."""

from __future__ import annotations

from dataclasses import dataclass

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.basebands import RasterLines
from humcheck.estimates.rows.curve import CouplingFit
from humcheck.estimates.rows.rasters import Raster, Shown


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowsEstimate:
    """The coded rows in a quiet section: found and measured, or bounded.

    Attributes
    ----------
    p_value : float
        Probability that a section without the picture would match as well anywhere.
    raster : Raster or None
        How the picture was drawn; None where it was not found.
    shown : Shown or None
        How the code was shown.
    line_rate_hz, line_rate_sd_hz : float
        In the take's clock, with its standard uncertainty; 0 where it was not found.
    lines : RasterLines or None
        The raster's lines that the coupling was read from.
    coupling : CouplingFit or None
        Gain from luma to sound of every channel.
    level_bound : numpy.ndarray, shape (2, n_ch)
        One-sided 95 % bounds of the gain at 1 kHz, full scale over the step from black to white: of a shared ground and
        of a stray capacitance.
    power_share, power_share_sd : numpy.ndarray, shape (n_ch,)
        Share of the section's power, 100 Hz-8 kHz, mains left out, that follows the picture; its standard uncertainty.
    power_share_bound : numpy.ndarray, shape (n_ch,)
        The largest share that may follow a picture that was not found.
    """

    p_value: float
    raster: Raster | None = None
    shown: Shown | None = None
    line_rate_hz: float = 0.0
    line_rate_sd_hz: float = 0.0
    lines: RasterLines | None = None
    coupling: CouplingFit | None = None
    level_bound: Floats
    power_share: Floats
    power_share_sd: Floats
    power_share_bound: Floats

    @property
    def found(self) -> bool:
        """Whether the picture was found."""
        return self.coupling is not None

    @property
    def field_rate_hz(self) -> float:
        """Fields per second in the take's clock."""
        return 0.0 if self.raster is None else self.line_rate_hz / self.raster.lines_per_field
