"""What is known of a field when the mower is set up for it."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np

from fieldmap.finding import Level
from fieldmap.tables import Constant, Tables
from fieldmap.words import plain_words

SET_UP_CAUTION = (
    "WARNING: stop, shut down and take the key out before going near knives or rolls. "
    "The machine's manual decides where it says otherwise."
)


class Conditions(NamedTuple):
    """A field as the mower meets it; ``None`` is "nobody said".

    ``crop`` is the row of ``cut_heights``, ``rough`` says whether something in the field can hit
    the knives, ``soil`` whether silt or flood left soil on the crop. ``stoniness_said`` and
    ``log_read`` tell what ``rough`` rests on, ``unsure`` what else of the ground could not be
    reckoned. ``yield_t_ha`` is the dry matter of this cutting.
    """

    field_id: str
    crop: Constant | None
    crop_words: str
    cutting: int | None
    rough: bool | None
    rough_words: str
    soil: bool
    lodged: bool | None
    drought: bool | None = None
    yield_t_ha: float | None = None
    stoniness_said: bool = True
    log_read: bool = True
    unsure: tuple[str, ...] = ()

    @property
    def ground_known(self) -> bool:
        """Whether somebody said how stony it is, and there is a log of what lies there."""
        return self.rough is not None and self.stoniness_said and self.log_read


def conditions(
    field: Mapping[str, Any], *, kinds: Iterable[str] | None, flooded: bool, tables: Tables
) -> Conditions:
    """Gather what the boundary table and the log say about a field.

    Parameters
    ----------
    field : mapping
        Row of the boundary table: ``field_id, crop, cutting, stoniness, lodged, drought,
        yield_t_ha``.
    kinds : iterable of str or None
        Hazard kinds marked in the field; ``None`` when there is no log.
    flooded : bool
        Whether any of it stood under water.
    tables : Tables
    """
    marks = tuple(dict.fromkeys(() if kinds is None else kinds))
    marked = [tables[f"hazard_kinds.{kind}"] for kind in marks]
    hits = [row.words["label"] for row in marked if "knives" in row.words["endangers"].split(";")]
    stoniness = _number(field.get("stoniness"))
    if hits:
        rough, words = True, f"marked in the log: {', '.join(hits)}"
    elif stoniness is None:
        rough, words = None, "nobody said whether the ground is stony"
    elif stoniness > 0:
        rough, words = True, f"stoniness class {stoniness:g} in the boundary table"
    elif kinds is None:
        rough, words = None, "there is no hazard log, so nobody knows what can hit the knives"
    else:
        rough, words = False, "stoniness class 0 and nothing marked that can hit the knives"
    cutting = _number(field.get("cutting"))
    said = _words(field.get("crop"))
    return Conditions(
        field_id=str(field["field_id"]),
        crop=crop_row(said, tables) if said else None,
        crop_words=said,
        cutting=None if cutting is None else round(cutting),
        rough=rough,
        rough_words=words,
        soil=flooded or "silt" in marks,
        lodged=_yes_no(field.get("lodged")),
        drought=_yes_no(field.get("drought")),
        yield_t_ha=_number(field.get("yield_t_ha")),
        stoniness_said=stoniness is not None,
        log_read=kinds is not None,
    )


def crop_row(words: str, tables: Tables) -> Constant | None:
    """The row of ``cut_heights`` that a crop's name means, or ``None``.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> crop_row("Lucerne", load_tables()).key
    'cut_heights.alfalfa'
    >>> crop_row("hops", load_tables()) is None
    True
    """
    said = _plain(words)
    for row in tables.rows("cut_heights"):
        names = (row.key.split(".", 1)[1], row.words["label"], *row.words["aliases"].split(";"))
        if any(said == _plain(name) for name in names):
            return row
    return None


def crop_unknown(field: Conditions) -> tuple[str, str] | None:
    """Why the crop cannot be advised on, and what would change it; ``None`` when it can."""
    if field.crop is not None:
        return None
    if not field.crop_words:
        return "Nobody said which crop stands here.", "Say the crop in the boundary table"
    return (
        f"No row of the tables means '{field.crop_words}'.",
        "Name the crop as in 'fieldmap values cut_heights'",
    )


def rough_change(field: Conditions) -> str:
    """What would settle whether something can hit the knives; nothing when all is said."""
    if not field.log_read:
        return "Log what is found with 'fieldmap hazards import'"
    if not field.stoniness_said:
        return "Say the stoniness class of the field, 0 when it is clean"
    return ""


def level_of(field: Conditions) -> Level:
    """``unknown`` when not all is known of the ground, ``care`` when it is rough or silted.

    Ground that was marked as rough, and of which nobody said how stony it is, is unknown too:
    clearing the mark must not make an answer worse.
    """
    if not field.ground_known or field.unsure:
        return "unknown"
    return "care" if field.rough or field.soil else "ok"


def follows(field: Conditions) -> bool:
    """Whether a field's unknown only follows from what another finding says is not known."""
    return field.ground_known and bool(field.unsure)


def ground_words(field: Conditions) -> str:
    """What makes the ground rough, or unknown, as the beginning of a sentence."""
    words = field.rough_words
    if field.rough is False:
        if field.soil:
            words = "silt or flood left soil on the crop"
        elif field.unsure:
            words = f"not reckoned: {'; '.join(field.unsure)}"
    return words[:1].upper() + words[1:]


@functools.lru_cache(maxsize=4096)
def _plain(words: str) -> str:
    return plain_words(words)


def _yes_no(held: Any) -> bool | None:
    return bool(held) if isinstance(held, bool | np.bool_) else None


def _number(held: Any) -> float | None:
    if held is None or held != held:  # noqa: PLR0124 - NaN
        return None
    return float(held)


def _words(held: Any) -> str:
    missing = held is None or held != held  # noqa: PLR0124 - NaN
    return "" if missing else str(held).strip()
