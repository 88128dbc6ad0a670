"""The registry of quantities: a quantity exists only as an entry here.

Tables, tooltips and CSV headings come from these entries. Every level exists in dBFS and, with the suffix ``_rel``,
in dBr (re the track's own full scale as it arrives in the direct take); the ``_rel`` entries are made from the others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Kind = Literal["level", "ratio", "frequency", "percent", "number", "curve"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One entry of the registry.

    Attributes
    ----------
    name : str
        Name as it stands in results files.
    title : str
        Heading for people.
    unit : str
        Unit symbol; empty for a pure number.
    kind : str
        ``"level"`` (dBFS), ``"ratio"`` (dB), ``"frequency"``, ``"percent"``, ``"number"`` or ``"curve"``.
    definition : str
        What is measured, in a sentence.
    lower_is_better : bool or None
        None where neither end is better.
    decimals : int
        Digits after the point when shown.
    """

    name: str
    title: str
    unit: str
    kind: Kind
    definition: str
    lower_is_better: bool | None = None
    decimals: int = 1


def _level(name: str, title: str, definition: str, unit: str = "dBFS") -> Quantity:
    return Quantity(name=name, title=title, unit=unit, kind="level", definition=definition, lower_is_better=True)


def _entry(
    name: str,
    title: str,
    unit: str,
    kind: Kind,
    definition: str,
    *,
    lower_is_better: bool | None = None,
    decimals: int = 2,
) -> Quantity:
    return Quantity(
        name=name,
        title=title,
        unit=unit,
        kind=kind,
        definition=definition,
        lower_is_better=lower_is_better,
        decimals=decimals,
    )


_LEVELS = (
    _level(
        "hum_level", "Hum", "RMS sum of the mains family up to 20 kHz, undetected lines with their unbiased estimate"
    ),
    _level("hum_level_a", "Hum, A-weighted", "The mains family, A-weighted (IEC 61672-1)", "dBFS(A)"),
    _level("buzz_level", "Picture buzz", "RMS sum of the family at the picture's field rate, up to 20 kHz"),
    _level("buzz_level_a", "Picture buzz, A-weighted", "The field-rate family, A-weighted (IEC 61672-1)", "dBFS(A)"),
    _level("hum_and_buzz_level", "Hum and buzz together", "Both families where they cannot be told apart"),
    _level("whistle_level", "Line whistle", "Lines at the picture's line rate, where the recording reaches that high"),
    _level(
        "picture_coupling",
        "Picture in the sound",
        "Level at which a luma sine of full swing (black to white) at 1 kHz would stand in the sound, read from a "
        "smooth curve of coupling over frequency; luma is the code value, the active share of a line the standard's",
    ),
    _level("digital_level", "Digital frame noise", "Lines at multiples of 1 kHz and 8 kHz frame rates"),
    _level("other_lines_level", "Other steady tones", "Steady lines of no known family"),
    _level("hiss_level", "Hiss", "Noise without the lines, 20 Hz-20 kHz"),
    _level("hiss_level_a", "Hiss, A-weighted", "Noise without the lines, A-weighted, 20 Hz-20 kHz", "dBFS(A)"),
    _level(
        "noise_level", "All noise", "Everything in the quiet section, 20 Hz-20 kHz or the band that the rate allows"
    ),
    _level(
        "thump_level",
        "Thump",
        "Largest excursion while a plug was moved or the device switched over, as a sine that reaches so far",
    ),
    _level("noise_level_a", "All noise, A-weighted", "The quiet section, A-weighted (IEC 61672-1)", "dBFS(A)"),
    _level("noise_level_468", "All noise, quasi-peak", "Quasi-peak per ITU-R BS.468-4, 0 dB at 1 kHz", "dBFS(qp)"),
    _level(
        "noise_level_ccir_rms", "All noise, CCIR-RMS", "AES17's RMS reading, 0 dB at 2 kHz, 20 Hz-20 kHz", "dBFS(CCIR)"
    ),
)

_HEARD = (
    ("", "all noise", "everything in the quiet section"),
    ("_hum", "hum", "the mains family"),
    ("_buzz", "picture buzz", "the field-rate family"),
    ("_hum_and_buzz", "hum and buzz together", "both families where they cannot be told apart"),
    ("_whistle", "line whistle", "lines at the line rate"),
    ("_digital", "digital frame noise", "lines of digital frames"),
    ("_other", "other steady tones", "steady lines of no known family"),
    ("_hiss", "hiss", "noise without the lines"),
)
_MARGINS = tuple(
    _entry(
        f"audible_margin{ending}",
        f"Audible margin of {name}",
        "dB",
        "ratio",
        f"Largest excess of {what} over the threshold of hearing, the room's noise and masking in auditory bands, for "
        "one listening setting; negative is inaudible. A prediction, whose range holds the uncertainty of the assumed "
        "sound pressure; of an added part as if nothing else of its kind were heard",
        lower_is_better=True,
        decimals=0,
    )
    for ending, name, what in _HEARD
)

