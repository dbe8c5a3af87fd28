"""The tables' contracts: which columns stand where, of what type, in what unit.

Two kinds: what a person's file must become before a room may use it (fields, gates, hazards),
and what the rooms hand each other (edges and nodes of the road network).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandera.pandas as pa
from pandera.errors import SchemaErrors

from fieldmap.errors import Fault, raise_all

if TYPE_CHECKING:
    import pandas as pd

_ROWS_NAMED = 5
#: what a broken rule is called, and how it is mended
_RULES = {
    "not_nullable": ("is empty", "fill it in, or name another column"),
    "field_uniqueness": ("holds a value twice", "give every row its own"),
    "column_in_dataframe": ("is missing", "add it, or name yours in farm.toml"),
    "in_range": ("is out of range", "correct the value"),
    "coerce_dtype": ("does not hold numbers", "write plain numbers with a decimal point"),
    "dtype": ("is of another type", "write it as the others are"),
    "isin": ("is neither yes nor no", "write true or false, or leave it empty"),
    "str_length": ("is empty or longer than 80 characters", "shorten it"),
}

FIELDS = pa.DataFrameSchema(
    {
        "field_id": pa.Column(str, pa.Check.str_length(1, 80), unique=True),
        "name": pa.Column(str, nullable=True),
        "crop": pa.Column(str, nullable=True),
        "cutting": pa.Column(float, pa.Check.in_range(1, 12), nullable=True, coerce=True),
        "stoniness": pa.Column(float, pa.Check.in_range(0, 5), nullable=True, coerce=True),
        "lodged": pa.Column(object, pa.Check.isin([True, False]), nullable=True),
        "sward_m": pa.Column(float, pa.Check.in_range(0, 5), nullable=True, coerce=True),
        "drought": pa.Column(object, pa.Check.isin([True, False]), nullable=True),
        "yield_t_ha": pa.Column(float, pa.Check.in_range(0, 50), nullable=True, coerce=True),
    },
    strict=False,
)

GATES = pa.DataFrameSchema(
    {
        "gate_id": pa.Column(str, pa.Check.str_length(1, 80), unique=True),
        "field_id": pa.Column(str, nullable=True),
        "width_m": pa.Column(float, pa.Check.in_range(0.5, 60), nullable=True, coerce=True),
    },
    strict=False,
)

HAZARDS = pa.DataFrameSchema(
    {
        "hazard_id": pa.Column(str, pa.Check.str_length(1, 80)),
        "kind": pa.Column(str),
        "note": pa.Column(str),
        "who": pa.Column(str),
        "time": pa.Column("datetime64[us, UTC]", nullable=True, coerce=True),
        "radius_m": pa.Column(float, pa.Check.in_range(0, 1000), nullable=True, coerce=True),
        "height_m": pa.Column(float, pa.Check.in_range(0, 60), nullable=True, coerce=True),
        "heading_deg": pa.Column(float, pa.Check.in_range(0, 360), nullable=True, coerce=True),
    },
    strict=False,
)

#: One row a leg: a piece of a way between two junctions or tagged nodes.
EDGES = pa.DataFrameSchema(
    {
        "leg_id": pa.Column(str, unique=True),  # "<way>-<piece>", piece counted from 0
        "way_id": pa.Column("int64"),
        "u": pa.Column("int64"),  # row of the node table at the start of the line
        "v": pa.Column("int64"),  # row at its end
        "length_m": pa.Column(float, pa.Check.ge(0)),
        "highway": pa.Column(str),
        "name": pa.Column(str),  # name or ref, "" when none
        "forward": pa.Column(bool),  # may be driven along the line as far as one-way tags say
        "backward": pa.Column(bool),
        "tags": pa.Column(object),  # dict of the raw tags
        "under": pa.Column(
            object
        ),  # tuple of what crosses above: "bridge <way>", "power line <way>"
    },
    strict=False,
)

#: One row a node of the network.
NODES = pa.DataFrameSchema(
    {
        "node_id": pa.Column("int64", unique=True),
        "x": pa.Column(float),
        "y": pa.Column(float),
        "tags": pa.Column(object),  # dict of the raw tags, {} when none that matter
    },
    strict=False,
)

#: One row a turn restriction.
TURNS = pa.DataFrameSchema(
    {
        "relation_id": pa.Column("int64"),
        "rule": pa.Column(str),  # no_left_turn, only_straight_on, ...
        "from_way": pa.Column("int64"),
        "to_way": pa.Column("int64"),
        "via_node": pa.Column("int64", nullable=False),  # row of the node table, -1 when via ways
        "via_ways": pa.Column(object),  # tuple of way ids, () when via a node
        "except_for": pa.Column(str),  # raw text of the exception, "" when none
        "condition": pa.Column(str, required=False),  # when it holds, raw; "" is always
    },
    strict=False,
)


def checked(table: pd.DataFrame, schema: pa.DataFrameSchema, *, where: str) -> pd.DataFrame:
    """The table, held to its contract.

    Parameters
    ----------
    table : DataFrame or GeoDataFrame
    schema : pandera.DataFrameSchema
        One of this module's.
    where : str
        File and layer, for the words of an error.

    Raises
    ------
    InputError
        Every row and column that breaks the contract, at once.
    """
    try:
        return schema.validate(table, lazy=True)
    except SchemaErrors as error:
        raise_all(_faults(error, where))
        raise


def _faults(error: SchemaErrors, where: str) -> list[Fault]:
    """One fault for each rule broken in a column; many rows are named by the first few."""
    cases = error.failure_cases
    cases = cases.assign(
        column=cases["column"].fillna(cases["failure_case"].astype(str)),
        check=cases["check"].astype(str),
    )
    faults = []
    wordy = set(cases.loc[cases["check"].str.contains("coerce_dtype"), "column"])
    cases = cases[~cases["column"].isin(wordy) | cases["check"].str.contains("coerce_dtype")]
    for (column, check), group in cases.groupby(["column", "check"], sort=True):
        rows = sorted(int(row) + 1 for row in group["index"].dropna())
        seen = ", ".join(dict.fromkeys(_seen(held) for held in group["failure_case"].iloc[:3]))
        faults.append(
            Fault(
                f"column {column} {_broken(check)}",
                seen,
                "an answer built on it could not be trusted",
                _mend(check),
                where=f"{where}{_rows(rows)}",
            )
        )
    return faults


def _broken(check: str) -> str:
    return next((words for key, (words, _) in _RULES.items() if key in check), f"breaks {check}")


def _mend(check: str) -> str:
    return next((mend for key, (_, mend) in _RULES.items() if key in check), "correct the value")


def _seen(held: object) -> str:
    text = str(held)
    return "empty" if text in ("nan", "None", "", "NaT", "<NA>") else text


def _rows(rows: list[int]) -> str:
    if not rows:
        return ""
    shown = ", ".join(map(str, rows[:_ROWS_NAMED]))
    more = f" and {len(rows) - _ROWS_NAMED} more" if len(rows) > _ROWS_NAMED else ""
    return f" row {shown}{more}"
