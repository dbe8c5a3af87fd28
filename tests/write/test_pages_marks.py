"""A mark can be named from the page: its id stands in the list, on the map and on the GPX."""

from __future__ import annotations

import copy
import re

import page_payloads

from fieldmap.write.page_items import hazard_item
from fieldmap.write.pages import field_page, index_page


def test_by_hand_each_list_names_its_marks() -> None:
    """By hand: as many ids in the list as there are marks; a strange one stays text."""
    for made, draw in (
        (page_payloads.field_payload(), field_page),
        (page_payloads.index_payload(), index_page),
    ):
        payload = copy.deepcopy(made)
        marks = payload["hazards"]["features"]
        marks[0]["properties"]["hazard_id"] = "<b>oak</b>~0a1b2c"
        html = draw(payload)
        named = re.findall(r'<span class="quiet">mark ([^<]*)</span>', html)
        told = [one["properties"]["hazard_id"] for one in marks]
        assert len(named) == len(marks) > 1
        assert set(named) == {"&lt;b&gt;oak&lt;/b&gt;~0a1b2c", *told[1:]}


def test_by_hand_the_note_on_the_map_names_it_too() -> None:
    (one, *_) = page_payloads.field_payload()["hazards"]["features"]
    lines = dict(hazard_item(one["properties"], "1", "metric")["lines"])
    assert lines["Mark"] == one["properties"]["hazard_id"]
    bare = {name: held for name, held in one["properties"].items() if name != "hazard_id"}
    assert hazard_item(bare, "1", "metric")["mark"] == ""
