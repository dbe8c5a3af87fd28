"""One answer a field: cells, zones, findings and settings, for a machine on a day."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd

from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.field_answer import Asked, FieldAnswer, Ready, answer_rows, asked_of, ready
from fieldmap.machine import Machine
from fieldmap.processes import pool, processes_for
from fieldmap.summary import summary_row

FIELDS_A_CHUNK = 64


@dataclass(frozen=True, eq=False)
class Assessment:
    """The answers of a run, with the farm, the machine and the day they hold for."""

    farm: Farm
    machine: Machine | None
    day: date
    answers: tuple[FieldAnswer, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a field: the columns of ``fields.csv``.

        ``field_id, name, crop, area_ha, level, reason, slope_known_share, slope_p95_pct,
        slope_max_pct, slope_error_pct, heading_deg, runs, turns, mowing_min,
        side_slope_max_pct, side_slope_use_max, sight_ahead_min_m, speed_limit_kmh, hollows,
        drop_offs, wet_share, unknown_share, looked_share, flooded_share, marks, cut_height_m,
        skid_shoe, knife, conditioner, strikes, strikes_low, strikes_high, wraps, forage_things,
        set_up_cost, set_up_margin, power_needed_kw, work_rate_ha_h``; unknown is empty.
        """
        fields = self.farm.fields.set_index("field_id")
        tables = self.farm.tables
        rows = [summary_row(fields.loc[one.field_id], one, tables) for one in self.answers]
        return pd.DataFrame(rows)

    def counts(self) -> dict[str, int]:
        """How many fields have each level."""
        levels = [answer.level for answer in self.answers]
        return {level: levels.count(level) for level in ("stop", "unknown", "care", "ok")}


def assess(
    farm: Farm,
    *,
    day: date,
    machine_id: str | None = None,
    field_ids: Sequence[str] = (),
    cluster: str | None = None,
    workers: int | None = None,
) -> Assessment:
    """Assess the fields of a farm before a cut.

    Parameters
    ----------
    farm : Farm
    day : date
        The day the question is asked: what was walked or flooded later does not count.
    machine_id : str, optional
        The machine; the first of machines.toml when none is named.
    field_ids : sequence of str
        Only these fields; all when empty.
    cluster : str, optional
        Address of a Dask scheduler that shares the farm's files; fields are sent in chunks.
    workers : int, optional
        Processes to share the fields out to, this one among them. When not given as many as there
        are processors, but one for every 150 fields at most. The answers are the same.

    Raises
    ------
    MisuseError
        No such field or machine, or a cluster without the ``cluster`` extra.
    StoreError
        A process ended before it had answered.
    """
    machine = farm.machine(machine_id)
    rows = _rows(farm, field_ids)
    if cluster is not None:
        asked = asked_of(farm, machine, day)
        answers = _on_cluster(asked, rows, cluster)
        return Assessment(asked.farm, machine, day, tuple(answers))
    with pool(processes_for(workers, len(rows))) as begun:  # they begin while the farm is got ready
        asked = asked_of(farm, machine, day)
        answers = begun.answers(asked, rows)
    return Assessment(asked.farm, machine, day, tuple(answers))


def _rows(farm: Farm, field_ids: Sequence[str]) -> list[int]:
    ids = farm.fields["field_id"]
    missing = [name for name in field_ids if not (ids == name).any()]
    if missing:
        raise MisuseError(
            Fault(
                "no such field",
                name,
                "there is nothing to assess",
                f"use one of {', '.join(ids.iloc[:20])}",
            )
            for name in missing
        )
    wanted = ids.isin(field_ids) if field_ids else np.ones(len(ids), bool)
    return np.flatnonzero(wanted).tolist()


def _on_cluster(asked: Asked, rows: list[int], address: str) -> list[FieldAnswer]:
    try:
        from distributed import Client  # noqa: PLC0415
    except ImportError:
        raise MisuseError(
            Fault(
                "--cluster without Dask",
                address,
                "the fields cannot be sent out",
                "install fieldmap with its cluster extra",
            )
        ) from None
    chunks = [rows[at : at + FIELDS_A_CHUNK] for at in range(0, len(rows), FIELDS_A_CHUNK)]
    with Client(address) as client:
        sent = client.scatter(asked, broadcast=True)
        waiting = [client.submit(_chunk, sent, chunk) for chunk in chunks]
        return [answer for part in client.gather(waiting) for answer in part]


#: On a worker of a cluster: what its chunks share, made ready by the first of them.
_last: list[tuple[Asked, Ready]] = []
_one_at_a_time = threading.Lock()


def _chunk(asked: Asked, rows: list[int]) -> list[FieldAnswer]:
    with _one_at_a_time:
        if not _last or _last[0][0] is not asked:
            _last[:] = [(asked, ready(asked))]
        held = _last[0][1]
    return answer_rows(held, rows)
