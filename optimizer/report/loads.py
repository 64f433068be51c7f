"""What somebody lifts or moves, thing by thing and step by step, with the mass to plan lifting on.

Lift mass is 1.25 x the mean of the species (about 1.8 standard deviations, as gravity and moisture vary by about 14 %
together; the 1.25 is common practice, no source).
"""

from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple

from optimizer.bed.sawn_layers import layers_between
from optimizer.documents.mill import Mill
from optimizer.documents.plan import LogFound, Plan
from optimizer.report.caution_words import of_plan, slab_name
from optimizer.report.metal_cautions import is_crosscut
from scans.messages import mass

LIFT_FACTOR = 1.25


def lift_kg(mass_kg: float) -> float:
    """Return the mass to plan lifting on. [kg]."""
    return LIFT_FACTOR * mass_kg


class Load(NamedTuple):
    """A thing that is lifted. name, step : what it is, and when: "slab 3", "after cut 4". mass_kg : its mean."""

    kind: Literal["log", "slab", "first", "last", "waste"]
    name: str
    step: str
    mass_kg: float

    @property
    def lift_kg(self) -> float:
        """The mass to plan lifting on. [kg]."""
        return lift_kg(self.mass_kg)

    @property
    def said(self) -> str:
        """What it could weigh, in words."""
        return f"{self.name} could weigh {mass(self.lift_kg)} {self.step}"


def loads_of(log: LogFound, mill: Mill, plans: Sequence[Plan]) -> list[Load]:
    """Return of each kind of thing the heaviest over some plans; the heaviest thing first. No plans: the log."""
    found = [load for plan in plans for load in _loads(log, mill, plan, named=len(plans) > 1)]
    heaviest: dict[str, Load] = {}
    for load in sorted(found or [_laid("the log", log.mass_kg)], key=lambda load: -load.mass_kg):
        heaviest.setdefault(load.kind, load)
    return list(heaviest.values())


def _laid(name: str, mass_kg: float) -> Load:
    return Load("log", name, "when you load it", mass_kg)


def bundle_kg(mill: Mill, plan: Plan) -> float:
    """Return the mass of the heaviest bundle that lies on the bed where slabs stay on until the last cut. [kg].

    Without a flip it is all but the sawdust; with one, what is sawn before it comes off first.
    """
    flipped = {layer.number: layer.flipped for layer in layers_between(plan.passes, mill.kerf_m)}
    sides_kg = {False: 0.0, True: 0.0}
    of_layers = [(slab.layer, slab.mass_kg) for slab in plan.slabs]
    of_layers += [(waste.layer, waste.mass_kg) for waste in plan.waste]
    for layer, mass_kg in of_layers:
        sides_kg[flipped.get(layer, False)] += mass_kg
    for offcut in plan.offcuts:
        is_after = offcut.where == "flipped" or (offcut.where == "last" and plan.passes[-1].flipped)
        sides_kg[is_after] += offcut.mass_kg
    return max(sides_kg.values())


def _laid_kg(log: LogFound, plan: Plan) -> float:
    """Return the mass of what goes on the bed, bark included: the log, or the length crosscut from it. [kg]."""
    if not is_crosscut(log, plan):
        return log.mass_kg
    # Slabs, waste, offcuts and kerf are all the wood of the stretch; its bark has the same share of the log's.
    wood_m3 = plan.kerf_volume_m3 + sum(slab.volume_m3 for slab in plan.slabs)
    wood_m3 += sum(waste.volume_m3 for waste in plan.waste) + sum(offcut.volume_m3 for offcut in plan.offcuts)
    return log.mass_kg * min(wood_m3 / log.volume_m3, 1.0)


def _loads(log: LogFound, mill: Mill, plan: Plan, *, named: bool) -> Iterator[Load]:
    where = of_plan(plan, named=named)
    yield _laid("the length for the bed" if is_crosscut(log, plan) else "the log", _laid_kg(log, plan))
    if not plan.passes:
        return
    after = _cuts_before(plan, mill)
    end = len(plan.passes)
    for slab in plan.slabs:
        step = f"after cut {after.get(slab.layer, end)}"
        yield Load("slab", slab_name(plan, slab, named=named), step, slab.mass_kg)
    for waste in plan.waste:
        step = f"after cut {after.get(waste.layer, end)}"
        yield Load("waste", f"the no-sale wood of layer {waste.layer}{where}", step, waste.mass_kg)
    for offcut in plan.offcuts:
        if offcut.where == "last":
            yield Load("last", f"the last piece on the bed{where}", f"after cut {end}", offcut.mass_kg)
        else:
            step = f"after cut {_first_cut(plan, mill, flipped=offcut.where == 'flipped')}"
            yield Load("first", f"the round top{where}", step, offcut.mass_kg)


def _cuts_before(plan: Plan, mill: Mill) -> dict[int, int]:
    """Return after which cut each layer comes off; one left on the bed has none."""
    last = {cut.flipped: cut.order for cut in plan.passes}
    return {
        layer.number: last[layer.flipped] if mill.slabs_stay_on else plan.passes[layer.lower_pass].order
        for layer in layers_between(plan.passes, mill.kerf_m)
        if layer.lower_pass is not None
    }


def _first_cut(plan: Plan, mill: Mill, *, flipped: bool) -> int:
    orders = [cut.order for cut in plan.passes if cut.flipped is flipped]
    return (orders[-1] if mill.slabs_stay_on else orders[0]) if orders else len(plan.passes)
