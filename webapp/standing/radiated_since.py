"""What is planned to be radiated otherwise than when sheets last went out: sheets order delays alone."""

from sfn.errors import PlanError
from sfn.study.radiated_apart import radiated_apart
from webapp.shell.dependencies import Opened
from webapp.store.entries import ISSUE
from webapp.store.store import Store
from webapp.work.maps import Maps


def radiated_since(opened: Opened, store: Store, maps: Maps) -> str:
    """Power, antennas and silence that the newest revision plans otherwise, in words; empty where nothing is.

    Against the newest revision before it of which a sheet was issued, else the first one.
    """
    number = opened.head.revision.number
    issued = [one.revision for one in store.entries.of(opened.head.id, kind=ISSUE) if one.revision < number]
    base = max(issued, default=1)
    if base >= number:
        return ""
    since = f"revision {base}" + (", of which sheets were issued last" if issued else "")
    try:
        apart = maps.worked_out(
            f"radiated since revision {base} of network {opened.head.id}",
            opened.network,
            lambda: radiated_apart(store.read(opened.head.id, base).network, opened.network),
        )
    except PlanError:
        return f"Whether power, antennas or silence are planned otherwise since {since} is not known: it cannot be read"
    if not apart:
        return ""
    return (
        f"Planned to radiate otherwise since {since}, and ordered by no sheet and no step here: {'; '.join(apart)}. "
        "Whoever changes it works to an order of its own, within the licence; until then map, people and the order of "
        "steps count on what does not stand"
    )
