"""What a search plan comes to, in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from fieldmap.hazards.search_plan import Laid, Left
from fieldmap.units import M2_PER_HECTARE, System, shown

#: Less ground than this is no ground.
NO_GROUND_M2 = 1.0
_AT_THE_GATE_M = 1.0


class Wanted(NamedTuple):
    """What is looked for: a kind, its name, its sweep width here, and the chance wished.

    ``looked_for`` is false for a kind that a walker cannot be expected to see.
    """

    kind: str
    label: str
    sweep_m: float
    chance: float
    looked_for: bool


def why(
    wanted: Wanted,
    left: Left,
    laid: Sequence[Laid],
    *,
    area_m2: float,
    crossings: int,
    start: tuple[str, float],
    height_known: bool,
    units: System,
) -> str:
    """A field's plan in words: what is left, how it is walked, what it does not reach.

    Parameters
    ----------
    wanted, left, laid
        As planned.
    area_m2 : float
        The whole field.
    crossings : int
        Ways between lines that leave the ground.
    start : tuple
        Name of the gate ("" for none) and metres from it to where the walk can start.
    height_known : bool
        Whether anybody said how tall the crop stands.
    units : {"us", "metric"}
    """
    told = [*_ground(wanted, left, area_m2, units), *_left_out(left, units)]
    if laid:
        told += [*_lines(wanted, laid, crossings, units), *_start(*start, units)]
    if not height_known:
        told.append("The height of the crop is not known and is taken as tall.")
    return " ".join(told)


def _hectares(area_m2: float, units: System) -> str:
    return shown(area_m2 / M2_PER_HECTARE, "ha", units)


def _ground(wanted: Wanted, left: Left, area_m2: float, units: System) -> Iterator[str]:
    thing = f"{wanted.label} ({100 * wanted.chance:g}% wished)"
    if not left.ground.is_empty:
        some = f"{_hectares(left.ground.area, units)} of {_hectares(area_m2, units)}"
        yield f"{some} still to be looked at for {thing}."
    elif left.kept_off_m2 >= NO_GROUND_M2:
        yield "What is still to be looked at must not be walked on."
    else:
        yield f"No ground that is worth a line is left to look at for {thing}."


def _left_out(left: Left, units: System) -> Iterator[str]:
    if left.slivers_m2 >= NO_GROUND_M2:
        yield "Pieces too small for a line are left out."
    if left.kept_off_m2 >= NO_GROUND_M2:
        near = _hectares(left.kept_off_m2, units)
        yield f"{near} near marks that people must keep away from stays not looked at."


def _lines(wanted: Wanted, laid: Sequence[Laid], crossings: int, units: System) -> Iterator[str]:
    apart = " and ".join(dict.fromkeys(shown(one.spacing_m, "m", units) for one in laid))
    often = max(one.passes for one in laid)
    yield f"Lines {apart} apart{f', gone over {often} times' if often > 1 else ''}."
    least = min(one.chance_after for one in laid)
    if least < wanted.chance:
        yield f"That gives only {100 * least:.0f}%."
    if crossings:
        yield f"{crossings} of the ways leave the ground: look how to get across."
    if not wanted.looked_for:
        yield f"A walker cannot be expected to see all of it: {wanted.label} hides."


def _start(gate: str, off_m: float, units: System) -> Iterator[str]:
    if not gate:
        yield "No gate is known: the walk starts at the edge."
    elif off_m > _AT_THE_GATE_M:
        yield f"The first place that may be walked on is {shown(off_m, 'm', units)} from {gate}."
