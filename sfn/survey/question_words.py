"""What is asked about typed settings, launches and locks: a sentence for each code, with gaps for its figures.

Whoever puts a question in another language goes by its code and what fills the gaps, never by the sentence.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeVar

G = TypeVar("G")
_GAP = re.compile(r"%\((\w+)\)s")
FACTORS = ("1,000 times", "a thousandth of", "10 times", "a tenth of", "100 times", "a hundredth of")
AMOUNTS = ("test cable", "demodulator")


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of a delay field, in words, or `behind` a number: microseconds, but 5 us."""

    unit: str
    behind: bool = False

    @property
    def text(self) -> str:
        """In English.

        Examples
        --------
        >>> [Unit(one).text for one in ("us", "100ns", "1/16.384MHz", "samples@48000")]
        ['microseconds', 'units of 100 ns', 'units of 1/16.384 MHz', 'samples at 48 kHz']
        """
        if self.behind and self.unit in ("us", "ms", "ns"):
            return self.unit
        if self.unit.startswith("samples@"):
            return f"samples at {float(self.unit.removeprefix('samples@')) / 1000:g} kHz"
        words = {"us": "microseconds", "ms": "milliseconds", "ns": "nanoseconds", "100ns": "units of 100 ns"}
        return words.get(self.unit, f"units of {self.unit.replace('MHz', ' MHz')}")


@dataclass(frozen=True, slots=True)
class Term:
    """One of `FACTORS` or `AMOUNTS`: a phrase that another language has its own for."""

    text: str


_STILL = "is the old value still set, and typed with a slip?"
_STILL_BACK = "is the value that is taken back still set, and typed with a slip?"
_PLANNED, _ORDERED = "the planned %(planned)s %(unit)s", "the ordered %(planned)s %(unit)s"
_OLD, _TAKEN_BACK = "the old value %(old)s %(unit)s", "the value that is taken back %(old)s %(unit)s"
_THOUSAND, _TAKES = " (a factor of 1,000)", "; this field takes %(takes)s: which is meant?"
_SIGN = "you typed %(typed)s %(unit)s: is the sign meant?"
_LOCK = "the plan says %(planned)s degrees, you typed %(typed)s"
_WHICH_FIRST = "with the other sign: which came first, the pulse or the signal? (%(off)s us)"
_STORED = "is the new one set, and was it stored?"

