"""Whatever is taken away, no answer gets better than unknown."""

from __future__ import annotations

import dataclasses
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from farm_pieces import copied_farm, small_grounds
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.assessment import Assessment, assess
from fieldmap.crs import WGS84
from fieldmap.farm import Farm
from fieldmap.field_answer import FieldAnswer
from fieldmap.finding import Level, rank
from fieldmap.hazards.events import add_events, no_events
from fieldmap.machine import Machine
from fieldmap.network import RoadData

DAY = date(2026, 6, 9)
WEST, NORTH = 500_000.0, 4_500_000.0
FIELD = shapely.Polygon(
    [(WEST + x, NORTH - y) for x, y in ((21, 24), (131, 22), (127, 134), (64, 108), (23, 126))]
)
MACHINE: dict[str, Any] = {
    "id": "m",
    "name": "the mower",
    "kind": "pull-type",
    "working_width_m": 3.0,
    "turning_radius_m": 5.0,
    "field_speed_kmh": 10.0,
    "track_width_m": 1.9,
    "cg_height_m": 0.9,
    "skid_shoes": [{"name": "base", "cut_height_m": 0.07}, {"name": "high", "cut_height_m": 0.1}],
    "knives": ["low_lift", "high_lift"],
    "conditioner": "rubber_rolls",
    "mass_kg": 6200,
    "mower_mass_kg": 1800,
    "axles": [{"mass_kg": 1900, "position_m": 0.0}, {"mass_kg": 2900, "position_m": 2.4},
              {"mass_kg": 1400, "position_m": 7.6}],
    "power_kw": 95,
    "drive": "front_assist",
    "road_speed_kmh": 30,
    "tyres": [
        {"axle": axle, "load_kg": 1000, "inflation_kpa": 140, "speed_kmh": 40} for axle in (1, 2, 3)
    ],
    "fitted_shoe": "base",
    "fitted_knives": "low_lift",
    "knife_interval_ha": 40,
    "knife_interval_strikes": 3,
}  # fmt: skip
SPOTS = ((40, 40), (90, 60), (60, 100), (125, 30))


def small_farm(demo: Farm, ground: Path | None, case: dict[str, Any]) -> Farm:
    """One field on a small ground, as a case says it."""
    row = {"field_id": "F", "name": "F", "crop": case["crop"], "cutting": 2.0}
    row |= {"stoniness": case["stoniness"], "lodged": case["lodged"], "area_ha": FIELD.area / 1e4}
    row |= {"sward_m": np.nan if case["sward_m"] is None else case["sward_m"]}
    row |= {"drought": case["drought"], "yield_t_ha": case["yield_t_ha"]}
    fields = gpd.GeoDataFrame([row], geometry=[FIELD], crs=demo.crs)
    said = {"elevation_product": None, "elevation_error_m": case["error_m"]}
    files = demo.settings.files.model_copy(update=said)
    return dataclasses.replace(
        demo,
        settings=demo.settings.model_copy(update={"files": files}),
        fields=fields,
        events=events(demo, case["kinds"] if case["log"] else ()),
        log_read=case["log"],
        roads=roads(demo) if case["roads"] else None,
        machines=() if case["machine"] is None else (Machine.model_validate(case["machine"]),),
        elevation=ground,
        tracks=walks(demo, case["walked"]),
        flood=water(demo, wet=case["flooded"]),
        ledger=ledger() if case["ledger"] else None,
    )


def ledger() -> pd.DataFrame:
    """New knives the day before, and nothing mown since."""
    held = {"date": pd.to_datetime(["2026-06-08"]), "machine": "m", "did": "knives changed"}
    return pd.DataFrame(held | {"field_id": "", "area_ha": np.nan, "note": "", "who": "Ada"})


def events(demo: Farm, kinds: tuple[str, ...]) -> pd.DataFrame:
    """A log with one find of each of these kinds."""
    if not kinds:
        return no_events()
    finds = gpd.GeoDataFrame(
        {
            "hazard_id": [f"h{number}" for number in range(len(kinds))],
            "kind": list(kinds),
            "note": "",
            "who": "",
            "radius_m": np.nan,
            "height_m": np.nan,
            "time": pd.Series([pd.NaT] * len(kinds), dtype="datetime64[us, UTC]"),
        },
        geometry=gpd.GeoSeries(
            [shapely.Point(WEST + x, NORTH - y) for x, y in SPOTS[: len(kinds)]], crs=demo.crs
        ),
        crs=demo.crs,
    )
    return add_events(finds.to_crs(WGS84), file="")


