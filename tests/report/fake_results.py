"""Made-up results for the page's tests: the numbers are plausible and mean nothing."""

from __future__ import annotations

import hashlib
import math
import random
from collections.abc import Sequence
from typing import Any

from humcheck.report.truth import TruthRow
from humcheck.results import (
    Bench,
    Change,
    Curve,
    Evidence,
    Fault,
    Finding,
    LimitOutcome,
    Line,
    Measure,
    Media,
    NotMeasured,
    Results,
    Settings,
    TakeRow,
    Trace,
    TrackIdentity,
)

HOSTILE = (
    "<script>alert(1)</script>",
    "quote \" and ' and <b>bold</b>",
    "line\nbreak\r\nand\ttab",
    "[/red] [bold]markup[/bold]",
    "\x1b[31mescape\x07 \x00",
    "\u202eright-to-left\u202c",
    "lone \udcff surrogate",
    "</script><img src=x onerror=alert(1)>",
    "{{ 7 * 7 }} {% raw %}",
    "名前 ünïcode 🎛",
)

_FULL = TrackIdentity(name="full", length="standard", layout=1)
_HARMONICS = (0, -6, 3, -14, -2, -20, -6, -24, -12, -28, -17, -30, -22, -34, -28, -36, -33, -38, -37, -41)


class Maker:
    """Collects rows; every number comes from one seeded generator."""

    def __init__(self, seed: int = 7) -> None:
        self.random = random.Random(seed)
        self.rows: dict[str, list[Any]] = {}
        self.count = 0

    def add(self, kind: str, row: Any) -> None:
        self.rows.setdefault(kind, []).append(row)

    def next_id(self) -> str:
        self.count += 1
        return f"r{self.count}"

    def take(self, file: str, role: str, **fields: Any) -> str:
        name = f"t{len(self.rows.get('takes', [])) + 1}"
        usual = {
            "rate_hz": 48000,
            "channels": 2,
            "sample_format": "WAV 24-bit",
            "duration_s": 104.32 + self.random.random(),
            "track": _FULL,
            "offset_s": 1.5 + self.random.random(),
            "drift_ppm": self.random.gauss(12.4, 0.05),
            "gain_db": self.random.gauss(-0.8, 0.01),
            "polarity": 1,
            "channel_map": "straight",
        }
        digest = hashlib.sha256(file.encode("utf-8", "surrogatepass")).hexdigest()
        self.add("takes", TakeRow(id=name, file=file, sha256=digest, role=role, **(usual | fields)))
        return name

    def measure(self, quantity: str, value: float, unit: str, half: float | None = 0.3, **fields: Any) -> str:
        name = self.next_id()
        bounded = fields.get("bound") is not None
        low, high = (None, None) if bounded or half is None else (value - half, value + half)
        self.add("measures", Measure(id=name, quantity=quantity, value=value, unit=unit, low=low, high=high, **fields))
        return name

    def change(self, quantity: str, value: float, unit: str, half: float, **fields: Any) -> str:
        name = self.next_id()
        usual = {"contrast": "direct", "reference": {"subject": "direct", "role": "direct"}}
        row = Change(
            id=name, quantity=quantity, value=value, unit=unit, low=value - half, high=value + half, **(usual | fields)
        )
        self.add("changes", row)
        return name

    def level(self, quantity: str, value: float, half: float = 0.3, **fields: Any) -> str:
        """A level in dBFS and its twin in dBr."""
        name = self.measure(quantity, value, "dBFS", half, **fields)
        self.measure(f"{quantity}_rel", value + 2.4, "dBr", half, **fields)
        return name

    def results(self, **fields: Any) -> Results:
        usual: dict[str, Any] = {
            "bench": Bench(id="b1", name="Town library travelling show", created="2026-02-03T10:00:00Z"),
            "settings": Settings(mains_hz=50.0),
            "humcheck_version": "0.1.0",
            "numbers_version": 1,
            "created": "2026-02-03T14:25:00Z",
            "versions": {"numpy": "2.4.6", "scipy": "1.17.1", "soundfile": "0.14.0"},
        }
        return Results(**(usual | self.rows | fields))


