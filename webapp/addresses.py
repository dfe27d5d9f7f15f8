"""Every URL of the application, built here and nowhere else; templates call these as ``to.NAME(...)``."""

from urllib.parse import quote, urlencode

from webapp.change_addresses import (
    change as change,
    change_approve as change_approve,
    change_back as change_back,
    change_begin as change_begin,
    change_end as change_end,
    change_levels as change_levels,
    change_live as change_live,
    change_step as change_step,
)
from webapp.map_addresses import (
    contours as contours,
    hear as hear,
    heard as heard,
    keep_offsets as keep_offsets,
    layer_file as layer_file,
    layer_lines as layer_lines,
    licence as licence,
    map_files as map_files,
    map_layer as map_layer,
    map_legend as map_legend,
    map_levels as map_levels,
    map_part as map_part,
    others as others,
    others_upload as others_upload,
    people as people,
    people_upload as people_upload,
    point as point,
    point_direct as point_direct,
    point_part as point_part,
    wavefronts as wavefronts,
    zones as zones,
)
from webapp.offset_addresses import (
    accept_offsets as accept_offsets,
    find_offsets as find_offsets,
    offset_weights as offset_weights,
    offsets as offsets,
    offsets_part as offsets_part,
)
from webapp.road_addresses import (
    road as road,
    road_again as road_again,
    road_file as road_file,
    road_upload as road_upload,
)
from webapp.sheet_addresses import (
    change_pdf as change_pdf,
    head_end as head_end,
    head_end_pdf as head_end_pdf,
    packet as packet,
    packet_pdf as packet_pdf,
    sheet as sheet,
    sheet_pdf as sheet_pdf,
    sheet_qr as sheet_qr,
    sheet_sign as sheet_sign,
    sheets as sheets,
    sheets_issue as sheets_issue,
)
from webapp.survey_addresses import (
    SITE_LINKS as SITE_LINKS,
    ages as ages,
    drive_levels as drive_levels,
    drive_runs as drive_runs,
    drive_shifts as drive_shifts,
    drives as drives,
    drives_json as drives_json,
    echoes as echoes,
    iq_arrivals as iq_arrivals,
    iq_arrivals_json as iq_arrivals_json,
    iq_recordings as iq_recordings,
    keep_restarts as keep_restarts,
    keep_set_now as keep_set_now,
    measurement_rows as measurement_rows,
    measurements as measurements,
    measurements_keep as measurements_keep,
    measurements_template as measurements_template,
    planned_states as planned_states,
    reading_links as reading_links,
    readings as readings,
    recording as recording,
    recordings as recordings,
    residuals_file as residuals_file,
    site_history as site_history,
    site_history_file as site_history_file,
    site_reading as site_reading,
    site_state as site_state,
    site_worker as site_worker,
    sites_file as sites_file,
    sites_template as sites_template,
    tables as tables,
    tables_upload as tables_upload,
    timeline as timeline,
    timeline_json as timeline_json,
    withdraw_link as withdraw_link,
)
from webapp.user_addresses import (
    PROVIDER as PROVIDER,
    PROVIDER_BACK as PROVIDER_BACK,
    account as account,
    ask_provider as ask_provider,
    change_password as change_password,
    change_user as change_user,
    make_token as make_token,
    record as record,
    record_lines as record_lines,
    revoke_any_token as revoke_any_token,
    revoke_token as revoke_token,
    sign_out_everywhere as sign_out_everywhere,
    users as users,
)

STATIC = "/static"
HOME = "/"
LOG_IN = "/log-in"
LOG_OUT = "/log-out"
DELETED = "/deleted"
ABOUT_API = "/api"
OPENAPI = "/api/openapi.json"


def static(name: str) -> str:
    """A file of ours: style sheet, script, picture."""
    return f"{STATIC}/{name}"


def leaflet(name: str) -> str:
    """A file of Leaflet's."""
    return f"{STATIC}/leaflet/{name}"


def home() -> str:
    """The first screen: the list of networks."""
    return HOME


def log_in(after: str = HOME) -> str:
    """Where the password is asked for; `after` is where one wanted to go."""
    return LOG_IN if after == HOME else f"{LOG_IN}?{urlencode({'after': after})}"


def log_out() -> str:
    """Ends the session."""
    return LOG_OUT


def deleted() -> str:
    """Deleted networks, each with its undo."""
    return DELETED


def trust() -> str:
    """Every check against a published value."""
    return "/trust"


def about_api() -> str:
    """What scripts may call."""
    return ABOUT_API


def openapi() -> str:
    """The same for programs, as OpenAPI."""
    return OPENAPI


def new_network() -> str:
    """Makes an empty network."""
    return "/networks/new"


def import_network() -> str:
    """Takes a document as a file."""
    return "/networks/import"


def load_demo(name: str) -> str:
    """Makes a network from a demo."""
    return f"/networks/demo/{quote(name, safe='')}"


def network(network_id: int) -> str:
    """Sites and chains of one network."""
    return f"/networks/{network_id}"


def document(network_id: int) -> str:
    """The document as JSON, to edit."""
    return f"/networks/{network_id}/document"


def site(network_id: int, site_id: str) -> str:
    """One site's fields."""
    return f"/networks/{network_id}/sites/{quote(site_id, safe='')}"


