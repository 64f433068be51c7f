"""What could hurt somebody: rules as data, each with its trigger, its line and the reason it shows.

A rule whose input is not known stays silent; only the sweep for metal always shows. No rule changes the
ranking. Thresholds are for lift mass, 1.25 x the mean of the species (about 1.8 standard deviations, as
gravity and moisture vary by about 14 % together; the 1.25 is common practice, no source).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from shapely import Polygon, box

from optimizer.lengths import POUND_KG, inches_text
from optimizer.marks import END_FACE_M
from optimizer.mill import Mill
from optimizer.plan import Caution, LogFound, Mark, Plan, Slab
from optimizer.zones import in_plan, rod
from scans.log import FloatArray

PLAN_LINE = (
    "This plan is geometry. Your equipment's manual, the law where you work and trained judgement at the log "
    "come first. Stop when they disagree with it."
)
"""Shown with every plan, once."""

LIFT_FACTOR = 1.25
PERSON_LIFT_KG = 23.0
"""Ideal-case limit of the NIOSH lifting equation, 51 lb (Publication 94-110)."""
GEAR_LIFT_KG = 50.0
"""Common practice, no source."""
METAL_NEAR = 2.0
"""A pass is near metal within so many keep-outs: a place pointed out by hand is no better known than that (our
own rule, no source)."""
METAL_NEAR_LEAST_M = 0.0508
"""Near for a mill that names no keep-out: 2 in (common practice, no source)."""
HAIR_M = 1e-4
FAR_M = 1e3
CROSSCUT_M = 0.01
"""A stretch this much shorter than the log is crosscut from it."""
RULES_READ = 2026
"""The year that the rules behind the cautions were read."""

Level = Literal["note", "warning", "stop"]
LEVELS: tuple[Level, ...] = ("stop", "warning", "note")
STRONG_DUST = ("oak", "beech", "walnut", "birch", "western redcedar")
ALLERGY_DUST = ("locust, black", "osage-orange", "walnut", "mesquite", "redcedar")


@dataclass(frozen=True)
class _Case:
    """What the rules look at."""

    log: LogFound
    mill: Mill
    plans: tuple[Plan, ...]
    wood_name: str

    @property
    def heaviest_slab(self) -> tuple[Plan, Slab] | None:
        slabs = [(plan, slab) for plan in self.plans for slab in plan.slabs]
        return max(slabs, key=lambda pair: pair[1].mass_kg) if slabs else None

    @property
    def slab_lift_kg(self) -> float:
        heaviest = self.heaviest_slab
        return LIFT_FACTOR * heaviest[1].mass_kg if heaviest else 0.0

    @property
    def log_lift_kg(self) -> float:
        return LIFT_FACTOR * self.log.mass_kg

    @property
    def laid_kg(self) -> float:
        """Mass of what goes on the bed, bark too: the heaviest of the plans' stretches. [kg]."""
        return max((self._stretch_kg(plan) for plan in self.plans), default=self.log.mass_kg)

    def _stretch_kg(self, plan: Plan) -> float:
        if not self.is_crosscut(plan):
            return self.log.mass_kg
        # Slabs, waste, offcuts and kerf are all the wood of the stretch; its bark has the same share of the log's.
        wood_m3 = plan.kerf_volume_m3 + sum(slab.volume_m3 for slab in plan.slabs)
        wood_m3 += sum(waste.volume_m3 for waste in plan.waste) + sum(offcut.volume_m3 for offcut in plan.offcuts)
        return self.log.mass_kg * min(wood_m3 / self.log.volume_m3, 1.0)

    def is_crosscut(self, plan: Plan) -> bool:
        """Whether a plan is for a stretch of the log alone."""
        return plan.stretch_m[1] - plan.stretch_m[0] < self.log.length_m - CROSSCUT_M

    @property
    def flips(self) -> bool:
        """Whether a plan turns the half-sawn log over."""
        return any(cut.flipped for plan in self.plans for cut in plan.passes)

    def marked(self, kind: str) -> list[Mark]:
        """Return the marks of a kind."""
        return [mark for mark in self.log.marks if mark.kind == kind]

    @property
    def highest_shim_m(self) -> float:
        return max((shim.height_m for plan in self.plans for shim in plan.shims), default=0.0)

    @property
    def is_lifted_by_gear(self) -> bool:
        return max(self.slab_lift_kg, self.log_lift_kg) > GEAR_LIFT_KG

    def is_of(self, names: Sequence[str]) -> bool:
        return any(name in self.wood_name.lower() for name in names)


