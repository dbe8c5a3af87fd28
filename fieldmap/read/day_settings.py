"""The ``[day]`` table of farm.toml: from when to when there is work, and in which field when."""

from __future__ import annotations

import re
from datetime import time
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator

from fieldmap.hours import Hours, hours_of

_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})")


def clock(text: object) -> time:
    """A time of the clock as people write it.

    Parameters
    ----------
    text : str or datetime.time
        ``07:30`` or ``7:30``; TOML's own local time is taken as it is.

    Raises
    ------
    ValueError
        Nothing of this kind.

    Examples
    --------
    >>> clock("7:30")
    datetime.time(7, 30)
    >>> clock("half past seven")
    Traceback (most recent call last):
    ValueError: write a time of day as 07:30
    """
    if isinstance(text, time):
        return text
    found = _CLOCK.fullmatch(text.strip()) if isinstance(text, str) else None
    if found is None or int(found[1]) > 23 or int(found[2]) > 59:
        raise ValueError("write a time of day as 07:30")
    return time(int(found[1]), int(found[2]))


Clock = Annotated[time, BeforeValidator(clock)]


class DaySettings(BaseModel):
    """What the farm asks of a day: hours of work, when the dew is off, windows of fields.

    ``service_min`` are the minutes a field for hitching and for looking round before the first
    run; without it the table's are taken. ``windows`` are hours by field id: mowing there begins
    and ends within them.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    start: Clock | None = None
    end: Clock | None = None
    dew_off: Clock | None = None
    service_min: Annotated[float, Field(ge=0, lt=600)] | None = None
    windows: dict[str, str] = {}

    @field_validator("windows")
    @classmethod
    def _hours_of_one_day(cls, windows: dict[str, str]) -> dict[str, str]:
        for field_id, text in windows.items():
            hours = hours_of(text)
            if hours.end <= hours.begin:
                raise ValueError(f"{field_id}: the window {text} ends before it begins")
        return windows

    def window(self, field_id: str) -> Hours | None:
        """The window of a field, ``None`` when it has none."""
        text = self.windows.get(field_id)
        return None if text is None else hours_of(text)
