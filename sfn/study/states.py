"""The planned states of a network, in words and as data."""

from sfn.plan import Network
from sfn.plan.planned import PlannedChange, PlannedState
from sfn.report.numbers import number, us


def state_says(network: Network) -> tuple[str, ...]:
    """What planned state a network is in, a sentence for everything that shows it; empty where it stands as today."""
    state = network.state
    if state is None:
        return ()
    until = f" until {state.until}" if state.until else ""
    kept = "" if state.common_delay_us is not None else "; the common delay stays today's"
    said = "; ".join(changes_say(network, state))
    return (f"planned state {state.name}, from {state.date}{until}: {said}{kept}",)


def changes_say(network: Network, state: PlannedState) -> tuple[str, ...]:
    """What is otherwise in a state, site by site."""
    names = {site.id: site.name for site in network.today.sites}
    lines = tuple(f"{names.get(one.site, one.site)} {', '.join(_parts(one))}" for one in state.changes)
    if state.common_delay_us is None:
        return lines
    return (*lines, f"common delay {us(state.common_delay_us, 4)}")


def _parts(change: PlannedChange) -> list[str]:
    """What is otherwise at one site."""
    parts = []
    if change.on_air is not None:
        parts.append("on air" if change.on_air else "not transmitting")
    if change.power_db is not None:
        parts.append(f"power {number(change.power_db, 1, signed=True)} dB")
    if change.offset_us is not None:
        parts.append(f"offset {us(change.offset_us, 2, signed=True)}")
    if change.route is not None:
        parts.append(f"on its {change.route} route")
    return parts
