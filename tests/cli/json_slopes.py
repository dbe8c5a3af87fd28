"""JSON Schemas of the lie of the land: the survey of slopes, and what `assess` tells of places."""

from __future__ import annotations

from json_words import Schema, each, number, parts, text

_SHARE = {"minimum": 0, "maximum": 1}
SLOPES: Schema = parts(
    "",
    {
        "schema": {"const": "fieldmap/1", "description": "as in every answer"},
        "farm": text("name of the farm"),
        "note": text("its note; may be empty"),
        "machine": text("id of the machine", maybe=True),
        "fields": each(
            "one a field",
            parts(
                "",
                {
                    "field_id": text("the field", minLength=1),
                    "area_ha": number("area", minimum=0),
                    "slope_known_share": number("share whose slope is known", **_SHARE),
                    "slope_mean_pct": number("mean slope", maybe=True),
                    "slope_p95_pct": number("slope that 95 % stays under", maybe=True),
                    "slope_max_pct": number("steepest cell that is touched", maybe=True),
                    **{
                        f"share_slope_{k}": number(f"share in slope class {k}", maybe=True)
                        for k in range(6)
                    },
                    **{
                        f"share_use_{k}": number(
                            f"share in class {k} of side-slope use", maybe=True
                        )
                        for k in range(4)
                    },
                    "cell_m": number("side of a cell of the elevation", maybe=True),
                },
            ),
        ),
        "files": each("files written, the page first", text("")),
    },
)
#: What `assess` tells of a field's driving and places.
DRIVING = {
    "slope_error_pct": number("standard error of a component of the slope", maybe=True),
    "runs": number("runs along the best heading", maybe=True),
    "turns": number("turns between them", maybe=True),
    "mowing_min": number("minutes of laps, runs and turns", maybe=True),
    "sight_ahead_min_m": number("shortest sight ahead, cut at what is needed to stop", maybe=True),
    "speed_limit_kmh": number("field speed limit that half of the ground allows", maybe=True),
    "hollows": number("hollows that reach the field"),
    "drop_offs": number("drop-offs whose buffer reaches the field"),
    "wet_share": number("share among the farm's wettest ground", maybe=True),
}
FIRST_PLACES = each(
    "first places to look after a flood, in order",
    parts(
        "",
        {
            "kind": text("`wrack band`, `low` or `line across the flow`"),
            "reason": text("one sentence or two"),
            "area_m2": number("area, of an area", maybe=True),
            "length_m": number("length, of a line", maybe=True),
            "lon": number("degrees east of a place on it"),
            "lat": number("degrees north"),
        },
    ),
)
