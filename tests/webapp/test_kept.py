"""Dear results are made once, even when asked for twice at a time, and the least used go first."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from webapp.work.kept import Kept


def test_two_who_ask_at_once_get_one_result() -> None:
    """The second waits for what the first makes."""
    kept: Kept[list[int]] = Kept(len, most_bytes=10)
    made, begun = [], threading.Event()

    def make() -> list[int]:
        begun.set()
        time.sleep(0.05)
        made.append(1)
        return [1]

    with ThreadPoolExecutor(2) as threads:
        first = threads.submit(kept.get, "a", make)
        assert begun.wait(5)
        second = threads.submit(kept.get, "a", make)
        assert first.result() is second.result()
    assert made == [1]


def test_a_failure_is_told_and_not_kept() -> None:
    """The next who asks tries again."""
    kept: Kept[str] = Kept(len, most_bytes=10)

    def fail() -> str:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        kept.get("a", fail)
    assert kept.get("a", lambda: "made") == "made"


def test_the_least_used_goes_first_and_the_last_used_stay_however_large() -> None:
    """Ten bytes hold two of four; one of a hundred is kept all the same."""
    kept: Kept[str] = Kept(len, most_bytes=10, least_n=1)
    for key in "abac":
        kept.get(key, lambda: "four")
    made: list[str] = []

    def again() -> str:
        made.append("x")
        return "four"

    kept.get("a", again)
    kept.get("b", again)
    assert made == ["x"]  # b had gone, a had not

    kept.get("d", lambda: "x" * 100)
    kept.get("d", again)
    assert made == ["x"]
