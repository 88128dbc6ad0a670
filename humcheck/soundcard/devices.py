"""Which devices record and play, and the one that a user means."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from humcheck.errors import UnusableCall, printable
from humcheck.soundcard.library import quiet_library, sound_library

#: Rates that are asked for, in Hz: those that tracks are written in, and the double of one.
TRIED_RATES_HZ = (44100, 48000, 96000)
_SEE_LIST = "see: humcheck record --list"


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A device as the sound system names it.

    Attributes
    ----------
    number : int
        By which the sound system knows it.
    name, system : str
        Its name and that of the way to it; both come from outside.
    n_inputs, n_outputs : int
        Channels that it records and plays.
    rate_hz : int
        The rate that the sound system prefers.
    rates_hz : tuple of int
        Of the rates tried, those that it takes.
    default_input, default_output : bool
        Whether it is used when none is named.
    """

    number: int
    name: str
    system: str
    n_inputs: int
    n_outputs: int
    rate_hz: int
    rates_hz: tuple[int, ...] = ()
    default_input: bool = False
    default_output: bool = False


def list_devices(*, with_rates: bool = False) -> list[Device]:
    """Return all devices; asking for rates opens each of them for a moment.

    Raises
    ------
    UnusableCall
        If the library is missing or the sound system does not answer.
    """
    library = sound_library()
    with quiet_library():
        try:
            systems = library.query_hostapis()
            found = list(library.query_devices())
            default_input, default_output = (int(number) for number in library.default.device)
        except library.PortAudioError as error:
            raise UnusableCall(f"the sound system does not answer ({error})", remedy="see that it runs") from error
        default_input = _default(systems, default_input, "default_input_device")
        default_output = _default(systems, default_output, "default_output_device")
        return [
            Device(
                number=number,
                name=str(row["name"]),
                system=str(systems[row["hostapi"]]["name"]),
                n_inputs=int(row["max_input_channels"]),
                n_outputs=int(row["max_output_channels"]),
                rate_hz=round(row["default_samplerate"]),
                rates_hz=_rates(library, number, row) if with_rates else (),
                default_input=number == default_input,
                default_output=number == default_output,
            )
            for number, row in enumerate(found)
        ]


def _default(systems: Sequence[Any], number: int, key: str) -> int:
    """Return the default device; the library says -1 where none was set, and then means the first system's."""
    return number if number >= 0 or not systems else int(systems[0][key])


def _rates(library: Any, number: int, row: Any) -> tuple[int, ...]:
    tried = {*TRIED_RATES_HZ, round(row["default_samplerate"])}
    return tuple(rate_hz for rate_hz in sorted(tried) if _takes_rate(library, number, row, rate_hz))


def _takes_rate(library: Any, number: int, row: Any, rate_hz: int) -> bool:
    """Return whether the device takes a rate for something that it does."""
    inputs, outputs = (min(2, int(row[f"max_{way}_channels"])) for way in ("input", "output"))
    tries = [(library.check_input_settings, inputs, "float32"), (library.check_output_settings, outputs, "int32")]
    for check, n_channels, dtype in tries:
        # A device of the sound system's configuration may claim ways that it does not have.
        with contextlib.suppress(library.PortAudioError, ValueError):
            if n_channels:
                check(device=number, channels=n_channels, dtype=dtype, samplerate=rate_hz)
                return True
    return False


def choose_input(devices: Sequence[Device], name: str | None) -> Device:
    """Return the device to record from: the default one, or the one named; errors as for `choose_output`."""
    able = [device for device in devices if device.n_inputs > 0]
    if not able:
        raise UnusableCall("no device that records was found", remedy=f"connect the sound card, then {_SEE_LIST}")
    if name is not None:
        return _named(devices, able, name, "records")
    return next((device for device in able if device.default_input), able[0])


def choose_output(devices: Sequence[Device], name: str | None) -> Device:
    """Return the device to play to: the default one, or the one named by its number, its name, or a part of that.

    Raises
    ------
    UnusableCall
        If there is none, or several fit.
    """
    able = [device for device in devices if device.n_outputs > 0]
    if not able:
        raise UnusableCall("no device that plays was found", remedy=f"connect the sound card, then {_SEE_LIST}")
    if name is not None:
        return _named(devices, able, name, "plays")
    return next((device for device in able if device.default_output), able[0])


def _named(devices: Sequence[Device], able: Sequence[Device], name: str, does: str) -> Device:
    wanted = name.strip().casefold()
    exact = [device for device in able if wanted in (str(device.number), device.name.casefold())]
    fitting = exact or [device for device in able if wanted and wanted in device.name.casefold()]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        numbers = ", ".join(str(device.number) for device in fitting)
        raise UnusableCall(f"several devices fit {name!r}", remedy=f"give one of the numbers {numbers}; {_SEE_LIST}")
    if any(wanted and (wanted == str(device.number) or wanted in device.name.casefold()) for device in devices):
        remedy = "name another with --play-device" if does == "plays" else _SEE_LIST
        raise UnusableCall(f"device {printable(name)!r} is there, but it is none that {does}", remedy=remedy)
    raise UnusableCall(f"no device that {does} fits {name!r}", remedy=_SEE_LIST)
