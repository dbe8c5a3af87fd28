"""What if: the same fields asked twice, as they are and with something changed on paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any, TypeVar

import pandas as pd

from fieldmap.assessment import Assessment, assess
from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.machine import Knife, Machine
from fieldmap.paper_marks import (
    Cleared,
    PaperMarks,
    fields_touched,
    listed,
    paper_marks,
    with_cleared,
)
from fieldmap.units import shown
from fieldmap.what_changed import (
    CHANGES,
    Change,
    FindingChange,
    field_row,
    finding_changes,
    in_reading_order,
)

MARK_CAUTION = (
    "WARNING: a mark cleared on paper is not a cleared field: the thing still lies there. Nothing "
    "was written into the log. Have it dealt with, look again, log it as cleared, and ask anew."
)
MACHINE_CAUTION = (
    "NOTICE: a machine is reckoned from what machines.toml says of it. What may be fitted to it, "
    "and what ground it may go on, its manual and its maker decide."
)
_SOME = 20
_T = TypeVar("_T")


@dataclass(frozen=True, eq=False)
class WhatIf:
    """A farm's answers as it is, and as it would be.

    ``assumed`` says in sentences what was changed on paper, ``notes`` what people should know of
    it, ``cautions`` what the comparison does not say. ``cleared`` are the marks taken as gone.
    """

    before: Assessment
    after: Assessment
    assumed: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    cleared: tuple[Cleared, ...]

    @cached_property
    def findings(self) -> dict[str, tuple[FindingChange, ...]]:
        """The findings that changed, by field, those that got worse first."""
        pairs = zip(self.before.answers, self.after.answers, strict=True)
        return {one.field_id: tuple(finding_changes(one, two)) for one, two in pairs}

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a field, what got worse first, what did not change last.

        ``field_id, name, change`` (worse, better, figures, none: by the field's level),
        ``level_before, level_after, reason_before, reason_after, findings_worse,
        findings_better``; for each column of :data:`fieldmap.what_changed.FIGURES` that both
        assessments have ``*_before, *_after, *_difference``; for each of ``CHOICES`` ``*_before``
        and ``*_after``; ``gone`` and ``new``: what would change the answer, before and no more,
        after and not before (tuples of sentences). Unknown is empty.
        """
        rows = [
            field_row(one, two, self.findings[old.field_id])
            | {"gone": _only(old.to_change, new.to_change)}
            | {"new": _only(new.to_change, old.to_change)}
            for one, two, old, new in zip(
                _rows(self.before), _rows(self.after),
                self.before.answers, self.after.answers, strict=True,
            )
        ]  # fmt: skip
        return in_reading_order(pd.DataFrame(rows))

    def counts(self) -> dict[Change, int]:
        """How many fields came out in each way."""
        held = self.table["change"].tolist()
        return {change: held.count(change) for change in CHANGES}


def what_if(
    farm: Farm,
    *,
    day: date,
    machine_id: str | None = None,
    field_ids: Sequence[str] = (),
    other_machine: str | None = None,
    shoe: str | None = None,
    knives: Knife | None = None,
    cleared: Sequence[str] = (),
) -> WhatIf:
    """Assess fields as they are and with a change on paper, and hold the two side by side.

    Parameters
    ----------
    farm : Farm
    day : date
        The day the question is asked.
    machine_id : str, optional
        The machine as it is; the first of machines.toml when none is named.
    field_ids : sequence of str
        Only these fields; all when empty.
    other_machine : str, optional
        Another machine of machines.toml, in its place.
    shoe : str, optional
        Name of the only skid shoe that the machine, or the one in its place, carries.
    knives : {"low_lift", "high_lift"}, optional
        The only knives it carries. A machine whose knives nobody listed may be given either.
    cleared : sequence of str
        Marks taken as cleared on that day, by what people call them; ``"all"`` stands for every
        mark that reaches these fields and may be picked up. What must not be touched needs its
        own id: it cannot be wished away with the rest.

    Raises
    ------
    MisuseError
        Nothing to change, no such field, machine, shoe, knife or mark; every fault at once.
    InputError
        The elevation cannot be read.

    Notes
    -----
    Marks are cleared by events like those of the log's own clearing, in memory, so that the
    answer is the one the tool gives after it. Where nothing but marks is changed only the fields
    that these reach are asked a second time.
    """
    faults = [] if other_machine or shoe or knives or cleared else [_NOTHING_ASKED]
    _tried(faults, lambda: _known_fields(farm, field_ids))
    machine = _tried(faults, lambda: farm.machine(machine_id))
    put = _tried(faults, lambda: _put_in(farm, other_machine or machine_id, shoe, knives))
    machines = (machine, put)
    marks = _tried(
        faults,
        lambda: paper_marks(farm, cleared, day=day, field_ids=field_ids, machines=machines),
    )
    if faults or marks is None:
        raise MisuseError(dict.fromkeys(faults))
    before = assess(farm, day=day, machine_id=machine_id, field_ids=field_ids)
    return WhatIf(
        before=before,
        after=_second(farm, before, put, marks),
        assumed=tuple(_assumed(farm, before, put, shoe, knives, marks.told if cleared else None)),
        notes=marks.notes,
        cautions=(
            *([MARK_CAUTION] if cleared else []),
            *([MACHINE_CAUTION] if other_machine or shoe or knives else []),
        ),
        cleared=marks.told,
    )


