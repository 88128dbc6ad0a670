"""The rows of a results file: the only result model of the project.

Every row is frozen. A row about a quantity carries the key that says what it belongs to: subject, role, port,
picture, condition, fix, channel, quantity. Numbers are finite; what does not exist is ``None``.
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec

Role = Literal["direct", "through", "recorder", "source_off", "single", "added"]
Channel = Literal["left", "right", "both", "mono"]
Bound = Literal["upper", "lower"]
Interval = Literal["within", "between"]
Contrast = Literal["direct", "picture", "condition", "fix", "port", "device"]
Family = Literal["mains", "field", "mains_or_field", "line_rate", "digital", "other"]
Severity = Literal["none", "slight", "clear", "strong"]


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """Base of all rows: frozen, keyword-only, unknown keys ignored on reading."""


class Key(Row, frozen=True, kw_only=True):
    """What a row belongs to.

    Attributes
    ----------
    subject : str
        Device name, ``"direct"``, or the take's id for a recording inspected alone.
    role : str
        As in takes, and ``"added"`` for the part that the device itself contributes.
    port, picture, fix : str or None
        How the device was used.
    condition : dict
        Free key/values, such as ``{"supply": "off"}``.
    channel : str
        ``"left"``, ``"right"``, ``"both"`` (power mean unless the quantity says otherwise) or ``"mono"``.
    quantity : str
        A name of the registry.
    listening : str or None
        Listening setting, only for audibility.
    """

    subject: str
    role: Role
    quantity: str
    channel: Channel = "both"
    port: str | None = None
    picture: str | None = None
    condition: dict[str, str] = msgspec.field(default_factory=dict)
    fix: str | None = None
    listening: str | None = None

    def fields(self, **changed: Any) -> dict[str, Any]:
        """Return the key's fields as keyword arguments for another row, some of them changed."""
        return {name: changed.pop(name, getattr(self, name)) for name in KEY_FIELDS} | changed

    def identity(self, *without: str) -> tuple[Any, ...]:
        """Return the key as a hashable tuple, to find rows that belong together; some fields may be left out."""
        return tuple(
            tuple(sorted(self.condition.items())) if name == "condition" else getattr(self, name)
            for name in KEY_FIELDS
            if name not in without
        )


KEY_FIELDS = tuple(Key.__struct_fields__)


class TrackIdentity(Row, frozen=True, kw_only=True):
    """Which track a take holds: name, length and layout number, as its markers carry them."""

    name: str
    length: str
    layout: int


class Fault(Row, frozen=True, kw_only=True):
    """Something wrong with a take, and the quantities that it spoils."""

    code: str
    sentence: str
    channel: Channel | None = None
    start_s: float | None = None
    end_s: float | None = None
    spoils: list[str] = msgspec.field(default_factory=list)


class TakeRow(Row, frozen=True, kw_only=True):
    """One recording.

    ``offset_s`` is the index in the take of sample 0 of the track file over the take's nominal rate, ``drift_ppm`` is
    positive where the take is longer than the track, ``gain_db`` and ``polarity`` are of the left (or only) channel.
    Takes that share a ``plugging`` were made without unplugging anything in between; None where that is not known.
    """

    id: str
    file: str
    sha256: str
    role: Role
    device: str | None = None
    port: str | None = None
    picture: str | None = None
    condition: dict[str, str] = msgspec.field(default_factory=dict)
    fix: str | None = None
    plugging: str | None = None
    rate_hz: int
    channels: int
    sample_format: str
    duration_s: float
    track: TrackIdentity | None = None
    offset_s: float | None = None
    drift_ppm: float | None = None
    gain_db: float | None = None
    polarity: int | None = None
    channel_map: str | None = None
    faults: list[Fault] = msgspec.field(default_factory=list)


class Measure(Key, frozen=True, kw_only=True):
    """One value of one quantity, with its 95 % interval, or a one-sided 95 % bound (then `low` and `high` are None)."""

    value: float
    unit: str
    id: str = ""
    low: float | None = None
    high: float | None = None
    bound: Bound | None = None
    interval: Interval | None = None
    n_takes: int = 1
    takes: list[str] = msgspec.field(default_factory=list)
    detail: dict[str, float] = msgspec.field(default_factory=dict)


class Change(Key, frozen=True, kw_only=True):
    """A value set against another value of the same quantity: through against direct, picture against black.

    Attributes
    ----------
    reference : dict
        What it is set against: ``subject``, ``role``, ``n_takes``, and what else tells it from the row's own key.
    p_value, p_adjusted : float or None
        Of the difference; the second holds for all changes of one contrast and quantity together (Holm).
    distinguishable : bool or None
        Whether it stands out of the scatter between takes; None where repeatability is unknown.
    equivalent : bool or None
        Whether it is shown to be less than `margin`, either way; None where that cannot be tested.
    takes_needed : int or None
        Takes on each side that would probably show equality within `margin`, where it is not shown.
    """

    contrast: Contrast
    value: float
    unit: str
    id: str = ""
    reference: dict[str, Any] = msgspec.field(default_factory=dict)
    low: float | None = None
    high: float | None = None
    bound: Bound | None = None
    p_value: float | None = None
    p_adjusted: float | None = None
    distinguishable: bool | None = None
    equivalent: bool | None = None
    margin: float | None = None
    takes_needed: int | None = None


