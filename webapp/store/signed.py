"""What a sign-off was given for, as it stood then; a doubt that came up later was signed by nobody."""

import json
from collections.abc import Mapping
from typing import Any

from sfn.check.verdict import Reason, Verdict
from sfn.errors import Problem, Touch
from webapp.store.entries import Entry


def doubts_signed(verdict: Verdict) -> list[dict[str, Any]]:
    """Doubts to sign for, as a sign-off keeps them: sentence, and what tells each from others."""
    return [{"what": one.problem.what, "is": _mark(one)} for one in verdict.because("sign-off")]


def signed_for(signed: Entry, verdict: Verdict) -> tuple[str, ...]:
    """The doubts of a sign-off in the words in which they were signed.

    A sign-off of before they were kept has their codes only: what the sheet says of those today.
    """
    if "signed_for" in signed.body:
        return tuple(str(one["what"]) for one in signed.body["signed_for"])
    return tuple(one.problem.what for one in verdict.because("sign-off") if _covered(signed.body, one))


def doubts_held(signed: Entry, verdict: Verdict) -> tuple[Problem, ...]:
    """The same doubts as problems, with code and figures as they were signed; for whoever prints other words."""
    if "signed_for" not in signed.body:
        return tuple(one.problem for one in verdict.because("sign-off") if _covered(signed.body, one))
    return tuple(_problem(str(one["what"]), str(one["is"])) for one in signed.body["signed_for"])


def _problem(what: str, mark: str) -> Problem:
    """A doubt out of what a sign-off keeps of it."""
    code, _, touches, stages, fields, values = json.loads(mark)
    touched = tuple(Touch(site, route) for site, route in touches)
    return Problem(
        "", what, "", "warning", code=code, touches=touched, stages=tuple(stages), fields=tuple(fields), values=values
    )


def unsigned_since(signed: Entry, verdict: Verdict) -> tuple[Reason, ...]:
    """Doubts that wait for a signature and that the sign-off does not hold: they came up after it."""
    return tuple(one for one in verdict.because("sign-off") if not _covered(signed.body, one))


def _covered(body: Mapping[str, Any], reason: Reason) -> bool:
    """Whether a doubt is one of those signed for."""
    if "signed_for" in body:
        return _mark(reason) in [one["is"] for one in body["signed_for"]]
    return reason.code in body.get("doubts", (reason.code,))


def _mark(reason: Reason) -> str:
    """What a doubt is, of what, with which figures: never its sentence."""
    problem = reason.problem
    touches = [[one.site, one.route] for one in problem.touches]
    told = [reason.code, reason.whose, touches, list(problem.stages), list(problem.fields), dict(problem.values)]
    return json.dumps(told, sort_keys=True, ensure_ascii=False)