def roads(demo: Farm) -> RoadData:
    """Four roads round the field, half a kilometre off."""
    x, y = [WEST - 500, WEST + 700], [NORTH - 700, NORTH + 500]
    corners = [(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])]
    lines = [
        shapely.LineString([one, other])
        for one, other in zip(corners, [*corners[1:], corners[0]], strict=True)
    ]
    held = {"highway": ["unclassified"] * 4, "tags": [{}] * 4, "name": [""] * 4}
    assert demo.roads is not None
    edges = gpd.GeoDataFrame(held, geometry=lines, crs=demo.crs)
    return dataclasses.replace(demo.roads, edges=edges)


def walks(demo: Farm, share: float) -> gpd.GeoDataFrame:
    """Lines 5 m apart over a share of the field, walked the day before."""
    lines = [
        shapely.segmentize(shapely.LineString([(WEST + x, NORTH), (WEST + x, NORTH - 160)]), 10.0)
        for x in np.arange(15.0, 15.0 + 125.0 * share, 5.0)
    ]
    started = pd.Series([datetime(2026, 6, 8, 9, tzinfo=UTC)] * len(lines))
    held = {"file": ["walk.gpx"] * len(lines), "started": started.astype("datetime64[us, UTC]")}
    return gpd.GeoDataFrame(held, geometry=gpd.GeoSeries(lines, crs=demo.crs), crs=demo.crs)


def water(demo: Farm, *, wet: bool) -> gpd.GeoDataFrame:
    """The west of the field under water a fortnight before, or nothing."""
    shapes = [shapely.box(WEST, NORTH - 160, WEST + 70, NORTH)] if wet else []
    day = pd.Series([datetime(2026, 5, 26, tzinfo=UTC)] * len(shapes))
    return gpd.GeoDataFrame(
        {"date": day.astype("datetime64[us, UTC]")},
        geometry=gpd.GeoSeries(shapes, crs=demo.crs),
        crs=demo.crs,
    )


def clean(**given_: Any) -> dict[str, Any]:
    """A case with nothing against it, but for what is said."""
    return {
        "crop": "alfalfa",
        "stoniness": 0.0,
        "lodged": False,
        "sward_m": 0.25,
        "kinds": (),
        "log": True,
        "machine": MACHINE,
        "walked": 1.0,
        "flooded": False,
        "roads": True,
        "error_m": 0.1,
        "drought": False,
        "yield_t_ha": 3.0,
        "ledger": True,
        **given_,
    }


class Small:
    """Small farms to be assessed; a plain class, so that a failing test is not told all of it."""

    def __init__(self, demo: Farm, grounds: dict[str, Path]) -> None:
        self.demo, self.grounds = demo, grounds

    def assessed(self, ground: str | None, case: dict[str, Any]) -> Assessment:
        path = None if ground is None else self.grounds[ground]
        return assess(small_farm(self.demo, path, case), day=DAY)

    def answered(self, ground: str | None, case: dict[str, Any]) -> FieldAnswer:
        (answer,) = self.assessed(ground, case).answers
        return answer


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory, demo_geodata: Path) -> Small:
    place = tmp_path_factory.mktemp("small")
    demo = copied_farm(place, demo_geodata)
    return Small(demo, small_grounds(place, demo.crs))


def not_better(after: Level, before: Level) -> bool:
    """A stop may become unknown when what stopped is no longer known; nothing falls lower."""
    return rank(after) >= min(rank(before), rank("unknown"))


def test_all_known_and_nothing_against_it_by_hand(
    small: Small,
) -> None:
    """By hand: gentle, clean, walked, a known machine: ok is within reach."""
    answer = small.answered("gentle", clean())
    assert answer.level == "ok"
    assert answer.to_change == ()
    assert len(answer.zones) == 0


@pytest.mark.parametrize(
    "less",
    [
        {"crop": None},
        {"stoniness": None},
        {"lodged": None},
        {"log": False},
        {"roads": False},
        {"walked": 0.0},
        {"walked": 0.5},
        {"machine": None},
        {"error_m": None},
        {"ledger": False},
        {"crop": "oats", "drought": None},
        *(
            {"machine": {key: held for key, held in MACHINE.items() if key != gone}}
            for gone in (
                "cg_height_m",
                "track_width_m",
                "working_width_m",
                "field_speed_kmh",
                "skid_shoes",
                "knives",
                "conditioner",
                "mass_kg",
                "power_kw",
                "axles",
                "tyres",
                "road_speed_kmh",
                "knife_interval_ha",
            )
        ),
    ],
    ids="-".join,
)
def test_one_thing_less_is_unknown_by_hand(small: Small, less: dict[str, Any]) -> None:
    """By hand: take one thing from a field that is ok, and it is unknown, with what to do."""
    answer = small.answered("gentle", clean(**less))
    assert answer.level == "unknown"
    assert answer.to_change


