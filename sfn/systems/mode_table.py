"""The file of services: its form, and the legal combinations it stands for.

The shipped file is ``modes.toml`` beside this module; a user's own file has the same form and is
added to it. Whatever is wrong in a file is named with its entry and what would be right.
"""

import re
import tomllib
from dataclasses import replace
from fractions import Fraction
from functools import cache, lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from sfn.errors import PlanError, Problem
from sfn.units import grouped

Status = Literal["read", "secondary", "from memory"]
Kind = Literal["ofdm", "fm", "vsb"]

MOST_TEXT_N = 500_000
"""Characters of a file of services; the one that comes with the programme has 32,000."""
LONGEST_TOLD_N = 300
MOST_TOLD_N = 100
MOST_TABLES_N = 10_000
MOST_PARTS_N = 30


def _fraction(value: object) -> object:
    """``504/2.048`` as an exact fraction; numbers as they were written."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return value
    over, _, under = str(value).partition("/")
    try:
        return Fraction(over) / Fraction(under or "1")
    except (ValueError, ZeroDivisionError):
        raise ValueError(f"expected a number or a fraction such as 7/64, got {value!r}") from None


Positive = Annotated[Fraction, BeforeValidator(_fraction), Field(gt=0)]


class _Entry(BaseModel):
    """Refuses what it does not know, and is never changed after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_min_length=1)


class Planning(_Entry):
    """What planning needs of a service, whatever its waveform."""

    kind: Kind
    name: str
    document: str
    status: Status
    noise_figure_db: float = Field(ge=0, le=30)
    noise_figure_source: str
    reference_frequency_mhz: float = Field(gt=0, le=10_000)
    antenna_gain_dbd: float = Field(ge=-40, le=30)
    feeder_loss_db: float = Field(ge=0, le=30)
    man_made_noise_db: float = Field(ge=0, le=60)
    required_cn_db: float | None = Field(default=None, ge=-20, le=60)
    required_cn_source: str | None = None
    required_cn_rice_db: float | None = Field(default=None, ge=-20, le=60)
    required_cn_rayleigh_db: float | None = Field(default=None, ge=-20, le=60)
    required_cn_echo_db: float | None = Field(default=None, ge=-20, le=60)
    required_cn_profile_source: str = "the same whatever the profile of arrivals"
    minimum_median_dbuvm: float = Field(ge=-40, le=150)
    minimum_median_source: str
    location_sigma_db: float = Field(ge=0, le=20)
    location_sigma_source: str
    location_pct: float = Field(gt=0, lt=100)
    receiver: Literal["fixed", "portable", "mobile"]
    differential: bool = False
    tolerance_us: Positive | None = None
    tolerance_source: str | None = None
    significant_db: float | None = Field(default=None, gt=0, le=60)
    coarse_step_us: Positive | None = None
    bands_mhz: tuple[tuple[Annotated[float, Field(gt=0)], Annotated[float, Field(gt=0)]], ...] = ()
    bands_source: str = ""
    note: str = ""
    unjudged: str = ""

    @model_validator(mode="after")
    def _profile(self) -> "Planning":
        """A profile of required C/N is whole and rises."""
        rises = (self.required_cn_rice_db, self.required_cn_rayleigh_db, self.required_cn_echo_db)
        given = [value for value in rises if value is not None]
        if given and (len(given) < len(rises) or given != sorted(given)):
            raise ValueError("required_cn_rice_db, _rayleigh_db and _echo_db go together and rise in this order")
        return self


