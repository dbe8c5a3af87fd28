"""The map's public service behind OSMnx: settings put back, answers judged, nothing tried again.

OSMnx keeps its settings in one place for the whole process, bends the look-up of host names and
asks a busy service again without end. Here both are put back, and the first refusal is told.
"""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import version
from typing import Any
from urllib.parse import urlsplit
from urllib.request import getproxies

from osmnx import settings

from fieldmap import __version__
from fieldmap.errors import Fault, StoreError
from fieldmap.read.road_tags import NODE, WAY, of_node, of_way

_REACH_S = 15.0  # for the first word from the service
_ANSWER_S = 180  # for an answer
_QUEUE_S = 120  # longest turn that is waited for
_ASKED_OFTEN = 24  # times that the service may say it is still busy; OSMnx asks every 5 s
_BUSY = frozenset((429, 504))
_TURN = re.compile(r"in (\d+) seconds")
_Response = Any  # of requests, which comes with OSMnx


@contextmanager
def own_settings(host: str) -> Iterator[None]:
    """OSMnx as fieldmap needs it; its settings and the look-up of names are put back."""
    library = f"OSMnx {version('osmnx')} (https://github.com/gboeing/osmnx)"
    ours: dict[str, Any] = {
        "all_oneway": True,  # keeps the one-way tag as it is mapped; its line is read from that
        "cache_only_mode": False,
        "doh_url_template": None,  # nobody else is asked where the service is
        "http_referer": "fieldmap",
        "http_user_agent": f"fieldmap {__version__} by way of {library}",
        "requests_kwargs": {**settings.requests_kwargs, "hooks": {"response": _Judge(host)}},
        "requests_timeout": _ANSWER_S,
        "use_cache": False,
        "useful_tags_node": list(NODE),
        "useful_tags_way": list(WAY),
    }
    before = {name: getattr(settings, name) for name in ours}
    look_up = socket.getaddrinfo
    try:
        for name, value in ours.items():
            setattr(settings, name, value)
        yield
    finally:
        for name, value in before.items():
            setattr(settings, name, value)
        socket.getaddrinfo = look_up


class _Judge:
    """Looks at every answer before OSMnx does, which would try again without end."""

    def __init__(self, host: str) -> None:
        self._host = host
        self._asked = 0

    def __call__(self, response: _Response, *_: Any, **__: Any) -> None:
        if not response.ok:
            raise self._refused(response)
        if response.request.method == "GET":
            self._queue(response.text)
        else:
            self._answer(response)

    def _refused(self, response: _Response) -> StoreError:
        said = f"{response.status_code} {response.reason}"
        if response.status_code in _BUSY:
            return failed("the map service is busy", self._host, said, "try again in some minutes")
        mend = "try again later, or download an extract (.osm.pbf) of the district"
        return failed("the map service refused", self._host, said, mend)

    def _queue(self, status: str) -> None:
        """Raise when the turn is further off than a person waits."""
        self._asked += 1
        turn = _TURN.search(status) if "available now" not in status else None
        if self._asked > _ASKED_OFTEN or (turn is not None and int(turn[1]) > _QUEUE_S):
            said = "a long queue" if turn is None else f"a turn in {turn[1]} s"
            raise failed("the map service is busy", self._host, said, "try again in some minutes")

    def _answer(self, response: _Response) -> None:
        """Raise when the answer is no map, or half of one: then it has a remark."""
        try:
            held = response.json()
            remark = held.get("remark", "")
            _ask_for(held["elements"])
        except (ValueError, AttributeError, KeyError, TypeError):
            raise failed(
                "the map service's answer is no map",
                self._host,
                response.text[:60],
                "see that nothing between you and it answers in its place",
            ) from None
        if remark:
            raise failed(
                "the map service's answer broke off",
                self._host,
                str(remark)[:120],
                "take a smaller --around",
            )


def _ask_for(elements: list[dict[str, Any]]) -> None:
    """Have OSMnx keep every tag of the answer that is read; what mappers hang on it as well."""
    for kind, wanted, name in (
        ("way", of_way, "useful_tags_way"),
        ("node", of_node, "useful_tags_node"),
    ):
        there = {key for one in elements if one["type"] == kind for key in one.get("tags", ())}
        setattr(settings, name, sorted({*getattr(settings, name), *wanted(there)}))


def reach(url: str) -> None:
    """Knock at the service first: OSMnx would wait a minute before it says that nobody is there."""
    parts = urlsplit(url)
    if parts.scheme in getproxies():
        return
    port = parts.port or (443 if parts.scheme == "https" else 80)
    try:
        socket.create_connection((parts.hostname or "", port), timeout=_REACH_S).close()
    except OSError as error:
        raise out_of_reach(parts.hostname or url, error) from None


def out_of_reach(host: str, error: OSError) -> StoreError:
    """The error when nobody answers."""
    return failed(
        "the map service cannot be reached",
        host,
        error.strerror or type(error).__name__,
        "go online, or download an extract (.osm.pbf) of the district elsewhere",
    )


def failed(what: str, host: str, said: str, mend: str) -> StoreError:
    """The error when the service or the line to it stood in the way."""
    return StoreError(Fault(what, said, "nothing was fetched or written", mend, where=host))
