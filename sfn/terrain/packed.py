"""Raster files as they are sent: plain, in a zip archive, or an SRTM tile in gzip; unpacked within bounds."""

import gzip
import re
import zipfile
import zlib
from pathlib import Path
from typing import IO, BinaryIO

from sfn.terrain.tile import EXPECTED, READERS, file_ending

FILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")
MOST_FILES = 2000
# All of an archive, unpacked; the largest SRTM tile is 26 MB.
MOST_BYTES = 8_000_000_000
MOST_TILE_BYTES = 60_000_000
# Heights pack tenfold, a tile of level sea a thousandfold, which is the most that deflate does (1032, zlib's technical
# notes): only of much together does the ratio tell what was made to fill a disk.
GREATEST_RATIO = 200
ANY_RATIO_BYTES = 500_000_000
_BLOCK = 1 << 20


class PackedError(Exception):
    """A file that cannot be taken: what is wrong, what is expected."""


def unpacked(name: str, stream: BinaryIO, *, into: Path) -> tuple[list[Path], list[str]]:
    """The raster files that a file which was sent is or holds, on disk.

    Parameters
    ----------
    name : str
        Its name without a path.
    stream : binary stream, seekable
    into : Path
        An empty folder, or one of files that came with it.

    Returns
    -------
    files : list of Path
        Rasters, and the ``.prj`` of ASCII grids.
    left_out : list of str
        Names of an archive's other files.

    Raises
    ------
    PackedError
        If it is none of the kinds that are read, damaged, encrypted, or larger than it may be.
    """
    if not FILE_NAME.fullmatch(name) or not (_wanted(name) or name.lower().endswith(".zip")):
        raise PackedError(f"{name or 'a file'} is not a terrain file", f"{EXPECTED}; or a zip archive of such files")
    try:
        if name.lower().endswith(".zip"):
            return _of_archive(name, stream, into)
        if file_ending(name) == ".hgt.gz":
            plain = into / name[: -len(".gz")]
            with gzip.open(stream) as packed:
                _copied(packed, plain, most_bytes=MOST_TILE_BYTES, name=name)
            return [plain], []
    except (OSError, EOFError, zlib.error, zipfile.BadZipFile, RuntimeError, NotImplementedError) as error:
        raise PackedError(f"{name} cannot be unpacked", "an archive that is whole and not encrypted") from error
    with (into / name).open("wb") as out:
        while block := stream.read(_BLOCK):
            out.write(block)
    return [into / name], []


def _of_archive(name: str, stream: BinaryIO, into: Path) -> tuple[list[Path], list[str]]:
    """The rasters of a zip archive; folders in it count for nothing."""
    files, left_out = [], []
    left_bytes = MOST_BYTES
    with zipfile.ZipFile(stream) as archive:
        held = [info for info in archive.infolist() if not info.is_dir() and "__MACOSX" not in info.filename]
        if len(held) > MOST_FILES:
            raise PackedError(f"{name} holds {len(held)} files", f"{MOST_FILES} at most")
        whole, packed_bytes = sum(info.file_size for info in held), sum(info.compress_size for info in held)
        if whole > MOST_BYTES:
            raise PackedError(f"{name} unpacks to {whole} bytes", f"{MOST_BYTES} at most: smaller archives, one by one")
        if whole > ANY_RATIO_BYTES and whole > GREATEST_RATIO * packed_bytes:
            raise PackedError(f"{name} unpacks to {whole} bytes, packed beyond belief", "an archive of rasters")
        for info in held:
            inner = info.filename.replace("\\", "/").rpartition("/")[2]
            if not FILE_NAME.fullmatch(inner) or not _wanted(inner):
                left_out.append(inner or info.filename[:120])
                continue
            if (into / inner).exists():
                raise PackedError(f"{name} holds {inner}, which came already", "every file once")
            with archive.open(info) as packed:
                found, _ = (
                    unpacked(inner, packed, into=into)  # type: ignore[arg-type] # reads like one
                    if file_ending(inner) == ".hgt.gz"
                    else ([into / inner], [])
                )
                if file_ending(inner) != ".hgt.gz":
                    _copied(packed, into / inner, most_bytes=left_bytes, name=name)
            left_bytes -= sum(path.stat().st_size for path in found)
            files += found
    if not files:
        raise PackedError(f"{name} holds no raster", f"files ending in {', '.join(READERS)}")
    return files, left_out


def _wanted(name: str) -> bool:
    """Whether a file is a raster by its ending, or says where an ASCII grid lies."""
    return file_ending(name) in READERS or name.lower().endswith(".prj")


def _copied(packed: "IO[bytes] | gzip.GzipFile", path: Path, *, most_bytes: int, name: str) -> None:
    """Write what is unpacked, within the bound."""
    written = 0
    with path.open("wb") as out:
        while block := packed.read(_BLOCK):
            written += len(block)
            if written > most_bytes:
                raise PackedError(f"{name} unpacks to more than {most_bytes} bytes", "smaller archives, one by one")
            out.write(block)
