"""Rasters kept on disk under a key of everything they depend on, in a folder of bounded size.

A file begins with the SHA-256 of its key and its content: one that was renamed, or in which a bit flipped, is no
raster, and is computed again. It is written beside its place and renamed, so that whoever reads, in this process or
another, sees a whole file or none, also after ``kill -9``. What was not used for longest goes first.
"""

import contextlib
import hashlib
import io
import os
import secrets
import time
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from sfn.field.raster import WORDS, LevelRaster, RasterPart
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.grid import Grid
from sfn.terrain.digest import combined_digest

# Raised whenever the same arguments give other levels: it is part of every key.
MODEL_VERSION = "p1812-8/16"
SUFFIX = ".raster"
DIGEST_BYTES = 32
# A part that was left by a killed process; writing one takes a second.
STALE_PART_S = 120.0
T = TypeVar("T")


def raster_key(
    transmitter: Transmitter,
    grid: Grid,
    *,
    ground_digest: str,
    rx_height_m: float,
    receiver_polarisation: Plane | None,
    step_m: float | None,
) -> str:
    """The key of a raster: alike only when every figure that bears on a level is alike.

    Parameters
    ----------
    transmitter : Transmitter
        Position, heights, power, frequency, refractivities and antenna; not chain, delay, or on air.
    grid : Grid
    ground_digest : str
        Of the content of terrain, cover and zones, `sfn.terrain.ground.Ground.digest`.
    rx_height_m, receiver_polarisation, step_m
        As given to the model.

    Returns
    -------
    key : str
        32 hexadecimal digits.
    """
    return combined_digest(
        MODEL_VERSION, repr(transmitter), repr(grid), ground_digest, repr(float(rx_height_m)),
        repr(receiver_polarisation), repr(step_m),
    )  # fmt: skip


def part_key(key: str, part_n: int, of_n: int) -> str:
    """The key of a part of a raster, as long as the others are missing."""
    return combined_digest(key, "part", str(part_n), str(of_n))


def load(folder: Path, key: str) -> LevelRaster | None:
    """The raster kept under a key, or None when there is none (or a damaged one, which is removed)."""
    return _read(folder, key, lambda held: _raster(held))


def load_part(folder: Path, key: str) -> RasterPart | None:
    """The part kept under a key of `part_key`, or None likewise."""
    return _read(folder, key, lambda held: RasterPart(held.pop("at"), _raster(held)))


def store(folder: Path, key: str, raster: LevelRaster, *, most_bytes: int) -> bool:
    """Keep a raster, and remove what was not used for longest when the folder holds more than `most_bytes`.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    key : str
        From `raster_key`.
    raster : LevelRaster
    most_bytes : int
        Bound on all kept rasters together. A raster that alone is larger is not kept.

    Returns
    -------
    kept : bool
        False when it could not be kept (disk full, folder not writable): the cache is a short cut, not a duty.
    """
    return _write(folder, key, _arrays(raster), most_bytes)


def store_part(folder: Path, key: str, part: RasterPart, *, most_bytes: int) -> bool:
    """Keep a part of a raster under a key of `part_key`; the rest as `store`."""
    return _write(folder, key, {"at": part.at, **_arrays(part.raster)}, most_bytes)


def forget(folder: Path, keys: Iterable[str]) -> None:
    """Remove what is kept under keys: parts whose raster is whole."""
    for key in keys:
        with contextlib.suppress(OSError):
            (folder / f"{key}{SUFFIX}").unlink(missing_ok=True)


def _raster(held: dict[str, Any]) -> LevelRaster:
    """The raster of its arrays and words."""
    smooth, *averaged = (held.pop(name).item() for name in WORDS)
    return LevelRaster(**held, **dict(zip(WORDS, (bool(smooth), *averaged), strict=True)))


def _arrays(raster: LevelRaster) -> dict[str, Any]:
    """Arrays and words of a raster."""
    return {**raster.arrays(), **{name: np.asarray(getattr(raster, name)) for name in WORDS}}


def _read(folder: Path, key: str, made: Callable[[dict[str, Any]], T]) -> T | None:
    """What is kept under a key."""
    path = folder / f"{key}{SUFFIX}"
    try:
        whole = path.read_bytes()
        if whole[:DIGEST_BYTES] != _digest(key, whole[DIGEST_BYTES:]):
            raise ValueError("not what was kept under this key")
        with np.load(io.BytesIO(whole[DIGEST_BYTES:]), allow_pickle=False) as kept:
            found = made({name: kept[name] for name in kept.files})
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile):
        path.unlink(missing_ok=True)
        return None
    with contextlib.suppress(OSError):
        os.utime(path)  # used now: the last to go
    return found


def _write(folder: Path, key: str, arrays: dict[str, Any], most_bytes: int) -> bool:
    """Keep arrays under a key; whether they are."""
    path = folder / f"{key}{SUFFIX}"
    part = folder / f"{key}.{secrets.token_hex(8)}.part"  # of several machines
    try:
        folder.mkdir(parents=True, exist_ok=True)
        content = io.BytesIO()
        np.savez(content, allow_pickle=False, **arrays)
        with part.open("wb") as stream:
            stream.write(_digest(key, content.getbuffer()))
            stream.write(content.getbuffer())
        if part.stat().st_size > most_bytes:
            part.unlink()
            return False
        part.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        return False
    _trim(folder, most_bytes)
    return True


def _digest(key: str, content: bytes | memoryview) -> bytes:
    """What a file begins with."""
    state = hashlib.sha256(key.encode() + b"\0")
    state.update(content)
    return state.digest()


def kept_bytes(folder: Path) -> int:
    """Size of all rasters kept in a folder."""
    return sum(size for _, size, _ in _entries(folder))


def _entries(folder: Path) -> list[tuple[float, int, Path]]:
    """Time of last use, size and path of every kept raster."""
    found = []
    for path in folder.glob(f"*{SUFFIX}"):
        with contextlib.suppress(OSError):  # another process may just have removed it
            s = path.stat()
            found.append((s.st_mtime, s.st_size, path))
    return found


def _trim(folder: Path, most_bytes: int) -> None:
    """Remove what was not used for longest until the rest fits, and parts that nobody is writing any more."""
    entries = sorted(_entries(folder))
    total = sum(size for _, size, _ in entries)
    for _, size, path in entries:
        if total <= most_bytes:
            break
        path.unlink(missing_ok=True)
        total -= size
    for part in folder.glob("*.part"):
        with contextlib.suppress(OSError):
            if time.time() - part.stat().st_mtime > STALE_PART_S:
                part.unlink(missing_ok=True)
