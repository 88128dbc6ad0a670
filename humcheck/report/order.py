"""The order of complaints: which quantities and figures belong together, and in which order they are shown.

This is the only place that knows it; the page, its tables and the terminal summary follow.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from humcheck.report.text import visible
from humcheck.results import quantity
from humcheck.results.rows import Family


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """One complaint and all that is shown of it.

    Attributes
    ----------
    key : str
        Short name, also the kind of the findings that belong here.
    title : str
        Heading.
    question : str
        The complaint as a reader would put it.
    plain : str
        What it is, in sentences without trade terms.
    quantities : tuple of str
        What the main table shows, in order; each is followed by its ``_rel`` twin among the further readings.
    further : tuple of str
        Further readings of the same thing.
    charted : tuple of str
        Quantities that the level chart shows, a panel each.
    families : tuple of str
        Families of lines that the line spectrum shows.
    curve : str or None
        The quantity that is drawn over frequency.
    headline : tuple of str
        Quantities that may stand as this group's key number, best first.
    """

    key: str
    title: str
    question: str
    plain: str
    quantities: tuple[str, ...]
    further: tuple[str, ...] = ()
    charted: tuple[str, ...] = ()
    families: tuple[Family, ...] = ()
    curve: str | None = None
    headline: tuple[str, ...] = ()


GROUPS = (
    Group(
        key="hum",
        title="Hum",
        question="Does it hum?",
        plain="Hum is the low drone that mains electricity leaves in sound: steady tones at the mains frequency "
        "and at its multiples.",
        quantities=("hum_level", "hum_and_buzz_level", "other_lines_level", "digital_level"),
        further=("hum_level_a", "hum_frequency", "hum_wander", "resolvable_hum_level"),
        charted=("hum_level", "hum_and_buzz_level"),
        families=("mains", "mains_or_field", "digital", "other"),
        headline=("hum_level", "hum_and_buzz_level"),
    ),
    Group(
        key="buzz",
        title="Buzz",
        question="Does the picture buzz in the sound?",
        plain="Buzz is the rasp that a picture leaves in sound: tones at the rate at which the screen is redrawn and "
        "at its multiples. It grows with bright screens; a whistle is the same thing at the rate of the screen's "
        "lines.",
        quantities=("buzz_level", "whistle_level", "picture_coupling", "picture_correlation"),
        further=(
            "buzz_level_a",
            "resolvable_buzz_level",
            "buzz_frequency",
            "whistle_frequency",
            "picture_coupling_slope",
            "picture_coupling_curve",
            "picture_capacitance",
            "picture_ground_resistance",
            "picture_fold",
            "picture_fold_noise",
            "picture_rows",
        ),
        charted=("buzz_level", "whistle_level"),
        families=("field", "line_rate"),
        headline=("buzz_level", "hum_and_buzz_level"),
    ),
    Group(
        key="hiss",
        title="Hiss",
        question="Does it hiss?",
        plain="Hiss is the even rustle that is left of the noise when all steady tones are taken away.",
        quantities=("hiss_level", "noise_level"),
        further=(
            "hiss_level_a",
            "noise_level_a",
            "noise_level_468",
            "noise_level_ccir_rms",
            "hiss_spectrum",
            "resolvable_hiss_level",
        ),
        charted=("hiss_level",),
        curve="noise_spectrum",
        headline=("hiss_level", "noise_level"),
    ),
    Group(
        key="level",
        title="Level and balance",
        question="Is it louder or quieter, or off to one side?",
        plain="Level is how loud the sound comes out compared with the direct connection; balance is whether left and "
        "right stay equally loud.",
        quantities=("gain", "balance", "polarity", "dynamic_range", "delay"),
        further=("tone_level", "peak_level", "dynamic_range_a", "residual_level", "resolvable_gain"),
        charted=("gain", "balance"),
        headline=("gain", "tone_level"),
    ),
    Group(
        key="tone",
        title="Tone",
        question="Does it change the tone?",
        plain="Tone is whether low notes and high notes come through as loud as those in the middle. A level line "
        "means that every note is treated alike.",
        quantities=("response_span", "low_corner", "high_corner"),
        curve="response_delta",
        headline=("response_span",),
    ),
    Group(
        key="bleed",
        title="Bleed",
        question="Is one side, or another port, heard where it should not be?",
        plain="Bleed is sound that arrives where it should not: the left channel heard in the right one, or a "
        "neighbouring port heard in this one. The further down, the better apart they are kept.",
        quantities=("crosstalk_worst", "crosstalk_1k", "bleed_1k"),
        charted=("crosstalk_worst", "bleed_1k"),
        curve="crosstalk",
        headline=("crosstalk_1k", "crosstalk_worst", "bleed_1k"),
    ),
    Group(
        key="distortion",
        title="Distortion",
        question="Does it distort?",
        plain="Distortion is what a pure tone picks up on the way: overtones and mixtures that were not in it.",
        quantities=("thd", "thd_n", "imd_smpte", "imd_difference"),
        charted=("thd", "thd_n", "imd_smpte", "imd_difference"),
        curve="thd",
        headline=("thd", "thd_n"),
    ),
)

#: What all complaints about noise come down to. It is a prediction, so it stands apart from what was measured.
AUDIBILITY = Group(
    key="audibility",
    title="Audibility",
    question="Would anyone hear it?",
    plain="How far each noise would stand above the softest sound that can be heard, or below it where the figure is "
    "negative, for stated ways of listening in a quiet passage. This is a prediction: nobody knows how loud you "
    "listen, and the ranges say how much that matters.",
    quantities=("audible_margin", "audible_margin_hum", "audible_margin_buzz", "audible_margin_hiss"),
    further=(
        "audible_margin_hum_and_buzz",
        "audible_margin_whistle",
        "audible_margin_digital",
        "audible_margin_other",
    ),
)

#: What belongs to no complaint: quantities of a newer version, spreads over ports.
OTHER = Group(
    key="other",
    title="Other figures",
    question="What else was measured?",
    plain="Quantities that belong to none of the complaints above, or that this version does not know by name.",
    quantities=("port_spread", "click_rate", "thump_level"),
)

#: Roles in the order in which they are shown, with their words.
ROLE_WORDS = {
    "recorder": "Recorder alone",
    "source_off": "Source off",
    "direct": "Direct",
    "through": "Through",
    "added": "Added",
    "single": "Measured",
}

#: Kinds of findings that set devices beside each other: a card of their own, before those of the devices.
BESIDE_KINDS = ("ranking",)
#: Kinds of findings about all uses of a device: each is told by itself, and in full even of many uses.
WHOLE_KINDS = ("ports", "loading", "fixes", "hunt", "limits")
#: Kinds of which none stands for another: each is about another thing.
APART_KINDS = ("take", "no-sound", "conditions", *WHOLE_KINDS, *BESIDE_KINDS)
#: Kinds of findings that are notes about the bench, or a recording, as long as they weigh nothing.
NOTE_KINDS = ("bench", "not-tested", "not-compared", "readiness", "take", *BESIDE_KINDS)

#: Families of lines in words, in the order of legends.
FAMILY_WORDS: dict[Family, str] = {
    "mains": "mains",
    "field": "picture's field rate",
    "mains_or_field": "mains or picture, not separable",
    "line_rate": "picture's line rate",
    "digital": "digital frames",
    "other": "other steady tone",
}

SEVERITY_ORDER = ("strong", "clear", "slight", "none")
SEVERITY_WORDS = {"strong": "Strong", "clear": "Clear", "slight": "Slight", "none": "None"}


def title_of(name: str) -> str:
    """Return a quantity's heading; a level's ``_rel`` twin says what it is relative to."""
    title = visible(quantity(name).title)
    return f"{title}, re the track" if name.endswith("_rel") else title


@lru_cache(maxsize=512)
def group_of(name: str) -> Group:
    """Return the group that a quantity belongs to; ``_rel`` twins go with their level."""
    base = name.removesuffix("_rel")
    for group in (*GROUPS, AUDIBILITY):
        if base in group.quantities or base in group.further or base == group.curve:
            return group
    return OTHER


def group_of_kind(kind: str, quantity_name: str) -> Group:
    """Return the group that a finding belongs to: by its kind, else by its quantity."""
    return next((group for group in GROUPS if group.key == kind), group_of(quantity_name))


@lru_cache(maxsize=512)
def rank(name: str) -> tuple[int, int, str]:
    """Return a sort key that puts quantities in the order of complaints, unknown ones last by name."""
    base = name.removesuffix("_rel")
    for index, group in enumerate((*GROUPS, AUDIBILITY, OTHER)):
        names = (*group.quantities, *group.further, group.curve)
        if base in names:
            return index, 2 * names.index(base) + name.endswith("_rel"), name
    return len(GROUPS) + 2, 0, name


def is_further(name: str) -> bool:
    """Return whether a quantity is a further reading, shown folded below the main table."""
    return name.endswith("_rel") or name in group_of(name).further
