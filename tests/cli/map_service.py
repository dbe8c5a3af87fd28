"""A stand-in for the map's public service: answers on loopback, and keeps what it was asked."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs

FREE = "Connected as: 1\nCurrent time: now\nRate limit: 2\nx\n2 slots available now.\n"


@dataclass
class Service:
    """What it answers, and what it was asked."""

    elements: list[dict[str, Any]] = field(default_factory=list)
    code: int = 200
    body: str | None = None  # instead of the elements
    status: str = FREE
    asked: list[str] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)
    url: str = ""

    def answer(self, query: str) -> str:
        """The elements that fit the query: roads, or what else is a way."""
        self.asked.append(query)
        if self.body is not None:
            return self.body
        wanted = '["highway"](poly' in query
        ways = [
            one
            for one in self.elements
            if one["type"] == "way" and ("highway" in one["tags"]) is wanted
        ]
        points = {ref for one in ways for ref in one["nodes"]}
        nodes = [one for one in self.elements if one["type"] == "node" and one["id"] in points]
        return json.dumps({"version": 0.6, "elements": [*nodes, *ways]})


@contextmanager
def served(service: Service) -> Iterator[Service]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            length = int(self.headers["Content-Length"])
            service.headers.append(dict(self.headers))
            (query,) = parse_qs(self.rfile.read(length).decode())["data"]
            self.send(service.answer(query), service.code)

        def do_GET(self) -> None:
            self.send(service.status, 200)

        def send(self, text: str, code: int) -> None:
            body = text.encode()
            self.send_response(code)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *words: Any) -> None:
            """Says nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    service.url = f"http://127.0.0.1:{server.server_port}/api"
    try:
        yield service
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def invented(lon: float, lat: float) -> list[dict[str, Any]]:
    """Invented roads about a place: a gated lane, a one-way against its line, lines above."""

    def node(key: int, east: float, north: float, **tags: str) -> dict[str, Any]:
        place = {"lon": round(lon + east, 7), "lat": round(lat + north, 7)}
        return {"type": "node", "id": key, **place, **({"tags": tags} if tags else {})}

    def way(key: int, *nodes: int, **tags: str) -> dict[str, Any]:
        return {"type": "way", "id": key, "nodes": list(nodes), "tags": tags}

    return [
        node(1, 0.000, 0.0),
        node(2, 0.001, 0.0, barrier="gate", maxwidth="3.5"),
        node(3, 0.002, 0.0),
        node(4, 0.002, 0.001),
        node(5, 0.0015, -0.001),
        node(6, 0.0015, 0.002),
        node(7, 0.0005, -0.001),
        node(8, 0.0005, 0.002),
        way(11, 1, 2, 3, highway="track", maxweight="7.5", note="not asked for", name="Lane"),
        way(12, 3, 4, highway="tertiary", oneway="-1", **{"maxheight:forward": "3.2"}),
        way(13, 5, 6, power="line"),
        way(14, 7, 8, railway="rail", bridge="yes", layer="1"),
        way(15, 7, 1, highway="footway"),
    ]
