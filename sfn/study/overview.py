"""What a network's first page says: how far each site is, and what is to be done next, the worst first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from sfn.errors import Problem

Kind = Literal["disagrees", "error", "withheld", "stale", "sign", "issue", "warning", "set", "measure"]
ORDER: tuple[Kind, ...] = ("disagrees", "error", "withheld", "stale", "sign", "issue", "warning", "set", "measure")
"""What comes first: what is on air and wrong, what keeps sheets back, what they wait for, what is not proven."""
_SHEETS: Mapping[str, tuple[Kind, str]] = {
    "withheld": ("withheld", "no sheet"),
    "stale": ("stale", "issued with other figures than the plan has now"),
    "needs sign-off": ("sign", "the sheet waits for a named sign-off"),
    "ready": ("issue", "the sheet is ready and not issued"),
}
_REPORTS: Mapping[str, tuple[Kind, str]] = {
    "planned": ("set", "issued, and nobody has reported it as set"),
    "set": ("measure", "set, and the launch is not measured"),
    "split": ("measure", "set at another split of the right total"),
}


@dataclass(frozen=True, slots=True)
class SiteStand:
    """How far one site is.

    Parameters
    ----------
    site_id, name : str
    sheet : str
        ``withheld``, ``stale``, ``needs sign-off``, ``ready`` or ``issued``.
    report : str
        What was reported from it, as `sfn.study.site_state.SiteState` has it.
    since : str
        Of which day that is, in UTC; empty where nothing was reported or issued.
    """

    site_id: str
    name: str
    sheet: str
    report: str
    since: str

    @property
    def state(self) -> str:
        """One word: what was reported, else how far its sheet is."""
        return self.sheet if self.report == "planned" else self.report


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to be done.

    Parameters
    ----------
    kind : str
        One of `ORDER`.
    what : str
        In words, with the sites' names.
    sites : tuple of str
        Ids of the sites that it is about.
    where : str
        Place in the document where it is mended; empty where it is no matter of the document.
    """

    kind: Kind
    what: str
    sites: tuple[str, ...]
    where: str = ""


def due(stands: Sequence[SiteStand], problems: Sequence[Problem]) -> tuple[Due, ...]:
    """All that is to be done, the worst first.

    Parameters
    ----------
    stands : sequence of SiteStand
        Every site.
    problems : sequence of Problem
        What the check finds.

    Returns
    -------
    tuple of Due
        Sites of one kind and reason stand together; each problem stands for itself, those of the check in its order.
        A site without a sheet stands only where no error names it.
    """
    found = [
        Due("error" if one.severity == "error" else "warning", one.what, tuple(one.sites), one.where)
        for one in problems
    ]
    told = {site for one in problems if one.severity == "error" for site in one.sites}
    grouped: dict[tuple[Kind, str], list[SiteStand]] = {}
    for stand in stands:
        for reason in _of(stand):
            if reason[0] == "withheld" and stand.site_id in told:
                continue  # the error says why
            grouped.setdefault(reason, []).append(stand)
    found += [
        Due(kind, f"{', '.join(format(one.name) for one in them)}: {what}", tuple(one.site_id for one in them))
        for (kind, what), them in grouped.items()
    ]
    return tuple(sorted(found, key=lambda one: ORDER.index(one.kind)))


def _of(stand: SiteStand) -> list[tuple[Kind, str]]:
    """What is due at one site; what its sheet waits for comes before what was not reported."""
    if stand.report == "disagrees":
        reported: list[tuple[Kind, str]] = [("disagrees", "what was read there is not what the plan says")]
    else:
        reported = [_REPORTS[stand.report]] if stand.sheet == "issued" and stand.report in _REPORTS else []
    return reported + ([_SHEETS[stand.sheet]] if stand.sheet in _SHEETS else [])
