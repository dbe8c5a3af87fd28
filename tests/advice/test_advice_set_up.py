"""The set-up as a whole: five fields that anyone in the trade would know what to do with."""

from __future__ import annotations

import json
import math

import pytest
from small_fields import TABLES, shoes
from small_set_ups import about, advise, best, cost_of, marks

from fieldmap.advice.cut import FLOOD_CAUTION
from fieldmap.advice.set_up import UNLOOKED
from fieldmap.errors import MisuseError
from fieldmap.risk.strikes import no_things

GRASS = {"skid_shoes": shoes(0.05, 0.08, 0.10), "conditioner": "tine"}
WHATS = [
    "knife",
    "cut height and skid shoe",
    "cutterbar tilt",
    "cutterbar float",
    "conditioner",
    "roll gap to start with",
    "roll gap check",
    "set-up compared",
]


def test_sorghum_sudan_after_a_drought_by_hand() -> None:
    """By hand: the taller shoe, whatever the hay is worth, and the nitrate test before it."""
    machine = {"skid_shoes": shoes(0.10, 0.16, 0.20), "conditioner": "steel_rolls"}
    found = advise(crop="sorghum-sudan", drought=True, machine=machine)
    assert best(found).cut_m == 0.20
    assert about(found, "nitrate test").choice == "test before feeding"
    assert about(found, "nitrate test").level == "care"
    whats = [told.finding.what for told in found.told]
    assert whats.index("nitrate test") < whats.index("set-up compared")
    wet = advise(crop="sorghum-sudan", drought=False, machine=machine)
    assert best(wet).cut_m == 0.16  # no word on nitrate: what hay it saves decides
    assert any("After a drought" in words for words in wet.flips)
    assert any("Had it not stood in a drought" in words for words in found.flips)


def test_nobody_said_whether_there_was_a_drought_by_hand() -> None:
    """By hand: cut as after one, and the nitrate finding unknown until somebody says."""
    found = advise(crop="sorghum-sudan", drought=None, machine={"skid_shoes": shoes(0.16, 0.2)})
    assert best(found).cut_m == 0.2
    assert about(found, "nitrate test").level == "unknown"
    (change,) = (one.change for one in found.told if one.finding.what == "nitrate test")
    assert "drought" in change
    assert "cut as if there was" in " ".join(found.unknown)
    assert "nitrate test" not in [t.finding.what for t in advise(drought=None).told]


def test_the_nitrate_floor_is_that_of_droughted_corn_by_hand() -> None:
    """By hand: oats are cut at 3 to 4 in, after a drought at 6 to 12 in."""
    found = advise(crop="oats", drought=True, machine={"skid_shoes": shoes(0.10, 0.16)})
    cut = about(found, "cut height and skid shoe")
    assert (cut.low, cut.high, cut.value) == (0.1524, 0.3048, 0.16)
    wet = about(advise(crop="oats", machine=GRASS), "cut height and skid shoe")
    assert (wet.low, wet.high) == (0.0762, 0.1016)


def test_clean_alfalfa_keeps_what_is_fitted_by_hand() -> None:
    """By hand: 2.5 in shoe and high-lift knives on 5 ha, clean, second cutting.

    To change all knives: 0.75 h at 110 = 82.5. High-lift knives bring 0.8 points of ash, 0.784 of
    58 points of TDN, of 5 ha x 4 t x 200: 54. The taller shoe gives up 1.25 cm x 0.163 x 5 ha x
    200 = 204, and half an hour to change it, 55; it saves 1.27 cm x 0.3 points of ash: 26.
    """
    machine = {
        "skid_shoes": shoes(0.0635, 0.076),
        "fitted_shoe": "shoe 0.064",
        "fitted_knives": "high_lift",
    }
    found = advise(machine=machine, area_ha=5.0)
    assert (best(found).knife, best(found).cut_m) == ("high_lift", 0.0635)
    other = {one.name: one for one in found.options}["low-lift knife, skid shoe: shoe 0.064"]
    assert other.parts["changing"][1] == pytest.approx(82.5)
    bring = cost_of(found, "feed value") - other.parts["feed value"][1]
    assert bring == pytest.approx(0.8 * 0.98 / 58 * 5 * 4 * 200)
    assert found.margin is not None
    assert found.margin[1] == pytest.approx(82.5 - bring)
    taller = {one.name: one for one in found.options}["high-lift knife, skid shoe: shoe 0.076"]
    assert taller.parts["yield"][1] == pytest.approx(1.25 * 0.163 * 5 * 200)
    assert taller.parts["changing"][1] == pytest.approx(55.0)
    knife = about(found, "knife")
    assert (knife.level, knife.choice) == ("ok", "high-lift knife")
    assert "to change them costs more than the soil they bring" in knife.why
    assert any("An hour" in w or "an hour of machine" in w for w in found.flips)


