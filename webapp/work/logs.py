"""Forms that take logs of levels: the files, and what a log leaves open."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import cast, get_args

from starlette.datastructures import UploadFile

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.study.calibrated import Calibrated, calibrated
from sfn.study.driven import DrivenRoutes, driven_routes
from sfn.survey.drive_log import DriveLog, log_of_bytes
from sfn.survey.log_about import About, Reading, about
from sfn.survey.log_fixes import fixes_of
from sfn.survey.log_places import ORDERS, Order
from sfn.survey.receiver_level import UNITS, LevelUnit, Receiver
from sfn.survey.runs import Run, run_of_bytes
from webapp.work.jobs import Progress, Work
from webapp.work.maps import Maps
from webapp.work.measurements import number_of, safe_name

RUNS = (1, 2, 3, 4, 5, 6)  # that a form takes
_LONGEST_N = 80


def reading_of(
    form: Mapping[str, str], files: Mapping[str, Sequence[UploadFile]], network: Network
) -> tuple[About, Reading]:
    """What a form says of its logs, and what a log of this network is of.

    Raises
    ------
    PlanError
        If a typed value, or the file of positions, cannot be used.
    """
    unit, order = form.get("level_unit", ""), form.get("coordinates", "ask") or "ask"
    for name, typed, known in (("level_unit", unit, ("", *UNITS)), ("coordinates", order, ORDERS)):
        if typed not in known:
            expected = f"one of {', '.join(filter(None, known))}"
            raise PlanError([Problem(name, f"is {typed[:40]!r}", expected, code="not-on-offer", fields=(name,))])
    receiver = Receiver(
        _maybe(form, "antenna_factor_db", least=-20.0, greatest=80.0, unit="dB/m"),
        _maybe(form, "antenna_gain_dbi", least=-40.0, greatest=30.0, unit="dBi"),
        number_of(form, "cable_loss_db", usual=0.0, least=-40.0, greatest=60.0, unit="dB"),
        number_of(form, "impedance_ohm", usual=50.0, least=10.0, greatest=600.0, unit="ohm"),
    )
    ahead_s = _maybe(form, "clock_ahead_s", least=-1e9, greatest=1e9, unit="s")
    channel = form.get("channel", "").strip()[:_LONGEST_N]
    how = Reading(cast(LevelUnit, unit) if unit in get_args(LevelUnit) else None, receiver, channel,
                  cast(Order, order), ahead_s)  # fmt: skip
    for chosen in files.get("positions", ()):
        source = safe_name(chosen.filename or "positions")
        how = replace(how, fixes=fixes_of(chosen.file.read(), source=source))
    return about(network), how


def chosen_logs(files: Sequence[UploadFile], *, of: About, how: Reading) -> list[DriveLog]:
    """Logs of levels out of files.

    Raises
    ------
    PlanError
        If no file was chosen, or one leaves something open or cannot be used.
    """
    if not files:
        raise PlanError(
            [Problem("logs", "no log was chosen", "a CSV, XLSX or GPX file", code="no-file-chosen", fields=("logs",))]
        )
    return [
        log_of_bytes(f.file.read(), source=safe_name(f.filename or "log"), sites=of.sites, of=of, how=how)
        for f in files
    ]


def chosen_runs(
    files: Mapping[str, Sequence[UploadFile]], form: Mapping[str, str], *, of: About, how: Reading
) -> list[Run]:
    """Runs out of the files ``run-1``, ``run-2``, ..., each with the setting typed beside it.

    Raises
    ------
    PlanError
        If fewer than two files were chosen, a setting is missing, or a file cannot be used.
    """
    found = []
    for number in RUNS:
        for file in files.get(f"run-{number}", ()):
            name, source = f"setting-{number}", safe_name(file.filename or "run")
            if not form.get(name, "").strip():
                what, expected = f"{source} has no setting", "its setting in us"
                raise PlanError([Problem(name, what, expected, code="setting-missing", fields=(name,))])
            setting_us = number_of(form, name, usual=0.0, least=-1e6, greatest=1e6, unit="us")
            found.append(run_of_bytes(file.file.read(), source=source, setting_us=setting_us, of=of, how=how))
    if len(found) < 2:
        what, expected = f"{len(found)} runs were chosen", "two or more of one route"
        raise PlanError([Problem("runs", what, expected, code="two-runs-needed", fields=("runs",))])
    return found


def levels_work(
    form: Mapping[str, str], files: Mapping[str, Sequence[UploadFile]], network: Network, maps: Maps
) -> Work:
    """The comparison of logs with the prediction as a job's work.

    Raises
    ------
    PlanError
        If a log leaves something open, or something cannot be used.
    """
    of, how = reading_of(form, files, network)
    read = chosen_logs(files.get("logs", []), of=of, how=how)
    sectors = int(number_of(form, "sectors", usual=8, least=1, greatest=72, unit="sectors"))
    stretch_m = number_of(form, "stretch_m", usual=100.0, least=1.0, greatest=10_000.0, unit="m")
    alone = form.get("alone") or None

    def work(progress: Progress) -> Calibrated:
        progress.tell("predicting levels along the road", done=0, total=0)
        ground = maps.ground(network)
        return calibrated(network, read, alone=alone, sectors_n=sectors, stretch_m=stretch_m, ground=ground)

    return work


def runs_work(form: Mapping[str, str], files: Mapping[str, Sequence[UploadFile]], network: Network, maps: Maps) -> Work:
    """Runs laid side by side as a job's work.

    Raises
    ------
    PlanError
        As `levels_work`.
    """
    stretch_m = number_of(form, "stretch_m", usual=100.0, least=10.0, greatest=10_000.0, unit="m")
    moved = form.get("moved") or None
    if moved is not None and moved not in {site.id for site in network.sites}:
        what, expected = f"there is no site {moved!r}", "a site of the network, or none"
        raise PlanError(
            [Problem("moved", what, expected, code="unknown-site", fields=("moved",), values={"site": moved})]
        )
    of, how = reading_of(form, files, network)
    read = chosen_runs(files, form, of=of, how=how)

    def work(progress: Progress) -> DrivenRoutes:
        progress.tell("laying runs on the route", done=0, total=0)
        return driven_routes(network, read, moved=moved, stretch_m=stretch_m, ground=maps.ground(network))

    return work


def _maybe(form: Mapping[str, str], name: str, *, least: float, greatest: float, unit: str) -> float | None:
    """A typed number; None where the field is empty."""
    if not form.get(name, "").strip():
        return None
    return number_of(form, name, usual=0.0, least=least, greatest=greatest, unit=unit)
