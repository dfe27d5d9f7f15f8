"""What ``optimise --vary`` prints: the plans, cheapest first, with who gains and who loses, and what is in doubt."""

from sfn.cli.sure import print_sure_table, print_unknowns
from sfn.cli.table import print_table
from sfn.library.plans import PlansAnswer
from sfn.report.numbers import number
from sfn.study.plans_found import PLANS_CAUTION, Plan, Plans

PLACES_SHOWN = 4


def print_plans(answer: PlansAnswer) -> None:
    """All of it, for people."""
    found = answer.found
    unit, costs = found.what.unit, found.costs
    print(f"people: {answer.listeners.said}")
    for said in found.rests_on:
        print(said)
    for line in () if found.asked.counted.weights is None else found.asked.counted.weights.said:
        print(f"weighed: {line}")
    assumed = ", assumed" if found.costs_assumed else ""
    print(
        f"costs in {costs.unit}{assumed}: a visit {costs.visit:g}, a rigging day {costs.rigging_day:g}, a licence "
        f"change {costs.licence_change:g}"
    )
    served = found.counted - found.before.score.without_service
    by = found.beside.by_words
    print(f"served as planned, {by}: {number(served, 1)} of {number(found.counted, 1)} {unit}\n")
    rows = [
        (
            str(k), f"{plan.cost:g}", number(found.counted - plan.after.score.without_service, 1),
            number(plan.gain, 1, signed=True), number(plan.gained, 1), number(plan.lost, 1), number(plan.sampling, 1),
        )
        for k, plan in enumerate(found.plans, start=1)
    ]  # fmt: skip
    if rows:
        heads = ("plan", f"cost, {costs.unit}", f"served, {unit}", "more", "gain it", "lose it", "open by sampling")
        print_table(heads, rows)
    else:
        print("no plan serves more than what is planned, within these bounds and as far as the search came")
    if found.sure is not None:
        print(f"\nin drawn worlds, served {by}:")
        print_sure_table(("as planned", *(f"plan {k}" for k in range(1, len(found.plans) + 1))), found.sure.plans)
    for k, plan in enumerate(found.plans, start=1):
        _print_plan(k, plan, found)
    _print_rest(found)


def _print_plan(k: int, plan: Plan, found: Plans) -> None:
    """One plan."""
    print(f"\nplan {k}, cost {plan.cost:g}:")
    for change in plan.changes:
        print(f"  {change.says} (cost {change.cost:g})")
    if plan.common_held_us is not None:
        print(f"  common delay fixed at {number(plan.common_held_us, 4)} us, so that no other device is set otherwise")
    gaining = [one for one in reversed(plan.places) if not one.loses and one.gained_people >= 1]
    losing = [one for one in plan.places if one.loses]
    for word, some in (("gains", gaining), ("loses", losing)):
        for one in some[:PLACES_SHOWN]:
            people = one.gained_people - one.lost_people
            was, then = (number(m, 1, signed=True) for m in (one.margin_before_db, one.margin_after_db))
            said = f"{number(people, 0, signed=True)} people, margin {was}, then {then} dB"
            print(f"  {word}: {one.name}, {said}")
        if len(some) > PLACES_SHOWN:
            print(f"  and {len(some) - PLACES_SHOWN} more: --json names them all")
    for caution in plan.cautions:
        print(f"  ask the licence: {caution.what}")
    if found.sure is not None:
        print("  what to measure first:")
        print_unknowns(found.sure.plans[k])
    for said in found.says(plan):
        print(f"  doubt: {said}")


def _print_rest(found: Plans) -> None:
    """What was not varied, what is in doubt, the caution."""
    names = {site.id: site.name for site in found.network.whole.sites}
    print()
    for one in found.overstepped:
        beyond = f"{number(one.outside_km2, 1)} km2 out of {one.licence}"
        print(f"{names[one.site]} reaches {beyond} as it is planned already; no plan adds to that")
    for left in found.not_varied:
        print(f"not varied: {names[left.site]}, {left.what}: {left.why}")
    for said in found.doubts:
        print(f"doubt: {said}")
    print(f"search ended: {found.found.ended}, {found.found.looked} looked at in {number(found.found.seconds_s, 1)} s")
    print(f"caution: {PLANS_CAUTION}")
    print("nothing is changed: put a plan into the document to apply it; delays are set by its issued sheets alone,")
    print("power, antennas and which sites are on air by no sheet: they are ordered apart")