def lines_of(maker: Maker, family: str, base_hz: float, level: float, floor: float, **fields: Any) -> None:
    """A family of lines that sinks into the noise."""
    for index in range(60):
        frequency = base_hz * (index + 1)
        relative = _HARMONICS[index] if index < len(_HARMONICS) else -42 - 0.7 * index
        value = level + relative + maker.random.gauss(0, 0.8)
        own_floor = floor - 3 * math.log2(1 + index / 12)
        hidden = value < own_floor
        half = None if hidden else 0.1 + 10 ** ((own_floor - value - 6) / 20)
        shown = own_floor + maker.random.gauss(0, 0.7) if hidden else value
        maker.add(
            "lines",
            Line(
                id=maker.next_id(),
                quantity="hum_level" if family == "mains" else "buzz_level",
                family=family,
                harmonic=index + 1,
                frequency_hz=frequency,
                level_dbfs=shown,
                low=None if half is None else shown - half,
                high=None if half is None else shown + half,
                bound="upper" if hidden else None,
                **fields,
            ),
        )


def third_octaves() -> list[float]:
    return [1000 * 10 ** (step / 10) for step in range(-17, 14)]


def curves_of(maker: Maker, subject: str, role: str, channel: str, hiss: float, **fields: Any) -> None:
    """Noise spectrum and crosstalk of one channel."""
    key = {"subject": subject, "role": role, "channel": channel, **fields}
    bands = third_octaves()
    value = [
        hiss
        - 17
        + 3.3 * math.log10(hz / 1000) * 3
        + (16 if 45 < hz < 56 else 6 if 140 < hz < 178 else 0)
        + maker.random.gauss(0, 0.25)
        for hz in bands
    ]
    maker.add(
        "curves",
        Curve(
            id=maker.next_id(),
            quantity="noise_spectrum",
            unit="dBFS",
            frequency_hz=bands,
            value=value,
            low=[item - 0.4 for item in value],
            high=[item + 0.4 for item in value],
            **key,
        ),
    )
    notes = [50 * 200 ** (index / 40) for index in range(41)]
    maker.add(
        "traces",
        Trace(
            id=maker.next_id(),
            quantity="thd",
            x=notes,
            x_unit="Hz",
            y=[(0.001 if role == "direct" else 0.004) * (1 + 300 / hz) for hz in notes],
            unit="percent",
            **key,
        ),
    )
    grid = [20 * 1000 ** (index / 120) for index in range(121)]
    base = -84 if role == "direct" else -66
    crosstalk = [20 * math.log10(math.hypot(10 ** (base / 20) * hz / 1000, 10 ** (-112 / 20))) for hz in grid]
    maker.add(
        "curves",
        Curve(
            id=maker.next_id(),
            quantity="crosstalk",
            unit="dB",
            frequency_hz=grid,
            value=crosstalk,
            low=[item - 0.3 for item in crosstalk],
            high=[item + 0.3 for item in crosstalk],
            bound=["upper" if item < -105 else None for item in crosstalk],
            valid_from_hz=25.0,
            valid_to_hz=19000.0,
            **key,
        ),
    )


def response_of(maker: Maker, subject: str, channel: str, gain: float, corner_hz: float, **fields: Any) -> None:
    grid = [20 * 1000 ** (index / 480) for index in range(481)]
    value = [
        gain
        - 10 * math.log10(1 + (corner_hz / hz) ** 2)
        - 10 * math.log10(1 + (hz / 62000) ** 2)
        + 0.004 * math.sin(hz / 300)
        for hz in grid
    ]
    half = [0.01 + 0.12 * (20 / hz) + 0.05 * (hz / 20000) ** 4 for hz in grid]
    maker.add(
        "curves",
        Curve(
            id=maker.next_id(),
            subject=subject,
            role="through",
            channel=channel,
            quantity="response_delta",
            unit="dB",
            frequency_hz=grid,
            value=value,
            low=[item - width for item, width in zip(value, half, strict=True)],
            high=[item + width for item, width in zip(value, half, strict=True)],
            valid_from_hz=22.0,
            valid_to_hz=18400.0,
            **fields,
        ),
    )


