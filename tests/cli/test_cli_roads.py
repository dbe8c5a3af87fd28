"""Fetching roads, against a stand-in of the map's service on loopback: no test goes online."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import osmnx
import pytest
from cli_printed import Printed
from json_schemas import document
from jsonschema import Draft202012Validator
from map_service import Service, invented, served
from pyproj import CRS

from fieldmap.errors import InputError, StoreError
from fieldmap.farm import load_farm
from fieldmap.read.roads import read_roads
from fieldmap.read.roads_online import MOST_KM2, area_around, fetch_roads, save_roads

Run = Callable[..., Printed]


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch, own_farm: Path) -> Iterator[Service]:
    for name in (
        "http_proxy",
        "https_proxy",
        "HTTP_PROXY",
        "HTTPS_PROXY",
        "all_proxy",
        "ALL_PROXY",
    ):
        monkeypatch.delenv(name, raising=False)
    farm = load_farm(own_farm)
    place = farm.fields.geometry.iloc[[0]].centroid.to_crs(4326).iloc[0]
    with served(Service(invented(place.x, place.y))) as here:
        monkeypatch.setattr(osmnx.settings, "overpass_url", here.url)
        monkeypatch.setattr(osmnx.settings, "overpass_rate_limit", False)
        yield here


def fetch(run: Run, farm: Path, *more: str) -> Printed:
    return run("roads", farm, "--around", "0.5", "--online", *more)


def test_by_hand_ways_points_and_tags_come_through(
    run: Run, own_farm: Path, service: Service
) -> None:
    printed = fetch(run, own_farm, "--json")
    Draft202012Validator(document("roads")).validate(printed.json())
    result = printed.json()["result"]
    assert printed.code == 0
    assert result["line"] == 'roads = "roads.graphml"'
    assert result["lacks"] == ["turn restrictions"]
    assert (result["ways"], result["service"]) == (2, "127.0.0.1")
    assert "OpenStreetMap contributors" in result["credit"]
    data = read_roads(own_farm / "roads.graphml", crs=CRS(32615))
    edges = data.edges.set_index("leg_id")
    assert list(edges.index) == ["11-0", "11-1", "12-0"]  # cut at the gate
    assert edges.loc["11-0", "tags"] == {"highway": "track", "maxweight": "7.5", "name": "Lane"}
    assert edges.loc["12-0", ["forward", "backward"]].tolist() == [False, True]
    ids = data.nodes["node_id"].to_numpy()
    assert (ids[edges.loc["12-0", "u"]], ids[edges.loc["12-0", "v"]]) == (3, 4)  # as mapped
    assert edges.loc["12-0", "tags"]["maxheight:forward"] == "3.2"
    assert edges.loc["11-1", "under"] == ("power line way/13",)
    assert edges.loc["11-0", "under"] == ("bridge way/14",)
    assert data.nodes.set_index("node_id").loc[2, "tags"] == {"barrier": "gate", "maxwidth": "3.5"}
    assert data.lacks == ("turn restrictions",)


def test_by_hand_it_says_who_asks_and_asks_twice_for_one_small_area(
    run: Run, own_farm: Path, service: Service
) -> None:
    fetch(run, own_farm)
    assert [query.count("poly:") for query in service.asked] == [1, 1]
    assert all("timeout:" in query for query in service.asked)
    for headers in service.headers:
        assert headers["User-Agent"].startswith("fieldmap ")
        assert "OSMnx" in headers["User-Agent"]
        assert headers["referer"] == "fieldmap"


def test_by_hand_people_are_told_the_line_the_credit_and_what_is_lacking(
    run: Run, own_farm: Path, service: Service
) -> None:
    printed = fetch(run, own_farm)
    assert '  roads = "roads.graphml"' in printed.out
    assert "(c) OpenStreetMap contributors, ODbL" in printed.out
    assert "not in roads.graphml, and so unknown: turn restrictions" in printed.err
    text = (own_farm / "farm.toml").read_text("utf-8")
    (own_farm / "farm.toml").write_text(
        text.replace("[files]\n", '[files]\nroads = "roads.graphml"\n'), "utf-8"
    )
    farm = load_farm(own_farm)
    assert farm.roads is not None
    assert len(farm.roads.edges) == 3
    assert farm.roads.source == "roads.graphml"


def test_by_hand_without_the_word_nothing_is_asked(
    run: Run, own_farm: Path, service: Service
) -> None:
    printed = run("roads", own_farm, "--around", "0.5", "--json")
    assert printed.code == 2
    assert "public service" in str(printed.faults())
    assert service.asked == []
    assert not (own_farm / "roads.graphml").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--around", "0"), "distance"),
        (("--around", "-1"), "distance"),
        (("--around", "nan"), "distance"),
        (("--around", "51"), "distance"),
        (("--around", "1", "--out", "roads.osm"), "graphml"),
    ],
)
def test_by_hand_what_is_asked_wrongly(
    run: Run, own_farm: Path, service: Service, words: tuple[str, ...], said: str
) -> None:
    printed = run("roads", own_farm, "--online", *words, "--json")
    assert printed.code == 2
    assert said in str(printed.faults())
    assert service.asked == []


def test_by_hand_a_file_in_the_way_stays_and_nothing_is_asked(
    run: Run, own_farm: Path, service: Service
) -> None:
    (own_farm / "roads.graphml").write_text("mine")
    assert fetch(run, own_farm).code == 3
    assert service.asked == []
    assert (own_farm / "roads.graphml").read_text() == "mine"
    assert fetch(run, own_farm, "--overwrite").code == 0
    assert "graphml" in (own_farm / "roads.graphml").read_text("utf-8")


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        ({"code": 429, "body": "{}"}, 5, "busy"),
        ({"code": 504, "body": "<html>"}, 5, "busy"),
        ({"code": 400, "body": "bad"}, 5, "refused"),
        ({"code": 500, "body": "{}"}, 5, "refused"),
        ({"body": "<html>log in here</html>"}, 5, "no map"),
        ({"body": "[]"}, 5, "no map"),
        ({"body": "{}"}, 5, "no map"),
        ({"body": '{"elements": [{"type": "way"}]}'}, 5, "no map"),
        ({"body": '{"elements": [7]}'}, 5, "no map"),
        ({"body": '{"elements": [], "remark": "runtime error: timed out"}'}, 5, "broke off"),
        ({"body": '{"elements": []}'}, 3, "no roads"),
    ],
)
def test_by_hand_what_the_service_may_answer(
    run: Run, own_farm: Path, service: Service, given: dict, code: int, said: str
) -> None:
    for name, held in given.items():
        setattr(service, name, held)
    before = sorted(own_farm.iterdir())
    printed = fetch(run, own_farm, "--json")
    assert printed.code == code
    assert said in printed.faults()[0]["what"]
    assert printed.faults()[0]["where"] == "127.0.0.1"
    assert len(service.asked) <= 2  # nothing is tried again
    assert sorted(own_farm.iterdir()) == before


def test_by_hand_only_lines_and_no_roads_is_nothing(
    run: Run, own_farm: Path, service: Service
) -> None:
    service.elements = [one for one in service.elements if one.get("id") not in (11, 12)]
    printed = fetch(run, own_farm, "--json")
    assert printed.code == 3
    assert "no roads" in printed.faults()[0]["what"]


def test_by_hand_nobody_there(
    run: Run, own_farm: Path, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))  # taken and not listening
        url = f"http://127.0.0.1:{held.getsockname()[1]}/api"
        monkeypatch.setattr(osmnx.settings, "overpass_url", url)
        printed = fetch(run, own_farm, "--json")
    assert printed.code == 5
    assert "cannot be reached" in printed.faults()[0]["what"]


@pytest.mark.parametrize(
    ("status", "code"),
    [
        ("a\nb\nc\nd\nSlot available after: 2026-11-25T10:00:00Z, in 600 seconds.\n", 5),
        ("a\nb\nc\nd\n2 slots available now.\n", 0),
    ],
)
def test_by_hand_a_long_queue_is_told_at_once(
    run: Run,
    own_farm: Path,
    service: Service,
    monkeypatch: pytest.MonkeyPatch,
    status: str,
    code: int,
) -> None:
    monkeypatch.setattr(osmnx.settings, "overpass_rate_limit", True)
    service.status = status
    printed = fetch(run, own_farm, "--json")
    assert printed.code == code
    if code:
        assert "a turn in 600 s" in str(printed.faults())


@pytest.mark.parametrize("fails", [False, True])
def test_by_hand_no_setting_stays_changed(
    run: Run, own_farm: Path, service: Service, fails: bool
) -> None:
    def settings() -> dict:
        return {key: one for key, one in vars(osmnx.settings).items() if key[0] != "_"}

    service.code = 500 if fails else 200
    before, look_up = settings(), socket.getaddrinfo
    tags = list(osmnx.settings.useful_tags_way)
    assert (fetch(run, own_farm).code == 0) is not fails
    assert settings() == before
    assert osmnx.settings.useful_tags_way == tags
    assert socket.getaddrinfo is look_up
    assert not list(Path.cwd().glob("cache"))


def test_by_hand_ground_to_fetch() -> None:
    import geopandas as gpd
    from shapely import Point

    places = gpd.GeoSeries([Point(5e5, 4.5e6), Point(5.04e5, 4.5e6)], crs=32615)
    area, km2 = area_around(places, km=2.0)
    assert km2 == pytest.approx(
        4 * 4 + 3.14159 * 4, rel=0.01
    )  # a strip 4 km long and two half discs
    west, south, east, north = area.bounds
    assert east - west == pytest.approx(8 / 84.5, rel=0.02)  # km to a degree east at 40.65 north
    assert north - south == pytest.approx(4 / 111.0, rel=0.01)
    with pytest.raises(InputError, match="extract"):
        area_around(places, km=(MOST_KM2 / 3.14159) ** 0.5)
    with pytest.raises(InputError, match="nothing to fetch"):
        area_around(places.iloc[:0], km=2.0)


def test_by_hand_the_library_raises_for_callers_too(service: Service, own_farm: Path) -> None:
    farm = load_farm(own_farm)
    area, km2 = area_around(farm.fields.geometry, km=0.5)
    held = fetch_roads(area, area_km2=km2)
    assert held.ways == 2
    save_roads(held, own_farm / "again.graphml")
    assert len(read_roads(own_farm / "again.graphml", crs=farm.crs).edges) == 3
    service.code = 429
    with pytest.raises(StoreError, match="busy"):
        fetch_roads(area, area_km2=km2)


def test_by_hand_a_large_map_is_kept_beside_the_farm_and_answers_alike(
    run: Run, own_farm: Path
) -> None:
    farm = load_farm(own_farm)
    place = farm.fields.geometry.iloc[[0]].centroid.to_crs(4326).iloc[0]
    points = "".join(
        f"<node id='{n}' version='1' lon='{place.x + n * 1e-5:.7f}' lat='{place.y:.7f}'/>"
        for n in range(1, 2203)
    )
    ways = "".join(
        f"<way id='{n}' version='1'><nd ref='{n}'/><nd ref='{n + 1}'/>"
        "<tag k='highway' v='track'/></way>"
        for n in range(1, 2202)
    )
    (own_farm / "r.osm").write_text(f"<osm version='0.6'>{points}{ways}</osm>", "utf-8")
    text = (
        (own_farm / "farm.toml").read_text("utf-8").replace("[files]", '[files]\nroads = "r.osm"')
    )
    (own_farm / "farm.toml").write_text(text, "utf-8")
    before = {one.name for one in own_farm.iterdir()}
    first = run("check", own_farm, "--json")
    assert {one.name for one in own_farm.iterdir()} - before == {".fieldmap-cache"}
    assert run("check", own_farm, "--json") == first
    (entry,) = (own_farm / ".fieldmap-cache").iterdir()
    entry.write_bytes(b"broken")
    assert run("check", own_farm, "--json") == first
    assert entry.stat().st_size > 10_000  # kept anew
