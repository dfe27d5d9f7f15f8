"""Any list of signals, also a measured one, in any service: pasted, and answered as the command does."""

from dataclasses import dataclass, replace
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.errors import PlanError, Problem
from sfn.study.signals import Listed, listed
from sfn.systems.ofdm_window import MAP_STRATEGIES, MAP_STRATEGY, Placing
from sfn.systems.service import service, services
from sfn.systems.signal_list import read_others, read_signal_list
from webapp.config.addresses import Room
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, NetworkDep, Opened, UploadsDep
from webapp.shell.render import page
from webapp.work.measurements import number_of, text_of

router = Room("signals")


@dataclass(frozen=True, slots=True)
class SignalsTyped:
    """The form as it was typed."""

    table: str = ""
    service: str = ""
    frequency_mhz: str = ""
    threshold_db: str = ""
    others: str = ""
    direct: bool = False
    strategy: str = MAP_STRATEGY
    backoff_us: str = ""


@dataclass(frozen=True, slots=True)
class SignalsPage(Context):
    """What a receiver makes of a pasted list of signals."""

    TEMPLATE: ClassVar[str] = "coverage/signals.html"
    TAB: ClassVar[str] = "signals"
    network: NetworkHead
    """Which network, in which revision."""
    typed: SignalsTyped
    """The form as it was typed."""
    services: tuple[str, ...]
    """Ids on offer, to choose from."""
    strategies: tuple[str, ...]
    """Window strategies on offer."""
    made: Listed | None
    """The answer, names, what other services ask for, and the picture."""
    problems: tuple[Problem, ...]
    """What is wrong with the list or the form."""


@router.get("/networks/{network_id}/signals")
def show(request: Request, opened: NetworkDep) -> Response:
    """The empty form, with the network's own service and frequency."""
    network = opened.network
    typed = SignalsTyped(service=network.service, frequency_mhz=f"{network.frequency_mhz:g}")
    return page(request, _page(opened, typed))


@router.post("/networks/{network_id}/signals")
def answer(request: Request, opened: NetworkDep, form: FormDep, files: UploadsDep) -> Response:
    """The list answered; a file, when one was chosen, stands for the pasted text."""
    typed = SignalsTyped(
        form.get("table", ""),
        form.get("service", "").strip(),
        form.get("frequency_mhz", ""),
        form.get("threshold_db", ""),
        form.get("others", ""),
        bool(form.get("direct")),
        form.get("strategy", "").strip() or MAP_STRATEGY,
        form.get("backoff_us", ""),
    )
    try:
        for file in files.get("file", ()):
            typed = replace(typed, table=text_of(file))
        return page(request, _page(opened, typed, made=_answered(opened, typed, form)))
    except PlanError as error:
        return page(request, _page(opened, typed, problems=error.problems), status=422)


def _answered(opened: Opened, typed: SignalsTyped, form: dict[str, str]) -> Listed:
    """The answer to what was typed."""
    network = opened.network
    carried = service(typed.service or network.service, own_services=network.own_services)
    usual_mhz = network.frequency_mhz
    frequency = number_of(form, "frequency_mhz", usual=usual_mhz, least=0.1, greatest=6000.0, unit="MHz")
    threshold = _given(form, "threshold_db", greatest=200.0, unit="dB")
    backoff = _given(form, "backoff_us", greatest=100_000.0, unit="us")
    signals = read_signal_list(typed.table)
    others = read_others(typed.others, source="other services") if typed.others.strip() else None
    try:
        return listed(
            signals,
            network,
            carried,
            placing=Placing(typed.strategy, backoff, threshold),
            frequency_mhz=frequency,
            direct=typed.direct and carried.kind == "fm",
            others=others,
        )
    except ValueError as error:
        raise PlanError(
            [Problem("table", str(error), "figures in that range", code="signals-out-of-range", fields=("table",))]
        ) from error


def _given(form: dict[str, str], name: str, *, greatest: float, unit: str) -> float | None:
    """A figure as typed; None where the strategy's own is meant."""
    if not form.get(name, "").strip():
        return None
    return number_of(form, name, usual=0.0, least=0.0, greatest=greatest, unit=unit)


def _page(
    opened: Opened, typed: SignalsTyped, *, made: Listed | None = None, problems: tuple[Problem, ...] = ()
) -> SignalsPage:
    """The page with whatever is there to show."""
    return SignalsPage(
        network=opened.head,
        typed=typed,
        services=tuple(one.id for one in services()),
        strategies=MAP_STRATEGIES,
        made=made,
        problems=problems,
    )