def test_no_elevation_is_unknown_by_hand(small: Small) -> None:
    """By hand: a farm without elevation has no slope, and no cell that is ok."""
    answer = small.answered(None, clean())
    assert answer.level == "unknown"
    levels = answer.layers.level.values[answer.layers.inside]
    assert (levels == rank("unknown")).all()
    (row,) = small.assessed(None, clean()).table.to_dict("records")
    assert row["unknown_share"] == 1.0
    assert row["heading_deg"] is None
    assert row["slope_max_pct"] is None


cases = st.fixed_dictionaries(
    {
        "crop": st.sampled_from(["alfalfa", "orchardgrass", "oats", "sudangrass"]),
        "drought": st.booleans(),
        "yield_t_ha": st.just(3.0),
        "ledger": st.booleans(),
        "stoniness": st.sampled_from([0.0, 3.0]),
        "lodged": st.booleans(),
        "sward_m": st.sampled_from([0.05, 0.25, 0.4]),
        "kinds": st.lists(
            st.sampled_from(["stone", "drum", "silt", "twine", "unknown"]), max_size=4
        ).map(tuple),
        "log": st.just(True),
        "walked": st.sampled_from([0.0, 0.6, 1.0]),
        "flooded": st.booleans(),
        "roads": st.just(True),
        "error_m": st.sampled_from([0.02, 0.1, 0.6]),
        "machine": st.fixed_dictionaries(
            {},
            optional={
                "side_slope_limit_pct": st.sampled_from([8.0, 20.0, 45.0]),
                "up_down_limit_pct": st.sampled_from([15.0, 35.0]),
                "cg_height_m": st.sampled_from([0.7, 1.1, 1.4]),
                "turning_radius_m": st.sampled_from([3.5, 9.0]),
                "field_speed_kmh": st.sampled_from([6.0, 16.0]),
                "power_kw": st.sampled_from([40.0, 70.0]),
                "drive": st.sampled_from(["2wd", "tracks"]),
            },
        ).map(lambda own: {**MACHINE, **own}),
    }
)
grounds = st.sampled_from(["gentle", "side", "half", "holed", "dome"])
without = st.sampled_from(
    ["cg_height_m", "track_width_m", "turning_radius_m", "field_speed_kmh", "stoniness", "crop",
     "lodged", "sward_m", "tracks", "elevation", "error_m", "machine", "roads", "drought",
     "ledger", "power_kw", "mower_mass_kg", "drive", "conditioner", "fitted_knives", "tyres"]
)  # fmt: skip


def less_of(case: dict[str, Any], gone: str) -> dict[str, Any]:
    less = dict(case)
    if gone in case["machine"]:
        less["machine"] = {key: held for key, held in case["machine"].items() if key != gone}
    elif gone == "tracks":
        less["walked"] = 0.0
    elif gone != "elevation":
        less[gone] = None
    return less


@given(case=cases, name=grounds, gone=without)
@settings(max_examples=80, deadline=None)
def test_taking_away_never_makes_better_property(
    small: Small,
    case: dict[str, Any],
    name: str,
    gone: str,
) -> None:
    """Property: of field, finding and cell alike; only a stop may become unknown."""
    before = small.answered(name, case)
    ground = None if gone == "elevation" else name
    after = small.answered(ground, less_of(case, gone))
    assert not_better(after.level, before.level)
    held = {one.what: one.level for one in (*before.findings, *before.settings)}
    for one in (*after.findings, *after.settings):
        if one.what in held:
            assert not_better(one.level, held[one.what]), one.what
    if gone == "elevation":
        assert (after.layers.level.values[after.layers.inside] >= rank("unknown")).all()
        return
    was = before.layers.level.values[before.layers.inside]
    now = after.layers.level.values[after.layers.inside]
    assert (now >= np.minimum(was, rank("unknown"))).all()


@given(case=cases, name=grounds)
@settings(max_examples=25, deadline=None)
def test_without_a_log_nothing_is_ok_property(
    small: Small, case: dict[str, Any], name: str
) -> None:
    """Property: nobody wrote down what lies here, so the field is unknown or worse."""
    before = small.answered(name, case)
    after = small.answered(name, {**case, "log": False})
    assert rank(after.level) >= rank("unknown")
    held = {one.what: one.level for one in before.settings}
    for one in after.settings:
        if one.what in held:
            assert not_better(one.level, held[one.what]), one.what
