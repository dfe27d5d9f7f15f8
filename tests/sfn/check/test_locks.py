"""Lock sheets that contradict each other withhold; one that is missing beside others wants a sign-off."""

from typing import Any

import pytest

from sfn.check.everything import all_problems
from sfn.check.locks import polarity
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
    "changes",
    [
        {"pre_emphasis_us": 75},
        {"deviation_khz": 73.0},
        {"pilot_phase_deg": 10.0},
        {"composite_polarity": "negative"},
        {"composite_polarity": "positive voltage lowers the frequency"},
        {"composite_polarity": "inverted"},
    ],
    ids=str,
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


@pytest.mark.parametrize("changes", [{"carrier_reference": None}, {"composite_polarity": "as the studio"}], ids=str)
def test_what_is_not_proven_wants_a_sign_off(changes: dict[str, Any]) -> None:
    """A missing line, or another word for the polarity."""
    assert states(locked(**changes))["south"] == "sign-off"


def test_a_network_without_lock_sheets_says_so_once() -> None:
    """Nobody proved lock: one remark for all sites."""
    found = [p for p in all_problems(example()) if p.code.startswith("lock-")]

    assert [("lock-not-stated", ("north", "south", "gap"))] == [(p.code, p.sites) for p in found]
    assert states(example()) == dict.fromkeys(("north", "south", "gap"), "sign-off")


@pytest.mark.parametrize(
    ("words", "turn"),
    [
        ("positive voltage raises the frequency", 1),
        ("Positive", 1),
        ("+", 1),
        ("normal", 1),
        ("non-inverted", 1),
        ("negative voltage lowers the frequency", 1),
        ("positive voltage raises the frequency, checked", 1),
        ("positive voltage lowers the frequency", -1),
        ("negative voltage raises the frequency", -1),
        ("NEGATIVE", -1),
        ("inverted", -1),
        ("positive on main, inverted on the spare", 0),
        ("negative voltage, lowers the frequency", 0),
        ("as the studio has it", 0),
        ("not checked", 0),
    ],
)
def test_a_polarity_is_read_where_its_words_say_it(words: str, turn: int) -> None:
    """Two negatives make a positive; what says two things says nothing."""
    assert turn == polarity(words)


def test_another_wording_of_the_same_polarity_is_a_doubt_only() -> None:
    """Both raise the frequency, or nobody can tell: somebody signs, nothing is withheld."""
    for words in ("positive voltage raises the frequency", "as the studio"):
        assert states(locked(composite_polarity=words))["south"] == "sign-off"
