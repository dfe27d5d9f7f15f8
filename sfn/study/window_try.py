"""Another way for OFDM receivers to place their window, tried on maps, at points and along roads."""

from dataclasses import dataclass

from sfn.errors import PlanError, Problem
from sfn.plan import Network, ReceiverWindow
from sfn.reception.ofdm_receivers import placing_of
from sfn.systems.of_network import service_of
from sfn.systems.ofdm_window import MAP_STRATEGIES, Placing


@dataclass(frozen=True, slots=True)
class WindowTry:
    """What is tried: a strategy, its back-off, the threshold of "first"; None or empty: as planned. [us, dB]"""

    strategy: str = ""
    backoff_us: float | None = None
    threshold_db: float | None = None

    def __bool__(self) -> bool:
        """Whether anything is tried."""
        return self != WindowTry()


def placed_now(network: Network) -> Placing | None:
    """How the network's receivers place their window; None where the service has none.

    Raises
    ------
    PlanError
        As `sfn.reception.ofdm_receivers.placing_of`.
    """
    carried = service_of(network)
    return placing_of(network, carried) if carried.kind == "ofdm" else None


def with_window(network: Network, what: WindowTry) -> tuple[Network, tuple[str, ...]]:
    """The network with the window tried, and that in words; nothing in words where it is as planned.

    Raises
    ------
    PlanError
        If the strategy is none of a map's, the service has no window, or a figure is out of its range.
    """
    if not what:
        return network, ()
    before = placed_now(network)
    if before is None:
        raise PlanError(
            [
                Problem(
                    "strategy",
                    f"{network.service} has no FFT window to place",
                    "an OFDM service, or no strategy, back-off and threshold",
                    code="option-without-effect",
                    fields=("strategy", "backoff_us", "threshold_db"),
                )
            ]
        )
    strategy = what.strategy or before.strategy
    if unknown := unknown_strategy(strategy):
        raise PlanError(unknown)
    given = network.receiver.window
    kept = given if given is not None and given.strategy == strategy else ReceiverWindow()
    backoff_us = kept.backoff_us if what.backoff_us is None else what.backoff_us
    threshold_db = kept.threshold_db if what.threshold_db is None else what.threshold_db
    problems = [*_out_of_range(what), *([] if what.threshold_db is None else _idle(strategy))]
    if problems:
        raise PlanError(problems)
    window = ReceiverWindow.model_validate(
        {"strategy": strategy, "backoff_us": backoff_us, "threshold_db": threshold_db}
    )
    made = network.model_copy(update={"receiver": network.receiver.model_copy(update={"window": window})})
    now = placed_now(made)
    if now is None or now == before:
        return network, ()
    return made, (f"receivers place their window by {now.says} instead of {before.says}",)


def unknown_strategy(strategy: str) -> list[Problem]:
    """That a strategy is none of a map's; nothing where it is one, or empty."""
    if not strategy or strategy in MAP_STRATEGIES:
        return []
    return [
        Problem(
            "strategy",
            f"cannot be {strategy!r}",
            f"one of {', '.join(MAP_STRATEGIES)}; best is a bound that no receiver reaches, never a map's",
            code="unknown-strategy",
            fields=("strategy",),
            values={"strategy": strategy},
        )
    ]


def _out_of_range(what: WindowTry) -> list[Problem]:
    """Figures that no window has, each under its own name."""
    return [
        Problem(
            name,
            f"a {words} of {value:g} {unit} cannot be",
            expected,
            code="out-of-range",
            fields=(name,),
            values={name: value},
        )
        for name, words, value, unit, most, expected in (
            ("backoff_us", "back-off", what.backoff_us, "us", 100_000.0, "0 us to the guard interval"),
            ("threshold_db", "threshold", what.threshold_db, "dB", 60.0, "0 to 60 dB"),
        )
        if value is not None and not 0.0 <= value <= most
    ]


def _idle(strategy: str) -> list[Problem]:
    """A threshold where the strategy has none."""
    if strategy == "first":
        return []
    return [
        Problem(
            "threshold_db",
            f'does nothing for {strategy}: only "first" has a threshold',
            '"first" beside it, or no threshold',
            code="option-idle",
            fields=("threshold_db",),
            values={"strategy": strategy},
        )
    ]
