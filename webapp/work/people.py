"""Files of people, kept in the terrain folder under a name that holds their content's digest.

A file is never replaced: an old revision of a network finds the very file that it was saved with.
"""

import hashlib
import os
import re
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from sfn.errors import PlanError, Problem
from sfn.geodesy.grid import Grid
from sfn.reception.listeners import Listeners
from sfn.study.people import RASTERS, Beside, Looked, beside, look
from webapp.work.terrains import ARRIVING

PREFIX, DIGEST_N = "people-", 10
HELD_NAME = re.compile(rf"{PREFIX}[A-Za-z0-9._-]{{1,120}}-[0-9a-f]{{{DIGEST_N}}}\.(tif|tiff|csv)")
ENDINGS = (*RASTERS, ".csv")
NONE, DOCUMENT, WORLD = "none", "document", "world"


@dataclass(frozen=True, slots=True)
class HeldFile:
    """A file of people that a network may name."""

    name: str
    """As it lies in the folder, and stands in the document."""
    label: str
    """As it was sent."""
    size_bytes: int


def held_files(folder: Path) -> tuple[HeldFile, ...]:
    """The files of people that were sent, by name."""
    if not folder.is_dir():
        return ()
    found = (path for path in sorted(folder.iterdir()) if HELD_NAME.fullmatch(path.name))
    return tuple(HeldFile(path.name, label_of(path.name), path.stat().st_size) for path in found)


def label_of(name: str) -> str:
    """A held file's name as it was sent."""
    stem, ending = os.path.splitext(name)
    return stem[len(PREFIX) : -DIGEST_N - 1] + ending


def take(folder: Path, sent: str, stream: BinaryIO, *, grid: Grid | None) -> tuple[str, Looked]:
    """Look at a file that was sent, and keep it when it can be used.

    Parameters
    ----------
    folder : Path
        The program's terrain folder.
    sent : str
        The file's name where it comes from.
    stream : binary file
    grid : Grid, optional
        The network's map, to count on.

    Returns
    -------
    name : str
        Under which it is kept; empty where it cannot be used.
    looked : Looked

    Raises
    ------
    PlanError
        If no file was sent, or one of another kind.
    """
    plain = Path(sent.replace("\\", "/")).name
    stem, ending = os.path.splitext(plain)
    if ending.lower() not in ENDINGS:
        what = f"{plain} is no file of people" if plain else "no file was sent"
        raise PlanError(
            [
                Problem(
                    "file",
                    what,
                    "a GeoTIFF (.tif) or a table of places (.csv)",
                    code="file-of-another-kind",
                    fields=("file",),
                )
            ]
        )
    folder.mkdir(parents=True, exist_ok=True)
    arriving, digest = folder / f"{ARRIVING}{secrets.token_hex(8)}{ending.lower()}", hashlib.sha256()
    try:
        with arriving.open("wb") as out:
            while block := stream.read(1 << 20):
                digest.update(block)
                out.write(block)
        looked = look(arriving, name=plain, grid=grid)
        if looked.problems:
            return "", looked
        safe = re.sub(r"[^A-Za-z0-9._]+", "-", stem).strip("-.")[:100] or "file"
        name = f"{PREFIX}{safe}-{digest.hexdigest()[:DIGEST_N]}{ending.lower()}"
        os.replace(arriving, folder / name)
        return name, looked
    finally:
        arriving.unlink(missing_ok=True)


def look_at(folder: Path, name: str, *, grid: Grid | None) -> Looked | None:
    """A file that is kept, looked at again; None where there is none of that name."""
    if not HELD_NAME.fullmatch(name) or not (folder / name).is_file():
        return None
    return look(folder / name, name=label_of(name), grid=grid)


def beside_now(folder: Path, name: str, now: Listeners, *, grid: Grid | None) -> Beside | None:
    """A file that is kept beside who is counted now; None where there is no such file, or nothing to compare."""
    if grid is None or not HELD_NAME.fullmatch(name) or not (folder / name).is_file():
        return None
    return beside(now, folder / name, grid=grid)


def value_of(listeners: dict[str, Any] | None) -> str:
    """What the form sends for a document's ``listeners``."""
    if not listeners:
        return NONE
    if "file" in listeners:
        return str(listeners["file"])
    return DOCUMENT if "places" in listeners else WORLD


def listeners_of(value: str, now: dict[str, Any] | None, *, folder: Path) -> dict[str, Any] | None:
    """A document's ``listeners`` for what a form sends.

    Raises
    ------
    PlanError
        If it is none of those on offer.
    """
    if value == value_of(now):
        return now
    if value == NONE:
        return None
    if value == WORLD:
        return {"source": "places"}
    if HELD_NAME.fullmatch(value) and (folder / value).is_file():
        return {"file": value}
    raise PlanError(
        [
            Problem(
                "listeners", f"cannot be {value!r}", "one of those on offer", code="not-on-offer", fields=("listeners",)
            )
        ]
    )
