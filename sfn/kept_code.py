"""Where compiled code is kept: a folder for each state of the sources.

numba looks only at the file that a function stands in: after an update in which another file changed whose functions
or constants are compiled in, it would run the old machine code. So the folder's name has a digest of all that compiled
code is made of. It stands beside the code, else in the home folder's cache, else in the data folder
(``SFN_DELAYS_DATA``), else among the temporary files in a folder of this user alone, which the next start of the
machine may empty. A folder that somebody else could have written to is not taken: what lies in it is run.
"""

import hashlib
import os
import re
import stat
import tempfile
from collections.abc import Iterator, MutableMapping
from pathlib import Path

VARIABLE = "NUMBA_CACHE_DIR"


def keep_somewhere(sources: Path, environ: MutableMapping[str, str]) -> None:
    """Name the folder to numba, before it is imported.

    Parameters
    ----------
    sources : Path
        The folder of the package.
    environ : mutable mapping
        The environment; ``NUMBA_CACHE_DIR`` is set in it. Where it stands, a folder in that one is taken; it is left
        alone where no folder will do.
    """
    name = f"compiled-{digest(sources)}"
    given = environ.get(VARIABLE)
    if given and Path(given).name == name:
        return  # of the process that started this one
    for root in (Path(given),) if given else _roots(sources, environ):
        if _made(root / name):
            environ[VARIABLE] = str(root / name)
            return


def digest(sources: Path) -> str:
    """Sixteen characters that change when a module does that numba compiles, or one that it imports from."""
    found = hashlib.sha256()
    for file, text in sorted(_compiled(sources).items()):
        found.update(f"{file.relative_to(sources)} {len(text)}\n".encode() + text)
    return found.hexdigest()[:16]


def _compiled(sources: Path) -> dict[Path, bytes]:
    """Modules that speak of numba, and all that they import out of the package, directly or not."""
    texts = {file: file.read_bytes() for file in sources.rglob("*.py")}
    imported = re.compile(rb"^from " + sources.name.encode() + rb"\.([\w.]+) import", re.M)
    open_, found = [file for file, text in texts.items() if b"numba" in text], set()
    while open_:
        file = open_.pop()
        found.add(file)
        for name in imported.findall(texts[file]):
            at = sources.joinpath(*name.decode().split("."))
            open_ += [other for other in (at.with_suffix(".py"), at / "__init__.py") if other in texts.keys() - found]
    return {file: texts[file] for file in found}


def _roots(sources: Path, environ: MutableMapping[str, str]) -> Iterator[Path]:
    """Folders that may hold it, the best first."""
    beside = sources / "__pycache__"
    if _writable(beside if beside.exists() else sources):
        yield beside
    home = environ.get("XDG_CACHE_HOME") or str(Path(environ.get("HOME") or os.path.expanduser("~")) / ".cache")
    if _made(Path(home) / "sfn-delays"):
        yield Path(home) / "sfn-delays"
    if data := environ.get("SFN_DELAYS_DATA"):
        yield Path(data) / "compiled"
    own = Path(tempfile.gettempdir()) / f"sfn-delays-compiled-{os.getuid() if hasattr(os, 'getuid') else 0}"
    if _made(own):
        yield own


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