class Curve(Key, frozen=True, kw_only=True):
    """A quantity over frequency inside its valid band; `low` and `high` are the 95 % band, point by point."""

    unit: str
    frequency_hz: list[float]
    value: list[float]
    id: str = ""
    low: list[float] | None = None
    high: list[float] | None = None
    bound: list[Bound | None] | None = None
    valid_from_hz: float | None = None
    valid_to_hz: float | None = None
    thinned: bool = False


class Trace(Key, frozen=True, kw_only=True):
    """Any other line to draw: delay over time, level over level."""

    x: list[float]
    x_unit: str
    y: list[float]
    unit: str
    id: str = ""


class Line(Key, frozen=True, kw_only=True):
    """One steady spectral line and the family it belongs to."""

    family: Family
    frequency_hz: float
    level_dbfs: float
    id: str = ""
    harmonic: int | None = None
    sideband: int | None = None
    low: float | None = None
    high: float | None = None
    bound: Bound | None = None


class NotMeasured(Key, frozen=True, kw_only=True):
    """A quantity that could not be measured, with the reason as a plain sentence."""

    reason: str


class LimitOutcome(Key, frozen=True, kw_only=True):
    """A limit that the user set and what became of it."""

    source: str
    outcome: Literal["pass", "fail", "not_measurable"]
    min: float | None = None
    max: float | None = None


class Evidence(Row, frozen=True, kw_only=True):
    """A pointer from a finding to the row that carries it: exactly one field is set."""

    measure: str | None = None
    change: str | None = None
    line: str | None = None
    curve: str | None = None
    trace: str | None = None
    media: str | None = None


class Finding(Key, frozen=True, kw_only=True):
    """What was found, in one plain sentence, with its weight, its evidence and what to try.

    Where a cause is named it is a hypothesis: `cause` is its short name, `reasons` what speaks for it, `doubts` what
    speaks against it, `test` the one test that would decide.
    """

    id: str
    kind: str
    severity: Severity
    sentence: str
    confidence: str = ""
    cause: str = ""
    reasons: list[str] = msgspec.field(default_factory=list)
    doubts: list[str] = msgspec.field(default_factory=list)
    test: str = ""
    advice: list[str] = msgspec.field(default_factory=list)
    cautions: list[str] = msgspec.field(default_factory=list)
    evidence: list[Evidence] = msgspec.field(default_factory=list)


class Media(Row, frozen=True, kw_only=True):
    """A file of sound or picture beside the results.

    Attributes
    ----------
    file : str
        Relative to the results file's own folder, with forward slashes.
    group : str
        What is listened to together: the device, or the recording inspected alone.
    kind : str
        ``"quiet"``, ``"programme"``, or the part of the quiet section: ``"hum"``, ``"buzz"``, ``"hum_and_buzz"``,
        ``"whistle"``, ``"tones"``, ``"hiss"``.
    role : str or None
        Role of the take that is heard.
    raised_db : float or None
        By how much the sound was raised for listening.
    match_db : float or None
        By how much a take through a device was raised to bring it to the direct one's level; None where not known.
    is_limited : bool
        Whether its loudest moments were turned down.
    note : str
        What is to be said of the whole group, on its first file.
    """

    id: str
    file: str
    sha256: str
    caption: str
    group: str = ""
    kind: str = ""
    role: Role | None = None
    raised_db: float | None = None
    match_db: float | None = None
    is_limited: bool = False
    note: str = ""


class Bench(Row, frozen=True, kw_only=True):
    """The set of takes that belong together."""

    id: str
    name: str
    created: str


class Settings(Row, frozen=True, kw_only=True):
    """What the user set, as far as numbers depend on it.

    Attributes
    ----------
    source_ohms, load_ohms : float or None
        Output resistance of the source and input resistance of what follows: the circuit that a picture leaks into.
    margins : dict of str to float
        By quantity: the difference that still counts as the same, in the quantity's own unit.
    """

    mains_hz: float | None = None
    volts_at_full_scale: float | None = None
    volts_uncertainty_percent: float | None = None
    source_ohms: float | None = None
    load_ohms: float | None = None
    margins: dict[str, float] = msgspec.field(default_factory=dict)
    listening: list[str] = msgspec.field(default_factory=list)


class Results(Row, frozen=True, kw_only=True):
    """A whole results file.

    Attributes
    ----------
    commands : list of str
        The command lines that made it, as typed but for the folders of absolute paths.
    """

    bench: Bench
    settings: Settings
    humcheck_version: str
    numbers_version: int
    created: str
    format: Literal["humcheck-results"] = "humcheck-results"
    format_version: int = 1
    versions: dict[str, str] = msgspec.field(default_factory=dict)
    commands: list[str] = msgspec.field(default_factory=list)
    takes: list[TakeRow] = msgspec.field(default_factory=list)
    measures: list[Measure] = msgspec.field(default_factory=list)
    changes: list[Change] = msgspec.field(default_factory=list)
    curves: list[Curve] = msgspec.field(default_factory=list)
    traces: list[Trace] = msgspec.field(default_factory=list)
    lines: list[Line] = msgspec.field(default_factory=list)
    not_measured: list[NotMeasured] = msgspec.field(default_factory=list)
    limits: list[LimitOutcome] = msgspec.field(default_factory=list)
    findings: list[Finding] = msgspec.field(default_factory=list)
    media: list[Media] = msgspec.field(default_factory=list)
