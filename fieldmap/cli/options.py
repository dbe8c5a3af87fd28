"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Folder = Annotated[
    Path,
    typer.Argument(
        metavar="FOLDER", help="The farm folder: it holds farm.toml.", show_default=False
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON, also on failure.")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback when something breaks.")]
Strict = Annotated[
    bool, typer.Option("--strict", help="End with 4 when anything is stop or unknown.")
]
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Where to write [default: FOLDER/outputs]."),
]
Overwrite = Annotated[
    bool, typer.Option("--overwrite", help="Also over files fieldmap did not write.")
]
MachineId = Annotated[
    str | None, typer.Option("--machine", metavar="ID", help="Machine id [default: the first].")
]
FieldIds = Annotated[
    list[str] | None,
    typer.Option("--field", metavar="ID", help="Only this field; may be repeated."),
]
SwapXy = Annotated[
    bool, typer.Option("--swap-xy", help="The file has latitude where longitude belongs.")
]
Day = Annotated[
    str | None,
    typer.Option("--date", metavar="YYYY-MM-DD", help="Day asked about [default: today]."),
]


def target(folder: Path, field_ids: list[str]) -> Path:
    """The farm's outputs; some fields alone go beside them, so that the farm's stay whole.

    Examples
    --------
    >>> target(Path("farm"), ["S1"]).as_posix()
    'farm/outputs/only-S1'
    """
    outputs = folder / "outputs"
    if not field_ids:
        return outputs
    from fieldmap.write.names import page_name

    return outputs / f"only-{page_name('-'.join(field_ids))}"
