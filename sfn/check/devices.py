"""Problems of delay fields: steps too coarse for the service, settings that the field cannot hold."""

from collections.abc import Iterator
from typing import Any

from sfn.errors import Problem, Touch
from sfn.plan import DelayField, Network, Site
from sfn.systems.service import Service
from sfn.timing.device import finest_step
from sfn.timing.missing import units_known
from sfn.units import exact, unit_said


def device_problems(network: Network, service: Service) -> tuple[Problem, ...]:
    """Every problem of the delay fields, in document order.

    Parameters
    ----------
    network : Network
    service : Service
        Tells how coarse a step may be.
    """
    each = (p for i, site in enumerate(network.sites) for p in _site(i, site, service))
    return (*each, *_models(network))


def _models(network: Network) -> Iterator[Problem]:
    """Devices of one model that count in different ways."""
    by_model: dict[str, list[tuple[int, int, Site, DelayField]]] = {}
    for i, site in enumerate(network.sites):
        for j, field in enumerate(site.delay_fields):
            if field.model:
                by_model.setdefault(f"{field.model.casefold()} {field.name.casefold()}", []).append((i, j, site, field))
    for fields in by_model.values():
        first = fields[0]
        for i, j, site, field in fields[1:]:
            differ = [key for key in ("unit", "step", "sign") if getattr(field, key) != getattr(first[3], key)]
            if not differ:
                continue
            ways = (f"{_way(differ, one)} at {of.name}" for one, of in ((first[3], first[2]), (field, site)))
            what = f"{field.model} is said to count in two ways in {field.name}: {' and '.join(ways)}"
            yield Problem(
                f"sites[{i}].delay_fields[{j}].{differ[0]}",
                what,
                "one way for one model, read off the device; or another model's name",
                "warning",
                code="model-steps-differ",
                touches=(Touch(first[2].id), Touch(site.id)),
                fields=(field.name,),
                values={"step": field.step, "other_step": first[3].step},
                said={
                    "model": field.model,
                    "differ_keys": " ".join(differ),
                    "one_site": first[2].id,
                    "one_way": _said(differ, first[3]),
                    "other_site": site.id,
                    "other_way": _said(differ, field),
                },
            )


def _way(keys: list[str], field: DelayField) -> str:
    """How a field counts, in words."""
    unit = field.unit
    said = {"unit": f"in {unit}", "step": f"in steps of {field.step:g} {unit}", "sign": f"greater is {field.sign}"}
    return ", ".join(said[key] for key in keys)


def _said(keys: list[str], field: DelayField) -> str:
    """The same as the document has it."""
    said = {"unit": field.unit, "step": f"{field.step:g} {field.unit}", "sign": field.sign}
    return ", ".join(str(said[key]) for key in keys)


def _site(index: int, site: Site, service: Service) -> Iterator[Problem]:
    """The problems of one site's fields."""
    for j, field in enumerate(site.delay_fields):
        where = f"sites[{index}].delay_fields[{j}]"
        if field.set is not None:
            yield from _values(f"{where}.set", site, field, field.set, None)
        for k, chain in enumerate(site.chains):
            held = (chain.set or {}).get(field.name)
            if held is not None:
                yield from _values(f"sites[{index}].chains[{k}].set", site, field, held, chain.route)
    step_us = float(finest_step([field for field in site.delay_fields if units_known(field)]))
    if step_us > service.coarse_step_us:
        left_us = step_us / 2
        step = f"the finest step is {step_us:.4g} us, which leaves up to {left_us:.4g} us of launch error"
        what = f"site {site.name}: {step}"
        expected = f"a field with steps of {service.coarse_step_us:g} us or less for {service.name}"
        yield Problem(
            f"sites[{index}].delay_fields",
            what,
            expected,
            "warning",
            code="device-step-coarse",
            touches=(Touch(site.id),),
            stages=(),
            fields=tuple(field.name for field in site.delay_fields),
            values={"step_us": step_us, "wanted_us": service.coarse_step_us},
            said={"step_said": f"{step_us:.4g} us", "left_said": f"{left_us:.4g} us", "service_name": service.name},
        )


def _values(where: str, site: Site, field: DelayField, value: float, route: str | None) -> Iterator[Problem]:
    """A current setting outside the field's limits, or between its steps; `route` where it is that route's alone."""
    said = f"site {site.name}: {field.name} is said to be set to {value:g} {unit_said(field.unit)}"
    of: dict[str, Any] = {"touches": (Touch(site.id, route),), "fields": (field.name,), "values": {"set": value}}
    of["said"] = {"stands": f"{value:g}", "field_unit": field.unit, "least": f"{field.least:g}",
                  "greatest": f"{field.greatest:g}", "step_said": f"{field.step:g}"}  # fmt: skip
    if not field.least <= value <= field.greatest:
        what = f"{said}, outside its own limits"
        expected = f"{field.least:g} to {field.greatest:g} {unit_said(field.unit)}"
        yield Problem(where, what, expected, "warning", code="device-setting-outside", **of)
    elif (exact(value) / exact(field.step)).denominator != 1:
        what, expected = f"{said}, between two of its steps", f"a whole number of steps of {field.step:g} {field.unit}"
        yield Problem(where, what, expected, "warning", code="device-setting-between-steps", **of)
