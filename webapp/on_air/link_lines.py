"""Signed links to hand over, as pages and paper show them; none for a sheet that is not issued. Looking makes none."""

from collections.abc import Iterable

import segno

from sfn.plan import Site
from webapp.config.addresses import outside, to
from webapp.config.settings import Settings
from webapp.on_air.printing import LinkLine
from webapp.on_air.site_links import Packing, checked_days, given_link, kept_link, token_of
from webapp.shell.dependencies import Opened
from webapp.shell.render import when
from webapp.standing.release import Released
from webapp.store.links_kept import Links


def link_lines(
    opened: Opened,
    found: Released,
    links: Links,
    settings: Settings,
    *,
    base: str,
    sites: Iterable[Site],
    packing: Packing | None = None,
) -> tuple[LinkLine, ...]:
    """A line a site: its link, or why it has none.

    Parameters
    ----------
    opened : Opened
    found : Released
        Its sheets.
    links : Links
        Those that the office gave.
    settings : Settings
    base : str
        The address that telephones reach; empty where there is none.
    sites : iterable of Site
    packing : Packing, optional
        Draw a link that lasts as long as it says where there is none that does, to be given out with what shows it;
        without it nothing is made, only looked up. Only the work packet asks for it.

    Raises
    ------
    RefusedError
        If no link lasts so long.
    """
    if packing is not None:
        checked_days(packing.days)
    return tuple(_line(opened, found, links, settings, site, base=base, packing=packing) for site in sites)


def _line(
    opened: Opened, found: Released, links: Links, settings: Settings, site: Site, *, base: str, packing: Packing | None
) -> LinkLine:
    """One site's."""
    line = next((one for one in found.lines if one.sheet.site.id == site.id), None)
    if line is None:
        why = tuple(reason.problem.what for reason in found.reviewed.of(site.id).because("withheld"))
        return LinkLine(site.name, "", "", why, site_id=site.id)
    if not line.opens:
        why = tuple(problem.what for problem in line.sheet.problems) or (f"its sheet is not issued: {line.state}",)
        return LinkLine(site.name, "", "", why, site_id=site.id)
    revision = opened.head.revision.number
    if packing is None:
        given = given_link(links, network_id=opened.head.id, site_id=site.id, revision=revision)
    else:
        given = kept_link(links, network_id=opened.head.id, site_id=site.id, revision=revision, packing=packing)
    if given is None:
        return LinkLine(
            site.name, "", "", (f"none was made for revision {revision}",), to_make=site.id, site_id=site.id
        )
    if given.withdrawn_at is not None:
        why_not = f"its link of this revision was withdrawn on {when(given.withdrawn_at)}"
        return LinkLine(site.name, "", "", (why_not,), withdrawn=site.id, to_make=site.id, site_id=site.id)
    address = outside(base, to("site_reading.show", token_of(settings.session_key, given)))
    code = segno.make(address, error="m", micro=False).svg_data_uri(scale=4, border=2) if base else ""
    return LinkLine(site.name, address, code, site_id=site.id, ends_at=given.ends_at)
