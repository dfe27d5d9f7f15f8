"""Results that are dear to make: made once even when asked for twice at a time, the least used forgotten first."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from typing import Generic, TypeVar

T = TypeVar("T")


class Kept(Generic[T]):
    """Values by key, as long as all of them together are not too large.

    Parameters
    ----------
    size : callable
        Bytes of a value.
    most_bytes : int
        Bytes of all that are kept.
    least_n : int
        The last used of them, kept however large they are.
    """

    def __init__(self, size: Callable[[T], int], *, most_bytes: int, least_n: int = 1) -> None:
        self._size, self._most_bytes, self._least_n = size, most_bytes, least_n
        self._lock = threading.Lock()
        self._held: OrderedDict[Hashable, Future[T]] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """The value of a key; whoever asks first makes it, the others wait. What `make` raises, all of them raise."""
        with self._lock:
            held = self._held.get(key)
            mine = held is None
            if held is None:
                held = self._held[key] = Future()
            self._held.move_to_end(key)
        if mine:
            try:
                held.set_result(make())
            except BaseException as error:
                with self._lock:
                    self._held.pop(key, None)
                held.set_exception(error)
                raise
            self._forget()
        return held.result()

    def there(self, key: Hashable) -> bool:
        """Whether the value of a key is made already."""
        with self._lock:
            held = self._held.get(key)
            return held is not None and held.done()

    def _forget(self) -> None:
        """Let the least used go while there is too much."""
        with self._lock:
            done = [key for key, held in self._held.items() if held.done()]
            total = sum(self._size(self._held[key].result()) for key in done)
            for key in done[: max(0, len(done) - self._least_n)]:
                if total <= self._most_bytes:
                    break
                total -= self._size(self._held.pop(key).result())
