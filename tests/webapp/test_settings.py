"""Settings from a fresh machine's environment, and the start that refuses what is unsafe."""

import json
import socket
import stat
from pathlib import Path

import pytest

from sfn.errors import PlanError
from webapp.__main__ import closed, main
from webapp.config.settings import is_loopback, read_settings
from webapp.store.backup import LOCK_FILE, alone
from webapp.store.passwords import password_matches, token_hash
from webapp.store.store import Store


def test_fresh_machine_needs_nothing(tmp_path: Path) -> None:
    """With only a home folder: loopback, a data folder by the XDG rules, a database and a key of its own."""
    settings = read_settings({"HOME": str(tmp_path)})
    folder = tmp_path / ".local" / "share" / "sfn-delays"
    assert folder == settings.data_folder
    assert settings.on_loopback
    assert f"sqlite:///{folder}/networks.sqlite" == settings.database_url
    assert 0o600 == stat.S_IMODE((folder / "secrets.json").stat().st_mode)
    assert settings.session_key == read_settings({"HOME": str(tmp_path)}).session_key, "sessions outlive a restart"
    assert settings.session_key not in repr(settings)


def test_environment_and_command_line(tmp_path: Path) -> None:
    """The command line wins over the environment, the environment over defaults; XDG_DATA_HOME is obeyed."""
    environ = {"XDG_DATA_HOME": str(tmp_path), "SFN_DELAYS_PORT": "9000", "SFN_DELAYS_HTTPS": "yes"}
    settings = read_settings(environ)
    assert tmp_path / "sfn-delays" == settings.data_folder
    assert (9000, True) == (settings.port, settings.https)
    assert 9001 == read_settings(environ, port="9001").port


@pytest.mark.parametrize(
    "environ", [{"SFN_DELAYS_PORT": "many"}, {"SFN_DELAYS_PORT": "70000"}, {"SFN_DELAYS_HTTPS": "1"}]
)
def test_unusable_setting_is_named(tmp_path: Path, environ: dict[str, str]) -> None:
    """A setting that cannot be used says which, and what would do."""
    with pytest.raises(PlanError) as caught:
        read_settings({"HOME": str(tmp_path), **environ})
    assert next(iter(environ.values())) in caught.value.problems[0].what


def test_loopback_is_told_from_the_rest() -> None:
    """Only addresses of this machine are loopback."""
    assert [True] * 4 == [is_loopback(h) for h in ("127.0.0.1", "localhost", "::1", "127.8.8.8")]
    assert [False] * 5 == [is_loopback(h) for h in ("0.0.0.0", "::", "192.168.1.4", "example.org", "")]


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.4"])
def test_beyond_loopback_it_refuses_without_a_password(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], host: str
) -> None:
    """It does not start, and says which command sets the password."""
    assert 2 == main(["--data", str(tmp_path), "--host", host])
    assert "--set-password" in capsys.readouterr().err


def test_password_and_token_are_kept_as_hashes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """``--set-password`` and ``--new-api-token`` keep hashes only, each without touching the other."""
    typed = tmp_path / "typed"
    typed.write_text("several words do well\n", encoding="utf-8")
    with typed.open(encoding="utf-8") as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        assert 0 == main(["--data", str(tmp_path), "--set-password"])
    capsys.readouterr()
    assert 0 == main(["--data", str(tmp_path), "--new-api-token"])
    token = capsys.readouterr().out.strip()
    text = (tmp_path / "secrets.json").read_text(encoding="utf-8")
    held = json.loads(text)
    assert password_matches("several words do well", held["password_hash"])
    assert token_hash(token) == held["api_token_hash"]
    assert token not in text


def test_taken_port_is_told_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A port in use gives a sentence and another way, not a traceback."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        assert 2 == main(["--data", str(tmp_path), "--port", port])
    error = capsys.readouterr().err
    assert f"port {port}" in error
    assert "--port NUMBER" in error


def test_a_lost_secrets_file_beside_networks_refuses_to_start(tmp_path: Path) -> None:
    """Whether a password was set is not known then; no command makes the file anew, an empty one by hand does."""
    Store(f"sqlite:///{tmp_path / 'networks.sqlite'}").close()
    environ = {"SFN_DELAYS_DATA": str(tmp_path)}
    for _ in range(2):
        settings = read_settings(environ)
        store = Store(settings.database_url)
        with pytest.raises(PlanError, match="is gone, and networks are there"):
            closed(settings, store)
        assert not (tmp_path / "secrets.json").exists()
        assert main(["--data", str(tmp_path), "packet", "1", str(tmp_path / "packet.pdf")]) == 2
        (tmp_path / "secrets.json").write_text("{}", encoding="utf-8")
        closed(read_settings(environ), store)
        store.close()
        (tmp_path / "secrets.json").unlink()


def test_a_folder_whose_lock_cannot_be_made_says_so(tmp_path: Path) -> None:
    """As on a read-only disk; a folder in the lock's place does the same to any user, root too."""
    (tmp_path / LOCK_FILE).mkdir()
    with pytest.raises(PlanError, match="cannot be written"), alone(tmp_path, shared=True):
        pass
