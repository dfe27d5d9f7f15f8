"""Lock sheets that contradict each other withhold; one that is missing beside others wants a sign-off."""

from typing import Any

import pytest

from sfn.check.everything import all_problems
from sfn.check.review import review
from sfn.plan import Network
from tests.sfn.networks import example

GOOD = {"carrier_reference": "GPS", "deviation_khz": 75.0, "composite_polarity": "positive", "pre_emphasis_us": 50}


def locked(**changes: Any) -> Network:
    """The example with a lock sheet at each site, the south's changed."""

    def change(tree: dict[str, Any]) -> None:
        """Lock sheets for all."""
        for site in tree["sites"]:
            site["lock"] = dict(GOOD)
        tree["sites"][1]["lock"] |= changes

    return example(change)


def states(network: Network) -> dict[str, str]:
    """Verdicts by the lock problems alone."""
    found = tuple(p for p in all_problems(network) if p.code.startswith("lock-"))
    reviewed = review(network, problems=found)
    return {site.id: reviewed.of(site.id).state for site in network.sites}


def test_agreeing_lock_sheets_say_nothing() -> None:
    """Deviations within a percent agree."""
    assert not [p for p in all_problems(locked(deviation_khz=74.5)) if p.code.startswith("lock-")]


@pytest.mark.parametrize(
    "changes", [{"pre_emphasis_us": 75}, {"deviation_khz": 73.0}, {"pilot_phase_deg": 10.0}], ids=str
)
def test_signals_that_differ_withhold(changes: dict[str, Any]) -> None:
    """Pre-emphasis, deviation by more than a percent, the pilot by more than the tolerated 0.5 us (3.42 degrees)."""
    network = locked(**changes)
    if "pilot_phase_deg" in changes:
        sites = tuple(
            s.model_copy(update={"lock": s.lock.model_copy(update={"pilot_phase_deg": s.lock.pilot_phase_deg or 6.0})})
            for s in network.sites
            if s.lock is not None
        )
        network = network.model_copy(update={"sites": sites})

    assert states(network)["south"] == "withheld"


@pytest.mark.parametrize("changes", [{"carrier_reference": None}, {"composite_polarity": "negative"}], ids=str)
def test_what_is_not_proven_wants_a_sign_off(changes: dict[str, Any]) -> None:
    """A missing line, or another word for the polarity."""
    assert states(locked(**changes))["south"] == "sign-off"


def test_a_network_without_lock_sheets_says_so_once() -> None:
    """Nobody proved lock: one remark for all sites."""
    found = [p for p in all_problems(example()) if p.code.startswith("lock-")]

    assert [("lock-not-stated", ("north", "south", "gap"))] == [(p.code, p.sites) for p in found]
    assert states(example()) == dict.fromkeys(("north", "south", "gap"), "sign-off")
