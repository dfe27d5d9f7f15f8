"""Tiles kept in the data folder, each with its source, date and checksum; and what a source said it does not have.

```
country/heights/X_DEM.tif        as it came
country/heights/X_DEM.tif.json   {"source", "fetched", "bytes", "sha256"}, or {"source", "fetched", "absent": true}
country/heights/X_DEM.tif.part   while it comes
```
"""

import hashlib
import json
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sfn.country.sets import Wanted
from sfn.in_one_step import in_one_step

FOLDER = "country"
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Note:
    """What is known of a tile that was asked for.

    Parameters
    ----------
    source : str
        Address it came from.
    fetched : str
        When, in UTC.
    size_bytes : int
        0 where it is absent.
    sha256 : str
        Of the file; empty where it is absent.
    absent : bool
        The source has no such tile.
    """

    source: str
    fetched: str
    size_bytes: int = 0
    sha256: str = ""
    absent: bool = False

    @property
    def date(self) -> str:
        """The day."""
        return self.fetched[:10]


@dataclass(frozen=True, slots=True)
class Shelf:
    """The folder of all tiles of an installation."""

    folder: Path

    def path(self, tile: Wanted) -> Path:
        """Where a tile lies, or would lie."""
        return self.folder / tile.of.key / tile.file

    def part(self, tile: Wanted) -> Path:
        """Where it grows while it comes."""
        path = self.path(tile)
        return path.with_name(f"{path.name}.part")

    def note(self, tile: Wanted) -> Note | None:
        """What is known of a tile; None where it was never had, or its file is not as long as it was."""
        try:
            note = note_of(json.loads(self._note_path(tile).read_text(encoding="utf-8")))
        except (OSError, ValueError, KeyError, TypeError):
            return None
        if note.absent:
            return note
        try:
            return note if self.path(tile).stat().st_size == note.size_bytes else None
        except OSError:
            return None

    def keep(self, tile: Wanted, part: Path, *, source: str, fetched: str = "", sha256: str = "") -> Note:
        """Take a file that was looked at; its checksum is worked out where it is not given."""
        path = self.path(tile)
        path.parent.mkdir(parents=True, exist_ok=True)
        note = Note(source, fetched or now(), part.stat().st_size, sha256 or digest(part))
        os.replace(part, path)
        self._write(tile, note)
        return note

    def keep_absent(self, tile: Wanted, *, source: str, fetched: str = "") -> Note:
        """Remember that a source has no such tile."""
        note = Note(source, fetched or now(), absent=True)
        self._write(tile, note)
        return note

    def drop(self, tile: Wanted) -> None:
        """Forget a tile that is damaged."""
        self.path(tile).unlink(missing_ok=True)
        self._note_path(tile).unlink(missing_ok=True)

    def whole(self, tile: Wanted, note: Note) -> bool:
        """Whether the file still has the checksum that it came with."""
        return digest(self.path(tile)) == note.sha256

    def _note_path(self, tile: Wanted) -> Path:
        path = self.path(tile)
        return path.with_name(f"{path.name}.json")

    def _write(self, tile: Wanted, note: Note) -> None:
        """Put it beside its tile."""
        path = self._note_path(tile)
        path.parent.mkdir(parents=True, exist_ok=True)
        with in_one_step(path) as fresh:
            fresh.write_text(json.dumps(note_json(note), indent=1) + "\n", encoding="utf-8")


def note_json(note: Note) -> dict[str, Any]:
    """A note as it is kept."""
    about = {"source": note.source, "fetched": note.fetched}
    return about | ({"absent": True} if note.absent else {"bytes": note.size_bytes, "sha256": note.sha256})


def note_of(kept: Mapping[str, Any]) -> Note:
    """A note out of what was kept.

    Raises
    ------
    ValueError, KeyError, TypeError
        If it is none.
    """
    source, fetched = str(kept["source"])[:1000], datetime.fromisoformat(str(kept["fetched"])).isoformat()
    if kept.get("absent") is True:
        return Note(source, fetched, absent=True)
    size_bytes, sha256 = int(kept["bytes"]), str(kept["sha256"])
    if size_bytes < 0 or not _DIGEST.fullmatch(sha256):
        raise ValueError("no size or checksum")
    return Note(source, fetched, size_bytes, sha256)


def digest(path: Path, *, tick: Callable[[], None] | None = None) -> str:
    """SHA-256 of a file."""
    state = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            state.update(block)
            if tick is not None:
                tick()
    return state.hexdigest()


def now() -> str:
    """The time, to the second, in UTC."""
    return datetime.now(UTC).replace(microsecond=0).isoformat()
