"""How far a command has come, on stderr: a line that overwrites itself on a terminal, plain lines elsewhere."""

import sys
import time
from collections.abc import Callable

from sfn.field.rasters import SiteProgress

# Into a file or a log: neither a line a second, nor a minute without a word.
PLAIN_EVERY_S = 10.0


def progress_teller(*, clock: Callable[[], float] = time.monotonic) -> SiteProgress:
    """What tells of one run: what is worked on, and how many of how many parts of it are done.

    Parameters
    ----------
    clock : callable
        Seconds.
    """
    begun_s = told_s = clock()

    def tell(what: str, done: int, total: int) -> None:
        """On a terminal at once; elsewhere what takes less than `PLAIN_EVERY_S` says nothing."""
        nonlocal told_s
        percent = 100 * done // max(total, 1)
        if sys.stderr.isatty():
            print(f"\r{what}: {percent} %   ", end="", file=sys.stderr, flush=True)
            return
        now_s = clock()
        if now_s - told_s >= PLAIN_EVERY_S:
            told_s = now_s
            print(f"{what}: {percent} %, {now_s - begun_s:.0f} s", file=sys.stderr, flush=True)

    return tell
