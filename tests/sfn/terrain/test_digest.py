"""Digests of files: quick the second time, never stale."""

import os
from pathlib import Path

from sfn.terrain.digest import combined_digest, file_digest, load_known, save_known


def aged(path: Path, text: str, *, seconds: float = 60.0) -> Path:
    """A file whose modification lies a while back."""
    path.write_text(text)
    stat = path.stat()
    os.utime(path, (stat.st_atime, stat.st_mtime - seconds))
    return path


def test_a_fresh_file_is_not_remembered(tmp_path: Path) -> None:
    """A file changed just now may change again under the same time stamp, so its digest is not kept."""
    known: dict[str, tuple[str, str]] = {}
    path = tmp_path / "a"
    path.write_text("one")
    first = file_digest(path, known=known)
    path.write_text("two")

    assert {} == known
    assert first != file_digest(path, known=known)


def test_a_remembered_digest_is_used_until_the_stamp_changes(tmp_path: Path) -> None:
    """The kept digest answers for an untouched file; a touched one is read again."""
    path = tmp_path / "a"
    path.write_text("one")
    stat = path.stat()
    stamp = f"{stat.st_dev}:{stat.st_ino}:{stat.st_size}:{stat.st_mtime_ns}:{stat.st_ctime_ns}"
    known = {str(path.resolve()): (stamp, "kept")}

    assert "kept" == file_digest(path, known=known)
    aged(path, "two")
    assert "kept" != file_digest(path, known=known)


def test_same_size_and_same_modification_time_do_not_deceive(tmp_path: Path) -> None:
    """Content exchanged with the old modification time put back is noticed."""
    path = tmp_path / "a"
    path.write_text("one")
    stat = path.stat()
    stamp = f"{stat.st_dev}:{stat.st_ino}:{stat.st_size}:{stat.st_mtime_ns}:{stat.st_ctime_ns}"
    known = {str(path.resolve()): (stamp, file_digest(path))}
    while path.stat().st_ctime_ns == stat.st_ctime_ns:
        path.write_text("two")
        os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))

    assert file_digest(path) == file_digest(path, known=known)


def test_digests_survive_a_restart_and_a_damaged_file(tmp_path: Path) -> None:
    """What was saved is loaded; a damaged store is empty, not an error."""
    kept = tmp_path / "cache" / "digests.json"
    save_known(kept, {"a": ("stamp", "digest")})

    assert {"a": ("stamp", "digest")} == load_known(kept)
    kept.write_text('{"a": 3')
    assert {} == load_known(kept)
    assert {} == load_known(tmp_path / "none.json")


def test_parts_do_not_run_into_each_other() -> None:
    """The same letters divided otherwise give another digest."""
    assert combined_digest("ab", "c") != combined_digest("a", "bc")
