"""Services by name: ids, legal combinations, a user's own file, and refusals that help."""

from pathlib import Path

import pytest

from sfn.errors import PlanError
from sfn.systems.mode_table import read_own
from sfn.systems.service import modulations, service, services


def test_every_id_is_unique_and_found_by_its_name() -> None:
    """`services` lists each id once, and `service` finds a sample of them again."""
    listed = services()

    assert len(listed) == len({s.id for s in listed})
    for each in listed[::37]:
        assert each == service(each.id)


def test_capitals_and_blanks_do_not_matter() -> None:
    """A service is found however its id is capitalised."""
    assert service("dab-mode-1") == service(" DAB-Mode-1 ")


@pytest.mark.parametrize(
    "service_id",
    [
        "dvb-t2-32k-1/4-pp1-8mhz",
        "dvb-t2-4k-19/256-pp2-8mhz",
        "dvb-t2-1k-1/32-pp4-8mhz",
        "dvb-t2-32k-1/8-pp4-8mhz",
        "atsc3-8k-gi2432-sp3_2-6mhz",
        "atsc3-16k-gi4864-sp3_2-6mhz",
        "atsc3-32k-gi1024-sp12_4-6mhz",
    ],
)
def test_combinations_that_the_standard_excludes_are_refused(service_id: str) -> None:
    """EN 302 755 Tables 67 and 58, A/327 section 4.2.12: these combinations do not exist."""
    with pytest.raises(PlanError) as refused:
        service(service_id)

    assert refused.value.problems[0].where == "service"
    assert service_id in refused.value.problems[0].what


def test_unknown_name_lists_near_names() -> None:
    """A slip of the pen is answered with what was probably meant."""
    with pytest.raises(PlanError) as refused:
        service("fm-sterio")

    assert "fm-stereo" in refused.value.problems[0].expected


def test_near_names_stay_within_the_family() -> None:
    """A wrong DVB-T2 mode is answered with DVB-T2 modes only."""
    with pytest.raises(PlanError) as refused:
        service("dvb-t2-32k-19/128-8mhz")

    expected = refused.value.problems[0].expected
    assert "pp2, pp8; near it dvb-t2-32k-19/128-pp8-8mhz" in expected
    assert "dvb-t-" not in expected


@pytest.mark.parametrize(
    ("service_id", "reason", "instead"),
    [
        ("dvb-t-16k-1/4-8mhz", "DVB-T has no mode '16k'", "2k, 4k, 8k"),
        ("dvb-t2-32k-1/4-pp1-8mhz", "DVB-T2 32k has no guard interval '1/4'", "1/128, 1/32, 1/16, 19/256, 1/8, 19/128"),
        ("dvb-t2-32k-1/8-pp4-8mhz", "DVB-T2 32k 1/8 has no pilots 'pp4'", "pp2, pp8"),
        ("dvb-t2-32k-1/8-pp2-9mhz", "has no channel '9mhz'", "8mhz"),
        ("dvb-t-8k-1/4-8mhz-64qam-5/6", "has no modulation '64qam-5/6'", "64qam-3/4"),
        ("isdb-t-mode-4-1/8-6mhz", "ISDB-T has no mode 'mode'", "mode-1, mode-2, mode-3"),
    ],
)
def test_the_piece_that_does_not_exist_is_named(service_id: str, reason: str, instead: str) -> None:
    """Of a made-up combination the first impossible piece is named, with what is possible in its place."""
    with pytest.raises(PlanError) as refused:
        service(service_id)

    assert reason in refused.value.problems[0].what
    assert instead in refused.value.problems[0].expected


def test_modulation_may_follow_an_id_and_moves_ratio_and_field() -> None:
    """Required C/N comes from the modulation's Rayleigh column; the minimum field moves with it."""
    plain, robust = service("dvb-t2-32k-1/8-pp2-8mhz"), service("dvb-t2-32k-1/8-pp2-8mhz-16qam-1/2")

    assert robust.required_cn_db == 9.1
    assert plain.required_cn_db is not None
    assert 9.1 - plain.required_cn_db == pytest.approx(
        robust.minimum_median_dbuvm - plain.minimum_median_dbuvm, abs=0.051
    )
    assert "16qam-1/2" in modulations("dvb-t2")


def test_every_ofdm_service_has_what_its_reception_needs() -> None:
    """Times are positive, the equalisation interval is no shorter than the guard, ratios are there, sources named."""
    for each in services():
        assert each.document
        assert each.minimum_median_source
        assert each.noise_figure_source
        assert 0 < each.coarse_step_us <= each.tolerance_us
        if each.kind == "ofdm":
            assert each.useful_us is not None
            assert each.guard_us is not None
            assert each.required_cn_db is not None
            assert each.required_cn_source
            assert 0 < each.guard_us < each.useful_us
            assert each.equalisation_us is None or each.guard_us <= each.equalisation_us


def test_pilots_that_cannot_follow_the_guard_are_noted() -> None:
    """PP8 with a quarter guard reaches only two thirds of it: the note says that it is no choice for an SFN."""
    assert "not for an SFN" in service("dvb-t2-16k-1/4-pp8-8mhz").note
    assert service("dvb-t2-16k-1/4-pp1-8mhz").note == ""


OWN = """
format = 1
[[service]]
id = "our-dab"
copy_of = "dab-mode-1"
name = "DAB with our receivers"
noise_figure_db = 5
"""


def test_a_user_extends_the_list_with_a_file(tmp_path: Path) -> None:
    """A file of the same form adds services; `copy_of` may name a shipped one."""
    path = tmp_path / "own.toml"
    path.write_text(OWN, encoding="utf-8")
    ours = service("our-dab", own_services=read_own(path))

    assert (ours.noise_figure_db, ours.guard_us) == (5.0, 246.09375)
    assert services(own_services=read_own(path))[0].id == "our-dab"
    assert service("fm-stereo") == service("fm-stereo", own_services=read_own(path))


@pytest.mark.parametrize(
    ("change", "where", "what"),
    [
        ("noise_figure_db = 5\ncolour = 3", "service[0](our-dab).colour", "Extra inputs"),
        ("noise_figure_db = -1", "service[0](our-dab).noise_figure_db", "got -1"),
        ('useful_us = "1/0"', "service[0](our-dab).useful_us", "got '1/0'"),
        ("noise_figure_db = nan", "service[0](our-dab).noise_figure_db", "finite"),
        ('copy_of = "nobody"', "service[0].copy_of", "'nobody'"),
        ("noise_figure_db = [", "text", "not TOML"),
    ],
)
def test_a_faulty_file_names_the_entry(tmp_path: Path, change: str, where: str, what: str) -> None:
    """Whatever is wrong in a user's file is named by file, entry and key."""
    path = tmp_path / "own.toml"
    text = OWN.replace('copy_of = "dab-mode-1"\n', "") if change.startswith("copy_of") else OWN
    path.write_text(text.replace("noise_figure_db = 5", change), encoding="utf-8")

    with pytest.raises(PlanError) as refused:
        service("our-dab", own_services=read_own(path))

    problem = refused.value.problems[0]
    assert f"{path}: {where}" == problem.where
    assert what in problem.what


def test_a_missing_file_is_a_problem(tmp_path: Path) -> None:
    """A path that leads nowhere is named."""
    with pytest.raises(PlanError, match="cannot read it"):
        read_own(tmp_path / "none.toml")
