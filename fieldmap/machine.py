"""A machine as its manual and its owner describe it; what is not known is ``None``."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

Kind = Literal["rear-mounted", "pull-type", "front-and-rear", "self-propelled"]
Knife = Literal["low_lift", "high_lift"]
Conditioner = Literal["none", "tine", "rubber_rolls", "steel_rolls"]
Drive = Literal["2wd", "front_assist", "4wd", "tracks"]

Name = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]
Metres = Annotated[float, Field(gt=0, lt=60)]
Kilograms = Annotated[float, Field(gt=0, lt=100_000)]


_LEAST_KPA = 40.0  # no tyre of such a machine runs on less; figures under it are psi
_MASS_SLACK = 0.15  # of the mass: weighed full or empty, on other days


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Transport(_Part):
    """One way of carrying the machine on the road: its outside size in metres."""

    name: Name
    width_m: Metres | None = None
    height_m: Metres | None = None
    length_m: Metres | None = None


class SkidShoe(_Part):
    """A skid shoe the machine can carry, by the cut height it gives (m)."""

    name: Name
    cut_height_m: Annotated[float, Field(gt=0.005, lt=0.5)]


class Axle(_Part):
    """Mass on one axle (kg) and its distance behind the first axle (m)."""

    mass_kg: Kilograms
    position_m: Annotated[float, Field(ge=0, lt=60)]


class Tyre(_Part):
    """Load on one tyre (kg), inflation (kPa) and the speed its category allows (km/h)."""

    axle: Annotated[int, Field(ge=1, le=12)]
    load_kg: Kilograms | None = None
    inflation_kpa: Annotated[float, Field(gt=0, lt=1000)] | None = None
    speed_kmh: Annotated[float, Field(gt=0, lt=120)] | None = None


class Machine(_Part):
    """A mower with what carries or pulls it, as one thing that crosses fields and bridges.

    Lengths in metres, masses in kilograms, speeds in km/h, slopes in percent. ``mass_kg`` is
    the whole train as it moves on the road, ``mower_mass_kg`` what of it is trailed or carried.
    ``power_kw`` is what the tractor's shaft gives, of a self-propelled machine the engine.
    ``side_slope_limit_pct`` and ``up_down_limit_pct`` are the user's own limits or the manual's;
    they win over the tool's defaults. ``fitted_shoe`` and ``fitted_knives`` are on the machine
    now; ``knife_interval_ha`` and ``knife_interval_strikes`` are after how much the owner changes
    or turns the knives.
    """

    id: Name
    name: Name
    kind: Kind
    working_width_m: Metres | None = None
    mass_kg: Kilograms | None = None
    mower_mass_kg: Kilograms | None = None
    axles: tuple[Axle, ...] = ()
    drive: Drive | None = None
    power_kw: Annotated[float, Field(gt=0, lt=2000)] | None = None
    track_width_m: Metres | None = None
    cg_height_m: Metres | None = None
    wheelbase_m: Metres | None = None
    hitch_offset_m: Annotated[float, Field(ge=0, lt=10)] | None = None
    tongue_length_m: Metres | None = None
    turning_radius_m: Metres | None = None
    road_speed_kmh: Annotated[float, Field(gt=0, lt=100)] | None = None
    field_speed_kmh: Annotated[float, Field(gt=0, lt=60)] | None = None
    side_slope_limit_pct: Annotated[float, Field(gt=0, lt=100)] | None = None
    up_down_limit_pct: Annotated[float, Field(gt=0, lt=100)] | None = None
    skid_shoes: tuple[SkidShoe, ...] = ()
    knives: tuple[Knife, ...] = ()
    fitted_shoe: Name | None = None
    fitted_knives: Knife | None = None
    knife_interval_ha: Annotated[float, Field(gt=0, lt=100_000)] | None = None
    knife_interval_strikes: Annotated[int, Field(gt=0, lt=10_000)] | None = None
    conditioner: Conditioner | None = None
    tyres: tuple[Tyre, ...] = ()
    transport: tuple[Transport, ...] = ()

    @model_validator(mode="after")
    def _names_are_their_own(self) -> Machine:
        for label, names in (
            ("transport states", [state.name for state in self.transport]),
            ("skid shoes", [shoe.name for shoe in self.skid_shoes]),
        ):
            if len(set(names)) != len(names):
                raise ValueError(f"two {label} have the same name: {', '.join(names)}")
        return self

    @model_validator(mode="after")
    def _parts_fit_together(self) -> Machine:
        wrong = [
            f"inflation_kpa = {tyre.inflation_kpa:g} looks like psi; 1 psi is 6.9 kPa"
            for tyre in self.tyres
            if tyre.inflation_kpa is not None and tyre.inflation_kpa < _LEAST_KPA
        ]
        carried = sum(axle.mass_kg for axle in self.axles)
        if self.mass_kg and carried > (1.0 + _MASS_SLACK) * self.mass_kg:
            wrong.append(f"the axles carry {carried:g} kg, and mass_kg says {self.mass_kg:g}")
        if wrong:
            raise ValueError("; ".join(wrong))
        return self

    @model_validator(mode="after")
    def _what_is_fitted_can_be_carried(self) -> Machine:
        shoes = [shoe.name for shoe in self.skid_shoes]
        if self.fitted_shoe is not None and shoes and self.fitted_shoe not in shoes:
            raise ValueError(
                f"fitted_shoe {self.fitted_shoe!r} is none of its skid shoes: {', '.join(shoes)}"
            )
        if self.fitted_knives is not None and self.knives and self.fitted_knives not in self.knives:
            raise ValueError(
                f"fitted_knives {self.fitted_knives!r} are none of its knives: "
                f"{', '.join(self.knives)}"
            )
        if (self.mower_mass_kg or 0.0) > (self.mass_kg or math.inf):
            raise ValueError("mower_mass_kg is more than mass_kg, the mass of the whole train")
        return self

    def static_stability(self) -> float | None:
        """Half the track width over the height of the centre of gravity, or ``None``.

        T / (2 h), the static stability factor (NHTSA). Its arctangent is the angle at which
        a rigid machine tips on a plane: an upper bound, never a limit to work to.

        Examples
        --------
        >>> one = Machine(id="a", name="a", kind="pull-type", track_width_m=1.6, cg_height_m=0.9)
        >>> round(one.static_stability(), 4)
        0.8889
        >>> Machine(id="a", name="a", kind="pull-type").static_stability() is None
        True
        """
        if self.track_width_m is None or self.cg_height_m is None:
            return None
        return self.track_width_m / (2.0 * self.cg_height_m)

    def static_tipping_deg(self) -> float | None:
        """Static tipping angle on a side slope in degrees, or ``None`` when not known."""
        stability = self.static_stability()
        return None if stability is None else math.degrees(math.atan(stability))
