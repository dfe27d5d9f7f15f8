"""Compiled code finds a folder wherever the program stands, and never one that others can write to."""

import ast
import os
from pathlib import Path

import pytest

import sfn
from sfn import kept_code
from sfn.kept_code import VARIABLE, keep_somewhere


@pytest.fixture
def unwritable(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A folder below which nothing can be made, whoever asks: a file stands in its place."""
    path = tmp_path / "full"
    path.touch()
    monkeypatch.setattr(kept_code.tempfile, "gettempdir", lambda: str(path))
    return path


def test_beside_the_code_then_at_home_then_where_somebody_says(tmp_path: Path, unwritable: Path) -> None:
    """The first that can be written; in what somebody set, a folder of its own."""
    (tmp_path / "code").mkdir()
    (tmp_path / "set").mkdir()
    for code, given, root in (
        (tmp_path / "code", {}, tmp_path / "code" / "__pycache__"),
        (unwritable, {"HOME": str(tmp_path)}, tmp_path / ".cache" / "sfn-delays"),
        (unwritable, {"HOME": str(unwritable), VARIABLE: str(tmp_path / "set")}, tmp_path / "set"),
    ):
        environ = dict(given)
        keep_somewhere(code, environ)
        assert Path(environ[VARIABLE]).parent == root
        assert Path(environ[VARIABLE]).stat().st_mode & 0o077 == 0
        again = dict(environ)
        keep_somewhere(code, again)  # a process that this one starts
        assert again == environ


def test_a_change_of_what_is_compiled_in_takes_another_folder(tmp_path: Path) -> None:
    """Numba itself would go on running what was compiled before another file changed; what it never sees counts not."""
    code = tmp_path / "code"
    (code / "inner").mkdir(parents=True)
    texts = {
        "kernels.py": "from numba import njit\nfrom code.inner.maths import log\n",
        "inner/maths.py": "from code.units import C\nlog = 1\n",
        "units.py": "C = 1\n",
        "words.py": "A = 1\n",
    }

    def folder(**changed: str) -> str:
        for name, text in texts.items():
            (code / name).write_text(changed.get(Path(name).stem, text))
            os.utime(code / name, (1e9, 1e9))
        environ: dict[str, str] = {}
        keep_somewhere(code, environ)
        return environ[VARIABLE]

    plain = folder()
    assert folder() == folder(words="A = 2\n") == plain
    others = {folder(kernels=texts["kernels.py"] + "#\n"), folder(maths="log = 2\n"), folder(units="C = 2\n")}
    assert len(others | {plain}) == 4


def test_everything_that_kernels_import_is_in_the_digest() -> None:
    """Read from the syntax: modules, and names that are modules; functions compiled in cannot come from elsewhere."""
    package = Path(sfn.__file__).parent
    held = kept_code._compiled(package)
    assert {package / "propagation" / name for name in ("batch.py", "hulls.py", "quick_math.py")} <= held.keys()
    for file, text in held.items():
        for line in ast.parse(text).body:
            if isinstance(line, ast.ImportFrom) and (line.module or "").startswith("sfn."):
                at = package.joinpath(*str(line.module).split(".")[1:])
                for module in (at, *(at / one.name for one in line.names)):
                    for found in (module.with_suffix(".py"), module / "__init__.py"):
                        assert found in held or not found.is_file(), (file, line.module)
            assert not isinstance(line, ast.Import) or not any(one.name.startswith("sfn") for one in line.names)
            assert not isinstance(line, ast.ImportFrom) or not line.level


def test_without_a_home_it_goes_to_the_data_folder(tmp_path: Path, unwritable: Path) -> None:
    """The data folder is the next, made if need be."""
    environ = {"HOME": str(unwritable), "SFN_DELAYS_DATA": str(tmp_path / "data")}
    keep_somewhere(unwritable, environ)
    assert Path(environ[VARIABLE]).parent == tmp_path / "data" / "compiled"
    assert Path(environ[VARIABLE]).is_dir()


def test_without_a_data_folder_it_goes_to_temporary_files(
    tmp_path: Path, unwritable: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder of this user alone."""
    monkeypatch.setattr(kept_code.tempfile, "gettempdir", lambda: str(tmp_path))
    environ = {"HOME": str(unwritable)}
    keep_somewhere(unwritable, environ)
    assert Path(environ[VARIABLE]).parent.parent == tmp_path
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
