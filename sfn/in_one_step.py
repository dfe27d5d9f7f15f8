"""Files that appear whole: written beside their place and renamed into it, so that no reader sees half of one."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def in_one_step(path: Path) -> Iterator[Path]:
    """A name beside a file, which takes its place when all went well, and is gone when not.

    Parameters
    ----------
    path : Path
        In a folder that is there.

    Yields
    ------
    Path
        What is to be written; nothing is there yet.
    """
    fresh = path.with_name(f".{os.getpid()}.{path.name}")
    fresh.unlink(missing_ok=True)
    try:
        yield fresh
        fresh.replace(path)
    finally:
        fresh.unlink(missing_ok=True)
