"""ITU-R BS.412-9: its own tables as we keep them, and its equivalences."""

from collections.abc import Callable

import pytest

from sfn.systems.bs412 import minimum_field, protection_ratio

MEMORY = "ITU-R BS.412-9 table 3, from memory"


@pytest.mark.parametrize(
    ("spacing_khz", "stereo", "interference", "ratio_db"),
    [
        (0, False, "steady", 36),
        (0, True, "steady", 45),
        (0, True, "tropospheric", 37),
        (50, True, "steady", 51),
        (-100, False, "tropospheric", 12),
        (100, True, "steady", 33),
        (200, True, "steady", 7),
        (400, True, "steady", -20),
    ],
)
def test_protection_ratios(
    published: Callable[..., None], spacing_khz: float, stereo: bool, interference: str, ratio_db: float
) -> None:
    """Rows of the table come back, whichever side the unwanted carrier is on."""
    published(
        f"BS.412 protection ratio, {'stereo' if stereo else 'mono'}, {spacing_khz} kHz, {interference}",
        protection_ratio(spacing_khz, stereo=stereo, interference=interference),
        ratio_db,
        tolerance=0.0,
        unit="dB",
        source=MEMORY,
    )


@pytest.mark.parametrize(
    ("area", "mono_dbuvm", "stereo_dbuvm"), [("rural", 48, 54), ("urban", 60, 66), ("large city", 70, 74)]
)
def test_minimum_fields(published: Callable[..., None], area: str, mono_dbuvm: float, stereo_dbuvm: float) -> None:
    """Least median fields at 10 m."""
    for stereo, theirs in ((False, mono_dbuvm), (True, stereo_dbuvm)):
        published(
            f"BS.412 least field, {area}, {'stereo' if stereo else 'mono'}",
            minimum_field(area, stereo=stereo),
            theirs,
            tolerance=0.0,
            unit="dBuV/m",
            source="ITU-R BS.412-9 table 1, secondary quotation",
        )
