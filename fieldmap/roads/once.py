"""What is worked out once for a network and kept beside it for as long as it lives."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from threading import RLock
from typing import TypeVar
from weakref import WeakKeyDictionary

from fieldmap.roads.turns import TurnNet

Made = TypeVar("Made")


def once(make: Callable[[TurnNet], Made]) -> Callable[[TurnNet], Made]:
    """Call ``make`` at most once for each network, also when threads ask together.

    The network is never changed after it is made, so what is made of it stays true.
    """
    kept: WeakKeyDictionary[TurnNet, Made] = WeakKeyDictionary()
    lock = RLock()

    @wraps(make)
    def made(net: TurnNet) -> Made:
        with lock:
            if net not in kept:
                kept[net] = make(net)
            return kept[net]

    return made
