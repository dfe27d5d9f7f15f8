"""Phase of the 19 kHz pilot: Recommendation ITU-R BS.450 gives the frequency, arithmetic the rest."""

from collections.abc import Callable

from sfn.survey.pilot import ambiguity_us, degrees_per_us, refine


def test_pilot_phase_and_ambiguity(published: Callable[..., None]) -> None:
    """6.840 degrees a microsecond, the same again after 52.632 us; 38 and 57 kHz likewise."""
    source = "360 f and 1 / f of 19 kHz (ITU-R BS.450, the frequency from memory), by pencil"
    published("pilot phase, 19 kHz", degrees_per_us(), 6.840, tolerance=5e-4, unit="deg/us", source=source)
    published("pilot phase of 5 us", 5 * degrees_per_us(), 34.2, tolerance=1e-9, unit="deg", source=source)
    published("pilot ambiguity, 19 kHz", ambiguity_us(), 52.632, tolerance=5e-4, unit="us", source=source)
    published("phase, 38 kHz", degrees_per_us(38e3), 13.68, tolerance=5e-3, unit="deg/us", source=source)
    published("ambiguity, 38 kHz", ambiguity_us(38e3), 26.316, tolerance=5e-4, unit="us", source=source)
    published("ambiguity, 57 kHz", ambiguity_us(57e3), 17.544, tolerance=5e-4, unit="us", source=source)

    found = refine(5.5, coarse_uncertainty_us=1.0, phase_deg=34.2, phase_uncertainty_deg=0.1)
    published("delay from 34.2 degrees", found.delay_us, 5.0, tolerance=1e-3, unit="us", source=source)
