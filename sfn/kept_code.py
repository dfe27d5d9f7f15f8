"""Where compiled code is kept when neither the program's folder nor the home folder can be written.

numba keeps it beside the code, else in the home folder's cache, and refuses to start where it may do neither. Then it
goes into the data folder (``SFN_DELAYS_DATA``), or into a folder of this user alone among the temporary files, which
the next start of the machine may empty. A folder that somebody else could have written to is not taken: what lies in it
is run.
"""

import os
import stat
import tempfile
from collections.abc import MutableMapping
from pathlib import Path

VARIABLE = "NUMBA_CACHE_DIR"


def keep_somewhere(code: Path, environ: MutableMapping[str, str]) -> None:
    """Name a folder to numba, before it is imported, where it would find none.

    Parameters
    ----------
    code : Path
        A folder of compiled modules.
    environ : mutable mapping
        The environment; ``NUMBA_CACHE_DIR`` is set in it, or left alone where it stands or is not needed.
    """
    beside = code / "__pycache__"
    if environ.get(VARIABLE) or _writable(beside if beside.exists() else code):
        return
    home = environ.get("XDG_CACHE_HOME") or str(Path(environ.get("HOME") or os.path.expanduser("~")) / ".cache")
    chosen = [Path(environ["SFN_DELAYS_DATA"]) / "compiled"] if environ.get("SFN_DELAYS_DATA") else []
    user = os.getuid() if hasattr(os, "getuid") else 0
    if _made(Path(home) / "numba"):
        return
    for folder in (*chosen, Path(tempfile.gettempdir()) / f"sfn-delays-compiled-{user}"):
        if _made(folder):
            environ[VARIABLE] = str(folder)
            return


def _made(folder: Path) -> bool:
    """Whether the folder is there, or could be made, is this user's alone to write, and can be written."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        held = folder.lstat()
    except OSError:
        return False
    own = not hasattr(os, "getuid") or held.st_uid == os.getuid()
    alone = os.name != "posix" or not held.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
    return stat.S_ISDIR(held.st_mode) and own and alone and _writable(folder)


def _writable(folder: Path) -> bool:
    """Whether a file can be made in it."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False
