"""What a bench file says, once it is read and checked."""

from __future__ import annotations

from typing import Literal

import msgspec

from humcheck.results.rows import Role

#: Roles that a bench may give to a take.
BenchRole = Literal["direct", "through", "recorder", "source_off"]


class BenchRun(msgspec.Struct, frozen=True, kw_only=True):
    """How one take was made.

    Attributes
    ----------
    role : str
        One of `BenchRole`.
    device, port, picture, fix : str or None
        How the device was used.
    plugging : str or None
        Takes of one kind that share it were made without unplugging anything in between; None: not known.
    condition : dict
        Further keys, such as ``{"supply": "off"}``.
    """

    role: Role
    device: str | None = None
    port: str | None = None
    picture: str | None = None
    fix: str | None = None
    plugging: str | None = None
    condition: dict[str, str] = msgspec.field(default_factory=dict)


class BenchTake(BenchRun, frozen=True, kw_only=True):
    """One recording of the bench; `path` is absolute, and a file was there when the bench was read."""

    path: str


class LongRecording(msgspec.Struct, frozen=True, kw_only=True):
    """One recording that holds several runs of a track, in the order of `runs`; `path` is absolute."""

    path: str
    runs: tuple[BenchRun, ...]


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """What a quantity may be at least and at most, in its own unit; one of them may be open."""

    min: float | None = None
    max: float | None = None


class Bench(msgspec.Struct, frozen=True, kw_only=True):
    """A whole bench file.

    Attributes
    ----------
    path : str
        The bench file, absolute.
    name : str
        Of the bench; that of its folder where the file gives none.
    mains_hz : float or None
        50 or 60; None lets the takes decide.
    listening : tuple of str
        Ways of listening, each ``NAME`` or ``NAME=SPL``; empty: all that are known.
    volts_at_full_scale, volts_uncertainty_percent : float or None
        Calibration of the recorder, and its 95 % uncertainty.
    source_ohms, load_ohms : float or None
        Output resistance of the source and input resistance of the recorder.
    margins : dict of str to float
        By quantity: the difference that still counts as the same, in the quantity's own unit.
    limits : dict of str to Limit
        By quantity.
    takes : tuple of BenchTake
        In the order of the file, globs replaced by the files they stand for.
    recordings : tuple of LongRecording
        In the order of the file.
    """

    path: str
    name: str
    mains_hz: float | None = None
    listening: tuple[str, ...] = ()
    volts_at_full_scale: float | None = None
    volts_uncertainty_percent: float | None = None
    source_ohms: float | None = None
    load_ohms: float | None = None
    margins: dict[str, float] = msgspec.field(default_factory=dict)
    limits: dict[str, Limit] = msgspec.field(default_factory=dict)
    takes: tuple[BenchTake, ...] = ()
    recordings: tuple[LongRecording, ...] = ()