def test_a_lodged_crop_on_clean_ground_takes_high_lift_by_hand() -> None:
    """By hand: 5 % of 32 t at 200 is 320; the soil they bring costs 87."""
    found = advise(lodged=True, machine={"fitted_knives": "low_lift"})
    assert best(found).knife == "high_lift"
    assert about(found, "knife").choice == "high-lift knife"
    assert about(found, "cutterbar tilt").value == 10.0
    assert any("not lodged" in words for words in found.flips)
    small = advise(lodged=True, machine={"fitted_knives": "low_lift"}, area_ha=0.5)
    assert best(small).knife == "low_lift"
    assert "costs more than the crop they leave lying" in about(small, "knife").why


def test_stony_bench_by_hand() -> None:
    """By hand: low-lift, the taller shoe, the flattest tilt, the lighter float, and care."""
    found = advise(*["stone"] * 300, crop="orchardgrass", stoniness=3.0, machine=GRASS)
    assert (best(found).knife, best(found).cut_m) == ("low_lift", 0.10)
    assert about(found, "cutterbar tilt").value == 4.0
    lift = about(found, "cutterbar float")
    assert (lift.low, lift.high, lift.unit) == (156.0, 222.0, "N")
    assert about(found, "knife").level == "care"
    outside = [one.why_not for one in found.options if one.knife == "high_lift"]
    assert all("marked in the log: stone" in words for words in outside)
    clean = advise(crop="orchardgrass", machine=GRASS)
    assert best(clean).cut_m == 0.08


def test_flooded_and_silted_grass_by_hand() -> None:
    """By hand: not for hay until clipped and regrown; looked at first; no high-lift knife."""
    found = advise("silt", crop="tall fescue", flooded=True, unlooked=True, machine=GRASS)
    wait = about(found, "regrowth after the water")
    assert wait.choice == "not for hay until it was clipped and has grown again"
    assert (wait.level, wait.caution) == ("care", FLOOD_CAUTION)
    assert best(found).knife == "low_lift"
    assert best(found).cut_m == 0.10  # the tallest in the range, whatever it costs
    assert f"Not reckoned: {UNLOOKED}." in found.unknown
    for what in ("knife", "cut height and skid shoe", "set-up compared"):
        assert about(found, what).level == "unknown"
    assert all(not one.inside for one in found.options if one.knife == "high_lift")
    silted = [one.ash_points[1] for one in found.options if one.cut_m == 0.05]
    clean = advise(crop="tall fescue", machine=GRASS)
    assert silted == pytest.approx([3 * o.ash_points[1] for o in clean.options if o.cut_m == 0.05])


def test_twine_along_a_bale_yard_by_hand() -> None:
    """By hand: wraps and spoilt bales are the cost; no setting cures it; pick it up."""
    found = advise(*["twine"] * 60, machine={"skid_shoes": shoes(0.064, 0.075)})
    lying = cost_of(found, "wraps") + cost_of(found, "forage")
    assert lying > 0.5 * best(found).cost[1]
    dearest = max(one.parts["wraps"][1] + one.parts["forage"][1] for one in found.options)
    assert lying > 0.4 * dearest
    compared = about(found, "set-up compared")
    assert "pick them up first" in compared.why
    assert "Pick up what lies in the field" in found.told[-1].change
    assert "pick them up" not in about(advise("twine"), "set-up compared").why


def test_no_shoe_in_the_range_by_hand() -> None:
    """By hand: the lowest above it, with care; and what shoe would do is said."""
    found = advise(machine={"skid_shoes": shoes(0.05, 0.10, 0.14)})
    assert best(found).cut_m == 0.10
    assert not best(found).inside
    assert about(found, "set-up compared").level == "care"
    assert (found.margin, found.second) == (None, None)
    assert any("at least 6.3 cm (2.5 in)" in words or "6.4 cm" in words for words in found.flips)
    short = advise(machine={"skid_shoes": shoes(0.03, 0.05)})
    assert best(short).cut_m == 0.05
    assert "LOWER" in about(short, "cut height and skid shoe").why


def test_only_high_lift_knives_over_stones_by_hand() -> None:
    """By hand: low-lift is what is needed; what is carried is reckoned with; care."""
    found = advise("stone", machine={"knives": ["high_lift"]})
    knife = about(found, "knife")
    assert (knife.level, knife.choice) == ("care", "low-lift knife")
    assert "ask the maker" in knife.why
    assert best(found).knife == "high_lift"
    assert not best(found).inside
    assert best(found).cut_m == 0.075


