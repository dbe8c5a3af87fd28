"""The day a question is asked: given, or today where the farm is."""

from __future__ import annotations

from datetime import date, datetime, tzinfo

from fieldmap.errors import Fault, MisuseError


def asked_day(text: str | None, zone: tzinfo, *, option: str = "--date") -> date:
    """The day of ``--date``, or of another option, or today in the farm's time zone.

    Raises
    ------
    MisuseError
        Not a date.

    Examples
    --------
    >>> from datetime import UTC
    >>> asked_day("2026-06-09", UTC)
    datetime.date(2026, 6, 9)
    """
    if text is None:
        return datetime.now(zone).date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise MisuseError(
            Fault(
                f"{option} is not a day",
                text,
                "marks, walks and floods are held against it",
                "write it as 2026-06-09",
            )
        ) from None
