"""The settings in force when something was measured: by the reports of that time, else by what the plan had taken up.

A measurement holds for the settings that stood at its time, whatever is set since. They are read from the timeline; of
a site that nobody had reported by then the plan is asked, and where that cannot tell, nobody can: such a measurement is
kept and not used.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sfn.chain import MAIN
from sfn.plan import DelayField, Network, Site
from sfn.plan.reported import Reported
from sfn.survey.measurements import Measurement
from sfn.survey.taken_up import lines_of, made_before, settings_now_us, span_of
from sfn.timeline.present import key_of
from sfn.timing import DelayTable
from sfn.timing.device import contributes

Source = Literal["reported", "kept", "plan"]


@dataclass(frozen=True, slots=True)
class InForce:
    """What the fields of both sites of a measurement, and of those that feed them, contributed then.

    Parameters
    ----------
    settings_us : dict of str to float
        By site, of those that are known. [us]
    source : dict of str to {'reported', 'kept', 'plan'}
        How each is known: by reports of that time, as it was kept with the measurement, or by the plan of today.
    unsure : dict of str to str
        Why of the other sites nobody can tell, in words.
    """

    settings_us: dict[str, float]
    source: dict[str, Source]
    unsure: dict[str, str]


def in_force(network: Network, table: DelayTable, measurements: Sequence[Measurement]) -> tuple[InForce, ...]:
    """The settings in force at the time of each measurement.

    Parameters
    ----------
    network : Network
        Beside what was reported, see `sfn.timeline.present.as_it_stands`.
    table : DelayTable
        Of the same network.
    measurements : sequence of Measurement
        What one says itself of its settings counts where no report of its time does.
    """
    lines, sites = lines_of(network), {site.id: site for site in network.sites}
    now_us = settings_now_us(network, table, as_set=False)
    rows = {row.site_id: row for row in table.rows if row.route == MAIN}
    befores = made_before(network, measurements)
    found = []
    for m, before in zip(measurements, befores, strict=True):
        made = InForce({}, {}, {})
        earliest, latest = span_of(m.when)
        for name in dict.fromkeys((*lines.get(m.site, ()), *lines.get(m.reference_site, ()))):
            ends = [_reported(network, sites[name], at) for at in (earliest, latest)]
            if ends[0] != ends[1]:
                made.unsure[name] = (
                    f"what was set at {sites[name].name} changed within the time that {m.when!r} may mean"
                )
            elif ends[0] == "unknown":
                made.unsure[name] = f"nobody knew what was set at {sites[name].name} then"
            elif isinstance(ends[0], float):
                made.settings_us[name], made.source[name] = ends[0], "reported"
            elif m.settings_us is not None and name in m.settings_us:
                made.settings_us[name], made.source[name] = m.settings_us[name], "kept"
            elif before is not None and before.sure == "not sure":
                made.unsure[name] = (
                    f"whether it is older than the correction of {before.correction.taken_at} cannot be told"
                )
            elif before is not None and name in before.correction.set_us:
                made.settings_us[name], made.source[name] = before.correction.set_us[name], "plan"
            elif before is None and network.corrections and name in rows and rows[name].now_us != rows[name].set_us:
                made.unsure[name] = f"nobody reported that the setting corrected at {sites[name].name} was made"
            elif name in now_us:
                made.settings_us[name], made.source[name] = now_us[name], "plan"
            else:
                made.unsure[name] = f"the setting of {sites[name].name} cannot be worked out"
        found.append(made)
    return tuple(found)


def _reported(network: Network, site: Site, at: datetime) -> float | Literal["unknown"] | None:
    """What a site's fields contributed on the main route by the reports up to a moment; None where there were none."""
    reported = network.reported or Reported({})
    stood = {own.name: reported.at(key_of(site, MAIN, own.name), at) for own in site.delay_fields}
    if not any(stood.values()):
        return None
    total = 0.0
    for own, value in _values(network, site):
        one = stood[own.name]
        set_to = value if one is None else one.value
        if set_to is None:
            return "unknown"
        total += float(contributes(own, set_to))
    return total


def _values(network: Network, site: Site) -> Iterator[tuple[DelayField, float | None]]:
    """Each field with what the document says is set: what counts where only other fields were reported."""
    planned = {} if network.reported is None else network.reported.planned
    preset = next((chain.set or {} for chain in site.chains if chain.route == MAIN), {})
    for own in site.delay_fields:
        key = key_of(site, MAIN, own.name)
        yield own, planned.get(key, preset.get(own.name, own.set))