def test_what_the_machine_carries_is_not_known_by_hand() -> None:
    """By hand: nothing to compare, the crop's own height, unknown; and what to say."""
    for machine in ({"skid_shoes": []}, {"knives": []}):
        found = advise(machine=machine)
        assert (found.options, found.best, found.advised) == ((), None, False)
        assert about(found, "set-up compared").level == "unknown"
        assert any("not known" in words for words in found.unknown)
    assert advise(machine={"skid_shoes": []}).cut_m == TABLES.number("cut_heights.alfalfa")
    assert advise(machine={"skid_shoes": []}).lift_m == TABLES.number("strikes.lift_high_lift")
    assert about(advise(machine={"knives": []}), "cut height and skid shoe").value == 0.075


def test_a_crop_nobody_named_by_hand() -> None:
    """By hand: the settings stand in the table, none is advised."""
    found = advise(crop=None)
    assert len(found.options) == 6
    assert not any(one.inside or one.best for one in found.options)
    assert found.cut_m == TABLES.number("knives.start_stubble")
    assert about(found, "set-up compared").level == "unknown"


def test_things_that_cannot_be_reckoned_have_no_upper_end_by_hand() -> None:
    """By hand: no stoniness class: the tallest shoe, no upper end, no flip, no margin's ends."""
    words = "stones, for nobody said the stoniness class"
    found = advise(
        stoniness=None, missing=(words,), machine={"skid_shoes": shoes(0.064, 0.07, 0.076)}
    )
    assert best(found).cut_m == 0.076
    assert all(one.strikes[2] == math.inf and one.cost[2] == math.inf for one in found.options)
    held = found.as_dict()["options"][0]
    assert held["strikes"][2] is None
    assert held["cost"][2] is None
    assert found.turning == ()
    assert words in found.flips[0]
    lodged = advise(lodged=True, missing=("litter by a road",))
    assert lodged.margin is not None
    assert lodged.margin[0] == -math.inf
    compared = about(lodged, "set-up compared")
    assert (compared.level, compared.low, compared.high) == ("unknown", None, None)


def test_findings_come_in_the_order_of_the_work_by_hand() -> None:
    """By hand: knife, height, tilt, float, conditioner, gap and its check, then the comparison."""
    assert [told.finding.what for told in advise().told] == WHATS


def test_the_plain_form_is_plain_json_by_hand() -> None:
    """By hand: what programs read; it goes through a strict writer and comes back the same."""
    held = advise("stone", "twine", crop="orchardgrass", machine=GRASS).as_dict()
    assert json.loads(json.dumps(held, allow_nan=False)) == held
    assert set(held) == {"options", "margin", "second", "flips", "unknown"}
    assert {
        "shoe", "knife", "cut_m", "inside", "why_not", "best", "strikes", "wraps", "forage",
        "yield_t", "ash_points", "tdn_points", "stand_left_pct", "cost", "parts",
    } <= set(held["options"][0])  # fmt: skip
    assert sum(one["best"] for one in held["options"]) == 1
    assert held["second"] in [one["name"] for one in held["options"]]
    assert held["margin"][0] <= held["margin"][1] <= held["margin"][2]


def test_nothing_lying_there_costs_nothing_by_hand() -> None:
    """By hand: no thing, no strike; only the crop and the soil are left."""
    found = advise(things=no_things())
    assert best(found).strikes == (0.0, 0.0, 0.0)
    assert cost_of(found, "strikes") == cost_of(found, "wraps") == cost_of(found, "forage") == 0.0


def test_a_mark_mown_round_costs_nothing_by_hand() -> None:
    """By hand: a well is kept out of; it makes the ground rough all the same."""
    found = advise("well")
    assert best(found).strikes == (0.0, 0.0, 0.0)
    assert about(found, "knife").level == "care"


def test_a_field_without_area_is_refused_by_hand() -> None:
    """By hand: nothing can be reckoned for it."""
    for area_ha in (0.0, math.nan):
        with pytest.raises(MisuseError):
            advise(area_ha=area_ha)


def test_a_measured_stone_under_the_bar_is_not_struck_by_hand() -> None:
    """By hand: 2 cm high under a bar at 10 cm; 30 cm high it is struck for sure."""
    low = advise("stone", things=marks("stone", height_m=0.02), crop="timothy", machine=GRASS)
    tall = advise("stone", things=marks("stone", height_m=0.30), crop="timothy", machine=GRASS)
    assert best(low).strikes[1] < 0.05
    assert best(tall).strikes[1] == pytest.approx(1.0, abs=1e-3)
