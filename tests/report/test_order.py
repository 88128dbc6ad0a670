"""The order of complaints, kept in one place."""

from __future__ import annotations

from humcheck.report.order import GROUPS, OTHER, group_of, group_of_kind, is_further, rank, title_of
from humcheck.results import QUANTITIES


def test_the_complaints_come_in_their_order():
    assert [group.key for group in GROUPS] == ["hum", "buzz", "hiss", "level", "tone", "bleed", "distortion"]


def test_every_quantity_of_the_registry_has_its_place():
    strays = {name.removesuffix("_rel") for name in QUANTITIES if group_of(name) is OTHER}
    assert strays == {"port_spread", "click_rate", "thump_level"}
    assert strays == set(OTHER.quantities)


def test_no_quantity_belongs_to_two_complaints():
    names = [name for group in (*GROUPS, OTHER) for name in (*group.quantities, *group.further)]
    assert len(names) == len(set(names))


def test_quantities_of_other_versions_come_last():
    names = sorted(["zzz_new", "thd", "hum_level_rel", "hum_level", "gain"], key=rank)
    assert names == ["hum_level", "hum_level_rel", "gain", "thd", "zzz_new"]
    assert group_of("zzz_new") is OTHER


def test_levels_re_the_track_are_further_readings_with_a_heading_of_their_own():
    assert is_further("hum_level_rel")
    assert not is_further("hum_level")
    assert title_of("hum_level_rel") != title_of("hum_level")


def test_findings_are_sorted_by_kind_before_quantity():
    assert group_of_kind("buzz", "hum_and_buzz_level").key == "buzz"
    assert group_of_kind("take", "take") is OTHER