class ServiceEntry(Planning):
    """One service, written out."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9./_-]*$")
    channel_mhz: float = Field(gt=0)
    noise_bandwidth_mhz: float = Field(gt=0)
    useful_us: Positive | None = None
    guard_us: Positive | None = None
    equalisation_us: Positive | None = None
    equalisation_source: str | None = None
    equalisation_limit_us: Positive | None = None
    echo_mask: tuple[tuple[float, float], ...] = ()

    @model_validator(mode="after")
    def _whole(self) -> "ServiceEntry":
        """Each kind has what its reception is worked out from."""
        if self.kind == "ofdm" and (self.useful_us is None or self.guard_us is None or self.required_cn_db is None):
            raise ValueError("an ofdm service needs useful_us, guard_us and required_cn_db")
        if self.kind != "ofdm" and (self.tolerance_us is None or self.significant_db is None):
            raise ValueError(f"an {self.kind} service needs tolerance_us and significant_db")
        if self.kind == "vsb" and len(self.echo_mask) < 2:
            raise ValueError("a vsb service needs an echo_mask of at least two [delay us, dB] points")
        if list(self.echo_mask) != sorted(self.echo_mask):
            raise ValueError("echo_mask must be in the order of its delays")
        if self.equalisation_limit_us and self.equalisation_limit_us <= (self.equalisation_us or 0):
            raise ValueError("equalisation_limit_us must be above equalisation_us, which must be given with it")
        return self


class Channel(_Entry):
    """A channel width: the elementary period and the width that noise comes through."""

    sample_us: Positive
    channel_mhz: float = Field(gt=0)
    noise_bandwidth_mhz: float = Field(gt=0)


class Guard(_Entry):
    """A guard interval of one transform, with the pilot patterns that may go with it."""

    samples: int = Field(gt=0)
    pilots: tuple[str, ...] = ()
    miso: tuple[str, ...] = ()


class Modulations(_Entry):
    """Required C/N by modulation and code rate for Gauss, Rice and Rayleigh channels. [dB]"""

    source: str
    implementation_margin_db: float = Field(default=0, ge=0, le=10)
    ratios: dict[str, tuple[float, float, float]]


class Family(Planning):
    """Services that differ in transform, guard interval, pilots and channel."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9.-]*$")
    equalisation: str | None = Field(default=None, pattern=r"^\d+/\d+ Tu(/Dx)?$")
    equalisation_limit: str | None = Field(default=None, pattern=r"^\d+/\d+ Tu(/Dx)?$")
    equalisation_source: str | None = None
    transform: dict[str, int]
    channel: dict[str, Channel]
    reference_channel: str
    pilots: dict[str, tuple[int, int]] = {}
    guard: dict[str, dict[str, Guard]]
    modulation_cn: Modulations = Modulations(source="none", ratios={})

    @model_validator(mode="after")
    def _consistent(self) -> "Family":
        """Guards belong to transforms that exist and name pilots that exist."""
        if self.kind != "ofdm" or self.required_cn_db is None:
            raise ValueError("a family is of kind ofdm and needs required_cn_db")
        if self.reference_channel not in self.channel:
            raise ValueError(f"reference_channel must be one of {', '.join(self.channel)}")
        for transform, guards in self.guard.items():
            if transform not in self.transform:
                raise ValueError(f"guard.{transform}: no such transform; there are {', '.join(self.transform)}")
            for guard, entry in guards.items():
                for pattern in (*entry.pilots, *entry.miso):
                    if pattern not in self.pilots:
                        raise ValueError(f"guard.{transform}.{guard}: pilots {pattern} are not in [family.pilots]")
        if self.equalisation and self.equalisation.endswith("Dx") and not self.pilots:
            raise ValueError("equalisation by Dx needs [family.pilots]")
        return self


class _File(_Entry):
    """A whole file."""

    format: Literal[1]
    service: tuple[ServiceEntry, ...] = ()
    family: tuple[Family, ...] = ()


def _copies_filled(entries: list[dict[str, Any]], above: tuple[ServiceEntry, ...]) -> list[dict[str, Any]]:
    """Entries with ``copy_of`` filled from the entry they name, which must stand above them."""
    known: dict[object, dict[str, Any]] = {e.id: e.model_dump(exclude_defaults=True) for e in above}
    filled = []
    for place, entry in enumerate(entries):
        other = entry.get("copy_of")
        if other is not None and other not in known:
            raise PlanError(
                [
                    Problem(
                        f"service[{place}].copy_of",
                        f"no service {other!r} stands above it",
                        "an id above it",
                        code="copied-service-missing",
                    )
                ]
            )
        filled.append({**known.get(other, {}), **{k: v for k, v in entry.items() if k != "copy_of"}})
        known[entry.get("id")] = filled[-1]
    return filled


