"""What goes wrong, said to a person: one base class, four children, one exit code each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

SHOWN_AT_ONCE = 50


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with what was given, and how to put it right.

    Parameters
    ----------
    what : str
        What is wrong, in a few words.
    value : str
        The value that was seen, as text.
    why : str
        Why it matters to the person who gave it.
    mend : str
        What to do about it.
    where : str
        File, layer, row or key: as near as is known.

    Examples
    --------
    >>> print(Fault("no coordinate system", "none", "ground cannot be placed",
    ...             "save it with one", where="fields.geojson"))
    fields.geojson: no coordinate system: none; ground cannot be placed; to mend: save it with one
    """

    what: str
    value: str
    why: str
    mend: str
    where: str = ""

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.what}: {self.value}; {self.why}; to mend: {self.mend}"


class FieldmapError(Exception):
    """Everything that fieldmap raises on purpose; carries all the faults found.

    ``exit_code`` is what a command ends with when the error reaches it.
    """

    exit_code = 1

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__(str(self))

    def __str__(self) -> str:
        return "\n".join(told(self.faults))


class MisuseError(FieldmapError):
    """A command or function was asked for something that does not exist."""

    exit_code = 2


class InputError(FieldmapError):
    """A file or a value that was given cannot be used."""

    exit_code = 3


class StoreError(FieldmapError):
    """The disk, a permission or a lock stood in the way."""

    exit_code = 5


def told(faults: Iterable[Fault]) -> list[str]:
    """Faults as lines, the first fifty and a count of the rest.

    Examples
    --------
    >>> told([])
    []
    >>> told([Fault("a", "b", "c", "d")] * 52)[-1]
    '... and 2 more'
    """
    gathered = list(faults)
    lines = [str(fault) for fault in gathered[:SHOWN_AT_ONCE]]
    left = len(gathered) - SHOWN_AT_ONCE
    return [*lines, f"... and {left} more"] if left > 0 else lines


def raise_all(faults: Iterable[Fault]) -> None:
    """Raise one :class:`InputError` with every fault, or do nothing when there is none."""
    gathered = tuple(faults)
    if gathered:
        raise InputError(gathered)
