"""Which doubt does what to a sheet: the one table. The trust page prints it.

A doubt is a `Problem` with a code. A code that does not stand here goes by its severity: an error withholds, a
warning is a remark, so that a new check can never let a sheet out by being forgotten here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from sfn.errors import Problem

Consequence = Literal["withheld", "sign-off", "remark"]

# Below this a doubtful position is worth less than anybody measures (30 m of travel).
SMALL_POSITION_US = 0.1


@dataclass(frozen=True, slots=True)
class Doubt:
    """What one kind of doubt does, and why, in words."""

    consequence: Consequence | Literal["by its size", "by severity"]
    why: str


_W: Consequence = "withheld"
_S: Consequence = "sign-off"
_R: Consequence = "remark"
DOUBTS: Mapping[str, Doubt] = {
    # what no setting can bring right
    "setting-unreachable": Doubt(_W, "the device cannot make the delay that is needed"),
    "rounding-above-tolerated": Doubt(_W, "what whole steps leave is more than the tolerated error"),
    "buffer-underrun": Doubt(_W, "the buffer of a time-stamped section runs empty on its worst path"),
    "delay-adapts": Doubt(_W, "the delay wanders, so no setting holds"),
    "stamp-meaning-unknown": Doubt(_W, "nobody knows which stages a time stamp covers"),
    "stamp-plane-unnamed": Doubt(_W, "nobody knows at which plane a time stamp is the instant of emission"),
    "stamp-meaning-not-stated": Doubt(_R, "only the section says up to where its stamps hold"),
    "stamp-meaning-alike": Doubt(_R, "nobody said what time stamps mean, but it moves all sites alike"),
    "stamp-plane-not-in-chain": Doubt(_W, "the chain does not pass the plane at which its time stamp holds"),
    "stamp-plane-no-stage": Doubt(_W, "the plane at which time stamps hold does not exist"),
    "stamp-plane-contradicts": Doubt("by its size", "a section and the time stamps hold at different planes"),
    "stamp-wrap": Doubt(_W, "time stamps repeat before the release"),
    "waveform-differs": Doubt(_W, "where the signals differ, no delay brings them together"),
    "lock-differs": Doubt(_W, "pre-emphasis, polarity or deviation differ, so the signals do"),
    "relay-oscillates": Doubt(_W, "a relay that hears itself oscillates"),
    "relay-echo-beyond-window": Doubt(_W, "the echo canceller of a relay does not reach its echo"),
    "relay-processing-long": Doubt("by severity", "a relay takes longer than the guard interval"),
    "relay-figure-impossible": Doubt(_W, "a figure of a relay that cannot be"),
    "relay-wrong-parent": Doubt(_W, "another site is received stronger than the parent, and its launch is followed"),
    "relay-parent-not-heard": Doubt(_W, "the parent is not received where it must be"),
    "relay-below-least": Doubt(_W, "a relay cannot launch before its parent's signal is there and processed"),
    "stage-two-latencies": Doubt(_W, "one shared device has two latencies: every site behind it is in doubt"),
    "stage-counted-twice": Doubt(_W, "a latency is counted twice"),
    "modulator-counted-twice": Doubt(_W, "a latency is counted twice"),
    "modulators-in-series": Doubt(_W, "a latency is counted twice"),
    "stage-after-feeder": Doubt(_W, "the order of the chain cannot be what stands there"),
    "stream-plan-unreadable": Doubt(_W, "a latency that is said to be computed cannot be worked out"),
    "stream-plan-stale": Doubt(_W, "a latency that is said to be computed is not what its plan gives"),
    "device-sign-unknown": Doubt(_W, "a setting could move the launch the wrong way; the site counts as moving"),
    "device-unit-unknown": Doubt(_W, "a number without a known unit is no setting"),
    "device-step-unknown": Doubt(_W, "a number without a known step is no setting"),
    "present-value-unknown": Doubt(_W, "without the value to roll back to nothing is changed: read it first"),
    "position-unreadable": Doubt(_W, "nobody knows where the site stands"),
    "position-nowhere": Doubt(_W, "nobody knows where the site stands"),
    "position-no-transformation": Doubt(_W, "nobody knows where the site stands"),
    "position-other-grid": Doubt(_W, "nobody knows where the site stands"),
    "crs-unknown": Doubt(_W, "nobody knows where the site stands"),
    "crs-unusable": Doubt(_W, "nobody knows where the site stands"),
    "path-too-long": Doubt(_W, "a relay cannot hear its parent over such a path"),
    "parent-missing": Doubt(_W, "what feeds the relay cannot be worked out"),
    "unit-unknown": Doubt(_W, "a number without a known unit is no setting"),
    "field-without-steps": Doubt(_W, "the field cannot be set at all"),
    "service-unknown": Doubt(_W, "every tolerance is that of the service"),
    "time-scale-differs": Doubt(_W, "time stamps are whole seconds off"),
    "cable-uncompensated": Doubt("by severity", "the antenna cable of a timing receiver moves the launch"),
    "parent-withheld": Doubt(_W, "a relay stands and falls with what feeds it"),
    "slowest-withheld": Doubt(_W, "all wait for the slowest site, and its latency is in doubt"),
    "release-withheld": Doubt(_W, "moving half a network is worse than moving none"),
    # doubts about a position weigh by what they are worth
    "position-coarse": Doubt("by its size", "few digits"),
    "position-outside-area": Doubt("by its size", "outside the area of its reference system"),
    "position-zero": Doubt(_W, "0, 0 is what an empty form gives"),
    "position-kilometre-square": Doubt("by its size", "a grid reference of whole kilometres"),
    "position-datum": Doubt("by its size", "datums may be mixed"),
    "position-feet": Doubt("by its size", "feet or metres"),
    "position-hemisphere": Doubt("by its size", "a missing sign or letter"),
    "position-datum-differs": Doubt("by its size", "datums may be mixed"),
    "position-slip": Doubt("by its size", "a slip of the pen would explain where it stands"),
    "position-mistyped": Doubt(_S, "so far from all other sites that the position is likely mistyped"),
    "position-shared": Doubt(_S, "two sites at one position that are not said to share a mast: one may be a copy"),
    "position-axis-order": Doubt("by its size", "easting and northing may be exchanged"),
    # somebody must answer for it by name
    "assumed-above-tolerated": Doubt(_S, "more than the tolerated error is assumed: set, measure, correct"),
    "assumed-without-tolerance": Doubt(_S, "nobody is certain of an assumed figure: how wrong may it be"),
    "tolerance-above-tolerated": Doubt(_S, "the uncertainty of known figures is above the tolerated error: measure it"),
    "standby-faulty": Doubt(_S, "main is sound, a standby is not: inhibit the change-over"),
    "lock-unproven": Doubt(_S, "carrier, pilot and deviation are not known to agree; other sites state theirs"),
    "relay-isolation-estimated": Doubt(_S, "nobody measured how far the relay is from oscillation"),
    "relay-figures-missing": Doubt(_S, "nobody can tell how far the relay is from oscillation"),
    "relay-low-margin": Doubt(_S, "the relay is not far from oscillation"),
    "stamp-plane-not-covered": Doubt(_S, "the buffer may run empty: stages before the plane take time too"),
    "buffer-not-proven": Doubt(_S, "a figure that the buffer's cover rests on is not stated, and 0 was taken"),
    "relay-parent-weak": Doubt(_S, "another site may be followed instead of the parent"),
    "figure-outdated": Doubt(_S, "firmware, mode or filter changed since the measurement"),
    "jump-beyond-tolerance": Doubt(_S, "a change-over moves the launch beyond tolerance"),
    "frequency-outside-band": Doubt(_S, "the frequency is not one of this service"),
    "setting-not-proven": Doubt(_S, "whether a nearer setting exists could not be proven"),
    "stream-plan-doubtful": Doubt(_S, "the stream plan of a latency has doubts of its own"),
    "stream-plan-adapts": Doubt(_S, "the stream plan adapts its delay, the stage says it does not"),
    "stream-plan-other-kind": Doubt(_S, "the stream plan releases at time stamps, the stage does not"),
    "stream-plan-cover-stale": Doubt(_S, "what a section must cover is not what its plan gives"),
    "stream-plan-tolerance-stale": Doubt(_S, "a tolerance that is said to be computed is not what its plan gives"),
    "route-doubled": Doubt(_S, "two links in series look like one copied: the common delay may be far too long"),
    "route-forces-common-delay": Doubt(_S, "one route alone makes the common delay far longer"),
    "common-delay-unfrozen": Doubt(_S, "sheets went out with another common delay, and whoever keeps one is off"),
    "common-delay-provisional": Doubt(_S, "the common delay may still move, since a site cannot be worked out"),
    # said, and nothing more
    "tolerance-shared": Doubt(_R, "what all sites share moves all of them alike"),
    "assumed-small": Doubt(_R, "what is assumed is worth less than the tolerated error"),
    "stamp-plane-unused": Doubt(_R, "a plane is named that changes nothing"),
    "rounding-left": Doubt(_R, "what whole steps leave stays below the tolerated error"),
    "lock-not-stated": Doubt(_S, "no site states its lock sheet: carrier, pilot and deviation are not known to agree"),
    "ground-height-doubtful": Doubt(_R, "ten metres are usual on a peak, and worth nanoseconds"),
    "ground-unreadable": Doubt(_R, "delays do not rest on terrain"),
    "sea-without-zones": Doubt(_R, "levels near a sea are too low for 1 % of the time; no delay rests on them"),
    "surface-without-cover": Doubt(_R, "levels over treetops are too high; no delay rests on them"),
    "surface-beyond-cover": Doubt(_R, "levels over treetops without cover are too high; no delay rests on them"),
    "far-above-the-plain": Doubt(_R, "levels far from high sites may be far too high; no delay rests on them"),
    "refractivity-usual": Doubt(_R, "the air of warm countries bends more; no delay rests on levels"),
    "terrain-finer-than-steps": Doubt(_R, "levels rest on some of the heights; no delay rests on them"),
    "terrain-averaged": Doubt(_R, "levels behind ridges are too high; no delay rests on them"),
    "terrain-voids": Doubt(_R, "places in and behind a void are not judged; no delay rests on them"),
    "terrain-missing": Doubt(_R, "delays do not rest on terrain"),
    "headroom-low": Doubt(_R, "the next longer chain may not fit"),
    "tolerance-above-latency": Doubt(_R, "a tolerance larger than its latency"),
    "name-duplicate": Doubt(_R, "two sites have one name; ids are printed"),
    "erp-zero": Doubt(_R, "a site on air radiates nothing"),
    "latency-assumed": Doubt(_R, "weighed by what it may be wrong by"),
    "source-missing": Doubt(_R, "counts as assumed, and is weighed as such"),
    "tolerance-missing": Doubt(_R, "a figure that counts as exact"),
    "links-in-series": Doubt(_R, "one of them may be a copy; the signal may as well pass both"),
    "main-forces-common-delay": Doubt(_R, "one main route alone makes the common delay far longer; it may really do"),
    "stage-unused": Doubt(_R, "no chain passes it"),
    "off-air-idle": Doubt(_R, "figures of a relay that has a chain from the studio"),
    "model-steps-differ": Doubt(_R, "two devices of one model cannot count in two ways: one of them is another"),
    "model-tolerance-differs": Doubt(_R, "one model with two tolerances: one is wrong, and both cancel between sites"),
    "device-step-coarse": Doubt(_R, "what its steps leave is weighed by itself"),
    "device-setting-outside": Doubt(_S, "what is said to be set now cannot be, so the way back is doubtful"),
    "device-setting-between-steps": Doubt(_S, "what is said to be set now cannot be, so the way back is doubtful"),
    "time-reference-missing": Doubt(_R, "others say which time scale they keep"),
    "position-far": Doubt(_R, "far from the others, and no slip explains it"),
    "antenna-contradicts-itself": Doubt(_R, "delays do not rest on patterns"),
    "control-characters": Doubt(_R, "characters that nobody sees"),
    "name-blank": Doubt(_R, "ids are printed"),
    "reports-contradict": Doubt(_S, "nobody can tell which report is the later, so the way back is doubtful"),
    "report-in-other-unit": Doubt(_S, "the last report counts in another unit, so the way back is doubtful"),
    "lock-proof-missing": Doubt(_R, "no delay brings signals together whose carrier, pilot or polarity differ"),
    "told-against-reading": Doubt(_R, "the way back is what the office was told after a reading said otherwise"),
    "plan-old-value-contradicted": Doubt(_R, "the way back is what was reported; the plan says otherwise"),
    "radiated-otherwise": Doubt(_R, "map and people count on power or antennas that nobody said stand; delays do not"),
    "radiated-unknown": Doubt(_R, "whether power or antennas are planned otherwise is not known; delays rest on none"),
    "date-impossible": Doubt(_S, "a measurement on a day that is not, or is to come"),
    "offset-limits-crossed": Doubt(_R, "limits for the search only"),
    "offset-outside-limits": Doubt(_R, "limits for the search only"),
    "time-scale-unknown": Doubt(_R, "others say which time scale they keep"),
    "others-without-ratio": Doubt(_R, "a transmitter of another programme is not counted"),
    "others-alike": Doubt(_R, "two transmitters of other programmes have one id"),
    "part-unjudged": Doubt(_S, "the delays were not held against the other part of the same transmission"),
    "people-doubled": Doubt(_R, "people are counted twice"),
    "listeners-counted-twice": Doubt(_R, "figures of people may be too high; no delay rests on them"),
}  # fmt: skip


def consequence_of(problem: Problem, *, tolerated_us: float) -> Consequence:
    """What a problem does to the sheets of the sites it touches.

    Parameters
    ----------
    problem : Problem
        Positions and planes weigh by ``values["doubt_us"]``; one that does not say what it is worth withholds.
    tolerated_us : float
        Launch error that may stay. [us]
    """
    known = DOUBTS.get(problem.code)
    if known is None or known.consequence == "by severity":
        return "withheld" if problem.severity == "error" else "remark"
    if known.consequence != "by its size":
        return known.consequence
    worth = problem.values.get("doubt_us")
    if not isinstance(worth, int | float) or worth > tolerated_us:
        return "withheld"
    return "sign-off" if worth >= SMALL_POSITION_US else "remark"
