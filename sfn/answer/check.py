"""What the check answers: every problem, and whether each site's sheet may go out."""

from typing import Any

from sfn.check.review import Review


def document(reviewed: Review) -> dict[str, Any]:
    """The answer as data.

    Parameters
    ----------
    reviewed : Review
        The one check of a network and what follows for every sheet.

    Returns
    -------
    dict
        `problems`, as errors for people carry them; `verdicts`, one a site and route: `site`, `route`, `verdict` (fit,
        sign-off, withheld) and `reasons`, the codes of what withholds the sheet or wants a sign-off;
        `reported_fields_n`: fields whose present value somebody reported. Reports are kept by the application, never
        in the document: 0 says that every present value, and every way back, is only what the document says.
    """
    reported = reviewed.network.reported
    return {
        "problems": [problem.as_json() for problem in reviewed.problems],
        "verdicts": [
            {"site": one.site, "route": one.route, "verdict": one.state, "reasons": list(one.codes)}
            for one in reviewed.verdicts.values()
        ],
        "reported_fields_n": 0 if reported is None else len(reported.reports),
    }
