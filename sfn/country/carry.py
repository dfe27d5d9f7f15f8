"""Tiles packed on one machine and carried to another: a zip archive of the files as they came and ``country.json``."""

import json
import os
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

from sfn.country.gather import Gathered
from sfn.country.looked import NotTheTileError, look
from sfn.country.sets import Wanted, coarse_of, tile_named
from sfn.country.shelf import Note, Shelf, digest, note_json, note_of
from sfn.errors import PlanError, Problem
from sfn.in_one_step import in_one_step

LIST = "country.json"
FORMAT = 1
MOST_TILES_N = 20_000
MOST_LIST_BYTES = 20_000_000
Tick = Callable[[str], None]


def pack(gathered: Gathered, *, shelf: Shelf, path: Path, tick: Tick) -> int:
    """Pack the tiles of an area with what is known of them, and what is known to be sea; how many files.

    Raises
    ------
    OSError
        If the file cannot be written.
    PlanError
        If a tile is not as it came any more.
    """
    every: list[tuple[Wanted, Note]] = list(gathered.held)
    for tile in gathered.absent:
        under = [coarse_of(tile)] if tile.of.key == "heights" else []
        every += [(one, note) for one in (tile, *under) if (note := shelf.note(one)) is not None]
    for tile, _ in gathered.held:
        if tile.of.key == "heights-coarse":
            fine = tile_named("heights", tile.file.replace("COG_30", "COG_10"))
            if fine is not None and (note := shelf.note(fine)) is not None:
                every.append((fine, note))
    listed = [{"set": tile.of.key, "file": tile.file, **note_json(note)} for tile, note in every]
    with in_one_step(path) as fresh, zipfile.ZipFile(fresh, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr(LIST, json.dumps({"format": FORMAT, "tiles": listed}, indent=1))
        for tile, note in gathered.held:
            tick(tile.file)
            if not shelf.whole(tile, note):
                shelf.drop(tile)
                raise PlanError([_problem(tile.file, "is not as it came: its checksum differs", "tile-damaged")])
            archive.write(shelf.path(tile), f"{tile.of.key}/{tile.file}")
    return len(gathered.held)


def unpack(path: Path, *, shelf: Shelf, tick: Tick) -> int:
    """Put the tiles of an archive on the shelf, each held against its checksum and its set; how many files.

    Raises
    ------
    PlanError
        If it is no such archive, or a tile of it is damaged or none: then nothing more is taken, and it says which.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            listed = _listed(archive)
            for tile, note in listed:
                tick(tile.file)
                if note.absent:
                    if shelf.note(tile) is None:
                        shelf.keep_absent(tile, source=note.source, fetched=note.fetched)
                else:
                    with archive.open(f"{tile.of.key}/{tile.file}") as stream:
                        _taken(stream, tile, note, shelf, tick)
    except KeyError as error:
        raise PlanError(
            [_problem(path.name, f"does not hold what it lists ({error})", "country-pack-damaged")]
        ) from None
    except OSError as error:
        raise PlanError([_problem(path.name, f"cannot be read ({error.strerror})", "file-unreadable")]) from None
    except (EOFError, zlib.error, zipfile.BadZipFile, RuntimeError, NotImplementedError):
        raise PlanError([_problem(path.name, "is no archive, or a damaged one", "country-pack-damaged")]) from None
    return sum(not note.absent for _, note in listed)


def _taken(stream: IO[bytes], tile: Wanted, note: Note, shelf: Shelf, tick: Tick) -> None:
    """One tile of an archive."""
    part = shelf.path(tile).with_name(f".{os.getpid()}.{tile.file}")
    part.parent.mkdir(parents=True, exist_ok=True)
    left_bytes = note.size_bytes
    try:
        with part.open("wb") as out:
            while block := stream.read(1 << 20):
                left_bytes -= len(block)
                if left_bytes < 0:
                    break
                out.write(block)
                tick(tile.file)
        if left_bytes or digest(part) != note.sha256:
            raise PlanError([_problem(tile.file, "is not as it was packed: its checksum differs", "tile-damaged")])
        try:
            look(part, tile, tick=lambda: tick(tile.file))
        except NotTheTileError as error:
            raise PlanError([Problem(tile.file, *error.args, code="download-content")]) from None
        shelf.keep(tile, part, source=note.source, fetched=note.fetched, sha256=note.sha256)
    finally:
        part.unlink(missing_ok=True)


def _listed(archive: zipfile.ZipFile) -> list[tuple[Wanted, Note]]:
    """What an archive says it holds; every name must be that of a tile of an open set."""
    if archive.getinfo(LIST).file_size > MOST_LIST_BYTES:
        raise PlanError([_problem(LIST, "is too long", "country-pack-damaged")])
    try:
        held = json.loads(archive.read(LIST))
        entries: list[Any] = held["tiles"]
        if held["format"] != FORMAT or len(entries) > MOST_TILES_N:
            raise ValueError
        found = [(tile_named(str(one["set"]), str(one["file"])), note_of(one)) for one in entries]
    except (ValueError, KeyError, TypeError):
        raise PlanError([_problem(LIST, "is not what country --pack writes", "country-pack-damaged")]) from None
    if strange := [str(one["file"])[:100] for one, (tile, _) in zip(entries, found, strict=True) if tile is None]:
        raise PlanError([_problem(LIST, f"lists {strange[0]!r}, which is no tile", "country-pack-damaged")])
    return [(tile, note) for tile, note in found if tile is not None]


def _problem(where: str, what: str, code: str) -> Problem:
    """What is wrong with an archive."""
    return Problem(where, what, "a file that country --pack wrote, carried whole", code=code)
