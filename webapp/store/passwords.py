"""Passwords and tokens as they are kept, and slowing down whoever guesses."""

import hashlib
import math
import threading
from collections.abc import Callable
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from cachetools import LRUCache

from sfn.errors import PlanError, Problem
from webapp.store.slowed import Held, InMemory, Key, Slowed, Tries

LEAST_PASSWORD = 12  # characters
LONGEST_PASSWORD = 128
# What long passwords are made of that everybody guesses first; from memory.
_GUESSED = (
    *"password passwort qwertz qwerty letmein welcome admin iloveyou dragon secret monkey football baseball".split(),
    *"sunshine princess master login test changeme".split(),
    *"1234567890 0123456789 9876543210 abcdefghijklmnopqrstuvwxyz qwertyuiop asdfghjkl zxcvbnm".split(),
)


def hash_password(password: str, *, name: str = "") -> str:
    """The argon2id hash of a new password, with the library's parameters (RFC 9106, low-memory profile).

    Raises
    ------
    PlanError
        If the password is shorter than 12 characters, longer than 128, or among the first that anybody would guess.
    """
    if not LEAST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        what = f"the password has {len(password)} characters"
        expected = f"{LEAST_PASSWORD} or more; several words do well"
        raise PlanError([Problem("password", what, expected, code="password-length", fields=("password",))])
    if easily_guessed(password, name=name):
        what, expected = "this is among the first that anybody would guess", "several words that do not belong together"
        raise PlanError([Problem("password", what, expected, code="password-guessed", fields=("password",))])
    return PasswordHasher().hash(password)


def easily_guessed(password: str, *, name: str = "") -> bool:
    """Whether nothing is left of it without what everybody tries: common words, runs, repeats, the name itself."""
    left = password.casefold()
    own = [part for part in name.casefold().split() if len(part) > 2]
    for part in sorted((*_GUESSED, *own), key=len, reverse=True):
        left = left.replace(part, "")
    runs = "".join(_GUESSED[-7:])
    left = "" if left and left in runs else left.strip("0123456789!?.-_ ")
    return len(set(left)) < 4


def password_matches(password: str, password_hash: str) -> bool:
    """Whether a typed password is the one that was set."""
    try:
        return len(password) <= LONGEST_PASSWORD and PasswordHasher().verify(password_hash, password)
    except (VerifyMismatchError, InvalidHashError):
        return False


@cache
def no_password() -> str:
    """A hash that is looked at where there is no such user, so that it takes as long."""
    return PasswordHasher().hash("nobody has this password")


def token_hash(token: str) -> str:
    """What is kept of a token. It is 256 random bits, so a plain hash is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


class Attempts:
    """Slows log-ins down: after three failures each further one doubles the wait, up to five minutes.

    Counted for each address and name, so that nobody's guessing keeps others out, and, with more patience, for each
    address alone: an attacker has many names. Whoever is signed in is not asked.
    The wait is told at once and no thread sleeps. One check at a time in a process, for argon2 takes 64 MB a check. A
    try counts as wrong before it is looked at, and not any more where it was right: of many at once, in however many
    processes that share what is `kept`, none is looked at for nothing.
    """

    FREE_FAILURES = 3
    FREE_ALONE = 30
    LONGEST_S = 300.0
    MOST_TOLD = 10_000

    def __init__(self, kept: Slowed | None = None, clock: Callable[[], float] | None = None) -> None:
        self._kept = kept or InMemory()
        self._clock, self._lock = clock or self._kept.now_s, threading.Lock()
        self._told: LRUCache[tuple[str, str], float] = LRUCache(self.MOST_TOLD)

    def check(self, password: str, password_hash: str | None, *, address: str = "", name: str = "") -> tuple[bool, int]:
        """Whether the password is right, and the seconds to wait before it is looked at again (0: looked at now).

        Without a hash there is no such user, and it is wrong after the same time.
        """
        both, alone = (address, name.casefold()), (address, None)
        with self._lock:
            now_s = self._clock()
            with self._kept.changing() as held:
                before = held.of(alone)
                wait_s = max(held.of(both).until_s, before.until_s) - now_s
                if wait_s > 0:
                    return False, math.ceil(wait_s)
                self._failed(held, both, self.FREE_FAILURES)
                self._failed(held, alone, self.FREE_ALONE)
                counted = held.of(alone)
            if not password_matches(password, password_hash or no_password()) or password_hash is None:
                return False, 0
            with self._kept.changing() as held:
                held.drop(both)
                after = held.of(alone)
                until_s = before.until_s if after == counted else after.until_s  # others may have failed meanwhile
                if after.failures > 1:
                    held.put(alone, Tries(after.failures - 1, until_s), now_s=now_s)
                else:
                    held.drop(alone)
            return True, 0

    def slowed_first(self, *, address: str, name: str) -> bool:
        """Whether this process tells of the wait for the first time: the record gets a line of it, not one a try."""
        key = (address, name.casefold())
        with self._lock, self._kept.changing() as held:
            until_s = max(held.of(key).until_s, held.of((address, None)).until_s)
            first = self._told.get(key) != until_s
            self._told[key] = until_s
            return first

    def wait_s(self, *, address: str, name: str) -> int:
        """Seconds to wait before what is no password is looked at again; 0: now."""
        with self._kept.changing() as held:
            return max(0, math.ceil(held.of((address, name)).until_s - self._clock()))

    def failed(self, *, address: str, name: str) -> None:
        """Count what failed without a password, with the patience for an address that many people share."""
        with self._kept.changing() as held:
            self._failed(held, (address, name), self.FREE_ALONE)

    def forget(self, *, address: str, name: str) -> None:
        """Somebody got in."""
        with self._kept.changing() as held:
            held.drop((address, name))

    def _failed(self, held: Held, key: Key, free: int) -> None:
        """Count a failure."""
        failures, now_s = held.of(key).failures + 1, self._clock()
        beyond = failures - free
        until_s = now_s + min(self.LONGEST_S, 2.0 ** min(beyond, 20)) if beyond >= 0 else 0.0
        held.put(key, Tries(failures, until_s), now_s=now_s)
