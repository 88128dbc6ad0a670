"""One take, measured: from a file to rows and estimates."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

from humcheck.analyzers.clicks import EVENT
from humcheck.audio.files import Hashed
from humcheck.comparison.driven_ports import DRIVEN_PORT
from humcheck.comparison.material import MeasuredTake, QuietPart
from humcheck.errors import MeasurementError
from humcheck.estimates.rows import RowsEstimate
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.pipeline.footage import footage_rows_of
from humcheck.pipeline.picture import picture_in_quiet
from humcheck.pipeline.quiet_spans import LOUDEST_PICTURE, QuietSpan, quiet_spans
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.results import Curve, Fault, Key, Line, Measure, NotMeasured, TakeRow, Trace
from humcheck.results.rows import Role
from humcheck.takes.take import Take, load_take
from humcheck.tracks.sections import TrackChannel

_QUIET_QUANTITIES = (
    "hum_level",
    "buzz_level",
    "whistle_level",
    "digital_level",
    "other_lines_level",
    "hiss_level",
    "noise_level",
    "noise_spectrum",
    "hiss_spectrum",
)
_TRACK_CHANNELS: tuple[TrackChannel, ...] = ("left", "right")


def measure_take(
    request: TakeRequest, take_id: str, settings: MeasuringSettings, *, hashed: Hashed | None = None
) -> MeasuredTake:
    """Measure all that one take can tell.

    Parameters
    ----------
    request : TakeRequest
        The file and its role.
    take_id : str
        Id of the take in the results.
    settings : MeasuringSettings
        What the user set.
    hashed : Hashed, optional
        The file's hash, where it was made already.

    Raises
    ------
    UnusableTake
        If the file cannot be read as a recording.
    """
    take = _opened(request)
    if hashed is not None:
        take.file.known_as(hashed)
    key = request.key(take_id)
    rows = _Rows(take_id)
    faults = list(take.faults)
    quiet, coded_rows = _measure_quiet_spans(take, key, settings, rows)
    tones = responses = None
    if take.has_track:
        tones, tone_faults = _measure_tones(take, key, rows)
        responses, response_faults = _measure_sweeps(take, key, rows)
        faults += [*tone_faults, *response_faults]
    else:
        faults += _spectral_faults(take, request.role)
        if DRIVEN_PORT in request.condition:
            rows.add(_faint_tone(take, key))
        if EVENT in request.condition:
            rows.add(_clicks(take, key))
        if coded_rows is None:
            rows.add(footage_rows_of(take, key, quiet))
    return MeasuredTake(
        row=_take_row(request, take, take_id, faults, tones),
        key=key,
        measures=tuple(row for row in rows.measures if not _spoiled(row, faults)),
        curves=tuple(row for row in rows.curves if not _spoiled(row, faults)),
        traces=tuple(rows.traces),
        lines=tuple(rows.lines),
        not_measured=(*rows.not_measured, *_spoiled_rows(rows, faults)),
        tones=tones,
        responses=responses or (),
        quiet=quiet,
        coded_rows=coded_rows,
    )


def _opened(request: TakeRequest) -> Take:
    return load_take(request.path, seek_track=request.role not in ("recorder", "source_off"), span=request.run)


class _Rows:
    """Rows of one take, sorted by kind, the take's id filled in."""

    def __init__(self, take_id: str) -> None:
        self._take_id = take_id
        self.measures: list[Measure] = []
        self.curves: list[Curve] = []
        self.traces: list[Trace] = []
        self.lines: list[Line] = []
        self.not_measured: list[NotMeasured] = []

    def add(self, rows: Iterable[Any]) -> None:
        """Sort rows in."""
        import msgspec

        for row in rows:
            match row:
                case Measure():
                    self.measures.append(msgspec.structs.replace(row, takes=[self._take_id]))
                case Curve():
                    self.curves.append(row)
                case Trace():
                    self.traces.append(row)
                case Line():
                    self.lines.append(row)
                case NotMeasured():
                    self.not_measured.append(row)
                case _:
                    raise TypeError(f"{type(row).__name__} is no kind of row")

    def attempt(self, key: Key, quantities: Sequence[str], measure: Callable[[], Iterable[Any]]) -> None:
        """Add the rows that `measure` returns, or the reason why there are none."""
        try:
            self.add(measure())
        except MeasurementError as error:
            self.add(NotMeasured(**key.fields(quantity=name), reason=error.reason) for name in quantities)