def direct_rows(maker: Maker, channels: Sequence[str], hum: float = -98.0) -> None:
    for channel in channels:
        key = {"subject": "direct", "role": "direct", "channel": channel, "n_takes": 2, "interval": "between"}
        maker.level("hum_level", hum + maker.random.gauss(0, 0.4), 0.8, **key)
        maker.level("buzz_level", -121.4, bound="upper", **key)
        maker.level("hiss_level", -93.2, 0.1, **key)
        maker.level("noise_level", -92.0, 0.1, **key)
        maker.measure("noise_level_a", -95.1, "dBFS(A)", 0.1, **key)
        maker.measure("noise_level_468", -84.6, "dBFS(qp)", 0.2, **key)
        maker.measure("tone_level", -3.41, "dBFS", 0.01, **key)
        maker.measure("hum_frequency", 50.0123, "Hz", 0.0004, **key)
        maker.measure("hum_wander", 8.4, "mHz", 0.6, **key)
        maker.measure("crosstalk_1k", -84.0, "dB", 0.3, **key)
        maker.measure("crosstalk_worst", -58.2, "dB", 0.3, detail={"frequency_hz": 18950.0}, **key)
        for name, value in (("thd", 0.0011), ("thd_n", 0.0034), ("imd_smpte", 0.0021), ("imd_difference", 0.0009)):
            maker.measure(name, value, "percent", value / 20, **key)
        maker.measure("dynamic_range", 96.2, "dB", 0.2, **key)
        lines_of(maker, "mains", 50.0123, hum - 4, -132, subject="direct", role="direct", channel=channel)
        curves_of(maker, "direct", "direct", channel, -93.2)


def device_rows(
    maker: Maker,
    name: str,
    channels: Sequence[str],
    *,
    hum: float,
    buzz: float,
    gain: float,
    corner_hz: float,
    hiss: float = -92.6,
    **fields: Any,
) -> dict[str, str]:
    """Everything that one set-up of a device has; returns ids that findings point to."""
    ids: dict[str, str] = {}
    for channel in channels:
        off = 0.0 if channel != "right" else -3.1
        through = {
            "subject": name,
            "role": "through",
            "channel": channel,
            "n_takes": 2,
            "interval": "between",
            **fields,
        }
        added = {**through, "role": "added"}
        ids["hum_level"] = maker.level("hum_level", hum + off, 0.3, **through)
        maker.level("hum_level", hum + off - 0.05, 0.9, **added)
        maker.change("hum_level", hum + off + 98, "dB", 0.9, subject=name, role="through", channel=channel, **fields)
        ids["buzz_level"] = maker.level("buzz_level", buzz + off, 0.4, **through)
        maker.level("buzz_level", buzz + off, 0.6, **added)
        ids["hiss_level"] = maker.level("hiss_level", hiss, 0.1, **through)
        maker.level("hiss_level", -103.4, bound="upper", **added)
        maker.level("noise_level", hiss + 0.4, 0.1, **through)
        maker.measure("noise_level_a", -94.4, "dBFS(A)", 0.1, **through)
        maker.measure("noise_level_468", -83.8, "dBFS(qp)", 0.2, **through)
        maker.measure("hum_frequency", 50.0117, "Hz", 0.0004, **through)
        maker.measure("buzz_frequency", 50.0801, "Hz", 0.0001, **through)
        ids["gain"] = maker.change(
            "gain",
            gain + off / 60,
            "dB",
            0.004,
            subject=name,
            role="through",
            channel=channel,
            p_value=0.0004,
            distinguishable=True,
            **fields,
        )
        maker.measure("polarity", 1, "", None, **through)
        span = max(0.05, 10 * math.log10(1 + (corner_hz / 20) ** 2))
        ids["tone"] = maker.change(
            "response_span", span, "dB", 0.06, subject=name, role="through", channel=channel, **fields
        )
        maker.change("low_corner", corner_hz, "Hz", 0.2, subject=name, role="through", channel=channel, **fields)
        maker.add(
            "changes",
            Change(
                id=maker.next_id(),
                subject=name,
                role="through",
                channel=channel,
                quantity="high_corner",
                contrast="direct",
                value=21400.0,
                unit="Hz",
                bound="lower",
                **fields,
            ),
        )
        ids["bleed"] = maker.measure("crosstalk_1k", -66.0, "dB", 0.3, **through)
        maker.measure("crosstalk_worst", -40.4, "dB", 0.3, detail={"frequency_hz": 18950.0}, **through)
        for quantity, value in (("thd", 0.0042), ("thd_n", 0.0061), ("imd_smpte", 0.0058), ("imd_difference", 0.0012)):
            ids[quantity] = maker.measure(quantity, value, "percent", value / 15, **through)
        maker.measure("dynamic_range", 94.9, "dB", 0.2, **through)
        key = {"subject": name, "role": "through", "channel": channel, **fields}
        lines_of(maker, "mains", 50.0117, hum + off - 4, -131, **key)
        lines_of(maker, "field", 50.0801, buzz + off - 6, -131, **key)
        curves_of(maker, name, "through", channel, hiss, **fields)
        response_of(maker, name, channel, gain + off / 60, corner_hz, **fields)
    if len(channels) == 2:
        maker.change("balance", 0.052, "dB", 0.006, subject=name, role="through", channel="both", **fields)
    return ids


