"""Compiled code finds a folder wherever the program stands, and never one that others can write to."""

import os
from pathlib import Path

import pytest

from sfn import kept_code
from sfn.kept_code import VARIABLE, keep_somewhere


@pytest.fixture
def unwritable(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A folder below which nothing can be made, whoever asks: a file stands in its place."""
    path = tmp_path / "full"
    path.touch()
    monkeypatch.setattr(kept_code.tempfile, "gettempdir", lambda: str(path))
    return path


def test_beside_the_code_or_at_home_nothing_is_named(tmp_path: Path, unwritable: Path) -> None:
    """Where numba finds a folder of its own accord it is left to it; what somebody set stays."""
    for code, environ in (
        (tmp_path, {}),
        (unwritable, {"HOME": str(tmp_path)}),
        (unwritable, {"HOME": str(unwritable), VARIABLE: "/elsewhere"}),
    ):
        before = dict(environ)
        keep_somewhere(code, environ)
        assert environ == before


def test_without_a_home_it_goes_to_the_data_folder(tmp_path: Path, unwritable: Path) -> None:
    """The data folder is the next, made if need be."""
    environ = {"HOME": str(unwritable), "SFN_DELAYS_DATA": str(tmp_path / "data")}
    keep_somewhere(unwritable, environ)
    assert environ[VARIABLE] == str(tmp_path / "data" / "compiled")
    assert Path(environ[VARIABLE]).is_dir()


def test_without_a_data_folder_it_goes_to_temporary_files(
    tmp_path: Path, unwritable: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder of this user alone."""
    monkeypatch.setattr(kept_code.tempfile, "gettempdir", lambda: str(tmp_path))
    environ = {"HOME": str(unwritable)}
    keep_somewhere(unwritable, environ)
    assert Path(environ[VARIABLE]).parent == tmp_path
    assert Path(environ[VARIABLE]).stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("how", ["open to others", "a link"])
def test_a_folder_that_others_may_have_filled_is_not_taken(
    how: str, tmp_path: Path, unwritable: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What lies there is run: it must be this user's, and nobody else's to write."""
    monkeypatch.setattr(kept_code.tempfile, "gettempdir", lambda: str(tmp_path))
    theirs = tmp_path / f"sfn-delays-compiled-{os.getuid()}"
    if how == "a link":
        (tmp_path / "other").mkdir()
        theirs.symlink_to(tmp_path / "other")
    else:
        theirs.mkdir()
        theirs.chmod(0o777)
    environ = {"HOME": str(unwritable)}
    keep_somewhere(unwritable, environ)
    assert VARIABLE not in environ
