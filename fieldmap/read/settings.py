"""The farm folder's own words: farm.toml and machines.toml, every fault at once."""

from __future__ import annotations

import difflib
import tomllib
from datetime import date, tzinfo
from pathlib import Path, PurePath
from typing import Annotated, Any, Literal, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from fieldmap.errors import Fault, InputError
from fieldmap.machine import Axle, Machine, SkidShoe, Transport, Tyre
from fieldmap.read.day_settings import DaySettings
from fieldmap.read.paths import is_address
from fieldmap.read.road_rules import Rule, checked_rules

_Model = TypeVar("_Model", bound=BaseModel)
_MENDS = {
    "missing": "add it",
    "extra_forbidden": "take it out, or correct its spelling",
}
_SAID = {
    "missing": "a key that must be there",
    "extra_forbidden": "a key that nothing reads",
}
_NEEDED = {
    "farm.toml": "nothing says what the farm's files are",
    "machines": "limits and widths are the machine's",
}
_MAKE = {
    "farm.toml": "make one with 'fieldmap start', or name the folder that holds it",
    "machines": "correct the name, or take the line out of farm.toml",
}


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Files(_Part):
    """Names of the farm's files, beside farm.toml."""

    fields: str
    gates: str | None = None
    elevation: str | None = None
    elevation_unit: Literal["m", "ft", "us-ft"] | None = None
    elevation_made_from_cell_m: Annotated[float, Field(gt=0)] | None = None
    elevation_error_m: Annotated[float, Field(gt=0, lt=200)] | None = None
    elevation_product: str | None = None
    roads: str | None = None
    road_checks: str | None = None
    machines: str | None = None
    hazards: str = "hazards.gpkg"
    ledger: str | None = None
    tracks: tuple[str, ...] = ()
    flood: str | None = None
    flood_depth_m: Annotated[float, Field(gt=0, lt=100)] | None = None
    flood_date: date | None = None
    swap_xy: tuple[Literal["fields", "gates", "flood"], ...] = ()

    @field_validator(
        "fields",
        "gates",
        "elevation",
        "roads",
        "road_checks",
        "machines",
        "hazards",
        "ledger",
        "flood",
    )
    @classmethod
    def _plain_names(cls, name: str | None) -> str | None:
        if name is not None and is_address(name):
            raise ValueError("an address; fieldmap reads local files only, so download it")
        if name is not None and (not name.strip() or not name.isprintable()):
            raise ValueError("not the name of a file")
        return name

    @model_validator(mode="after")
    def _a_flood_by_depth_is_whole(self) -> Files:
        if (self.flood_depth_m is None) != (self.flood_date is None):
            raise ValueError(
                "flood_depth_m and flood_date go together: a walk before the water is told from "
                "one after it by the date"
            )
        if self.flood_depth_m is not None and self.elevation is None:
            raise ValueError("flood_depth_m needs elevation: it is reckoned over the channel")
        return self

    @field_validator("tracks")
    @classmethod
    def _patterns_in_the_folder(cls, patterns: tuple[str, ...]) -> tuple[str, ...]:
        for pattern in patterns:
            if not pattern.strip() or PurePath(pattern).is_absolute() or is_address(pattern):
                raise ValueError(f"{pattern!r}: give names or patterns below the farm folder")
        return patterns


class Prices(_Part):
    """The farm's own prices; what is not given is the table's."""

    currency: Annotated[str, Field(min_length=1, max_length=8, pattern=r"^\S+$")] = "USD"
    hay_t: Annotated[float, Field(gt=0, lt=100_000)] | None = None
    bale: Annotated[float, Field(ge=0, lt=100_000)] | None = None
    strike: Annotated[float, Field(ge=0, lt=100_000)] | None = None
    knife: Annotated[float, Field(ge=0, lt=100_000)] | None = None
    hour: Annotated[float, Field(ge=0, lt=100_000)] | None = None

    def overrides(self) -> dict[str, float]:
        """The prices given, by the key of the table row that they win over."""
        given = self.model_dump(exclude_none=True, exclude={"currency"})
        return {f"prices.{name}": float(figure) for name, figure in given.items()}


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
    road_rules: dict[str, Rule] = {}
    day: DaySettings = DaySettings()
    prices: Prices = Prices()
    tables: dict[str, Any] = {}

    @field_validator("time_zone")
    @classmethod
    def _zone_exists(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError):
            raise ValueError("not a time zone name such as America/Chicago") from None
        return name

    @field_validator("road_rules", mode="before")
    @classmethod
    def _rules_that_something_reads(cls, rules: Any) -> Any:
        return checked_rules(rules) if isinstance(rules, dict) else rules

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
                f"{what}: no such file",
                "nothing of this name",
                _NEEDED[what],
                _MAKE[what],
                where=str(path),
            )
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise InputError(
            Fault(
                f"{what} is not TOML",
                str(error),
                "none of it can be read",
                "mend the place named",
                where=str(path),
            )
        ) from None
    except OSError as error:
        raise InputError(
            Fault(
                f"{what} cannot be opened",
                error.strerror or str(error),
                _NEEDED[what],
                "name the farm folder itself; else mend its permissions",
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
    seen = "not there" if case["type"] == "missing" else _seen(case.get("input"))
    words = _SAID.get(case["type"]) or case["msg"].removeprefix("Value error, ")
    return Fault(
        f"{key or 'the file'}: {words[:1].lower()}{words[1:]}",
        seen,
        "the tool does not guess what was meant",
        _mend(case),
        where=str(path),
    )


def _seen(given: Any) -> str:
    """What stood there; of a whole machine its id, which is how people know it."""
    if isinstance(given, dict):
        return str(given.get("id") or given.get("name") or ", ".join(given))[:80]
    return repr(given)[:80]


def _mend(case: Any) -> str:
    """What to do about it; for a misspelt key, the one that was likely meant."""
    near = []
    if case["type"] == "extra_forbidden":
        near = difflib.get_close_matches(str(case["loc"][-1]), _KEYS, n=1)
    return f"did you mean {near[0]}?" if near else _MENDS.get(case["type"], "correct it")


_KEYS = tuple(
    dict.fromkeys(
        key
        for model in (
            FarmSettings,
            Files,
            DaySettings,
            Prices,
            Machine,
            Transport,
            SkidShoe,
            Axle,
            Tyre,
        )
        for key in model.model_fields
    )
)
