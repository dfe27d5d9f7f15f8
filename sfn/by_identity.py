"""What was worked out from a record, kept as long as that very record is there.

Records are never changed, and hashing a large one costs as much as the work that is to be spared: they are told
apart by which object they are.
"""

import weakref
from collections.abc import Callable
from typing import Generic, TypeVar

Owner = TypeVar("Owner")
Value = TypeVar("Value")


class ByIdentity(Generic[Owner, Value]):
    """One value for each object, made when it is first asked for and gone when the object goes."""

    def __init__(self) -> None:
        self._held: dict[int, tuple[weakref.ref[Owner], Value]] = {}

    def get(self, owner: Owner, make: Callable[[Owner], Value]) -> Value:
        """The value of an object that does not change.

        Parameters
        ----------
        owner : object
            It must allow weak references.
        make : callable
            Gives the value of the object; two that ask at the same time may both call it.
        """
        key = id(owner)
        held = self._held.get(key)
        if held is not None and held[0]() is owner:
            return held[1]
        value = make(owner)

        def forget(reference: "weakref.ref[Owner]") -> None:
            # A number of an object may be another's by then.
            now = self._held.get(key)
            if now is not None and now[0] is reference:
                del self._held[key]

        self._held[key] = (weakref.ref(owner, forget), value)
        return value

    def __len__(self) -> int:
        return len(self._held)
