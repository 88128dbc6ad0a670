"""Faults of wiring and of stereo effects, which the gains of the markers' chirps show: each channel's in each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from humcheck.results.rows import Channel, Fault
from humcheck.takes.channels import Routing

#: The idle channel carries this share of the driven one, inverted and the same both ways: no stray capacitance (which
#: turns by a quarter cycle and rises with frequency) and no shared return that is any good does that.
_WIDENED = 10.0 ** (-30.0 / 20.0)
_ALIKE_DB = 2.0
#: From this share on nothing but the difference of the channels is left.
_DIFFERENCE = 0.85
_CROSSTALK = ("crosstalk", "crosstalk_1k", "crosstalk_worst")
_RESPONSE = ("response_delta", "response_span", "low_corner", "high_corner")


def wiring_faults(routing: Routing, n_channels: int) -> Iterator[Fault]:
    """Yield the faults of wiring: channels swapped, merged, missing, inverted, widened, or their difference alone.

    Parameters
    ----------
    routing : Routing
        Where the track's channels went, and the gains of both in both take channels.
    n_channels : int
        Channels of the take.
    """
    image = list(_image_faults(routing))
    yield from image
    if not image or routing.channel_map == "swapped":
        yield from _map_faults(routing, n_channels)


def dead_channel_faults(peak: NDArray[np.float64], channels: Sequence[Channel]) -> Iterator[Fault]:
    """Yield the fault of a stereo take without a track of which one channel is digital silence.

    Parameters
    ----------
    peak : numpy.ndarray, shape (n_channels,)
        Largest magnitudes.
    channels : sequence of str
        Their names.
    """
    dead = [channel for channel, size in zip(channels, peak, strict=True) if size == 0.0]
    if len(dead) == 1 and len(channels) == 2:
        yield Fault(
            code="channel-missing",
            channel=dead[0],
            sentence=f"The {dead[0]} channel is digital silence throughout: the recorder does not take it up. Set the "
            f"recorder to stereo, check the {dead[0]} plug and lead, and record again.",
            spoils=["balance", *_CROSSTALK],
        )


def _map_faults(routing: Routing, n_channels: int) -> Iterator[Fault]:
    sentence = _CHANNEL_SENTENCES.get(routing.channel_map)
    if routing.channel_map == "merged" and n_channels == 1:
        sentence = "The recording is mono and holds both channels together: record in stereo to have them apart."
    if sentence is not None:
        spoils = [] if routing.channel_map == "swapped" else ["balance", *_CROSSTALK]
        code = "swapped" if routing.channel_map == "swapped" else "mono"
        if routing.channel_map in ("left-only", "right-only"):
            code = "channel-missing"
        yield Fault(code=code, sentence=sentence, spoils=spoils)
    if len(set(routing.polarity.values())) == 2:
        inverted: Channel = "left" if routing.polarity.get("left") == -1 else "right"
        yield Fault(
            code="inverted",
            channel=inverted,
            sentence=f"The {inverted} channel is inverted against the other one: look for crossed conductors in the "
            "leads, and at the polarity of the direct recording.",
        )


_CHANNEL_SENTENCES = {
    "swapped": "Left and right are swapped: exchange the two plugs at one end. The figures here are already put right.",
    "merged": "Both channels arrive merged, the same in left and right: an adapter or a mono setting joins them. Use a "
    "stereo lead and switch the recorder to stereo.",
    "mono-source": "The same track channel arrives in left and right: the source, or an adapter, is mono. Use a stereo "
    "lead and check the source's sound setting.",
    "left-only": "Only the track's left channel arrives: check the right plug and lead, and that the recorder is set "
    "to stereo.",
    "right-only": "Only the track's right channel arrives: check the left plug and lead, and that the recorder is set "
    "to stereo.",
}


def _image_faults(routing: Routing) -> Iterator[Fault]:
    """Yield the fault of a stereo image that something widens, or of which only the difference is left."""
    shares = inverted_shares(routing)
    if shares is None:
        return
    share_db = 20.0 * np.log10(shares)
    if min(shares) < _WIDENED or abs(share_db[0] - share_db[1]) > _ALIKE_DB:
        return
    if min(shares) > _DIFFERENCE:
        yield Fault(
            code="difference-only",
            sentence="Both channels hold only the difference of left and right: the common (sleeve) contact of a "
            "plug, or the shield of a lead, has no connection. Push the plugs home, try another lead, and record "
            "again.",
            spoils=["gain", "balance", *_CROSSTALK, *_RESPONSE],
        )
        return
    yield Fault(
        code="widened",
        sentence=f"Each channel carries the other one inverted, {-float(np.mean(share_db)):.0f} dB softer: a stereo "
        "widening (3D sound, virtual surround) is switched on, or the common contact of a plug is bad. Switch sound "
        "effects off in player, system and recorder, check the plugs, and record again.",
        spoils=["balance", *_CROSSTALK, *_RESPONSE],
    )


def inverted_shares(routing: Routing) -> tuple[float, float] | None:
    """Return how much of the left sound stands in the right channel and the other way round, where both are inverted.

    Around 1 kHz, re the driven channel; None where either is not inverted, or the take is mono.
    """
    gains = routing.gains
    if gains.shape[0] != 2:
        return None
    if routing.channel_map == "swapped":
        gains = gains[::-1]
    elif routing.channel_map not in ("straight", "merged"):
        return None
    if min(abs(gains[0, 0]), abs(gains[1, 1])) <= 0.0:
        return None
    ratios = gains[1, 0] / gains[0, 0], gains[0, 1] / gains[1, 1]
    if max(ratios) >= 0.0:
        return None
    return -float(ratios[0]), -float(ratios[1])
