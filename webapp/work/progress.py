"""How far a job is, as its work tells it, and the wish that it stops."""

import threading
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from sfn.errors import Problem

STOPPED_KEPT = "stopped-kept"
"""Code of what says what stays of a job that somebody stopped, and can be gone on from."""


class CancelledError(Exception):
    """Raised inside a job's work, out of `Progress.tell`, after someone cancelled it; `kept` says what stays of it."""

    def __init__(self, kept: tuple[Problem, ...] = ()) -> None:
        self.kept = kept
        super().__init__()


@dataclass(frozen=True, slots=True)
class Part:
    """How far one part of a job is: a site, mostly."""

    name: str
    done: int
    total: int


class Progress:
    """What a job's work tells of itself; may be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._cancelled = threading.Event()
        self._phase, self._done, self._total = "waiting for its turn", 0, 0
        self._parts: tuple[Part, ...] = ()

    @property
    def cancelled(self) -> bool:
        """Whether someone asked the work to stop; for loops that cannot raise."""
        return self._cancelled.is_set()

    def tell(self, phase: str, *, done: int, total: int, parts: "tuple[Part, ...]" = ()) -> None:
        """Say what is being done and how much of it is finished; `parts` say the same of its parts.

        Raises
        ------
        CancelledError
            If someone cancelled the job; let it through.
        """
        if self.cancelled:
            raise CancelledError
        with self._lock:
            self._phase, self._done, self._total, self._parts = phase, done, total, parts

    def told(self) -> "tuple[str, int, int, tuple[Part, ...]]":
        """The last phase, done, total and parts."""
        with self._lock:
            return self._phase, self._done, self._total, self._parts

    def plain(self) -> dict[str, Any]:
        """What was told last, as JSON has it."""
        phase, done, total, parts = self.told()
        return {"phase": phase, "done": done, "total": total, "parts": [asdict(one) for one in parts]}

    def follow(self, plain: Mapping[str, Any]) -> None:
        """Say what another process told as `plain`; empty where it has told nothing yet."""
        phase = plain.get("phase", "another process of the service works at it")
        parts = tuple(Part(**one) for one in plain.get("parts", ()))
        self.tell(phase, done=plain.get("done", 0), total=plain.get("total", 0), parts=parts)

    def cancel(self) -> None:
        """Ask the work to stop at its next `tell`."""
        self._cancelled.set()