Verdict = tuple[Level, str] | None


@dataclass(frozen=True)
class _Rule:
    """id : its name. judge : level and reason where it shows, else None. line : what to do."""

    id: str
    judge: Callable[[_Case], Verdict]
    line: str


def lift_kg(mass_kg: float) -> float:
    """Return the mass to plan lifting on. [kg]."""
    return LIFT_FACTOR * mass_kg


def _mass(kg: float) -> str:
    return f"{kg:,.0f} kg ({kg / POUND_KG:,.0f} lb)"


def _height(height_m: float) -> str:
    return f"{height_m * 1000.0:.0f} mm ({inches_text(height_m)})"


def _always(level: Level, reason: str) -> Callable[[_Case], Verdict]:
    return lambda _: (level, reason)


def _log_too_heavy(case: _Case) -> Verdict:
    most = case.mill.max_log_mass_kg
    if most is None or case.laid_kg <= most:
        return None
    return "stop", f"the log has {_mass(case.laid_kg)}, the mill bears {_mass(most)}"


def _log_near_limit(case: _Case) -> Verdict:
    most = case.mill.max_log_mass_kg
    may_be_kg = lift_kg(case.laid_kg)
    if most is None or case.laid_kg > most or may_be_kg <= most:
        return None
    return "warning", f"the log may have up to {_mass(may_be_kg)} (1.25 x its mean), the mill bears {_mass(most)}"


def _metal_find(case: _Case) -> Verdict:
    metal = case.marked("metal")
    if metal:
        return (
            "warning",
            f"{_count(len(metal), 'piece')} of metal marked, and more may hide; no scan and no tape sees it",
        )
    return "warning", "no scan and no tape sees metal"


def _metal_known(case: _Case) -> Verdict:
    """Judge a pass within the keep-out a stop, one near it and a slab that holds metal a warning.

    The search makes no pass within the keep-out, but a pass made already, or a mill without a keep-out, may be.
    """
    keep_out_m = case.mill.metal_keep_out_m
    near_m = METAL_NEAR * keep_out_m or METAL_NEAR_LEAST_M
    apart = [found for plan in case.plans for found in _passes_from_metal(case.log, case.mill, plan)]
    nearest_m, which = min(apart, default=(np.inf, ""))
    if nearest_m < near_m:
        keep_out = f"the keep-out is {_height(keep_out_m)}" if keep_out_m else "the mill names no metal_keep_out"
        where = f"is {_height(nearest_m)} from it" if nearest_m > 0.0 else "goes through it"
        level: Level = "stop" if nearest_m <= 0.0 or nearest_m < keep_out_m - HAIR_M else "warning"
        return level, f"{which} {where}; {keep_out}"
    held = [found for plan in case.plans for found in _slabs_with_metal(case.log, plan)]
    return ("warning", held[0]) if held else None


def _passes_from_metal(log: LogFound, mill: Mill, plan: Plan) -> list[tuple[float, str]]:
    """Return how far each pass's kerf stays from each metal mark, and which they are. [m].

    The blade sweeps its whole plane, so that only heights count; 0 where it goes through.
    """
    found = []
    for flipped in (False, True):
        for mark, corners in metal_on_bed(log, plan, flipped=flipped):
            low_m, high_m = float(corners[:, 2].min()), float(corners[:, 2].max())
            for cut in plan.passes:
                if cut.flipped is flipped:
                    below_m, above_m = low_m - (cut.blade_height_m + mill.kerf_m), cut.blade_height_m - high_m
                    which = f"pass {cut.order} of {_named(plan)}, beside {mark.id},"
                    found.append((max(0.0, below_m, above_m), which))
    return found


def _slabs_with_metal(log: LogFound, plan: Plan) -> list[str]:
    found = []
    for slab in plan.slabs:
        sold = Polygon(slab.outline_m[0], slab.outline_m[1:]) & box(slab.span_m[0], -FAR_M, slab.span_m[1], FAR_M)
        for mark, corners in metal_on_bed(log, plan, flipped=slab.flipped):
            if in_plan(corners, slab.lower_face_m, slab.upper_face_m).intersects(sold):
                found.append(f"{_slab_of(plan, slab)} holds {mark.id}")
    return found


