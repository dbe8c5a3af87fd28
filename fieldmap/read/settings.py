"""The farm folder's own words: farm.toml and machines.toml, every fault at once."""

from __future__ import annotations

import tomllib
from datetime import tzinfo
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from fieldmap.errors import Fault, InputError
from fieldmap.machine import Machine

_Model = TypeVar("_Model", bound=BaseModel)
_MENDS = {
    "missing": "add it",
    "extra_forbidden": "take it out, or correct its spelling",
}


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Files(_Part):
    """Names of the farm's files, beside farm.toml."""

    fields: str
    gates: str | None = None
    elevation: str | None = None
    elevation_unit: Literal["m", "ft", "us-ft"] | None = None
    elevation_made_from_cell_m: Annotated[float, Field(gt=0)] | None = None
    roads: str | None = None
    road_checks: str | None = None
    machines: str | None = None
    hazards: str = "hazards.gpkg"
    tracks: tuple[str, ...] = ()
    flood: str | None = None


class FarmSettings(_Part):
    """farm.toml as read: names, units and what else a person decided."""

    name: Annotated[str, Field(min_length=1, max_length=120)]
    note: str = ""
    units: Literal["us", "metric"] = "metric"
    time_zone: str = "UTC"
    crs: str | None = None
    files: Files
    columns: dict[Literal["fields"], dict[str, str]] = {}
    places: dict[str, tuple[float, float]] = {}
    road_rules: dict[str, str | float | bool] = {}
    tables: dict[str, Any] = {}

    @field_validator("time_zone")
    @classmethod
    def _zone_exists(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError):
            raise ValueError("not a time zone name such as America/Chicago") from None
        return name

    @field_validator("places")
    @classmethod
    def _places_on_earth(
        cls, places: dict[str, tuple[float, float]]
    ) -> dict[str, tuple[float, float]]:
        for place, (lon, lat) in places.items():
            if not (abs(lon) <= 180 and abs(lat) <= 90):
                raise ValueError(f"{place}: give [longitude, latitude] in degrees")
        return places

    def zone(self) -> tzinfo:
        """The farm's time zone."""
        return ZoneInfo(self.time_zone)


class _MachineList(_Part):
    machine: tuple[Machine, ...] = ()


def read_farm_settings(path: Path) -> FarmSettings:
    """farm.toml, checked.

    Raises
    ------
    InputError
        Missing, not TOML, or any key wrong: all of them at once.
    """
    return _validated(FarmSettings, _toml(path, "farm.toml"), path)


def read_machines(path: Path) -> tuple[Machine, ...]:
    """machines.toml, checked.

    Raises
    ------
    InputError
        Missing, not TOML, a bad figure, or an id that stands twice.
    """
    machines = _validated(_MachineList, _toml(path, "machines"), path).machine
    ids = [machine.id for machine in machines]
    twice = sorted({name for name in ids if ids.count(name) > 1})
    if twice or not machines:
        raise InputError(
            Fault(
                "machine ids that stand twice" if twice else "no machine in the file",
                ", ".join(twice) or "none",
                "it is not clear which machine is meant",
                "give each [[machine]] its own id",
                where=str(path),
            )
        )
    return machines


def _toml(path: Path, what: str) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8-sig"))
    except FileNotFoundError:
        raise InputError(
            Fault(
                f"no {what} here",
                str(path),
                "nothing says what the farm's files are",
                "make one with 'fieldmap start'",
                where=str(path),
            )
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(
            Fault(
                f"{what} is not TOML",
                str(error),
                "none of it can be read",
                "mend the line named",
                where=str(path),
            )
        ) from None
    except OSError as error:
        raise InputError(
            Fault(
                f"{what} cannot be opened",
                error.strerror or str(error),
                "nothing says what the farm's files are",
                "mend its permissions",
                where=str(path),
            )
        ) from None


def _validated(model: type[_Model], given: dict[str, Any], path: Path) -> _Model:
    try:
        return model.model_validate(given)
    except ValidationError as error:
        raise InputError(_fault(case, path) for case in error.errors()) from None


def _fault(case: Any, path: Path) -> Fault:
    key = ".".join(str(part + 1) if isinstance(part, int) else part for part in case["loc"])
    seen = "not there" if case["type"] == "missing" else repr(case.get("input"))[:80]
    words = case["msg"].removeprefix("Value error, ")
    return Fault(
        f"{key or 'the file'}: {words.lower()}",
        seen,
        "the tool does not guess what was meant",
        _MENDS.get(case["type"], "correct it"),
        where=str(path),
    )
