"""As JSON: the answer of ``reconcile``: launch errors from measurements, and what explains them."""

from typing import Any

from sfn.plan.left_out import left_out_document
from sfn.report.vector import collection, point_feature
from sfn.study.reconciled import Reconciled
from sfn.survey.cause import Guess
from sfn.survey.launch_errors import Residual, SiteError
from sfn.units import finite_or_none

RESIDUAL_SIGN = "left_over_us: measured minus adjusted; residual_us, w_ratio: adjusted minus measured"


def document(answer: Reconciled) -> dict[str, Any]:
    """The JSON document of ``reconcile --json``."""
    found = answer.found
    low, high = found.chi_square_limits
    return {
        "network": answer.network.name,
        "left_out_sites": left_out_document(answer.network.left_out),
        "measurements_n": len(found.residuals),
        "held": list(answer.held),
        "sites": [_site(s, answer.guesses[s.site]) for s in found.sites],
        "groups": [list(group) for group in found.groups],
        "rank": found.rank,
        "freedom": found.freedom,
        "chi_square": found.chi_square_ratio,
        "chi_square_low": finite_or_none(low),
        "chi_square_high": finite_or_none(high),
        "scale_ratio": finite_or_none(found.scale_ratio),
        "growth_ratio": found.growth_ratio,
        "residual_sign": RESIDUAL_SIGN,
        "residuals": [_residual(row) for row in found.residuals],
        "suspects": [k for k, row in enumerate(found.residuals) if row.verdict == "suspect"],
        "uncheckable": [k for k, row in enumerate(found.residuals) if row.verdict == "uncheckable"],
        "left_out": list(answer.left_out),
        "problems": [p.as_json() for p in answer.problems],
    }


def residual_places(answer: Reconciled) -> dict[str, Any]:
    """Every measurement where it was taken, as GeoJSON on WGS84; properties as the residuals of the JSON document.

    Each says in `residual_sign` which of its two keys has which sign.
    """
    names = {site.id: site.name for site in answer.network.sites}
    features = []
    for number, row in enumerate(answer.found.residuals, start=1):
        m, told = row.measurement, _residual(row)
        label = f"{number}. {names[m.site]} - {names[m.reference_site]}: {row.verdict}"
        lat, lon = told.pop("lat"), told.pop("lon")
        told["residual_sign"] = RESIDUAL_SIGN
        # Nested values have no place in KML's extended data.
        told["alike"] = ", ".join(str(k + 1) for k in row.alike)
        features.append(point_feature(lon, lat, {"label": label, **told}))
    return collection(features)


def _site(site: SiteError, guess: Guess) -> dict[str, Any]:
    """One site."""
    return {
        "site": site.site,
        "launch_error_us": site.launch_error_us,
        "correction_us": site.correction_us,
        "uncertainty_us": site.uncertainty_us,
        "claimed_uncertainty_us": site.claimed_uncertainty_us,
        "group": site.group,
        "held": site.held,
        "observations_n": site.observations_n,
        "causes": [
            {"what": c.what, "expected_us": c.expected_us, "left_us": c.left_us, "chance_ratio": c.chance_ratio}
            for c in guess.causes
        ],
        "causes_by_chance_n": guess.by_chance_n,
    }


def _residual(row: Residual) -> dict[str, Any]:
    """One measurement and what became of it."""
    m = row.measurement
    return {
        "when": m.when,
        "point": m.point,
        "lat": m.lat_deg,
        "lon": m.lon_deg,
        "site": m.site,
        "reference_site": m.reference_site,
        "delay_difference_us": m.delay_difference_us,
        "uncertainty_us": m.uncertainty_us,
        "reference_plane": m.reference_plane,
        "by": m.by,
        "response": m.response,
        "shared_uncertainty_us": finite_or_none(m.shared_uncertainty_us),
        **({"doubt": m.doubt} if m.doubt else {}),
        "predicted_us": row.predicted_us,
        "misclosure_us": row.misclosure_us,
        "residual_us": row.residual_us,
        "left_over_us": row.left_over_us,
        "redundancy_ratio": row.redundancy_ratio,
        "w_ratio": row.w_ratio,
        "least_detectable_us": row.least_detectable_us,
        "weight_factor": row.weight_factor,
        "verdict": row.verdict,
        "alike": list(row.alike),
    }