def metal_on_bed(log: LogFound, plan: Plan, *, flipped: bool) -> list[tuple[Mark, FloatArray]]:
    """Return the metal marks that lie on the bed, before or after the flip, with their rods' corners (P, 3). [m]."""
    matrix = plan.flipped_log_to_bed if flipped else plan.log_to_bed
    if matrix is None:
        return []
    to_bed = np.array(matrix)
    found = []
    for mark in log.marks:
        if mark.kind != "metal":
            continue
        start = np.array([mark.x_m, mark.y_m, mark.z_m])
        corners = rod(start, start + mark.depth_m * inwards_found(log, start), mark.radius_m, 0.0).corners_m
        on_bed = corners @ to_bed[:3, :3].T + to_bed[:3, 3]
        crosscut_off = corners[:, 0].max() < plan.stretch_m[0] or corners[:, 0].min() > plan.stretch_m[1]
        sawn_off = flipped and on_bed[:, 2].max() <= 0.0
        if not crosscut_off and not sawn_off:
            found.append((mark, on_bed))
    return found


def inwards_found(log: LogFound, place_m: FloatArray) -> FloatArray:
    """Return which way a mark's rod goes, (3,), as `optimizer.marks.inwards` does, from the document alone."""
    if place_m[0] < END_FACE_M:
        return np.array([1.0, 0.0, 0.0])
    if log.length_m - place_m[0] < END_FACE_M:
        return np.array([-1.0, 0.0, 0.0])
    lines = [np.array(line) for line in log.hearts]
    if not lines and log.sections:
        nearest = min(log.sections, key=lambda section: abs(section.x_m - place_m[0]))
        rings = [Polygon(ring).centroid for ring in nearest.outer_m]
        lines = [np.array([[place_m[0], ring.x, ring.y]] * 2) for ring in rings]
    targets = [point for line in lines for point in _nearest_on_segments(line, place_m)]
    if not targets:
        return np.array([0.0, 0.0, -1.0])
    way: FloatArray = min(targets, key=lambda point: float(np.linalg.norm(point - place_m))) - place_m
    return way / np.linalg.norm(way)


def _nearest_on_segments(line: FloatArray, place_m: FloatArray) -> FloatArray:
    """Return the point of each segment of a line (P, 3) that is nearest to a place, (P - 1, 3)."""
    a, b = line[:-1], line[1:]
    along = ((place_m - a) * (b - a)).sum(axis=1) / np.maximum(((b - a) ** 2).sum(axis=1), 1e-18)
    nearest: FloatArray = a + np.clip(along, 0.0, 1.0)[:, None] * (b - a)
    return nearest


def _log_rolls(case: _Case) -> Verdict:
    reasons = []
    if any(plan.rests_by_itself is False for plan in case.plans):
        reasons.append("the log does not stay by itself as it is laid")
    if case.highest_shim_m > 0.0:
        reasons.append(f"shims up to {_height(case.highest_shim_m)} stand under the log")
    if any(plan.roll_deg % 360.0 != 0.0 for plan in case.plans):
        reasons.append("the log is rolled before the first pass")
    if case.flips:
        reasons.append("the half-sawn log is flipped")
    return ("warning", ", ".join(reasons)) if reasons else ("note", "a log is round")


def _tilted_log(case: _Case) -> Verdict:
    tilt_deg = max((abs(plan.tilt_deg) for plan in case.plans), default=0.0)
    if tilt_deg == 0.0 and case.highest_shim_m == 0.0:
        return None
    return "warning", f"tilt up to {tilt_deg:.1f} deg, shims up to {_height(case.highest_shim_m)}"


def _flip(case: _Case) -> Verdict:
    return ("warning", "passes follow a flip") if case.flips else None


def _chainsaw(case: _Case) -> Verdict:
    if not any(case.is_crosscut(plan) for plan in case.plans):
        return None
    return "warning", "the log is crosscut before it goes on the bed"


def _rotten_log(case: _Case) -> Verdict:
    # A crack may be a check of drying or a shake that lets go; rot is weak for certain.
    rot, cracks = case.marked("rot"), case.marked("crack")
    if rot:
        return "warning", f"{_count(len(rot), 'place')} of rot marked"
    return ("note", f"{_count(len(cracks), 'crack')} marked") if cracks else None


def _spalt(case: _Case) -> Verdict:
    return ("warning", "rot is marked") if case.marked("rot") else None


def _fork_tension(case: _Case) -> Verdict:
    return ("warning", f"the log divides in {_count(len(case.log.forks), 'place')}") if case.log.forks else None