_CAUSE = {
    "cause": "ground-loop",
    "reasons": ["it holds odd harmonics (50, 150 and 250 Hz)", "both channels carry it alike (within 1.9 dB)"],
    "doubts": ["a magnetic field comes close"],
    "test": "Put an audio isolating transformer into the audio lead and record the quiet section again.",
}


def findings_of(maker: Maker, name: str, ids: dict[str, str], severities: Sequence[str], **fields: Any) -> None:
    """A finding for each complaint."""
    sentences = {
        "hum": f"{name} adds mains hum: with it in the path the left channel carries -71 dB re the track's full scale, "
        "about 3,500 times weaker than the loudest sound of the track (27 dB stronger than without it).",
        "buzz": f"{name} adds picture buzz: with it in the path the left channel carries -74 dB re the track's full "
        "scale, about 5,000 times weaker than the loudest sound of the track.",
        "hiss": f"{name} adds no hiss that could be measured; whatever it may add stays below -101 dB re the track's "
        "full scale.",
        "level": f"{name} lowers the level by 0.35 dB (left -0.30 dB, right -0.35 dB): less than most listeners "
        "notice.",
        "tone": f"{name} changes the tone: between the frequency it passes best and the one it passes worst lie 1.8 dB "
        "(bass falls off below 14 Hz).",
        "bleed": f"{name} keeps left and right apart: -66 dB at 1 kHz into the left channel.",
        "distortion": f"{name} adds 0.0042 % of harmonic distortion, far below what is heard.",
    }
    pointers = {"hum": "hum_level", "buzz": "buzz_level", "hiss": "hiss_level", "level": "gain", "distortion": "thd"}
    quantities = {"tone": "response_span", "bleed": "crosstalk_1k"}
    for (kind, sentence), severity in zip(sentences.items(), severities, strict=True):
        pointer = ids[pointers.get(kind, kind)]
        target = "change" if kind in ("level", "tone") else "measure"
        heard = severity != "none"
        maker.add(
            "findings",
            Finding(
                id=f"{kind}-{name}",
                kind=kind,
                severity=severity,
                sentence=sentence,
                subject=name,
                role="through",
                channel="left",
                quantity=pointers.get(kind, quantities.get(kind, kind)),
                confidence="from 2 takes",
                evidence=[Evidence(**{target: pointer})],
                advice=["Power the source, the box and the display from one outlet strip and measure again."]
                if heard
                else [],
                cautions=["Never cut the protective earth to cure hum."] if heard and kind == "hum" else [],
                **(_CAUSE if kind == "hum" else {}),
                **fields,
            ),
        )


def compare_results(name: str = "Alder", channels: Sequence[str] = ("left", "right"), **fields: Any) -> Results:
    """One device against direct, as `compare` makes it."""
    maker = Maker()
    maker.take("direct-1.wav", "direct")
    maker.take("direct-2.wav", "direct")
    maker.take(f"{name}-white.wav", "through", device=name, picture="white")
    maker.take(
        f"{name}-white-2.wav",
        "through",
        device=name,
        picture="white",
        faults=[
            Fault(
                code="lost-samples",
                sentence="48 samples are missing: the recorder or its computer was too slow.",
                start_s=61.2,
                end_s=61.201,
                channel="both",
                spoils=["residual_level", "delay"],
            ),
        ],
    )
    maker.take(
        "recorder.wav",
        "recorder",
        track=None,
        offset_s=None,
        drift_ppm=None,
        gain_db=None,
        polarity=None,
        channel_map=None,
    )
    direct_rows(maker, channels)
    for channel in channels:
        key = {"subject": "recorder", "role": "recorder", "channel": channel}
        maker.measure("hum_level", -112.0, "dBFS", 0.5, **key)
        maker.measure("hiss_level", -104.1, "dBFS", 0.1, **key)
        bands = third_octaves()
        floor = [-121 + 3.3 * math.log10(hz / 1000) * 3 for hz in bands]
        maker.add(
            "curves",
            Curve(id=maker.next_id(), quantity="noise_spectrum", unit="dBFS", frequency_hz=bands, value=floor, **key),
        )
    ids = device_rows(maker, name, channels, hum=-71.3, buzz=-75.4, gain=-0.302, corner_hz=14.2, picture="white")
    findings_of(maker, name, ids, ("strong", "clear", "none", "slight", "clear", "slight", "none"), picture="white")
    maker.add(
        "not_measured",
        NotMeasured(
            subject=name,
            role="through",
            channel="both",
            quantity="delay",
            picture="white",
            reason="Only a split take (one channel direct, the other through) tells the delay; there is none.",
        ),
    )
    maker.add(
        "not_measured",
        NotMeasured(
            subject=name,
            role="through",
            channel="both",
            quantity="whistle_level",
            picture="white",
            reason="The picture's line rate was not found in the recording.",
        ),
    )
    return maker.results(**fields)


