"""A folder that was in use is not begun anew, and what a store cannot take is told in words."""

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from sfn.errors import PlanError
from webapp.__main__ import main
from webapp.config.settings import read_settings
from webapp.store import exchange
from webapp.store.store import Store

KEY = "k" * 43


@pytest.mark.parametrize("held", ['{"session_key": ""}', '{"session_key": "short"}'])
def test_a_key_that_can_be_guessed_is_refused(tmp_path: Path, held: str) -> None:
    """It signs technicians' links: with an empty one anybody makes them."""
    (tmp_path / "secrets.json").write_text(held, encoding="utf-8")
    with pytest.raises(PlanError, match="can be guessed"):
        read_settings({}, data_folder=str(tmp_path))
    (tmp_path / "secrets.json").write_text("{}", encoding="utf-8")
    assert len(read_settings({}, data_folder=str(tmp_path)).session_key) == 43


def test_an_empty_database_is_not_begun_anew(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Cut off by a crash or a failed copy: with it everybody would be administrator, without a word."""
    (tmp_path / "secrets.json").write_text(json.dumps({"session_key": KEY}), encoding="utf-8")
    (tmp_path / "networks.sqlite").write_bytes(b"")
    for command in ([], ["user", "list"], ["audit-verify"]):
        assert main(["--data", str(tmp_path), "--port", "0", *command]) == 2
        assert "is empty: it was cut off" in capsys.readouterr().err
        assert (tmp_path / "networks.sqlite").stat().st_size == 0
    (tmp_path / "networks.sqlite").unlink()
    (tmp_path / "networks.sqlite.before-0003_people-20261101T000000").write_bytes(b"x")
    with pytest.raises(PlanError, match="is gone, and the folder was in use"):
        read_settings({}, data_folder=str(tmp_path))
    (tmp_path / "networks.sqlite.before-0003_people-20261101T000000").unlink()
    (tmp_path / "rasters").mkdir()
    assert read_settings({}, data_folder=str(tmp_path)).session_key == KEY, (
        "a password may be set before the first start"
    )
    (tmp_path / "rasters" / "a.npz").write_bytes(b"x")
    with pytest.raises(PlanError, match="is gone, and the folder was in use"):
        read_settings({}, data_folder=str(tmp_path))
    other = f"sqlite:///{tmp_path / 'other.sqlite'}"
    assert read_settings({}, data_folder=str(tmp_path), database_url=other).session_key == KEY, "begun on purpose"
    assert read_settings({"SFN_DELAYS_DATABASE": "postgresql://db/x"}, data_folder=str(tmp_path)).session_key == KEY


def test_a_lost_note_of_the_version_is_told_and_nothing_is_copied(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not a traceback and one more full copy a try."""
    (tmp_path / "secrets.json").write_text(json.dumps({"session_key": KEY}), encoding="utf-8")
    database = tmp_path / "networks.sqlite"
    Store(f"sqlite:///{database}").close()
    with sqlite3.connect(database) as held:
        held.execute("drop table alembic_version")
    held.close()
    for _ in range(2):
        assert main(["--data", str(tmp_path), "user", "list"]) == 2
        assert "has lost the note of its version" in capsys.readouterr().err
    assert list(tmp_path.glob("*.before-*")) == []


def test_what_no_table_holds_is_no_import(tmp_path: Path, example: dict[str, Any]) -> None:
    """A number beyond 63 bits, a time that is none, lines in another order: each with its line, and nothing is kept."""
    full, empty = (Store(f"sqlite:///{tmp_path / name}.sqlite") for name in ("a", "b"))
    full.create(example, author="Ada", reason="first")
    lines = list(exchange.exported(full))
    for broken, says in (
        ([lines[0], lines[1].replace('"sites": 3', f'"sites": {2**70}'), *lines[2:]], "beyond 63 bits"),
        ([lines[0], lines[2], lines[1], *lines[3:]], "does not stand before it"),
        ([*lines[:2], lines[2].replace('"saved_at": "2', '"saved_at": "x'), *lines[3:]], "a time that is none"),
    ):
        with pytest.raises(PlanError, match=says):
            exchange.imported(empty, broken)
        assert empty.summaries() == ()
    full.close()
    empty.close()