def _slabs_across_forks(case: _Case) -> list[Slab]:
    across = []
    for plan in case.plans:
        for fork in case.log.forks:
            for slab in plan.slabs:
                matrix = plan.flipped_log_to_bed if slab.flipped else plan.log_to_bed
                crotch_x_m = float((np.array(matrix) @ [*fork.crotch_m, 1.0])[0])
                if slab.span_m[0] < crotch_x_m < slab.span_m[1]:
                    across.append(slab)
    return across


def _bark_inclusion(case: _Case) -> Verdict:
    if _slabs_across_forks(case):
        return "warning", "slabs reach across the fork"
    if any(slab.figure_area_m2 for plan in case.plans for slab in plan.slabs):
        return "warning", "slabs hold the feather under the fork"
    return None


def _offcut_falls(case: _Case) -> Verdict:
    offcuts_kg = [piece.mass_kg for plan in case.plans for piece in plan.offcuts]
    waste_kg = [piece.mass_kg for plan in case.plans for piece in plan.waste]
    heaviest_kg = max(offcuts_kg + waste_kg, default=0.0)
    if heaviest_kg <= 0.0:
        return None
    return "warning", f"pieces that are not sold have up to {_mass(lift_kg(heaviest_kg))} (1.25 x their mean)"


def _loader_limit(case: _Case) -> Verdict:
    most = case.mill.loader_limit_kg
    if most is None:
        return None
    over = [
        f"{what} may have {_mass(lift)}"
        for what, lift in (("the log", case.log_lift_kg), ("the heaviest slab", case.slab_lift_kg))
        if lift > most
    ]
    return ("warning", f"{' and '.join(over)} (1.25 x the mean), the loader lifts {_mass(most)}") if over else None


def _lift_person(case: _Case) -> Verdict:
    heaviest = case.heaviest_slab
    if heaviest is None or case.slab_lift_kg <= PERSON_LIFT_KG:
        return None
    plan, slab = heaviest
    return "warning", (
        f"{_slab_of(plan, slab)} has a lift mass of {_mass(case.slab_lift_kg)} (1.25 x its mean); "
        f"one person's limit at best is {_mass(PERSON_LIFT_KG)}"
    )


def _lift_gear(case: _Case) -> Verdict:
    if not case.is_lifted_by_gear:
        return None
    heavy = [f"the log has a lift mass of {_mass(case.log_lift_kg)}"] if case.log_lift_kg > GEAR_LIFT_KG else []
    if case.heaviest_slab is not None and case.slab_lift_kg > GEAR_LIFT_KG:
        heavy.append(f"{_slab_of(*case.heaviest_slab)} has a lift mass of {_mass(case.slab_lift_kg)}")
    return "warning", f"{', '.join(heavy)} (1.25 x the mean), over {_mass(GEAR_LIFT_KG)}"


def _with_gear(level: Level, reason: str) -> Callable[[_Case], Verdict]:
    return lambda case: (level, reason) if case.is_lifted_by_gear else None


def _dust(case: _Case) -> Verdict:
    if case.is_of(STRONG_DUST):
        return "warning", f"the dust of this wood ({case.wood_name}) is among the worst"
    return "note", "sawing makes dust"


def _dust_allergy(case: _Case) -> Verdict:
    return ("warning", f"the wood is {case.wood_name}") if case.is_of(ALLERGY_DUST) else None


def _eab_ash(case: _Case) -> Verdict:
    if not case.wood_name.lower().startswith("ash"):
        return None
    return "warning", f"the wood is {case.wood_name}; rules as read in {RULES_READ}, check current rules"


def _insects_in_slab(case: _Case) -> Verdict:
    return ("note", "the bark is on") if case.log.bark else None


def _slab_of(plan: Plan, slab: Slab) -> str:
    return f"slab {slab.id} of {_named(plan)}"


def _named(plan: Plan) -> str:
    return f"plan {plan.rank}" if plan.rank else "the plain way"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


