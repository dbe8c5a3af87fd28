"""Field boundaries, the lie of the land and what people found, put together before a cut.

The functions a Python user calls; each loads its room when it is first asked for:

>>> import fieldmap
>>> fieldmap.load_tables()["side_slopes.stop_pct"].unit
'%'
"""

from __future__ import annotations

import importlib
import os
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
#: Name and number of every JSON document that fieldmap prints or writes.
JSON_SCHEMA = "fieldmap/1"

# Set before any library opens a raster or a vector: a text file must not be able to make the
# reader follow it to another file or to an address, and dates in outputs must not differ.
os.environ.setdefault("GDAL_SKIP", "VRT,WMS,WCS,WMTS,PLMOSAIC,DAAS,EEDAI,STACTA,STACIT")
os.environ.setdefault(
    "OGR_SKIP", "OGR_VRT,WFS,OAPIF,Carto,AmigoCloud,CSW,Elasticsearch,PLSCENES,NGW,GDALG"
)
os.environ.setdefault("CPL_VSIL_CURL_ALLOWED_EXTENSIONS", "{none}")
os.environ.setdefault("GDAL_DISABLE_READDIR_ON_OPEN", "EMPTY_DIR")

_ROOMS = {
    "load_tables": "fieldmap.tables",
    "load_farm": "fieldmap.farm",
    "check_farm": "fieldmap.farm",
    "assess": "fieldmap.assessment",
    "plan_move": "fieldmap.journey",
    "plan_search": "fieldmap.search",
    "survey_slopes": "fieldmap.survey",
    "take_in": "fieldmap.intake",
    "what_if": "fieldmap.supposing",
    "write_assessment": "fieldmap.write",
    "write_move": "fieldmap.write",
    "write_search": "fieldmap.write",
    "write_survey": "fieldmap.write",
    "write_what_if": "fieldmap.write",
}
__all__ = [
    "__version__",
    "assess",
    "check_farm",
    "load_farm",
    "load_tables",
    "plan_move",
    "plan_search",
    "survey_slopes",
    "take_in",
    "what_if",
    "write_assessment",
    "write_move",
    "write_search",
    "write_survey",
    "write_what_if",
]

if TYPE_CHECKING:
    from fieldmap.assessment import assess
    from fieldmap.farm import check_farm, load_farm
    from fieldmap.intake import take_in
    from fieldmap.journey import plan_move
    from fieldmap.search import plan_search
    from fieldmap.supposing import what_if
    from fieldmap.survey import survey_slopes
    from fieldmap.tables import load_tables
    from fieldmap.write import (
        write_assessment,
        write_move,
        write_search,
        write_survey,
        write_what_if,
    )


def __getattr__(name: str) -> Any:
    room = _ROOMS.get(name)
    if room is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(room), name)
