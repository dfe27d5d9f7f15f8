"""Every URL about what is read, measured and kept at sites; `webapp.addresses` has them with all others."""

from urllib.parse import quote, urlencode

SITE_LINKS = "/site/"


def site_reading(token: str) -> str:
    """One site's sheet for the holder of a signed link, and what is read there."""
    return f"{SITE_LINKS}{quote(token, safe='')}"


def site_worker(address: str) -> str:
    """The script that keeps a technician's page for when there is no connection; `address` is that of the page."""
    return f"{address}/worker.js"


def site_state(address: str) -> str:
    """Whether a technician's page still holds, as data."""
    return f"{address}/state"


def readings(network_id: int) -> str:
    """State of every site: planned, set, measured, disagrees."""
    return f"/networks/{network_id}/readings"


def reading_links(network_id: int) -> str:
    """Makes signed links for technicians."""
    return f"{readings(network_id)}/links"


def withdraw_link(network_id: int, link_id: str) -> str:
    """Withdraws a technician's link."""
    return f"{reading_links(network_id)}/{quote(link_id, safe='')}/withdraw"


def keep_set_now(network_id: int) -> str:
    """Takes what was read as set for what is set now."""
    return f"{readings(network_id)}/set-now"


def keep_restarts(network_id: int) -> str:
    """Takes the scatter after restarts as the tolerance of a stage."""
    return f"{readings(network_id)}/restarts"


def ages(network_id: int) -> str:
    """How old and how sure every site's number is."""
    return f"/networks/{network_id}/ages"


def site_history(network_id: int, site_id: str) -> str:
    """One site's settings and readings over time."""
    return f"{ages(network_id)}/{quote(site_id, safe='')}"


def site_history_file(network_id: int, site_id: str, form: str, *, narrow: bool = False) -> str:
    """The same as a chart, for a telephone where it is to be narrow, or as a table."""
    return f"{site_history(network_id, site_id)}/history.{form}" + ("?narrow=true" if narrow else "")


def timeline(network_id: int, site_id: str = "", entry: str = "") -> str:
    """What happened to every site, or to one, in the order in which it held; at one entry where it is named."""
    query = f"?{urlencode({'site': site_id})}" if site_id else ""
    return f"/networks/{network_id}/timeline{query}" + (f"#{quote(entry, safe='')}" if entry else "")


def planned_states(network_id: int) -> str:
    """Puts a planned state into the plan, or takes one out."""
    return f"/networks/{network_id}/states"


def timeline_json(network_id: int, site_id: str = "") -> str:
    """The same for scripts."""
    return f"/api/networks/{network_id}/timeline" + (f"?{urlencode({'site': site_id})}" if site_id else "")


def tables(network_id: int) -> str:
    """Sites in and out as a table."""
    return f"/networks/{network_id}/tables"


def tables_upload(network_id: int) -> str:
    """Takes a table of sites, to be looked at."""
    return f"{tables(network_id)}/upload"


def sites_file(network_id: int, form: str) -> str:
    """Every site as a file."""
    return f"/networks/{network_id}/sites.{form}"


def sites_template() -> str:
    """A table of sites to be filled in."""
    return "/tables/sites-template.csv"


def measurements(network_id: int) -> str:
    """Measurements taken on air."""
    return f"/networks/{network_id}/measurements"


def measurements_template(network_id: int) -> str:
    """A table of measurements to be filled in."""
    return f"{measurements(network_id)}-template.csv"


def residuals_file(network_id: int, form: str) -> str:
    """Every measurement where it was taken, with what is left over, as a file."""
    return f"{measurements(network_id)}/residuals.{form}"


def measurement_rows(network_id: int) -> str:
    """Keeps measurements as records, excludes some of them, restores them."""
    return f"{measurements(network_id)}/rows"


def measurements_keep(network_id: int) -> str:
    """Saves the plan with launch errors taken up."""
    return f"{measurements(network_id)}/keep"


def echoes(network_id: int) -> str:
    """Takes an impulse response."""
    return f"{measurements(network_id)}/echoes"


def recordings(network_id: int) -> str:
    """Takes recordings."""
    return f"{measurements(network_id)}/recordings/upload"


def recording(network_id: int, job_id: str) -> str:
    """The delay of recordings."""
    return f"{measurements(network_id)}/recordings/{quote(job_id, safe='')}"


def iq_recordings(network_id: int) -> str:
    """Takes a recording of I and Q in which several sites arrive."""
    return f"{measurements(network_id)}/arrivals/upload"


def iq_arrivals(network_id: int, job_id: str) -> str:
    """Every arrival in a recording of I and Q."""
    return f"{measurements(network_id)}/arrivals/{quote(job_id, safe='')}"


def iq_arrivals_json(network_id: int, job_id: str) -> str:
    """The same for scripts."""
    return f"/api/networks/{network_id}/arrivals/{quote(job_id, safe='')}"


def drives(network_id: int, job_id: str = "") -> str:
    """Levels and runs logged on the road; with what a job made of them."""
    return f"/networks/{network_id}/drives" + (f"?{urlencode({'job': job_id})}" if job_id else "")


def drives_json(network_id: int, job_id: str) -> str:
    """The same for scripts."""
    return f"/api/networks/{network_id}/drives/{quote(job_id, safe='')}"


def drive_levels(network_id: int) -> str:
    """Takes logs of levels."""
    return f"{drives(network_id)}/levels/upload"


def drive_shifts(network_id: int) -> str:
    """Accepts and withdraws corrections of levels."""
    return f"{drives(network_id)}/shifts"


def drive_runs(network_id: int) -> str:
    """Takes runs of one route."""
    return f"{drives(network_id)}/runs/upload"
