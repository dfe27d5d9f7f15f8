"""Whether the settings of a corrected plan launch its sites as planned, or only with their differences right.

Measurements on air tell differences. Against a held site each other site's launch is known by itself; without one the
differences of a group come right only when every site of it is corrected: else those that are not stay where they are.
"""

from collections.abc import Collection, Mapping

from sfn.survey.launch_errors import Reconciliation


def held_in_group(found: Reconciliation, site_id: str) -> str | None:
    """The first held site of a site's group; None where none is held or nothing was measured of the site."""
    group = next((s.group for s in found.sites if s.site == site_id), None)
    return next((s.site for s in found.sites if s.held and s.group is not None and s.group == group), None)


def datum(found: Reconciliation, site_id: str) -> str:
    """What a site's launch error counts from, in words."""
    held = held_in_group(found, site_id)
    if held is not None:
        return f"{held}, held"
    members = next((group for group in found.groups if site_id in group), (site_id,))
    return f"the mean of {', '.join(members)}, none held"


def not_as_planned(
    found: Reconciliation, taken: Collection[str], *, parents: Mapping[str, str | None]
) -> dict[str, tuple[str, ...]]:
    """Sites whose correction alone does not make them launch as planned, each with the sites it waits for.

    Parameters
    ----------
    found : Reconciliation
    taken : collection of str
        Sites whose launch error a stage takes up.
    parents : mapping of str to str or None
        What feeds each site off air.

    Returns
    -------
    dict of str to tuple of str
        By corrected site; empty when the settings launch all of them as planned. A group without a held site must be
        taken up whole; a relay launches as late as its parent, so each site that feeds it must be held or taken up.
    """
    sure = {s.site for s in found.sites if s.held} | set(taken)
    measured = {s.site for s in found.sites if s.group is not None}
    waiting = {}
    for site in taken:
        group = next((g for g in found.groups if site in g), ())
        missing = [] if held_in_group(found, site) is not None else [s for s in group if s not in sure]
        above = parents.get(site)
        while above is not None:
            # A parent of which nothing was measured stays as planned, for all that is known.
            if above in measured and above not in sure and above not in missing:
                missing.append(above)
            above = parents.get(above)
        if missing:
            waiting[site] = tuple(missing)
    return waiting


def said(
    found: Reconciliation, taken: Collection[str], *, parents: Mapping[str, str | None], missed_us: Mapping[str, float]
) -> str:
    """The sentence that goes with a corrected plan.

    Parameters
    ----------
    found, taken, parents
        As in `not_as_planned`.
    missed_us : mapping of str to float
        Corrected sites that the new settings cannot launch within the tolerated error, each with by how much its
        launch is late. [us]
    """
    waiting = not_as_planned(found, taken, parents=parents)
    if missed_us:
        told = "; ".join(
            f"{site} launches {abs(late):.2f} us too {'late' if late > 0 else 'early'}"
            for site, late in missed_us.items()
        )
        first = f"These settings do not launch all corrected sites as planned, their fields cannot: {told}."
        return first if not waiting else f"{first} {said(found, taken, parents=parents, missed_us={})}"
    if not waiting:
        return "These settings launch the sites that were corrected as planned."
    told = "; ".join(f"{site} waits for {', '.join(sites)}" for site, sites in waiting.items())
    return (
        f"These settings do not yet launch all corrected sites as planned: {told}."
        " Only differences were measured: hold a site whose launch is sure, or take up the whole group."
    )
