"""What a command printed, for the commands' tests."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

DAY = "2026-06-09"


@dataclass(frozen=True)
class Printed:
    """What a command printed and ended with."""

    code: int
    out: str
    err: str

    def json(self) -> dict[str, Any]:
        """The one JSON document on stdout; anything beside it fails the test."""
        held = json.loads(self.out)
        assert self.out.count('"schema": "fieldmap/1",\n "ok"') == 1
        return held

    def faults(self) -> list[dict[str, str]]:
        held = self.json()
        assert held["ok"] is False
        return held["errors"]
