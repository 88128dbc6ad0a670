"""Excerpts in a real browser: they load and last as long as they say, one at a time, low, switched at one moment."""

import json

import pytest

from humcheck.report.page import render_page
from tests.report.browser import chromium, node_package
from tests.report.listened_results import SOUNDS, listened_results

pytestmark = pytest.mark.slow

AUDIO = "[...document.querySelectorAll('#listen audio')]"
BUTTON = "document.querySelector('#listen .switch')"


def waited(expression, what="true"):
    """A script that waits up to 5 s for a condition and returns a value."""
    return (
        "new Promise((done, failed) => { const end = Date.now() + 5000; (function look() {"
        f"if ({expression}) {{ done({what}); }} else if (Date.now() > end) {{ failed('waited in vain'); }}"
        " else { setTimeout(look, 20); } })(); })"
    )


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    with chromium(tmp_path_factory.mktemp("profile")) as running:
        yield running


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    results, sounds = listened_results()
    path = tmp_path_factory.mktemp("page") / "listen.html"
    path.write_text(render_page(results, sounds=sounds), encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def _opened(page, file):
    page.requests()
    page.open(file)


def press(page):
    page.command(
        "Runtime.evaluate", expression=f"{BUTTON}.click()", userGesture=True, awaitPromise=True, returnByValue=True
    )


def test_nothing_is_loaded_or_played_before_a_reader_asks(page):
    assert page.value(f"{AUDIO}.every(one => one.readyState === 0 && one.paused)")
    assert page.value(f"{AUDIO}.map(one => one.volume)") == pytest.approx([0.3] * len(SOUNDS), abs=0.01)


def test_every_sound_loads_and_lasts_as_long_as_it_says(page, file):
    page.value(f"{AUDIO}.forEach(one => {{ one.preload = 'metadata'; one.load(); }})")
    lengths = page.value(waited(f"{AUDIO}.every(one => one.readyState > 0)", f"{AUDIO}.map(one => one.duration)"))
    assert lengths == pytest.approx([seconds for _, _, seconds, _ in SOUNDS], abs=0.01)
    assert page.console() == []
    assert [address for address in page.requests() if not address.startswith("data:")] == [file.as_uri()]


def test_one_sound_plays_at_a_time_and_the_button_changes_places_at_the_same_moment(page):
    assert page.value(f"{BUTTON}.textContent") == "Play: Direct. Press again to switch at the same moment"
    press(page)
    page.value(waited(f"!{AUDIO}[0].paused && {AUDIO}[0].currentTime > 0.3"))
    assert page.value(f"{BUTTON}.textContent") == "Switch to: Through Alder"
    press(page)
    at = page.value(
        waited(f"!{AUDIO}[1].paused", f"[{AUDIO}[0].currentTime, {AUDIO}[1].currentTime, {AUDIO}[0].paused]")
    )
    assert at[2]
    assert at[1] == pytest.approx(at[0], abs=0.25)
    assert at[1] >= 0.25
    page.command("Runtime.evaluate", expression=f"{AUDIO}[2].play()", userGesture=True)
    page.value(waited(f"!{AUDIO}[2].paused"))
    assert page.value(f"{AUDIO}.filter(one => !one.paused).length") == 1


def test_all_have_one_volume(page):
    page.value(f"{AUDIO}[1].volume = 0.6")
    volumes = page.value(waited(f"{AUDIO}[3].volume > 0.5", f"{AUDIO}.map(one => one.volume)"))
    assert volumes == pytest.approx([0.6] * len(SOUNDS), abs=0.01)


def test_the_button_is_reached_and_pressed_by_keyboard(page):
    from selenium.webdriver.common.keys import Keys

    button = page.driver.find_element("css selector", "#listen .switch")
    page.value(f"{BUTTON}.focus()")
    button.send_keys(Keys.ENTER)
    page.value(waited(f"!{AUDIO}[0].paused"))
    assert page.value(f"document.activeElement === {BUTTON}")


@pytest.mark.parametrize("width", [390, 1280])
def test_players_are_no_wider_than_the_screen(page, file, width):
    page.open(file, width=width)
    assert page.value("document.documentElement.scrollWidth") <= width
    assert page.value(f"{AUDIO}.every(one => one.getBoundingClientRect().width >= 200)")


def test_paper_has_a_sentence_in_place_of_players(page):
    page.command("Emulation.setEmulatedMedia", media="print")
    shown = page.value(f"[{AUDIO}.some(one => one.getClientRects().length), {BUTTON}.getClientRects().length,"
                       "document.querySelector('.caution').getClientRects().length,"
                       "document.querySelector('.on-paper').getClientRects().length]")  # fmt: skip
    page.command("Emulation.setEmulatedMedia", media="")
    assert shown == [False, 0, 0, 1]


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)], ids=["wide and light", "narrow and dark"])
def test_no_violation_of_accessibility_rules(page, file, width, dark):
    checker = (node_package("axe-core") / "axe.min.js").read_text(encoding="utf-8")
    page.open(file, width=width, dark=dark)
    page.value(checker + "; 0")
    found = json.loads(
        page.value(
            "axe.run('#listen', {resultTypes: ['violations']}).then(result => JSON.stringify("
            "result.violations.map(one => [one.id, one.nodes.map(node => node.html.slice(0, 200))])))"
        )
    )
    assert found == []