# In the order of the work: the log, its setting, the sawing, lifting what comes off, the wood.
_RULES: tuple[_Rule, ...] = (
    _Rule("log_too_heavy", _log_too_heavy, "Do not load this log whole. Shorten it, or take it to a larger mill."),
    _Rule("log_near_limit", _log_near_limit, "Weigh the log before it goes on the bed; it may be too heavy for it."),
    _Rule(
        "metal_find",
        _metal_find,
        "Sweep for metal before every pass, not only once: nails, wire and bullets hide deep, and broken blades fly.",
    ),
    _Rule(
        "metal_known",
        _metal_known,
        "Marked metal is in or near the cut. Dig it out, or leave that wood; check its place by a sweep first.",
    ),
    _Rule(
        "rotten_log",
        _rotten_log,
        "Hollow or shaken logs break under clamps and lifting. Do not rely on the wood to hold.",
    ),
    _Rule(
        "chainsaw",
        _chainsaw,
        "Crosscut with chain brake, helmet, eye, ear and leg protection and cut-resistant boots; never alone.",
    ),
    _Rule(
        "log_rolls",
        _log_rolls,
        "Chock the log on both sides before anybody steps near. Stand at an end, never downhill of it.",
    ),
    _Rule("tilted_log", _tilted_log, "Shims must be solid and wide, and kept from sliding: the log wants downhill."),
    _Rule(
        "log_clamped",
        _always("note", "the blade pulls at the log"),
        "Clamp the log so that no pass can lift or turn it, and see that the clamps are below the pass you make.",
    ),
    _Rule(
        "flip",
        _flip,
        "Turn the log with hook, winch or loader, everybody on one side: its flat face can drop suddenly.",
    ),
    _Rule(
        "fork_tension",
        _fork_tension,
        "A fork holds stored bend. Cut stubs from the slack side, keep wedges ready, expect the kerf to close.",
    ),
    _Rule("offcut_falls", _offcut_falls, "Rounded pieces slide and roll: hold them before the blade leaves the wood."),
    _Rule(
        "blade_guard",
        _always("note", "a blade runs"),
        "Guards on, hands out of the blade's path; let it stop before you reach in.",
    ),
    _Rule(
        "bystanders",
        _always("note", "a blade runs"),
        "Children, guests and pets stay out of the blade's plane and off the downhill side, behind a marked line.",
    ),
    _Rule("noise", _always("note", "a blade runs"), "Wear hearing protection."),
    _Rule(
        "dust",
        _dust,
        "Wood dust can cause cancer. Wear a fitted N95 mask or better while it flies, and do not blow it off.",
    ),
    _Rule(
        "spalt",
        _spalt,
        "Rotted wood holds moulds and spores: wear a P100 mask, work outdoors and keep the dust damp.",
    ),
    _Rule(
        "dust_allergy",
        _dust_allergy,
        "Sap and dust of this wood can redden the skin and tighten the breath; stop then, and see a doctor.",
    ),
    _Rule("loader_limit", _loader_limit, "Too heavy for the loader. Roll or winch it, or get a stronger machine."),
    _Rule("lift_person", _lift_person, "Too heavy for one person: use gear or more people."),
    _Rule(
        "lift_gear",
        _lift_gear,
        "Lift by machine. What the tag allows, after hitch and angle, must be at least the lift mass.",
    ),
    _Rule(
        "lift_margin",
        _with_gear("note", "the lift needs gear"),
        "The safety factor inside a rating is not yours: shock, wear, knots and angle eat it.",
    ),
    _Rule(
        "lift_angle",
        _with_gear("note", "the lift needs gear"),
        "With two sling legs or more, keep them steeper than 45 degrees; at 30 each leg carries the whole load.",
    ),
    _Rule(
        "under_load",
        _with_gear("warning", "the lift needs gear"),
        "Nobody under or beside a lifted load, or between it and something fixed.",
    ),
    _Rule(
        "bark_inclusion",
        _bark_inclusion,
        "A slab with a fork in it can split in two as you carry it. Hold both limbs, and strap across.",
    ),
    _Rule(
        "eab_ash",
        _eab_ash,
        "Moving ash logs, bark and firewood may be restricted because of the ash borer. Ask your state first.",
    ),
    _Rule(
        "insects_in_slab",
        _insects_in_slab,
        "Air drying kills no borers. Heat-treat slabs before they go indoors if holes or fresh powder show.",
    ),
)


def cautions_for(log: LogFound, mill: Mill, plans: Sequence[Plan], wood_name: str) -> tuple[Caution, ...]:
    """Return the cautions that show, by level (stop, warning, note), then by the order of the work.

    plans : all that are shown, the plain way too; each rule shows once, for the worst of them.
    wood_name : the table's name in lower case, or unknown.
    """
    case = _Case(log, mill, tuple(plans), wood_name)
    shown = []
    for rule in _RULES:
        verdict = rule.judge(case)
        if verdict is not None:
            level, reason = verdict
            shown.append(Caution(id=rule.id, level=level, line=rule.line, reason=reason))
    return tuple(sorted(shown, key=lambda caution: LEVELS.index(caution.level)))