def parse(text: str, *, above: tuple[ServiceEntry, ...] = ()) -> _File:
    """Read the text of a file of services.

    Parameters
    ----------
    text : str
        TOML.
    above : tuple of ServiceEntry
        Services that ``copy_of`` may name besides those of the file.

    Raises
    ------
    PlanError
        If the text is not TOML or not of this form: one `Problem` for each thing wrong.
    """
    if len(text) > MOST_TEXT_N:
        what, expected = f"it has {grouped(len(text))} characters", f"{grouped(MOST_TEXT_N)} at most"
        raise PlanError([Problem("text", what, expected, code="file-too-large")])
    _shallow(text)
    try:
        tree = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise PlanError(
            [Problem("text", f"not TOML: {error}", "a file such as modes.toml", code="services-file-not-toml")]
        ) from None
    entries = tree.get("service", [])
    if isinstance(entries, list) and all(isinstance(e, dict) for e in entries):
        tree["service"] = _copies_filled(entries, above)
    try:
        read = _File.model_validate(tree)
    except ValidationError as error:
        errors = error.errors()
        told = [_problem(one, tree) for one in errors[: MOST_TOLD_N - 1]]
        if more_n := len(errors) - len(told):
            what = f"has {grouped(more_n)} more problems like these"
            told.append(Problem("text", what, "", code="more-problems", values={"more": more_n}))
        raise PlanError(told) from None
    if not read.service and not read.family:
        what, expected = "there is no service in it", "one [[service]] or [[family]], or no file"
        raise PlanError([Problem("file", what, expected, code="services-empty")])
    return read


def _shallow(text: str) -> None:
    """Refuse keys of many parts and thousands of tables: reading a long dotted key grows with its length squared."""
    if text.count("\n[") > MOST_TABLES_N:
        what, expected = f"it has {grouped(text.count(chr(10) + '['))} tables", f"{grouped(MOST_TABLES_N)} at most"
        raise PlanError([Problem("text", what, expected, code="file-too-large")])
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") <= MOST_PARTS_N:
            continue
        bare = _COMMENT.sub("", _QUOTED.sub("q", line))
        if any(part.count(".") > MOST_PARTS_N for part in _BETWEEN.split(bare)):
            what, expected = "has a key of many parts, one after each dot", f"{MOST_PARTS_N} at most"
            raise PlanError([Problem(f"line {number}", what, expected, code="services-file-not-toml")])


# Dots in texts and comments are none of a key, and a list of numbers has its commas.
_QUOTED = re.compile(r"\"[^\"]*\"|'[^']*'")
_COMMENT = re.compile(r"#.*")
_BETWEEN = re.compile(r"[=,{}\[\]]")


def _problem(error: Any, tree: dict[str, Any]) -> Problem:
    """One of pydantic's complaints with the entry's id in place of its number alone."""
    where, at = "", tree
    for step in error["loc"]:
        where += f"[{step}]" if isinstance(step, int) else f".{step}" if where else str(step)
        try:
            at = at[step]
        except (KeyError, IndexError, TypeError):
            at = {}
        if isinstance(at, dict) and isinstance(at.get("id"), str):
            where += f"({at['id']})"
    given = "" if isinstance(error["input"], dict | tuple | list) else f", got {error['input']!r}"
    what = error["msg"].removeprefix("Value error, ")
    return Problem(
        where or "file",
        f"{what}{given}"[:LONGEST_TOLD_N],
        "the form shown in modes.toml",
        code="services-file-malformed",
    )


@cache
def shipped() -> _File:
    """The file that comes with the programme; read once, as it cannot change."""
    return parse(files("sfn.systems").joinpath("modes.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=8)
def own(text: str) -> _File:
    """A user's file of services, given as text; read once for each text.

    Raises
    ------
    PlanError
        If it is not of the form.
    """
    try:
        return parse(text, above=shipped().service)
    except PlanError as error:
        raise PlanError(replace(p, where=f"services file: {p.where}") for p in error.problems) from None


def read_own(path: str | Path) -> str:
    """The text of a user's file of services, for whatever takes `own_services`.

    Raises
    ------
    PlanError
        If it cannot be read or is not of the form; every problem names the file.
    """
    text = text_of_own(path)
    try:
        parse(text, above=shipped().service)
    except PlanError as error:
        raise PlanError(replace(p, where=f"{path}: {p.where}") for p in error.problems) from None
    return text


def text_of_own(path: str | Path) -> str:
    """The text of a file as it stands, whether services can be made of it or not: that is said where one is asked for.

    Raises
    ------
    PlanError
        If it is no text.
    """
    try:
        return Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        raise PlanError(
            [Problem(str(path), f"cannot read it: {reason}", "a TOML file of services", code="file-unreadable")]
        ) from None
