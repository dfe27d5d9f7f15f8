"""Whose data lie in a folder: the words that their licence asks for, wherever they are shown.

They stand beside the files in ``sources.json``: ``{"credits": ["..."], "files": {"a.tif": {"source", "fetched",
"sha256"}}}``, and in a GeoTIFF's own tag of copyright.
"""

import json
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

SOURCES_FILE = "sources.json"
COPYRIGHT_TAG = "TIFFTAG_COPYRIGHT"
LONGEST_N = 500


def credits_of(folder: Path) -> tuple[str, ...]:
    """The words for a folder's files; none where it says nothing, or cannot be read."""
    return _texts(_held(folder).get("credits"))


def keep_credits(folder: Path, said: Iterable[str], files: Mapping[str, Mapping[str, Any]]) -> None:
    """Keep whose data a folder's files are, besides what it says of others already."""
    held = _held(folder)
    kept = held.get("files")
    every = dict.fromkeys((*_texts(held.get("credits")), *said))
    document = {"credits": list(every), "files": (kept if isinstance(kept, dict) else {}) | dict(files)}
    part = folder / f"{SOURCES_FILE}.{os.getpid()}.part"
    part.write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    part.replace(folder / SOURCES_FILE)


def credits_say(said: Iterable[str]) -> str:
    """The words in a sentence; empty where there are none."""
    every = tuple(dict.fromkeys(said))
    return f"Data: {'; '.join(every)}" if every else ""


def _held(folder: Path) -> dict[str, Any]:
    """What a folder says of its files."""
    try:
        held = json.loads((folder / SOURCES_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return held if isinstance(held, dict) else {}


def _texts(said: Any) -> tuple[str, ...]:
    """Those of a list that are texts."""
    return tuple(one[:LONGEST_N] for one in said if isinstance(one, str) and one) if isinstance(said, list) else ()