def antenna(network_id: int, site_id: str) -> str:
    """One site's antenna: patterns, direction, tilts."""
    return f"{site(network_id, site_id)}/antenna"


def antenna_picture(network_id: int, site_id: str, plane: str = "h") -> str:
    """The antenna's patterns as they hang, as SVG."""
    return f"{site(network_id, site_id)}/antenna.svg?plane={plane}"


def terrain(network_id: int) -> str:
    """The network's terrain, and ground heights beside it."""
    return f"/networks/{network_id}/terrain"


def coast_upload(network_id: int) -> str:
    """Makes zones of sea, coast and inland."""
    return f"/networks/{network_id}/coast/upload"


def terrain_upload(network_id: int) -> str:
    """Takes terrain files."""
    return f"/networks/{network_id}/terrain/upload"


def chain(network_id: int, site_id: str) -> str:
    """One site's chains and the stages on them."""
    return f"{site(network_id, site_id)}/chain"


def edit(network_id: int) -> str:
    """Takes every form that changes the document."""
    return f"/networks/{network_id}/edit"


def merge(network_id: int) -> str:
    """Puts two people's changes together."""
    return f"/networks/{network_id}/merge"


def export(network_id: int, revision: int | None = None) -> str:
    """The document as a file; of a given revision, or the newest."""
    return f"/networks/{network_id}/export.json" + ("" if revision is None else f"?revision={revision}")


def delete(network_id: int) -> str:
    """Deletes a network."""
    return f"/networks/{network_id}/delete"


def undelete(network_id: int) -> str:
    """Undoes the deletion."""
    return f"/networks/{network_id}/undelete"


def revisions(network_id: int) -> str:
    """The revisions of a network."""
    return f"/networks/{network_id}/revisions"


def comparison(network_id: int) -> str:
    """Takes two revisions to compare."""
    return f"/networks/{network_id}/compare"


def compare(network_id: int, old: int, new: int) -> str:
    """Two revisions, field by field."""
    return f"{comparison(network_id)}?{urlencode({'old': old, 'new': new})}"


def restore(network_id: int, revision: int) -> str:
    """Makes an old revision the newest."""
    return f"/networks/{network_id}/revisions/{revision}/restore"


def job(job_id: str) -> str:
    """How far a computation is; JSON for scripts that ask for it."""
    return f"/jobs/{quote(job_id, safe='')}"


def cancel_job(job_id: str) -> str:
    """Stops a computation."""
    return f"{job(job_id)}/cancel"


def delays(network_id: int) -> str:
    """The delay table."""
    return f"/networks/{network_id}/delays"


def delays_csv(network_id: int) -> str:
    """The delay table as CSV."""
    return f"/networks/{network_id}/delays.csv"


def delays_xlsx(network_id: int) -> str:
    """The delay table as a spreadsheet."""
    return f"/networks/{network_id}/delays.xlsx"


def path(network_id: int, site: str = "", at: str = "") -> str:
    """One path: profile, field strength and every intermediate."""
    query = urlencode({key: value for key, value in {"site": site, "at": at}.items() if value})
    return f"/networks/{network_id}/path" + (f"?{query}" if query else "")


def path_picture(network_id: int, **typed: str) -> str:
    """The profile of a path as SVG; `typed` as the path's form has it."""
    return f"/networks/{network_id}/path.svg?{urlencode({key: value for key, value in typed.items() if value})}"


def signals(network_id: int) -> str:
    """Any list of signals, also a measured one."""
    return f"/networks/{network_id}/signals"


def services() -> str:
    """Broadcast services, and a file of one's own."""
    return "/services"


def services_upload() -> str:
    """Takes a file of services."""
    return f"{services()}/upload"


def services_shipped() -> str:
    """The shipped file of services."""
    return f"{services()}/shipped.toml"


def links(network_id: int, typed: str = "") -> str:
    """The link plan; `typed` are its fields as one text."""
    return f"/networks/{network_id}/links" + (f"?{typed}" if typed else "")


def ask_advice(network_id: int) -> str:
    """Starts working out every protection."""
    return f"/networks/{network_id}/links/advice"


def link_advice(network_id: int, job_id: str) -> str:
    """The ranked protections of one computation."""
    return f"{ask_advice(network_id)}/{quote(job_id, safe='')}"


def keep_stream(network_id: int) -> str:
    """Puts a planned stream into a chain."""
    return f"/networks/{network_id}/links/keep"


def losses(network_id: int, typed: str = "") -> str:
    """What protections leave of given losses; `typed` are its fields as one text."""
    return f"/networks/{network_id}/losses" + (f"?{typed}" if typed else "")


def measure_losses(network_id: int) -> str:
    """Takes captures and logs."""
    return f"/networks/{network_id}/losses/upload"


def measured_losses(network_id: int, job_id: str) -> str:
    """What was measured, from one upload."""
    return f"/networks/{network_id}/losses/{quote(job_id, safe='')}"


def off_air(network_id: int) -> str:
    """Sites fed off air: isolation, gain margin, what they hear."""
    return f"/networks/{network_id}/off-air"


def clocks(network_id: int) -> str:
    """Holdover of the sites' clocks, and which failure leaves which sites in step."""
    return f"/networks/{network_id}/clocks"
