"""Classes of service quality: their codes, which a service has, and what they are called.

| code | class | means |
|---|---|---|
| 0 | with margin | good reception with room for what predictions miss; FM: clear stereo |
| 1 | just enough | adequate, but nothing to spare; FM: clear stereo |
| 2 | upset by our own sites | the strongest signal alone would serve; together they do not |
| 3 | too weak | even the strongest alone is below the minimum field |
| 4 | blended | FM: clear, partly or wholly mono: adequate, but too few keep stereo |
| 5 | disturbed by another station | strong enough, but not against what carries another programme |
"""

import numpy as np
from numpy.typing import NDArray

from sfn.systems.service import Service

CLASSES = (
    "with margin",
    "just enough",
    "upset by our own sites",
    "too weak",
    "blended",
    "disturbed by another station",
)
WITH_MARGIN, JUST_ENOUGH, UPSET, TOO_WEAK, BLENDED, OTHER_STATION = range(6)
DIGITAL_CLASSES = (
    "served, with margin",
    "served, low margin",
    "self-interference",
    "below minimum field",
    "blended",
    "disturbed by another station",
)
FM_CLASSES = (
    "clear stereo, with margin",
    "clear stereo, low margin",
    "distorted by our own transmitters",
    "signal too weak",
    "clear, partly or wholly mono",
    "disturbed by another station",
)
MONO_CLASSES = ("clear, with margin", "clear, low margin", *FM_CLASSES[2:])

QUICK, DRAWN, BY_MEDIANS = "quick estimate", "drawn shares", "median levels"
"""Codes of the rule that classes came about by; `BY_WORDS` has each for people, beside a figure."""
BY_WORDS = {
    QUICK: "by the quick estimate",
    DRAWN: "by drawn shares",
    BY_MEDIANS: "by the margin of median levels",
}
QUICK_SAYS = {
    "fm": "These classes are the quick estimate: shares of listeners put together from those of each echo alone, which "
    "follows a tried delay at once; the uncertainty of its margin over being clear is 3 dB. A finished map and its "
    "files go by shares with levels and phases drawn",
    "ofdm": "These classes are the quick estimate, which follows a tried delay at once: the window stands where the "
    "medians put it, and the uncertainty of a share is 0.15. A finished map and its files go by shares with "
    "levels drawn and receivers following",
}
DRAWN_SAYS = {
    "fm": "These classes, and area and people in them, go by shares of listeners, levels and phases drawn; searches, "
    "and a map whose delays are being tried, go by the quick estimate of them",
    "ofdm": "These classes, and area and people in them, go by shares of places with levels drawn and receivers "
    "following; searches, and a map whose delays are being tried, go by the quick estimate of them",
}


def classes_by(service: Service, *, drawn: bool = False) -> str:
    """Code of the rule that classes came about by; 8-VSB has one alone."""
    return BY_MEDIANS if service.kind == "vsb" else DRAWN if drawn else QUICK


def classes_say(service: Service, *, drawn: bool = False) -> str:
    """By which of two rules classes came about, where the service has two; empty for 8-VSB."""
    return (DRAWN_SAYS if drawn else QUICK_SAYS).get(service.kind, "")


def is_served(classes: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Where reception is adequate, from `ServiceQuality.quality_class`; nothing is where nothing is known."""
    return np.asarray((classes <= JUST_ENOUGH) | (classes == BLENDED))


def is_lost(classes: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Where it is known not to be adequate."""
    return np.asarray(np.isfinite(classes) & ~is_served(classes))


def shown_classes(service: Service) -> tuple[int, ...]:
    """Codes of the classes that a service has, the best first; documents sort them: old ones keep their place."""
    blended = (BLENDED,) if service.kind == "fm" and service.id != "fm-mono" else ()
    return (WITH_MARGIN, JUST_ENOUGH, *blended, UPSET, OTHER_STATION, TOO_WEAK)


def class_words(service: Service) -> tuple[str, ...]:
    """The classes for people, by their codes; `CLASSES` are what documents call them."""
    if service.kind != "fm":
        return DIGITAL_CLASSES
    return MONO_CLASSES if service.id == "fm-mono" else FM_CLASSES
