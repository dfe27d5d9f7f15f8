"""Sentences of the engine on a page: keys in words, names left alone."""

from webapp.shell.places_said import NAMES, text_said


def test_a_site_that_is_called_like_a_key_keeps_its_name() -> None:
    """Site `ground_m` has no latency: only the key is put in words."""
    before = NAMES.set({"sites": ("ground_m", "North"), "stages": ()})
    try:
        said = text_said("site ground_m: latency_us is missing", "sites[0].chains")
    finally:
        NAMES.reset(before)

    assert "site ground_m: latency is missing" == said
