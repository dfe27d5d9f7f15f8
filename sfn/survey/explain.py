"""Reconciled launch errors explained: each site's error beside the slips that its plan makes possible."""

from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.survey.cause import Guess, causes, datum_amounts, known_amounts
from sfn.survey.launch_errors import Reconciliation
from sfn.timing import delay_table

# No national datum lies farther than a kilometre from WGS84.
_GREATEST_DATUM_US = 3.4


def site_guesses(network: Network, found: Reconciliation) -> dict[str, Guess]:
    """Causes that would explain each site's launch error, by site id; none for sites held or within their uncertainty.

    Raises
    ------
    PlanError
        If a position cannot be read.
    """
    placed = place(network)
    table = delay_table(network, placed=placed)
    guesses = {}
    for site in found.sites:
        guesses[site.site] = Guess((), 0.0)
        if site.held or site.launch_error_us is None or site.uncertainty_us is None:
            continue
        if abs(site.launch_error_us) <= 2 * site.uncertainty_us:
            continue
        seen = [
            r.measurement for r in found.residuals if site.site in (r.measurement.site, r.measurement.reference_site)
        ]
        known = known_amounts(network, table, site_id=site.site)
        if abs(site.launch_error_us) <= _GREATEST_DATUM_US:
            known += datum_amounts(
                placed[site.site].lat_deg,
                placed[site.site].lon_deg,
                at_lat_deg=[m.lat_deg for m in seen],
                at_lon_deg=[m.lon_deg for m in seen],
                refractivity_n=network.refractivity_n,
            )
        guesses[site.site] = causes(site.launch_error_us, uncertainty_us=site.uncertainty_us, known=known)
    return guesses
