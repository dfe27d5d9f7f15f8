"""A folder that was in use is not begun anew, and what a store cannot take is told in words."""

import io
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
    with pytest.raises(PlanError, match=r"secrets.json is of its users"):
        read_settings({}, data_folder=str(tmp_path))
    (tmp_path / "secrets.json").write_text(json.dumps({"session_key": KEY, "networks": "not yet"}), encoding="utf-8")
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


def test_a_team_whose_database_is_gone_is_not_opened_to_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost, or sought in a wrong place: the start as one user without a password is refused, and nothing is made."""
    folder, database = tmp_path / "data", tmp_path / "data" / "networks.sqlite"
    monkeypatch.setattr("sys.stdin", io.StringIO("a long password indeed\n"))
    assert main(["--data", str(folder), "user", "add", "ada", "--role", "administrator"]) == 0
    database.rename(tmp_path / "elsewhere.sqlite")
    (folder / "networks.sqlite-wal").unlink(missing_ok=True)
    before = sorted(folder.iterdir())
    for more in ([], ["user", "list"], ["--database", f"sqlite:///{tmp_path / 'typo.sqlite'}"]):
        assert main(["--data", str(folder), "--port", "0", *more]) == 2
        said = capsys.readouterr().err
        assert "is gone, and the folder was in use" in said
        assert "restore FILE" in said
        assert "to begin anew" in said
        assert sorted(folder.iterdir()) == before
    assert not (tmp_path / "typo.sqlite").exists()
    moved = ["--database", f"sqlite:///{tmp_path / 'elsewhere.sqlite'}"]
    assert main(["--data", str(folder), *moved, "user", "list"]) == 0
    assert "ada" in capsys.readouterr().out
    (folder / "secrets.json").unlink()
    settings = read_settings({}, data_folder=str(folder), database_url=moved[1])
    assert settings.secrets_lost, "networks there, secrets gone: also where the database has another name"
    settings = read_settings({}, data_folder=str(folder))
    assert not settings.secrets_lost, "moved away: begun anew on purpose"


def test_secrets_that_cannot_be_read_refuse_to_start(tmp_path: Path) -> None:
    """Cut off, damaged, or a folder in their place."""
    for content in ("", "[]", '{"session_key": 1}', "{"):
        (tmp_path / "secrets.json").write_text(content, encoding="utf-8")
        with pytest.raises(PlanError, match=r"secrets.json (cannot be read|is damaged)"):
            read_settings({}, data_folder=str(tmp_path))
    (tmp_path / "secrets.json").unlink()
    (tmp_path / "secrets.json").mkdir()
    with pytest.raises(PlanError, match="cannot be read"):
        read_settings({}, data_folder=str(tmp_path))


def test_what_only_reads_makes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A mistyped folder is told, not made; nor is anything put into one that has no networks."""
    file, missing, empty = str(tmp_path / "file"), tmp_path / "missing", tmp_path / "empty"
    empty.mkdir()
    commands = (
        ["audit-verify"], ["backup", file], ["export", file], ["packet", "1", file], ["user", "list"],
        ["user", "end", "ada"], ["user", "role", "ada", "viewer"],
    )  # fmt: skip
    for folder, says in ((missing, "there is no folder"), (empty, "is not there")):
        for command in commands:
            assert main(["--data", str(folder), *command]) == 2
            assert says in capsys.readouterr().err, command
    assert main(["--data", str(missing), "backup-verify", file]) == 2
    assert sorted(tmp_path.iterdir()) == [empty]
    assert list(empty.iterdir()) == []


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
