"""Colours: contrast as WCAG 2.1 defines it, and told apart by colour-blind readers, in light, dark and print."""

from __future__ import annotations

import re

import numpy as np
import pytest

from humcheck.report.page import render_page
from tests.report import fake_results
from tests.report.page_reader import read_page

TEXT = ("ink", "soft", "accent", "strong", "clear", "slight", "none")
MARKS = ("left", "right", "mono", "direct")
BACKGROUNDS = ("paper", "raised", "tint")
#: Full protanopia and deuteranopia on linear RGB, Machado, Oliveira and Fernandes 2009 (from memory).
BLINDNESS = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "none": np.eye(3).tolist(),
}


def palettes() -> dict[str, dict[str, str]]:
    style = read_page(render_page(fake_results.empty_results())).first("style").text
    blocks = re.findall(r":root\s*\{(.*?)\}", style, re.DOTALL)
    found = [dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{3,6})", block)) for block in blocks]
    light, dark, printed = found
    return {"light": light, "dark": light | dark, "print": light | printed}


PALETTES = palettes()


def linear(colour: str) -> np.ndarray:
    """Return linear RGB, 0 to 1 (IEC 61966-2-1)."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    coded = np.array([int(digits[index : index + 2], 16) for index in (0, 2, 4)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    return float(np.dot([0.2126, 0.7152, 0.0722], linear(colour)))


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio (WCAG 2.1, 1.4.3)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """Return CIE L*a*b* under D65."""
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = matrix @ np.clip(rgb, 0, 1) / np.array([0.9505, 1.0, 1.089])
    root = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def test_black_on_white_has_the_contrast_that_the_standard_names():
    assert contrast("#000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("name", PALETTES)
@pytest.mark.parametrize("background", BACKGROUNDS)
@pytest.mark.parametrize("colour", TEXT)
def test_text_has_enough_contrast(name, background, colour):
    assert contrast(PALETTES[name][colour], PALETTES[name][background]) >= 4.5


@pytest.mark.parametrize("name", PALETTES)
@pytest.mark.parametrize("colour", MARKS)
def test_marks_and_focus_have_enough_contrast(name, colour):
    assert contrast(PALETTES[name][colour], PALETTES[name]["paper"]) >= 3.0
    assert contrast(PALETTES[name]["focus"], PALETTES[name]["paper"]) >= 3.0


@pytest.mark.parametrize("name", PALETTES)
@pytest.mark.parametrize("blindness", BLINDNESS)
def test_left_right_and_direct_are_told_apart_by_every_eye(name, blindness):
    seen = {colour: lab(np.array(BLINDNESS[blindness]) @ linear(PALETTES[name][colour])) for colour in MARKS}
    for one, other in (("left", "right"), ("left", "direct"), ("right", "direct")):
        assert np.linalg.norm(seen[one] - seen[other]) > 15, (one, other)
