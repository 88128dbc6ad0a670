"""The part of the page to listen to: sounds in the page itself, a caution before them, absent ones said."""

import base64
import re
from pathlib import Path

import msgspec
import pytest

from humcheck.report.page import render_page
from tests.report import fake_results
from tests.report.fake_results import HOSTILE
from tests.report.listened_results import SOUNDS, listened_results
from tests.report.page_reader import read_page


@pytest.fixture(scope="module")
def listened():
    results, sounds = listened_results()
    return results, sounds, render_page(results, sounds=sounds)


@pytest.fixture(scope="module")
def section(listened):
    return read_page(listened[2]).first("section", id="listen")


def test_every_sound_is_in_the_page_itself(listened, section):
    _, sounds, _ = listened
    players = section.all("audio")
    assert len(players) == len(SOUNDS)
    for player, content in zip(players, sounds.values(), strict=True):
        kind, data = player.attributes["src"].split(",")
        assert kind == "data:audio/flac;base64"
        assert base64.b64decode(data) == content


def test_nothing_starts_by_itself_and_nothing_is_loaded_before(section):
    for player in section.all("audio"):
        assert player.attributes["preload"] == "none"
        assert "controls" in player.attributes
        assert not {"autoplay", "loop"} & set(player.attributes)


def test_the_caution_stands_before_the_first_player(section):
    text = section.words
    assert text.index("Turn the volume down before you play anything.") < text.index("Direct: the quiet section")
    tags = [element.attributes.get("class", element.tag) for element in section.all()]
    assert tags.index("caution") < tags.index("audio")


def test_every_sound_has_a_caption_and_its_length(section):
    items = [item for players in section.all("ul", class_="players") for item in players.all("li")]
    assert len(items) == len(SOUNDS)
    for item, (_, _, seconds, caption) in zip(items, SOUNDS, strict=True):
        words = item.words.replace("\u00a0", " ").replace("\u2212", "-")
        assert caption in words
        assert words.endswith(f"{seconds:.1f} s")
        assert item.first("audio").attributes["aria-labelledby"] == item.first("p").attributes["id"]


def test_the_raise_is_said_in_plain_words(section):
    # Derived: 42 dB is a factor of 126 in amplitude.
    assert "raised by 42 dB, which makes it 126 times as strong as it is." in section.words.replace("\u00a0", " ")
    assert "1 more way of using it was measured but is not played here." in section.words


def test_the_policy_lets_the_pages_own_sounds_be_played_and_nothing_else(listened):
    def policy(page):
        return read_page(page).first("meta", http_equiv="Content-Security-Policy").attributes["content"]

    assert "media-src data:;" in policy(listened[2])
    assert policy(listened[2]).startswith("default-src 'none';")
    assert "media-src" not in policy(render_page(fake_results.compare_results()))


def test_a_finding_leads_to_what_lets_one_hear_it(listened):
    root = read_page(listened[2])
    links = [link for link in root.first("section", id="found").all("a") if link.words.startswith("Listen")]
    assert [link.words for link in links] == ["Listen: the hum alone"]
    target = root.first("li", id=links[0].attributes["href"][1:])
    assert target.words.startswith("The hum alone")


def test_absent_sounds_are_said_and_their_captions_kept(listened):
    results, _, _ = listened
    page = render_page(results)
    section = read_page(page).first("section", id="listen")
    assert not section.all("audio")
    assert "4 excerpts of these results are not part of this page" in section.words
    assert "alder-evidence" in section.words
    assert "The hum alone" in section.words
    assert "Turn the volume down" not in section.words
    assert "Listen: " not in read_page(page).first("section", id="found").words


def test_some_absent_and_some_there(listened):
    results, sounds, _ = listened
    page = render_page(results, sounds={"media-1": sounds["media-1"], "media-2": b"no sound at all" * 10})
    section = read_page(page).first("section", id="listen")
    assert len(section.all("audio")) == 1
    assert "3 excerpts of these results are not part" in section.words


def test_programme_and_quiet_section_are_groups_of_their_own(listened):
    results, sounds, _ = listened
    first, second, *parts = results.media
    programme = [
        msgspec.structs.replace(row, id=f"p{number}", kind="programme", raised_db=-3.0)
        for number, row in enumerate((first, second))
    ]
    both = msgspec.structs.replace(results, media=[*programme, first, second, *parts])
    heard = sounds | {"p0": sounds["media-1"], "p1": sounds["media-2"]}
    section = read_page(render_page(both, sounds=heard)).first("section", id="listen")
    groups = section.all("section", class_="listen")
    assert [group.first("h3").words for group in groups] == ["Alder: the programme", "Alder: the quiet section"]
    assert [len(group.first("ul", class_="whole").all("audio")) for group in groups] == [2, 2]
    assert "The programme is lowered by 3 dB." in groups[0].words.replace("\u00a0", " ")


def test_results_without_sounds_have_no_such_part():
    root = read_page(render_page(fake_results.bench_results(["Alder"], ports=1, pictures=["white"])))
    assert not root.all("section", id="listen")
    # Other files that are named beside the results are listed with the recordings.
    assert "alder-hum.wav" in root.first("section", id="recordings").words


@pytest.mark.parametrize("text", HOSTILE)
def test_names_from_outside_never_become_markup(text):
    results, sounds = listened_results(text)
    page = render_page(results, sounds=sounds)
    page.encode("utf-8")
    assert "<script>alert" not in page
    assert "<img" not in page
    assert "<b>bold" not in page
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\ud800-\udfff]", page)
    root = read_page(page)
    assert len(root.all("script")) == 2
    assert len(root.first("section", id="listen").all("audio")) == len(SOUNDS)
    for player in root.all("audio"):
        assert set(player.attributes) == {"controls", "preload", "aria-labelledby", "data-label", "src"}


def test_it_prints_as_a_sentence(section):
    said = section.first("p", class_="on-paper").words
    assert said == "These sounds can be heard when the page is opened on a screen: Alder (4)."


def test_links_and_names_of_the_page_stay_whole(listened):
    root = read_page(listened[2])
    names = [element.attributes["id"] for element in root.all() if "id" in element.attributes]
    assert len(names) == len(set(names))
    assert all(link.attributes["href"][1:] in names for link in root.all("a"))
    assert "#listen" in [link.attributes["href"] for link in root.first("nav").all("a")]


def test_the_example_page_stays_light():
    example = Path(__file__).parents[2] / "reports" / "example"
    for page in example.glob("*.html"):
        assert page.stat().st_size < 1_500_000
