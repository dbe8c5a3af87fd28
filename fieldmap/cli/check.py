"""``fieldmap check``: every input of a farm folder, every fault, how to mend it."""

from __future__ import annotations

from fieldmap.cli.options import Debug, Folder, Json, Strict
from fieldmap.cli.reply import Reply


def check(
    folder: Folder, strict: Strict = False, json: Json = False, debug: Debug = False
) -> Reply:
    """Read every input and list every fault: file, row, why it matters, how to mend it."""
    del json, debug, strict
    from fieldmap.farm import check_farm

    faults, notes = check_farm(folder)
    count = f"{len(faults)} {'fault' if len(faults) == 1 else 'faults'} to mend"
    lines = [count] if faults else ["every input was read, no fault found"]
    return Reply(
        result={"faults": len(faults), "notes": list(notes)},
        lines=[*lines, *(f"note: {note}" for note in notes)],
        faults=faults,
        attention=bool(notes),
    )
