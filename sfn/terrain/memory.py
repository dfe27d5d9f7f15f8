"""What is remembered of terrain files between calls, so that an unchanged file is neither opened nor read again."""

import threading
from collections.abc import Hashable
from pathlib import Path
from typing import Any

import numpy as np
from cachetools import LRUCache
from numpy.typing import NDArray

from sfn.terrain.digest import Known, stamp_of

KEPT_BYTES = 256_000_000
Singles = NDArray[np.float32]


class Memory:
    """Digests and places of files, and blocks of heights; several threads may use one. It pickles empty.

    Parameters
    ----------
    digests : mutable mapping, optional
        Digests of earlier days, see `sfn.terrain.digest.load_known`.
    most_bytes : int
        Bound on the blocks; what was not used for longest is forgotten first.
    """

    def __init__(self, digests: Known | None = None, *, most_bytes: int = KEPT_BYTES) -> None:
        self.digests: Known = {} if digests is None else digests
        self.most_bytes = most_bytes
        self._lock = threading.Lock()
        self._tiles: dict[str, tuple[str, Any]] = {}
        self._blocks: LRUCache[Hashable, Singles] = LRUCache(most_bytes, lambda heights_m: heights_m.nbytes)

    def __reduce__(self) -> tuple[type["Memory"], tuple[()]]:
        """Another process begins with nothing."""
        return (Memory, ())

    def tile(self, path: Path) -> Any | None:
        """What was found out about a file, or None when it was never looked at, or has changed since."""
        name = str(path.resolve())
        found = self._tiles.get(name)
        return found[1] if found is not None and found[0] == stamp_of(path)[0] else None

    def keep_tile(self, path: Path, tile: Any) -> None:
        """Remember a file whose digest is remembered too: one that changed just now is not."""
        name = str(path.resolve())
        if name in self.digests:
            self._tiles[name] = (self.digests[name][0], tile)

    def unchanged(self, path: str) -> bool:
        """Whether a file is still the one that was looked at."""
        try:
            return self.tile(Path(path)) is not None
        except OSError:
            return False

    def block(self, key: Hashable) -> Singles | None:
        """A block of heights that was read before."""
        with self._lock:
            return self._blocks.get(key)

    def keep_block(self, key: Hashable, heights_m: Singles) -> None:
        """Remember a block that is not too large; the least used are forgotten where there are too many."""
        with self._lock:
            if key not in self._blocks and heights_m.nbytes <= self.most_bytes:
                self._blocks[key] = heights_m