SAYS: Mapping[str, str] = {
    # A setting against what is planned and what stood before.
    "another-split": "%(typed)s %(unit)s for %(planned)s %(unit)s: the total of all fields is right, split another"
    " way. Is it set so?",
    "fields-exchanged": "%(typed)s is the number planned for %(other)s: are the two fields exchanged?",
    "old-value": "%(typed)s %(unit)s is the old value, the new one is %(planned)s %(unit)s: is it not set yet?",
    "sign": f"the plan says %(planned)s %(unit)s, {_SIGN}",
    "other-unit": f"%(typed)s is {_PLANNED} in %(meant)s{_TAKES}",
    "other-unit-thousand": f"%(typed)s is {_PLANNED} in %(meant)s{_THOUSAND}{_TAKES}",
    "decimal-point": f"%(typed)s %(unit)s is %(times)s {_PLANNED}: is the decimal point right?",
    "digits": f"%(typed)s %(unit)s has the digits of {_PLANNED} in another order: is it a slip?",
    "old-sign": f"%(typed)s %(unit)s is {_OLD} with the other sign: {_STILL}",
    "old-other-unit": f"%(typed)s is {_OLD} in %(meant)s: {_STILL}",
    "old-decimal-point": f"%(typed)s %(unit)s is %(times)s {_OLD}: {_STILL}",
    "old-digits": f"%(typed)s %(unit)s has the digits of {_OLD} in another order: {_STILL}",
    "differs-later": "%(field)s differs from the plan by %(off)s %(unit)s, %(off_us)s us later: is it meant?",
    "differs-earlier": "%(field)s differs from the plan by %(off)s %(unit)s, %(off_us)s us earlier: is it meant?",
    # The same while a change is taken back: what is wanted is the value before it.
    "fields-exchanged-back": "%(typed)s is the number ordered for %(other)s: are the two fields exchanged?",
    "old-value-back": "%(typed)s %(unit)s is the value that is taken back, the order is to go back to %(planned)s"
    " %(unit)s: has it not gone back yet?",
    "sign-back": f"the order to go back says %(planned)s %(unit)s, {_SIGN}",
    "other-unit-back": f"%(typed)s is {_ORDERED} in %(meant)s{_TAKES}",
    "other-unit-thousand-back": f"%(typed)s is {_ORDERED} in %(meant)s{_THOUSAND}{_TAKES}",
    "decimal-point-back": f"%(typed)s %(unit)s is %(times)s {_ORDERED}: is the decimal point right?",
    "digits-back": f"%(typed)s %(unit)s has the digits of {_ORDERED} in another order: is it a slip?",
    "old-sign-back": f"%(typed)s %(unit)s is {_TAKEN_BACK} with the other sign: {_STILL_BACK}",
    "old-other-unit-back": f"%(typed)s is {_TAKEN_BACK} in %(meant)s: {_STILL_BACK}",
    "old-decimal-point-back": f"%(typed)s %(unit)s is %(times)s {_TAKEN_BACK}: {_STILL_BACK}",
    "old-digits-back": f"%(typed)s %(unit)s has the digits of {_TAKEN_BACK} in another order: {_STILL_BACK}",
    "differs-later-back": "%(field)s differs from the order to go back by %(off)s %(unit)s, %(off_us)s us later: is it"
    " meant?",
    "differs-earlier-back": "%(field)s differs from the order to go back by %(off)s %(unit)s, %(off_us)s us earlier: is"
    " it meant?",
    # A setting against what its field can do.
    "off-steps-in-other-unit": "%(typed)s is off the field's steps; are %(other)s meant, that is %(meant)s?",
    "out-of-reach": "%(typed)s %(unit)s is outside what %(field)s can take, %(least)s to %(greatest)s: is it another"
    " field or another unit?",
    "off-steps": "%(field)s goes in steps of %(step)s %(unit)s, so it cannot stand at %(typed)s: is it %(nearest)s?",
    "not-whole": "%(field)s goes in whole %(units)s, so it cannot stand at %(typed)s: is it %(nearest)s?",
    # A launch.
    "launch-old": f"%(typed)s us is what the old setting gives: {_STORED}",
    "launch-sign": f"it is the planned launch {_WHICH_FIRST}",
    "launch-other-unit": "%(typed)s is the planned launch in %(meant)s: this field takes us",
    "launch-digits": "with two digits exchanged it is %(meant)s us, as planned: is it a slip?",
    "launch-differs": "it differs from the plan by %(off)s us, more than %(tolerance)s us: was it measured at the"
    " planned plane?",
    "launch-old-back": "%(typed)s us is what the setting that is taken back gives: has it gone back, and was it"
    " stored?",
    "launch-sign-back": f"it is the launch with the old values {_WHICH_FIRST}",
    "launch-other-unit-back": "%(typed)s is the launch with the old values in %(meant)s: this field takes us",
    "launch-digits-back": "with two digits exchanged it is %(meant)s us, as ordered: is it a slip?",
    "launch-differs-back": "it differs from the order to go back by %(off)s us, more than %(tolerance)s us: was it"
    " measured at the planned plane?",
    "not-subtracted": "it is late by just the %(amount)s (%(amount_us)s us): was that subtracted?",
    "subtracted-twice": "it is early by just the %(amount)s (%(amount_us)s us): was that subtracted twice?",
    "amount-in-other-unit": "it fits with %(amount)s %(meant_us)s us: was %(amount_us)s meant in %(other)s?",
    # The lock sheet and the test cable.
    "lock-inverted": f"{_LOCK}: is the pilot or the composite inverted?",
    "lock-sign": f"{_LOCK}: is the sign meant?",
    "lock-phase": f"{_LOCK}: %(off)s degrees are as much as %(off_us)s us of delay; was it measured against the"
    " reference of the plan?",
    "lock-deviation": "the plan says %(planned)s kHz within %(match)s %, you typed %(typed)s: is that the peak"
    " deviation of the whole composite, in kHz?",
    "lock-pre-emphasis": "the plan says %(planned)s us, you typed %(typed)s: is the processor set for another region?",
    "lock-unclear": "%(why)s: which is meant?",
    "cable-long": "%(typed)s us are about %(length)s km of cable: are nanoseconds meant, %(meant)s us?",
}
"""By code; the codes that end in ``-back`` are asked while a change is taken back, and the old values are wanted."""


def in_parts(sentence: str, gaps: Mapping[str, G]) -> Iterator[str | G]:
    """Words and what fills the gaps between them, in the order of the sentence.

    Raises
    ------
    KeyError
        If nothing is there for a gap.

    Examples
    --------
    >>> list(in_parts("%(a)s of %(b)s", {"a": 1, "b": 2}))
    [1, ' of ', 2]
    """
    for n, one in enumerate(_GAP.split(sentence)):
        if n % 2:
            yield gaps[one]
        elif one:
            yield one