def bench_results(
    devices: Sequence[str] = ("Alder", "Birch", "Cedar"), ports: int = 2, pictures: Sequence[str] = ("black", "white")
) -> Results:
    """Several devices, ports and pictures."""
    maker = Maker(11)
    maker.take("direct-morning.wav", "direct")
    maker.take("direct-evening.wav", "direct")
    direct_rows(maker, ("left", "right"))
    grades = (
        ("strong", "clear", "none", "slight", "clear", "slight", "none"),
        ("none", "none", "none", "none", "none", "slight", "none"),
        ("clear", "slight", "none", "none", "slight", "slight", "slight"),
    )
    for index, name in enumerate(devices):
        for port in range(1, ports + 1):
            for picture in pictures:
                use = {"port": str(port), "picture": picture, "condition": {"supply": "on"}}
                maker.take(f"{name}-p{port}-{picture}.flac", "through", device=name, **use)
                bright = 0 if picture == "black" else 22
                ids = device_rows(
                    maker,
                    name,
                    ("left", "right"),
                    hum=-92 + 10 * (2 - index % 3) + port,
                    buzz=-118 + bright + index,
                    gain=-0.02 - 0.3 * index,
                    corner_hz=3 + 6 * (index % 3) + port / 10,
                    hiss=-92.9 + 0.2 * port,
                    **use,
                )
                findings_of(maker, name, ids, grades[index % 3], **use)
        maker.change(
            "buzz_level",
            22.0,
            "dB",
            0.8,
            subject=name,
            role="through",
            channel="left",
            contrast="picture",
            reference={"picture": "black"},
            picture="white",
            port="1",
            distinguishable=True,
            equivalent=False,
            margin=1.0,
        )
        maker.measure("port_spread", 1.1, "dB", 0.3, subject=name, role="through", channel="left")
        maker.add(
            "limits",
            LimitOutcome(
                subject=name,
                role="added",
                channel="left",
                quantity="hum_level",
                max=-80.0,
                source="bench.toml",
                outcome="fail" if index == 0 else "pass",
            ),
        )
    maker.add(
        "traces",
        Trace(
            id=maker.next_id(),
            subject=devices[0] if devices else "direct",
            role="through",
            channel="both",
            quantity="delay",
            x=[float(second) for second in range(0, 100, 2)],
            x_unit="s",
            y=[0.3 * math.sin(second / 20) for second in range(0, 100, 2)],
            unit="us",
        ),
    )
    maker.add("media", Media(id="m1", file="alder-hum.wav", sha256="0" * 64, caption="The hum alone, 30 dB louder"))
    return maker.results()


def inspect_results(channel: str = "left") -> Results:
    """One take alone."""
    maker = Maker(3)
    channels = ("mono",) if channel == "mono" else ("left", "right")
    take = maker.take(
        "kitchen recording.wav",
        "single",
        channels=len(channels),
        track=None,
        offset_s=None,
        drift_ppm=None,
        gain_db=None,
        polarity=None,
        channel_map=None,
    )
    for name in channels:
        key = {"subject": take, "role": "single", "channel": name}
        maker.measure("hum_level", -62.1, "dBFS", 0.2, **key)
        maker.measure("buzz_level", -104.0, "dBFS", bound="upper", **key)
        maker.measure("hiss_level", -81.3, "dBFS", 0.1, **key)
        maker.measure("hum_frequency", 49.9812, "Hz", 0.0009, **key)
        lines_of(maker, "mains", 49.9812, -66, -118, subject=take, role="single", channel=name)
        bands = third_octaves()
        maker.add(
            "curves",
            Curve(
                id=maker.next_id(),
                subject=take,
                role="single",
                channel=name,
                quantity="noise_spectrum",
                unit="dBFS",
                frequency_hz=bands,
                value=[-98 + 2 * math.sin(hz) for hz in bands],
            ),
        )
    maker.add(
        "findings",
        Finding(
            id="hum-1",
            kind="hum",
            subject=take,
            role="single",
            channel=channels[0],
            quantity="hum_level",
            severity="strong",
            sentence="There is mains hum of -62 dB re the recorder's full scale in the left channel.",
            confidence="from one take: repeatability unknown",
            advice=["Try another outlet."],
        ),
    )
    maker.add(
        "not_measured",
        NotMeasured(
            subject=take,
            role="single",
            channel="both",
            quantity="gain",
            reason="A gain needs a direct take to compare with.",
        ),
    )
    return maker.results()