def _take_row(request: TakeRequest, take: Take, take_id: str, faults: list[Fault], tones: TakeTones | None) -> TakeRow:
    fields = take.row_fields() | {"faults": faults}
    if tones is not None and tones.full_scale_dbfs:
        # Markers weigh all frequencies of their chirps; the tone is what gain means.
        fields["gain_db"] = next(iter(tones.full_scale_dbfs.values()))
    return TakeRow(
        id=take_id,
        role=request.role,
        device=request.device,
        port=request.port,
        picture=request.picture,
        condition=request.condition,
        fix=request.fix,
        plugging=request.plugging,
        **fields,
    )


def _spoiled(row: Key, faults: Sequence[Fault]) -> bool:
    return any(row.quantity in fault.spoils and fault.channel in (None, "both", row.channel) for fault in faults)


def _spoiled_rows(rows: _Rows, faults: Sequence[Fault]) -> list[NotMeasured]:
    """Return the reason for each row that a fault of the take takes away."""
    reasons = []
    for row in (*rows.measures, *rows.curves):
        fault = next((fault for fault in faults if _spoiled(row, [fault])), None)
        if fault is not None:
            reasons.append(NotMeasured(**row.fields(), reason=fault.sentence))
    return reasons


def _measure_quiet_spans(
    take: Take, key: Key, settings: MeasuringSettings, rows: _Rows
) -> tuple[QuietPart | None, RowsEstimate | None]:
    """Measure every part of the quiet section; return the one that stands for the take, and its coded rows."""
    parts: dict[str | None, QuietPart | None] = {}
    coded_rows = None
    for span in quiet_spans(take):
        of_span = span.key(key)
        parts[span.picture] = _measure_quiet(take, of_span, settings, rows, span)
        picture, estimate = picture_in_quiet(take, parts[span.picture], of_span)
        rows.add(picture)
        coded_rows = estimate or coded_rows
    return parts.get(LOUDEST_PICTURE) or next(iter(parts.values()), None), coded_rows


def _measure_quiet(take: Take, key: Key, settings: MeasuringSettings, rows: _Rows, span: QuietSpan) -> QuietPart | None:
    if not take.has_track:
        from humcheck.pipeline.recording_rows import recording_rows

        made, part = recording_rows(take, key, settings.mains_hz)
        rows.add(made)
        return part
    from humcheck.analyzers.buzz import buzz_rows
    from humcheck.analyzers.hum import hum_rows
    from humcheck.analyzers.noise import noise_rows
    from humcheck.analyzers.steady_lines import steady_line_rows
    from humcheck.analyzers.whistle import whistle_rows
    from humcheck.estimates.lines import fit_lines
    from humcheck.estimates.noise import measure_noise

    found: list[QuietPart] = []

    def measured() -> Iterable[Any]:
        samples, channels, start = _quiet_samples(take, span)
        lines = fit_lines(samples, take.rate_hz, mains_hz=settings.mains_hz)
        swapped = take.alignment is not None and take.alignment.channel_map == "swapped"
        part = QuietPart(path=take.file.path, start=start, stop=start + len(samples), swapped=swapped, lines=lines)
        found.append(part)
        noise = measure_noise(samples, take.rate_hz, lines)
        for analyze in (hum_rows, buzz_rows, whistle_rows, steady_line_rows):
            yield from analyze(lines, key, channels)
        yield from noise_rows(noise, key, channels)

    rows.attempt(key, _QUIET_QUANTITIES, lambda: list(measured()))
    return found[0] if found else None


