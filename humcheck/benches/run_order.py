"""Which takes to make, in which order, and how long that takes.

Everything there is, measured everywhere and often, takes a day and more. The plan is sparse: the full track once for
each port, short quiet takes for pictures, supplies and fixes, repeats on the direct path and on the farthest port.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from humcheck.results.rows import Role
from humcheck.tracks.layouts import layout

#: Time beside the track itself (common practice, no source): starting, stopping and naming a recording; changing plugs
#: with everything switched off, and switching on again.
HANDLING_S = 20.0
REPLUG_S = 60.0
#: A recording of nothing, for the bench's own floor.
FLOOR_S = 20.0
TAKES_FOLDER = "takes"
#: Of file names, so that they fit on paper; their numbers tell them apart in any case.
_LONGEST_NAME = 39
_LONGEST_WORD = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPlan:
    """What is to be compared.

    Attributes
    ----------
    devices, ports, pictures, fixes : tuple of str
        Their names; the last port is the one farthest from the output, the first picture the one that stands while
        the full track plays.
    supply : bool
        Whether devices are also to be measured with their supply unplugged.
    n_takes : int
        Repeats on the direct path and on the farthest port.
    length : str
        Of the tracks: ``"short"``, ``"standard"`` or ``"long"``.
    """

    devices: tuple[str, ...]
    ports: tuple[str, ...] = ("1",)
    pictures: tuple[str, ...] = ("white", "black")
    fixes: tuple[str, ...] = ()
    supply: bool = False
    n_takes: int = 3
    length: str = "standard"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTake:
    """One take of the run order.

    Attributes
    ----------
    file : str
        Where to save it, from the bench's folder, with a forward slash.
    track : str or None
        Which track to play; None where nothing plays.
    role, device, port, picture, fix, condition, plugging
        As in the bench file.
    replug : bool
        Whether something has to be plugged before it.
    """

    file: str = ""
    track: str | None
    role: Role
    device: str | None = None
    port: str | None = None
    picture: str | None = None
    fix: str | None = None
    condition: dict[str, str] = field(default_factory=dict)
    plugging: str | None = None
    replug: bool = False

    def duration_s(self, length: str) -> float:
        """Return how long it takes with all that belongs to it."""
        plays_s = FLOOR_S if self.track is None else layout(self.track, length).duration_s
        return plays_s + HANDLING_S + (REPLUG_S if self.replug else 0.0)


def run_order(plan: BenchPlan) -> tuple[PlannedTake, ...]:
    """Return the sparse plan in the order in which its takes are to be made, with names for the files."""
    takes = list(_takes(plan))
    width = max(len(str(len(takes))), 2)
    named, plugging = [], 0
    for number, take in enumerate(takes, 1):
        plugging += take.replug
        file = f"{TAKES_FOLDER}/{number:0{width}d}-{_slug(take)}.wav"
        named.append(replace(take, file=file, plugging=str(plugging) if take.track else None))
    return tuple(named)


def plan_duration_s(plan: BenchPlan) -> float:
    """Return how long the sparse plan takes."""
    return sum(take.duration_s(plan.length) for take in run_order(plan))


def everything_duration_s(plan: BenchPlan) -> float:
    """Return how long the full track in every combination takes, each as often as the repeats.

    Plugs are reckoned once for each port, supply and fix, and for the direct takes around each device: repeats and
    pictures follow without a change of plugs.
    """
    uses = len(plan.devices) * len(plan.ports) * (1 + len(plan.fixes)) * (2 if plan.supply else 1)
    pluggings = uses + len(plan.devices) + 1
    take = PlannedTake(track="full", role="through")
    return pluggings * (REPLUG_S + plan.n_takes * len(plan.pictures) * take.duration_s(plan.length))


def duration_words(duration_s: float) -> str:
    """Return a duration as ``1 h 25 min``, rounded to 5 minutes from an hour on."""
    minutes = max(round(duration_s / 60.0), 1)
    if minutes >= 60:
        minutes = 5 * round(minutes / 5)
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest} min" if hours and rest else f"{hours} h" if hours else f"{rest} min"


def _takes(plan: BenchPlan) -> Iterator[PlannedTake]:
    picture = plan.pictures[0]
    yield PlannedTake(track=None, role="recorder", replug=True)
    yield PlannedTake(track=None, role="source_off", replug=True)
    direct = PlannedTake(track="full", role="direct", picture=picture)
    for _ in range(plan.n_takes):
        yield direct
    for other in plan.pictures[1:]:
        yield replace(direct, track="silence", picture=other)
    for device in plan.devices:
        yield from _device_takes(plan, device)
        # Direct takes bracket each device: their scatter is the uncertainty of everything.
        yield replace(direct, replug=True)


def _device_takes(plan: BenchPlan, device: str) -> Iterator[PlannedTake]:
    condition = {"supply": "on"} if plan.supply else {}
    through = PlannedTake(
        track="full", role="through", device=device, picture=plan.pictures[0], condition=condition, replug=True
    )
    for port in plan.ports[:-1]:
        yield replace(through, port=port)
    farthest = replace(through, port=plan.ports[-1])
    for _ in range(plan.n_takes):
        yield farthest
    quiet = replace(farthest, track="silence", replug=False)
    for picture in plan.pictures[1:]:
        yield replace(quiet, picture=picture)
    if plan.supply:
        yield replace(quiet, condition={"supply": "off"}, replug=True)
    for fix in plan.fixes:
        yield replace(quiet, fix=fix, replug=True)


def _slug(take: PlannedTake) -> str:
    """Return what tells a take from others, in letters that every file system takes."""
    if take.role in ("recorder", "source_off"):
        return take.role.replace("_", "-")
    words = ["direct"] if take.device is None else [take.device, f"port {take.port}"]
    words += [] if take.picture is None else [take.picture]
    words += ["no supply"] if take.condition.get("supply") == "off" else []
    words += [] if take.fix is None else [take.fix]
    return "-".join(filter(None, map(_plain, words)))[:_LONGEST_NAME].strip("-") or "take"


def _plain(word: str) -> str:
    letters = unicodedata.normalize("NFKD", word).encode("ascii", "ignore").decode("ascii").lower()
    plain = re.sub(r"[^a-z0-9]+", "-", letters).strip("-")
    # Cut between words where there is a place for it.
    return plain if len(plain) <= _LONGEST_WORD else plain[:_LONGEST_WORD].rpartition("-")[0] or plain[:_LONGEST_WORD]