_RESOLVABLE = tuple(
    _entry(
        f"resolvable_{name}",
        f"Smallest change of {title} that shows",
        "dB",
        "ratio",
        f"Smallest change of {title} that this bench would tell apart (95 %), four times in five, with three replugged "
        "takes on each side; from the scatter of the direct takes over the day",
        lower_is_better=True,
    )
    for name, title in (
        ("gain", "level"),
        ("hum_level", "hum"),
        ("buzz_level", "picture buzz"),
        ("hiss_level", "hiss"),
    )
)

_OTHERS = (
    _entry("gain", "Gain", "dB", "ratio", "Through over direct at 997 Hz with only that channel driven"),
    _entry(
        "tone_level", "Level of the 997 Hz tone", "dBFS", "level", "The 997 Hz level tone as it arrives in the take"
    ),
    _entry(
        "peak_level",
        "Loudest peak",
        "dBFS",
        "level",
        "Largest sample of a recording that holds no track, as the level of a sine that reaches so far",
        decimals=1,
    ),
    _entry("balance", "Balance", "dB", "ratio", "Left minus right at 997 Hz"),
    _entry("polarity", "Polarity", "", "number", "1 or -1, sign of the through path re direct", decimals=0),
    _entry(
        "hum_frequency", "Mains frequency", "Hz", "frequency", "Mean over the quiet sections, take's clock", decimals=4
    ),
    _entry("hum_wander", "Mains wander", "mHz", "frequency", "Standard deviation of 1 s means", decimals=1),
    _entry("buzz_frequency", "Field rate", "Hz", "frequency", "Field rate of the picture, take's clock", decimals=5),
    _entry("whistle_frequency", "Line rate", "Hz", "frequency", "Line rate of the picture, take's clock", decimals=3),
    _entry(
        "noise_spectrum", "Noise spectrum", "dBFS", "curve", "Third-octave bands (IEC 61260-1)", lower_is_better=True
    ),
    _entry(
        "hiss_spectrum",
        "Hiss spectrum",
        "dBFS",
        "curve",
        "Noise without the lines in third-octave bands (IEC 61260-1)",
        lower_is_better=True,
    ),
    _entry(
        "picture_coupling_slope",
        "Slope of the picture's leak",
        "dB/octave",
        "ratio",
        "Slope at 1 kHz of the coupling from picture to sound: near 6 stray capacitance or induction, near 0 a shared "
        "ground; its bend (in the row's detail) is by how much the slope grows within the octave about 1 kHz",
    ),
    _entry(
        "picture_coupling_curve",
        "Picture in the sound over frequency",
        "dBFS",
        "curve",
        "Level at which a luma sine of full swing would stand in the sound: a smooth curve fitted to the picture's "
        "lines",
        lower_is_better=True,
        decimals=1,
    ),
    _entry(
        "picture_fold",
        "Sound folded over one field",
        "uFS",
        "curve",
        "Mean over all fields of the quiet section of the sound that repeats with them, up to half the line rate, from "
        "twelve lines above the picture on; what hum covers is taken from the fitted coupling. In millionths of full "
        "scale",
        decimals=1,
    ),
    _entry(
        "picture_fold_noise",
        "Noise left in the folded sound",
        "uFS",
        "curve",
        "Standard deviation of what noise leaves in the mean over all fields; millionths of full scale",
        decimals=1,
    ),
    _entry(
        "picture_rows",
        "Rows of the picture",
        "",
        "curve",
        "Brightness of each line of a field, 0 black to 1 white, at the time at which it is drawn",
        decimals=2,
    ),
    _entry(
        "picture_capacitance",
        "Stray capacitance from picture to sound",
        "pF",
        "number",
        "Capacitance from a 0.7 V video line into the sound line that leaks as much at 1 kHz, from the circuit values "
        "given (first-order high-pass)",
        lower_is_better=True,
        decimals=2,
    ),
    _entry(
        "picture_ground_resistance",
        "Resistance of the shared ground",
        "mohm",
        "number",
        "Resistance that leaks as much if the current of a video line (0.7 V into 75 ohm) and the sound share it, from "
        "the circuit values given",
        lower_is_better=True,
        decimals=2,
    ),
    _entry(
        "picture_correlation",
        "Share that follows the picture",
        "",
        "number",
        "Share of the quiet section's energy, 100 Hz-8 kHz, mains family removed, that follows the picture; its "
        "p-value (in the row's detail) is the probability that a section without the picture would match as well "
        "anywhere; coded rows count as found below 0.001",
        lower_is_better=True,
        decimals=6,
    ),
    _entry("response_delta", "Response", "dB", "curve", "Through over direct, the gain included", decimals=3),
    _entry(
        "response_span",
        "Tone change",
        "dB",
        "ratio",
        "Largest minus smallest response in the valid band, 1/12 octave, what noise alone would give taken off",
        lower_is_better=True,
    ),
    _entry("low_corner", "Low corner", "Hz", "frequency", "-3.01 dB re 997 Hz below it, through re direct", decimals=2),
    _entry(
        "high_corner", "High corner", "Hz", "frequency", "-3.01 dB re 997 Hz above it, through re direct", decimals=0
    ),
    _entry("crosstalk", "Crosstalk", "dB", "curve", "Idle channel re driven channel in one take", lower_is_better=True),
    _entry(
        "crosstalk_1k", "Crosstalk at 1 kHz", "dB", "ratio", "Idle re driven channel at 1000 Hz", lower_is_better=True
    ),
    _entry(
        "crosstalk_worst", "Worst crosstalk", "dB", "ratio", "Largest crosstalk in the valid band", lower_is_better=True
    ),
    _entry(
        "bleed_1k",
        "Bleed at 1 kHz",
        "dB",
        "ratio",
        "Sound of a driven neighbouring port in this one",
        lower_is_better=True,
    ),
    _entry(
        "thd",
        "Harmonic distortion",
        "percent",
        "percent",
        "RMS of harmonics 2-10 of 997 Hz",
        lower_is_better=True,
        decimals=4,
    ),
    _entry(
        "thd_n",
        "Distortion and noise",
        "percent",
        "percent",
        "Everything but the 997 Hz tone over the total, 20 Hz-20 kHz",
        lower_is_better=True,
        decimals=4,
    ),
    _entry(
        "imd_smpte",
        "Intermodulation 60 Hz + 7 kHz",
        "percent",
        "percent",
        "Sidebands re 7 kHz",
        lower_is_better=True,
        decimals=4,
    ),
    _entry(
        "imd_difference",
        "Intermodulation 19 + 20 kHz",
        "percent",
        "percent",
        "Difference-frequency products re the sum of both tones",
        lower_is_better=True,
        decimals=4,
    ),
    _entry(
        "dynamic_range",
        "Dynamic range",
        "dB",
        "ratio",
        "Full scale as received over the residual with the -60 dBFS tone removed, CCIR-RMS",
        lower_is_better=False,
        decimals=1,
    ),
    _entry(
        "dynamic_range_a",
        "Dynamic range, A-weighted",
        "dB",
        "ratio",
        "The same, A-weighted",
        lower_is_better=False,
        decimals=1,
    ),
    _entry(
        "residual_level",
        "Null residual",
        "dB",
        "ratio",
        "What is left re direct once level, delay and linear response are removed",
        lower_is_better=True,
        decimals=1,
    ),
    _entry(
        "click_rate",
        "Clicks",
        "1/min",
        "number",
        "Clicks a minute while a plug was moved or the device switched over, nothing playing",
        lower_is_better=True,
        decimals=0,
    ),
    _entry("delay", "Delay", "us", "number", "Through minus direct from a split take"),
    *_MARGINS,
    *_RESOLVABLE,
    _entry("port_spread", "Port spread", "", "number", "Largest minus smallest over ports", lower_is_better=True),
)


def _relative(level: Quantity) -> Quantity:
    return replace(
        level,
        name=level.name + "_rel",
        unit=level.unit.replace("dBFS", "dBr"),
        definition=level.definition + "; re the track's full scale as it arrives in the direct take",
    )


QUANTITIES: dict[str, Quantity] = {
    entry.name: entry for entry in (*_LEVELS, *(_relative(level) for level in _LEVELS), *_OTHERS)
}


def quantity(name: str) -> Quantity:
    """Return the registry's entry; an unknown name (from a newer results file) gets a plain one."""
    known = QUANTITIES.get(name)
    if known is not None:
        return known
    return Quantity(name=name, title=name, unit="", kind="number", definition="not known to this version")
