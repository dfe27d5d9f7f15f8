"""The folder by which a job and the workers at its tasks talk, as the service has it; workers have `sfn.work.desk`."""

import contextlib
import json
import secrets
import shutil
import time
from pathlib import Path

from sfn.errors import PlanError, Problem
from sfn.work.desk import DESKS, MARK, Order

STALE_DESK_S = 86_400.0


class JobDesk:
    """The folder of one job, as the service has it."""

    def __init__(self, data_folder: Path) -> None:
        self.name, self._mark = secrets.token_hex(8), secrets.token_hex(16)
        self._data_folder, self.place = data_folder, data_folder / DESKS / self.name
        self._looked_s, self._again_n = 0.0, 0
        try:
            self.place.mkdir(parents=True)
            (self.place / MARK).write_text(self._mark, encoding="utf-8")
        except OSError as refused:
            what = f"nothing can be written in {data_folder / DESKS} ({refused.strerror})"
            expected = "room, and the right to write there: workers leave their answers in it"
            raise PlanError([Problem("data", what, expected, code="data-unwritable")]) from None

    def order(self, at: int) -> Order:
        """Where a task belongs."""
        return Order(str(self._data_folder), self.name, f"{at}", self._mark)

    def told(self, at: int) -> tuple[str, int, int] | None:
        """How far a task is, as its worker said last."""
        try:
            phase, done, total = json.loads((self.place / f"{at}.told").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return str(phase), int(done), int(total)

    def begun_again_n(self, *, at_once: bool = False) -> int:
        """How often a task was begun once more; the disk is asked once a second, or `at_once`."""
        if at_once or time.monotonic() - self._looked_s > 1.0:
            self._looked_s = time.monotonic()
            begun = [one.name.split(".")[0] for one in self.place.glob("*.begun.*")]
            self._again_n = len(begun) - len(set(begun))
        return self._again_n


def swept(folder: Path) -> None:
    """Remove what jobs of a service that was killed have left."""
    for desk in folder.glob("*"):
        with contextlib.suppress(OSError):
            if time.time() - desk.stat().st_mtime > STALE_DESK_S:
                shutil.rmtree(desk, ignore_errors=True)
