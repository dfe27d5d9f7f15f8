"""Archives of heights: what their own list says is looked at before a byte is unpacked."""

import io
import time
import zipfile
from pathlib import Path

import pytest

from sfn.terrain import packed
from sfn.terrain.packed import PackedError, unpacked


def archive(*sizes: int) -> io.BytesIO:
    """A zip archive of files of nothing but zeros."""
    made, block = io.BytesIO(), bytes(1 << 20)
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as zipped:
        for k, size in enumerate(sizes):
            with zipped.open(f"N{k:02d}E000.hgt", "w") as out:
                for _ in range(size >> 20):
                    out.write(block)
    made.seek(0)
    return made


def test_what_was_made_to_fill_a_disk_is_not_unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Hundreds of megabytes of zeros are refused by the archive's list; nothing is written."""
    monkeypatch.setattr(packed, "ANY_RATIO_BYTES", 20_000_000)
    sent = archive(12 << 20, 12 << 20)
    started = time.process_time()
    with pytest.raises(PackedError, match="packed beyond belief"):
        unpacked("sea.zip", sent, into=tmp_path)
    assert time.process_time() - started < 0.1
    assert list(tmp_path.iterdir()) == []


def test_one_tile_of_sea_is_taken_however_it_packs(tmp_path: Path) -> None:
    """A tile of level sea packs a thousandfold, and is a tile."""
    files, left_out = unpacked("sea.zip", archive(25 << 20), into=tmp_path)
    assert [path.stat().st_size for path in files] == [25 << 20]
    assert left_out == []


def test_an_archive_that_says_it_is_too_large_is_not_begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By its own list, with what would be taken."""
    monkeypatch.setattr(packed, "MOST_BYTES", 10_000_000)
    with pytest.raises(PackedError, match="unpacks to 12582912 bytes"):
        unpacked("a.zip", archive(12 << 20), into=tmp_path)
    assert list(tmp_path.iterdir()) == []
