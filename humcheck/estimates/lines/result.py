"""What is known of the steady lines in a quiet section: families, their lines, and bounds for those not found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from humcheck.estimates.lines.spectrum import Complexes, Floats
from humcheck.results.rows import Family

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FamilyEstimate:
    """One family of lines.

    Attributes
    ----------
    kind : str
        ``"mains"``, ``"field"``, ``"mains_or_field"``, ``"line_rate"``, ``"digital"`` or ``"other"``.
    fundamental_hz, fundamental_sd_hz : float
        Mean over the section in the take's nominal clock, and its standard uncertainty. Of a family of lone lines the
        strongest one's frequency.
    wander_hz, wander_sd_hz : float or None
        Standard deviation of its 1 s means, and the standard uncertainty of that; None for a family that is rigid.
    wander_upper_hz : float or None
        One-sided 95 % bound of the wander where none was seen.
    harmonics : tuple of int
        Orders of the lines, 0 for an interlaced picture's lines between the harmonics; of a digital family multiples
        of 1 kHz; of other lone lines 1 each.
    sidebands : tuple of int
        Numbers of the line rate's sidebands, 0 for the line rate itself; of other families 0 each.
    frequency_hz : numpy.ndarray, shape (n_lines,)
        Frequency of each line.
    mean_square : numpy.ndarray, shape (n_lines, n_ch)
        Unbiased mean square of each line, full scale 1.0; may be negative where there is none.
    mean_square_sd : numpy.ndarray, shape (n_lines, n_ch)
        Standard uncertainty.
    covariance : numpy.ndarray, shape (n_ch, n_fitted, n_fitted)
        Covariance of the mean squares of the first lines, which were fitted together; later lines are independent.
    detected : numpy.ndarray of bool, shape (n_lines, n_ch)
        Lines that stand out by themselves (one false one in 10000).
    amplitude : numpy.ndarray, shape (n_lines, n_ch)
        Complex amplitudes at the middle of the section.
    power, power_sd : numpy.ndarray, shape (n_ch,)
        Mean square of the whole family and its standard uncertainty, common phase errors included.
    phase : numpy.ndarray, shape (n_points,), or None
        Of a comb that wanders, the fundamental's phase beside that of its mean frequency, in radians, at times spread
        evenly from the section's start to its end; 0 at the middle. None for a comb that keeps its rate.
    reach_hz : float
        Largest distance of the fundamental's 1 s means from its mean.
    from_raster : bool
        Whether it was found by the line rate alone.
    """

    kind: Family
    fundamental_hz: float
    fundamental_sd_hz: float
    wander_hz: float | None = None
    wander_sd_hz: float | None = None
    wander_upper_hz: float | None = None
    harmonics: tuple[int, ...]
    sidebands: tuple[int, ...] = ()
    frequency_hz: Floats
    mean_square: Floats
    mean_square_sd: Floats
    covariance: Floats
    detected: Flags
    amplitude: Complexes
    power: Floats
    power_sd: Floats
    phase: Floats | None = None
    reach_hz: float = 0.0
    from_raster: bool = False

    def weighted_power(self, gain: Floats) -> tuple[Floats, Floats]:
        """Return the mean square of the family with a power gain for each line, and its standard uncertainty.

        Parameters
        ----------
        gain : numpy.ndarray, shape (n_lines,)
            Power gains, for instance of a weighting curve.

        Returns
        -------
        mean_square, sd : numpy.ndarray, shape (n_ch,)
        """
        n_fitted = self.covariance.shape[1]
        together = np.einsum("a,cab,b->c", gain[:n_fitted], self.covariance, gain[:n_fitted])
        alone = ((gain[n_fitted:, np.newaxis] * self.mean_square_sd[n_fitted:]) ** 2).sum(axis=0)
        return gain @ self.mean_square, np.sqrt(np.maximum(together + alone, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineEstimate:
    """All steady lines of a quiet section.

    Attributes
    ----------
    families : tuple of FamilyEstimate
        Those that were found; several fields are several pictures.
    bounds : mapping of str to numpy.ndarray
        For the kinds sought and not found: one-sided 95 % bound of the mean square, shape (n_ch,). Of mains it covers
        the harmonics to the 40th. A comb right on one that was found is not bounded.
    nominal_hz : float
        Mains frequency that was given or decided for: 50 or 60.
    highest_hz : float
        Lines were sought up to here.
    duration_s : float
        Length of the section used.
    """

    families: tuple[FamilyEstimate, ...]
    bounds: Mapping[Family, Floats] = field(default_factory=dict)
    nominal_hz: float = 50.0
    highest_hz: float = 20_000.0
    duration_s: float = 0.0

    def of_kind(self, kind: Family) -> tuple[FamilyEstimate, ...]:
        """Return the families of one kind."""
        return tuple(family for family in self.families if family.kind == kind)