def direct_only_results() -> Results:
    maker = Maker(5)
    maker.take("direct-1.wav", "direct")
    direct_rows(maker, ("left", "right"))
    maker.change("gain", 0.003, "dB", 0.004, subject="direct", role="direct", channel="left", distinguishable=False)
    maker.add(
        "findings",
        Finding(
            id="bench-direct",
            kind="bench",
            subject="direct",
            role="direct",
            quantity="bench",
            severity="none",
            sentence="The bench without a device: level to 0.007 dB, hum of its own -96 dB re the track's full scale.",
        ),
    )
    return maker.results()


def empty_results() -> Results:
    return Maker().results(takes=[])


def hostile_results() -> Results:
    """Every text from outside is an attempt to break the page."""
    maker = Maker(13)
    for text in HOSTILE:
        use = {"port": text, "picture": text, "condition": {text: text}, "fix": text}
        maker.take(
            text,
            "through",
            device=text,
            sample_format=text,
            channel_map=text,
            track=TrackIdentity(name=text, length=text, layout=1),
            faults=[Fault(code=text, sentence=text, spoils=[text])],
            **use,
        )
        maker.measure(text, 1.0, text, 0.5, subject=text, role="through", channel="left", **use)
        maker.level("hum_level", -70, 0.5, subject=text, role="through", channel="left", **use)
        maker.change("gain", -0.5, "dB", 0.1, subject=text, role="through", channel="left", **use)
        maker.change(
            text,
            -0.5,
            text,
            0.1,
            subject=text,
            role="through",
            channel="left",
            contrast="fix",
            reference={text: text, "fix": {text: text}},
        )
        lines_of(maker, "mains", 50.0, -74, -130, subject=text, role="through", channel="left", **use)
        maker.add(
            "curves",
            Curve(
                id=text,
                subject=text,
                role="through",
                channel="left",
                quantity=text,
                unit=text,
                frequency_hz=[100.0, 1000.0],
                value=[1.0, 2.0],
            ),
        )
        maker.add(
            "traces",
            Trace(
                id=text,
                subject=text,
                role="through",
                channel="left",
                quantity=text,
                x=[0.0, 1.0],
                x_unit=text,
                y=[0.0, 1.0],
                unit=text,
            ),
        )
        maker.add(
            "findings",
            Finding(
                id=text,
                kind=text,
                subject=text,
                role="through",
                quantity=text,
                severity="clear",
                sentence=text,
                confidence=text,
                advice=[text],
                cautions=[text],
                evidence=[Evidence(measure=text)],
            ),
        )
        maker.add(
            "limits", LimitOutcome(subject=text, role="through", quantity=text, source=text, outcome="fail", max=1.0)
        )
        maker.add("not_measured", NotMeasured(subject=text, role="through", quantity=text, reason=text))
        maker.add("media", Media(id=text, file=text, sha256=text, caption=text))
    return maker.results(
        bench=Bench(id="x", name=HOSTILE[0], created=HOSTILE[1]),
        created=HOSTILE[3],
        humcheck_version=HOSTILE[7],
        versions={text: text for text in HOSTILE},
        settings=Settings(listening=list(HOSTILE)),
    )


def truth_rows() -> list[TruthRow]:
    """What a simulation might have used for `compare_results`."""
    return [
        TruthRow(subject="Alder", channel="left", quantity="gain", true_value=-0.3, unit="dB"),
        TruthRow(subject="Alder", channel="right", quantity="gain", true_value=-0.3, unit="dB"),
        TruthRow(subject="Alder", channel="left", quantity="hum_level", true_value=-71.0, unit="dBFS"),
        TruthRow(subject="Alder", channel="left", quantity="hiss_level", true_value=-109.0, unit="dBFS"),
        TruthRow(subject="Alder", channel="left", quantity="delay", true_value=12.0, unit="us"),
    ]