def _second(farm: Farm, before: Assessment, put: Machine | None, marks: PaperMarks) -> Assessment:
    """The assessment with the change; fields that it cannot reach keep their answer."""
    changed = with_cleared(farm, marks.gone, before.day)
    ids = [answer.field_id for answer in before.answers]
    if put == before.machine:
        reached = fields_touched(changed, marks.gone, before.day, (put,))
        ids = [name for name in ids if name in reached]
        if not ids:
            return before
    elif put is not None:
        listed_machines = tuple(put if one.id == put.id else one for one in farm.machines)
        changed = replace(changed, machines=listed_machines)
    machine_id = None if put is None else put.id
    after = assess(changed, day=before.day, machine_id=machine_id, field_ids=ids)
    anew = {answer.field_id: answer for answer in after.answers}
    return replace(after, answers=tuple(anew.get(one.field_id, one) for one in before.answers))


def _put_in(
    farm: Farm, machine_id: str | None, shoe: str | None, knives: Knife | None
) -> Machine | None:
    """The machine of the second question, with nothing but the shoe and the knives asked for."""
    machine = farm.machine(machine_id)
    if machine is None:
        if shoe or knives:
            raise MisuseError(
                Fault(
                    "no machine to fit it to",
                    str(shoe or knives),
                    "skid shoes and knives are a machine's",
                    "name a machines file in farm.toml",
                )
            )
        return None
    faults = [*_no_such_shoe(machine, shoe), *_no_such_knives(machine, knives)]
    if faults:
        raise MisuseError(faults)
    changed: dict[str, object] = {}
    if shoe:
        shoes = [one for one in machine.skid_shoes if one.name == shoe]
        changed |= {"skid_shoes": tuple(shoes)}
    if knives:
        changed |= {"knives": (knives,)}
    return machine.model_copy(update=changed)  # what is fitted now stays so: changing it costs


def _no_such_shoe(machine: Machine, shoe: str | None) -> list[Fault]:
    names = [one.name for one in machine.skid_shoes]
    if shoe is None or shoe in names:
        return []
    return [
        Fault(
            f"no such skid shoe on {machine.id}",
            shoe,
            "its cut height is not known",
            f"use one of {', '.join(names)}, or add it to machines.toml"
            if names
            else "list its skid shoes and their cut heights in machines.toml",
        )
    ]


def _no_such_knives(machine: Machine, knives: str | None) -> list[Fault]:
    if knives is None or knives in machine.knives or (not machine.knives and knives in _KNIVES):
        return []
    return [
        Fault(
            f"no such knives on {machine.id}",
            knives,
            "what its maker does not list is not to be fitted",
            f"use one of {', '.join(machine.knives or _KNIVES)}; "
            "or ask its maker and add them to machines.toml",
        )
    ]


_KNIVES: tuple[Knife, ...] = ("low_lift", "high_lift")
_NOTHING_ASKED = Fault(
    "nothing to change",
    "no other machine, skid shoe, knives or cleared marks",
    "both answers would be the same",
    "say --other-machine, --skid-shoe, --knives or --cleared",
)


def _known_fields(farm: Farm, field_ids: Sequence[str]) -> None:
    ids = farm.fields["field_id"]
    use = f"use one of {', '.join(ids.iloc[:_SOME])}"
    strange = [name for name in dict.fromkeys(field_ids) if not (ids == name).any()]
    if strange:
        raise MisuseError(
            Fault("no such field", name, "there is nothing to hold side by side", use)
            for name in strange
        )


def _assumed(
    farm: Farm,
    before: Assessment,
    put: Machine | None,
    shoe: str | None,
    knives: Knife | None,
    marks: Sequence[Cleared] | None,
) -> list[str]:
    """What was changed on paper, in sentences."""
    told = []
    old = before.machine
    if put is not None and old is not None and put.id != old.id:
        told.append(f"{put.name} ({put.id}) in place of {old.name} ({old.id}).")
    if put is not None and shoe:
        height = shown(put.skid_shoes[0].cut_height_m, "m cut", farm.settings.units)
        told.append(f"{put.name} carries only the skid shoe '{shoe}', cut height {height}.")
    if put is not None and knives:
        label = farm.tables[f"knives.{knives}"].words["label"]
        told.append(f"{put.name} carries only one kind of knife, the {label}.")
    if marks:
        names = listed([f"{one.hazard_id} {one.label}" for one in marks])
        count = "1 mark is" if len(marks) == 1 else f"{len(marks)} marks are"
        told.append(f"{count} taken as cleared: {names}.")
    elif marks is not None:
        told.append("No mark is taken as cleared: none that was asked for stands here.")
    return told or ["Nothing: the machine is the same."]


def _rows(assessed: Assessment) -> list[dict[Any, Any]]:
    return assessed.table.to_dict("records")


def _only(held: Sequence[str], other: Sequence[str]) -> tuple[str, ...]:
    return tuple(one for one in held if one not in other)


def _tried(faults: list[Fault], step: Callable[[], _T]) -> _T | None:
    """What a step gives; its faults join the others."""
    try:
        return step()
    except MisuseError as error:
        faults.extend(error.faults)
        return None
