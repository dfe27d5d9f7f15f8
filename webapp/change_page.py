"""The change plan as page and paper show it: from what is on the air to the revision in force."""

from sfn.answer.change_plan import ChangePlan, change_plan
from sfn.answer.what_if import GREATEST_TRIED_US
from sfn.errors import PlanError, Problem
from webapp.approvals import approval_of
from webapp.contexts.change import ChangePage
from webapp.dependencies import Opened, in_part, opened
from webapp.limits import whole_number
from webapp.maps import Maps
from webapp.release import issued_at, released
from webapp.settings import Settings
from webapp.sheet_stands import sheet_stands
from webapp.store import Store


def change_page(network: Opened, store: Store, maps: Maps, settings: Settings, *, against: str = "") -> ChangePage:
    """The plan against an older revision, or against what is set now.

    Raises
    ------
    PlanError
        If `against` is no older revision.
    """
    current = network.head.revision.number
    older = whole_number(against)
    if against and not (older is not None and 0 < older < current):
        expected = f"a revision from 1 to {current - 1}, or none for what is set now" if current > 1 else "none"
        raise PlanError(
            [
                Problem(
                    "against",
                    f"{against[:40]!r} is no older revision",
                    expected,
                    code="unknown-revision",
                    fields=("against",),
                )
            ]
        )
    old = opened(store.read(network.head.id, older), store) if against else None
    part = in_part(network)
    try:
        key = maps.wanted(part.network, bounds=None, pixel_m=None, most=settings.limits.grid_points).key
    except PlanError:
        key = ""  # the map's own page says why there is none
    levels, found = maps.find(key), released(network, store, maps)
    plan = change_plan(
        part.network,
        old=None if old is None else old.network,
        coverage=levels,
        reviewed=found.reviewed,
        issued_at=issued_at(network, store),
        people=None if levels is None else maps.listeners(part.network, levels.grid).people,
    )
    revisions = tuple(one for one in store.history(network.head.id) if one.number < current)
    shown = key if levels is not None else ""
    stale = tuple(line.stale_says for line in found.lines if line.stale_says)
    asked = settings.approval == "other"
    approval = approval_of(store, network.head.id, revision=current, checksum=plan.checksum, asked=asked)
    before = None if old is None else old.head.revision
    return ChangePage(part.head, plan, before, revisions, shown, _waiting(plan), stale, sheet_stands(found), approval)


def _waiting(plan: ChangePlan) -> tuple[str, ...]:
    """The worst moment as clock errors of a map; nothing where one is beyond what a map tries."""
    if plan.worst is None or any(abs(late) > GREATEST_TRIED_US for late in plan.waiting_us.values()):
        return ()
    return tuple(f"{site}:{late:.6f}" for site, late in plan.waiting_us.items())
