"""Which workers compute beside this process: ``SFN_DELAYS_DASK``."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from urllib.parse import urlsplit

from sfn.errors import PlanError, Problem

NAME = "SFN_DELAYS_DASK"
SCHEMES = ("tcp", "tls", "ws", "wss")


@dataclass(frozen=True, slots=True)
class WorkersSetting:
    """A scheduler by its address, or workers of our own.

    Parameters
    ----------
    address : str
        As `distributed` has it; empty with workers of our own.
    local_n : int
        How many of these, one thread each; 0: none.
    """

    address: str = ""
    local_n: int = 0

    @property
    def says(self) -> str:
        """Which it is, for people: an address bears no secret, those are in `distributed`'s own settings."""
        return self.address or f"of this process (local:{self.local_n})"

    @property
    def bare(self) -> bool:
        """Whether whoever is on the net can have the workers run what they like: TCP without TLS to another machine."""
        return urlsplit(self.address).scheme in ("tcp", "ws")


def workers_setting(environ: Mapping[str, str]) -> WorkersSetting | None:
    """The setting; None where there is none.

    Raises
    ------
    PlanError
        If it is no address of a scheduler, or `distributed` is not installed.
    """
    given = environ.get(NAME, "").strip()
    if not given:
        return None
    local = re.fullmatch(r"local:([1-9]\d{0,2})", given)
    parts = urlsplit(given)
    if local:
        made = WorkersSetting(local_n=int(local[1]))
    else:
        made = WorkersSetting(address=given)
        try:
            sound = parts.scheme in SCHEMES and bool(parts.hostname) and parts.port is not None
        except ValueError:
            sound = False
        if not sound or parts.username or parts.path not in ("", "/") or parts.query:
            what = f"{NAME} is no address of a scheduler"  # not told as typed: it may bear a password
            expected = "as tcp://10.0.0.5:8786 or tls://10.0.0.5:8786, or local:4 for four workers of this machine"
            raise PlanError([Problem(NAME, what, expected, code="setting-unusable")])
    missing = [name for name in ("distributed", "cryptography") if find_spec(name) is None]
    if missing:
        what = f"{NAME} is set, and {' and '.join(missing)} is not installed"
        raise PlanError([Problem(NAME, what, "pip install 'sfn-delays[dask]'", code="setting-unusable")])
    return made