def _quiet_samples(take: Take, span: QuietSpan) -> tuple[np.ndarray[Any, np.dtype[np.float64]], tuple[Any, ...], int]:
    """Return a part of the quiet section, the channels' names, and its first sample."""
    if not take.has_section("quiet"):
        raise MeasurementError("The track in this take has no quiet section, or the take does not hold all of it.")
    audio = take.section("quiet", before_s=-span.skip_start_s, after_s=-span.skip_end_s)
    return audio.samples, audio.channels, audio.start_index


def _spectral_faults(take: Take, role: Role) -> list[Fault]:
    """Return what the spectrum of a take tells that holds no track."""
    from humcheck.analyzers.band_limit import band_limit_faults, spectrum_band_limit
    from humcheck.audio.spectra import welch_spectrum

    try:
        spectrum = welch_spectrum((samples for _, samples in take.blocks()), take.rate_hz, segment_s=0.1)
    except ValueError:  # a handful of samples
        return []
    return band_limit_faults([spectrum_band_limit(spectrum)], role)


def _measure_tones(take: Take, key: Key, rows: _Rows) -> tuple[Any, list[Fault]]:
    from humcheck.analyzers.balance import balance_rows
    from humcheck.analyzers.distortion import distortion_rows
    from humcheck.analyzers.dynamic_range import dynamic_range_rows
    from humcheck.analyzers.intermodulation import intermodulation_rows
    from humcheck.analyzers.level import level_rows
    from humcheck.analyzers.take_faults import tone_faults
    from humcheck.estimates.tones import measure_tones

    tones = measure_tones(take)
    channel_map = "none" if take.alignment is None else take.alignment.channel_map
    rows.add(level_rows(tones, key))
    rows.add(balance_rows(tones, key, channel_map=channel_map))
    # Of a short track nobody expects what it does not hold: no reason need be given.
    sections = ((distortion_rows, "full-scale"), (intermodulation_rows, "imd-smpte"), (dynamic_range_rows, "minus-60"))
    for analyze, section in sections:
        if take.layout is not None and take.layout.has_section(section):
            rows.add(analyze(tones, key))
    return tones, tone_faults(take, tones)


def _faint_tone(take: Take, key: Key) -> list[Any]:
    from humcheck.analyzers.level import faint_level_rows
    from humcheck.estimates.tones.loudest_tone import loudest_tone
    from humcheck.estimates.tones.take_tones import TONE_HZ

    return faint_level_rows(loudest_tone(take.blocks(), float(take.rate_hz), TONE_HZ), key, take.channels)


def _clicks(take: Take, key: Key) -> list[Any]:
    from humcheck.analyzers.clicks import click_rows
    from humcheck.estimates.clicks import find_clicks

    return click_rows(find_clicks(take.blocks(), float(take.rate_hz)), key, take.channels)


def _measure_sweeps(take: Take, key: Key, rows: _Rows) -> tuple[tuple[Any, ...], list[Fault]]:
    from humcheck.analyzers.crosstalk import crosstalk_rows
    from humcheck.analyzers.response import distortion_traces
    from humcheck.analyzers.take_faults import marker_faults, sweep_faults
    from humcheck.estimates.sweeps import AFTER_S, BEFORE_S, estimate_response

    if take.layout is None or not take.layout.sections_of("sweep"):
        return (), marker_faults(take, key.role)
    responses = []
    for driven in _TRACK_CHANNELS:
        try:
            sound = take.section(f"sweep-{driven}", before_s=BEFORE_S, after_s=AFTER_S)
            responses.append(estimate_response(sound, driven))
        except MeasurementError as error:
            rows.add([NotMeasured(**key.fields(quantity="response_delta", channel=driven), reason=error.reason)])
    channel_map = "none" if take.alignment is None else take.alignment.channel_map
    rows.add(crosstalk_rows(responses, key, channel_map=channel_map))
    rows.add(distortion_traces(responses, key))
    if not responses:
        return (), marker_faults(take, key.role)
    return tuple(responses), sweep_faults(responses, take.rate_hz, key.role)
