"""Where open data may be fetched from, by settings; nothing is fetched where they forbid it.

| variable | meaning |
|---|---|
| ``SFN_DELAYS_DOWNLOADS`` | ``no``: nothing is ever fetched (yes) |
| ``SFN_DELAYS_SOURCE_...`` | base address of a set, `sfn.country.sets.OpenSet.variable`; a mirror serves as well |
| ``SFN_DELAYS_SOURCE_HEIGHTS_COARSE`` | also ``none``: a tile that the heights lack is then sea |
| ``HTTP_PROXY``, ``HTTPS_PROXY``, ``NO_PROXY``, ``SSL_CERT_FILE`` | as everywhere; read by httpx |
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

from sfn.country.sets import SETS, OpenSet, Wanted
from sfn.errors import PlanError, Problem

DOWNLOADS = "SFN_DELAYS_DOWNLOADS"
NONE = "none"


@dataclass(frozen=True, slots=True)
class Sources:
    """Whether fetching is allowed, and the base address of every set that has another than the published one."""

    allowed: bool = True
    bases: Mapping[str, str] = field(default_factory=dict)

    def base(self, of: OpenSet) -> str:
        """Base address of a set, with the last slash; ``none`` where there is none."""
        return self.bases.get(of.key, of.base)

    def shown_base(self, of: OpenSet) -> str:
        """The base address without a name and password that may stand in it."""
        return shown(self.base(of))

    def url(self, tile: Wanted) -> str:
        """The address of a tile."""
        return self.base(tile.of) + tile.address

    def forbidden(self) -> Problem:
        """What is said where fetching is not allowed."""
        return Problem(
            DOWNLOADS,
            "is no: this installation fetches nothing",
            "tiles carried from another machine: country --unpack",
            code="downloads-forbidden",
        )


def sources(environ: Mapping[str, str]) -> Sources:
    """The settings that an environment holds.

    Raises
    ------
    PlanError
        If a base address is none, or the yes/no is neither; every such setting is named.
    """
    problems: list[Problem] = []
    bases: dict[str, str] = {}
    said = (environ.get(DOWNLOADS) or "yes").lower()
    if said not in ("yes", "no"):
        problems.append(Problem(DOWNLOADS, f"is {environ[DOWNLOADS]!r}", "yes or no", code="setting-unusable"))
    for one in SETS.values():
        text = environ.get(one.variable, "").strip()
        if not text:
            continue
        if one.key == "heights-coarse" and text == NONE:
            bases[one.key] = NONE
            continue
        parts = urlsplit(text)
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
            expected = "a base address, as https://mirror.example/dem/"
            problems.append(Problem(one.variable, f"is {text!r}", expected, code="setting-unusable"))
            continue
        bases[one.key] = text.rstrip("/") + "/"
    if problems:
        raise PlanError(problems)
    return Sources(said == "yes", bases)


def data_folder(environ: Mapping[str, str]) -> Path:
    """The program's data folder: ``SFN_DELAYS_DATA``, else the user's by the XDG base directory specification."""
    given = environ.get("SFN_DELAYS_DATA")
    if given:
        return Path(given).expanduser().absolute()
    base = environ.get("XDG_DATA_HOME", "")
    home = Path(base) if Path(base).is_absolute() else Path(environ.get("HOME") or Path.home()) / ".local" / "share"
    return home / "sfn-delays"


def shown(url: str) -> str:
    """An address without a name and password that may stand in it."""
    parts = urlsplit(url)
    return urlunsplit(parts._replace(netloc=parts.netloc.rpartition("@")[2]))
