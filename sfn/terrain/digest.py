"""Content of terrain files as a short text, so that a changed file is noticed and an unchanged one not read again."""

import hashlib
import json
import os
import time
from collections.abc import MutableMapping
from pathlib import Path

# A file written within this time of being read may change again under the same time stamp.
from sfn.in_one_step import in_one_step

RACY_S = 2.0

Known = MutableMapping[str, tuple[str, str]]


def file_digest(path: Path, *, known: Known | None = None) -> str:
    """Digest of a file's content.

    Parameters
    ----------
    path : Path
    known : mutable mapping, optional
        Digests of earlier calls, by path: ``(stamp, digest)``. Looked at first and added to. The stamp is
        device, inode, size, time of modification and time of change; a file changed less than 2 s before
        it was read is not remembered, because a second change could bear the same stamp.

    Returns
    -------
    digest : str
        32 hexadecimal digits of BLAKE2b over the bytes.
    """
    stamp, changed_s = stamp_of(path)
    name = str(path.resolve())
    if known is not None and (found := known.get(name)) and found[0] == stamp:
        return found[1]
    state = hashlib.blake2b(digest_size=16)
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            state.update(block)
    if known is not None and stamp_of(path)[0] == stamp and time.time() - changed_s > RACY_S:
        known[name] = (stamp, state.hexdigest())
    return state.hexdigest()


def stamp_of(path: Path) -> tuple[str, float]:
    """What the file system says of a file, and when it last changed."""
    s = os.stat(path)
    return f"{s.st_dev}:{s.st_ino}:{s.st_size}:{s.st_mtime_ns}:{s.st_ctime_ns}", max(s.st_mtime, s.st_ctime)


def load_known(path: Path) -> dict[str, tuple[str, str]]:
    """Digests kept by `save_known`; empty when there are none or the file is damaged (they are only a short cut)."""
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return {str(k): (str(v[0]), str(v[1])) for k, v in kept.items()}
    except (OSError, ValueError, AttributeError, IndexError, TypeError):
        return {}


def save_known(path: Path, known: Known) -> None:
    """Keep digests for the next start."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with in_one_step(path) as fresh:
        fresh.write_text(json.dumps(dict(known)), encoding="utf-8")


def combined_digest(*parts: str) -> str:
    """One digest of several texts, each kept apart from its neighbour."""
    state = hashlib.blake2b(digest_size=16)
    for part in parts:
        raw = part.encode()
        state.update(len(raw).to_bytes(8, "big") + raw)
    return state.hexdigest()
