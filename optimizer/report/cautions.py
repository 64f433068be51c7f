"""What could hurt somebody: rules as data, each with its trigger, its line and the reason it shows.

A rule whose input is not known stays silent; only the sweep for metal always shows. No rule changes the
ranking. Thresholds are for lift mass, 1.25 x the mean of the species (about 1.8 standard deviations, as
gravity and moisture vary by about 14 % together; the 1.25 is common practice, no source).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Caution, LogFound, Mark, Plan, PlanDocument, Slab
from optimizer.report.caution_words import Level, Verdict, count_text, of_plan, slab_name
from optimizer.report.metal_cautions import is_crosscut, metal_at_crosscuts, metal_known
from optimizer.stations.terms import REACH_SPARE_M
from scans.log import moved
from scans.messages import mass, short_length

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
NEAR_THROAT_M = 0.1
"""Stubs and flare may stand out so far (common practice, no source); a plan in doubt counts on less, `REACH_SPARE_M`,
as most passes meet none."""
RULES_READ = 2026
"""The year that the rules behind the cautions were read."""

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
    def named(self) -> bool:
        """Whether a reason says of which plan it is: one alone needs no name."""
        return len(self.plans) > 1

    @property
    def heaviest_slab(self) -> tuple[Plan, Slab] | None:
        slabs = [(plan, slab) for plan in self.plans for slab in plan.slabs]
        return max(slabs, key=lambda pair: pair[1].mass_kg) if slabs else None

    @property
    def slab_lift_kg(self) -> float:
        heaviest = self.heaviest_slab
        return LIFT_FACTOR * heaviest[1].mass_kg if heaviest else 0.0

    @property
    def unsold_lift_kg(self) -> float:
        """Lift mass of the heaviest offcut or waste. [kg]."""
        offcuts_kg = [piece.mass_kg for plan in self.plans for piece in plan.offcuts]
        waste_kg = [piece.mass_kg for plan in self.plans for piece in plan.waste]
        return LIFT_FACTOR * max(offcuts_kg + waste_kg, default=0.0)

    @property
    def laid_lift_kg(self) -> float:
        return LIFT_FACTOR * self.laid_kg

    @property
    def laid_name(self) -> str:
        """What goes on the bed: the log, or what is crosscut from it."""
        heaviest = max(self.plans, key=self._stretch_kg, default=None)
        return "the log" if heaviest is None or not is_crosscut(self.log, heaviest) else "the length for the bed"

    @property
    def laid_kg(self) -> float:
        """Mass of what goes on the bed, bark too: the heaviest of the plans' stretches. [kg]."""
        return max((self._stretch_kg(plan) for plan in self.plans), default=self.log.mass_kg)

    def _stretch_kg(self, plan: Plan) -> float:
        if not is_crosscut(self.log, plan):
            return self.log.mass_kg
        # Slabs, waste, offcuts and kerf are all the wood of the stretch; its bark has the same share of the log's.
        wood_m3 = plan.kerf_volume_m3 + sum(slab.volume_m3 for slab in plan.slabs)
        wood_m3 += sum(waste.volume_m3 for waste in plan.waste) + sum(offcut.volume_m3 for offcut in plan.offcuts)
        return self.log.mass_kg * min(wood_m3 / self.log.volume_m3, 1.0)

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
        return max(self.slab_lift_kg, self.laid_lift_kg) > GEAR_LIFT_KG

    def is_of(self, names: Sequence[str]) -> bool:
        return any(name in self.wood_name.lower() for name in names)


@dataclass(frozen=True)
class _Rule:
    """id : its name. judge : level and reason where it shows, else None. line : what to do."""

    id: str
    judge: Callable[[_Case], Verdict]
    line: str


def lift_kg(mass_kg: float) -> float:
    """Return the mass to plan lifting on. [kg]."""
    return LIFT_FACTOR * mass_kg


def _always(level: Level, reason: str) -> Callable[[_Case], Verdict]:
    return lambda _: (level, reason)


def _log_too_heavy(case: _Case) -> Verdict:
    most = case.mill.max_log_mass_kg
    if most is None or case.laid_kg <= most:
        return None
    return "stop", f"{case.laid_name} has {mass(case.laid_kg)}, the mill bears {mass(most)}"


def _log_near_limit(case: _Case) -> Verdict:
    most = case.mill.max_log_mass_kg
    may_be_kg = lift_kg(case.laid_kg)
    if most is None or case.laid_kg > most or may_be_kg <= most:
        return None
    return (
        "warning",
        f"{case.laid_name} may have up to {mass(may_be_kg)}, 1.25 x its mean; the mill bears {mass(most)}",
    )


def _metal_find(case: _Case) -> Verdict:
    metal = case.marked("metal")
    if metal:
        return (
            "warning",
            f"{count_text(len(metal), 'piece')} of metal marked, and more may hide; no scan and no tape sees it",
        )
    return "warning", "no scan and no tape sees metal"


def _metal_known(case: _Case) -> Verdict:
    return metal_known(case.log, case.mill, case.plans)


def _metal_at_crosscuts(case: _Case) -> Verdict:
    return metal_at_crosscuts(case.log, case.mill, case.plans)


def _log_rolls(case: _Case) -> Verdict:
    reasons = []
    if any(plan.rests_by_itself is False for plan in case.plans):
        reasons.append("the log does not stay by itself as it is laid")
    if case.highest_shim_m > 0.0:
        reasons.append(f"shims up to {short_length(case.highest_shim_m)} stand under the log")
    if any(plan.roll_deg % 360.0 != 0.0 for plan in case.plans):
        reasons.append("the log is rolled before the first pass")
    if case.flips:
        reasons.append("the half-sawn log is flipped")
    return ("warning", ", ".join(reasons)) if reasons else ("note", "a log is round")


def _tilted_log(case: _Case) -> Verdict:
    tilt_deg = max((abs(plan.tilt_deg) for plan in case.plans), default=0.0)
    if tilt_deg == 0.0 and case.highest_shim_m == 0.0:
        return None
    return "warning", f"tilt up to {tilt_deg:.1f} deg, shims up to {short_length(case.highest_shim_m)}"


def _log_overturns(case: _Case) -> Verdict:
    falls = [(plan, plan.overturning) for plan in case.plans if plan.overturning is not None]
    if not falls:
        return None
    plan, over = max(falls, key=lambda fall: np.inf if fall[1].outside_m is None else fall[1].outside_m)
    when = "before the first pass" if over.blade_height_m is None else "once a pass is made"
    when = f"{when} after the flip" if over.flipped else when
    far = "nothing holds a part of it" if over.outside_m is None else _outside_text(over.outside_m)
    block = over.holding
    held = "" if block is None else f"; blocks {short_length(block.height_m)} tall would hold it"
    return "warning" if case.mill.clamps_hold else "stop", f"{when}{of_plan(plan, named=case.named)} {far}{held}"


def _outside_text(outside_m: float) -> str:
    if outside_m > 0.0:
        return f"its weight acts {short_length(outside_m)} outside what holds it"
    return f"its weight acts only {short_length(-outside_m)} inside the edge of what holds it"


def _flip(case: _Case) -> Verdict:
    return ("warning", "passes follow a flip") if case.flips else None


def _near_throat(case: _Case) -> Verdict:
    passes = [(cut.reach_m, cut.order, plan) for plan in case.plans for cut in plan.passes]
    reach_m, order, plan = max(passes, key=lambda found: found[0], default=(0.0, 0, None))
    if plan is None or reach_m <= case.mill.throat_m - NEAR_THROAT_M:
        return None
    reason = (
        f"pass {order}{of_plan(plan, named=case.named)} spans {short_length(reach_m)} of the throat's "
        f"{short_length(case.mill.throat_m)}"
    )
    if reach_m <= case.mill.throat_m - REACH_SPARE_M:
        return "note", reason
    return "warning", f"{reason}: a bump that was not measured stops it"


def _chainsaw(case: _Case) -> Verdict:
    if any(is_crosscut(case.log, plan) for plan in case.plans):
        return "warning", "the log is crosscut before it goes on the bed"
    return ("warning", "stubs are trimmed before the log goes on the bed") if _near_throat(case) else None


def _rotten_log(case: _Case) -> Verdict:
    # A crack may be a check of drying or a shake that lets go; rot is weak for certain.
    rot, cracks = case.marked("rot"), case.marked("crack")
    if rot:
        return "warning", f"{count_text(len(rot), 'place')} of rot marked"
    return ("note", f"{count_text(len(cracks), 'crack')} marked") if cracks else None


def _spalt(case: _Case) -> Verdict:
    return ("warning", "rot is marked") if case.marked("rot") else None


def _fork_tension(case: _Case) -> Verdict:
    return ("warning", f"the log divides in {count_text(len(case.log.forks), 'place')}") if case.log.forks else None


def _slabs_across_forks(case: _Case) -> list[Slab]:
    across = []
    for plan in case.plans:
        for fork in case.log.forks:
            for slab in plan.slabs:
                matrix = plan.flipped_log_to_bed if slab.flipped else plan.log_to_bed
                crotch_x_m = float(moved(np.array(fork.crotch_m), np.array(matrix))[0])
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
    if case.unsold_lift_kg <= 0.0:
        return None
    return "warning", f"pieces that are not sold have up to {mass(case.unsold_lift_kg)}, 1.25 x their mean"


def _loader_limit(case: _Case) -> Verdict:
    most = case.mill.loader_limit_kg
    if most is None:
        return None
    over = [
        f"{what} may have {mass(lift)}"
        for what, lift in (
            (case.laid_name, case.laid_lift_kg),
            ("the heaviest slab", case.slab_lift_kg),
            ("the heaviest piece that is not sold", case.unsold_lift_kg),
        )
        if lift > most
    ]
    return ("warning", f"{' and '.join(over)}, 1.25 x the mean; the loader lifts {mass(most)}") if over else None


def _lift_person(case: _Case) -> Verdict:
    heaviest = case.heaviest_slab
    if heaviest is None or case.slab_lift_kg <= PERSON_LIFT_KG:
        return None
    plan, slab = heaviest
    return "warning", (
        f"{slab_name(plan, slab, named=case.named)} has a lift mass of {mass(case.slab_lift_kg)}"
        f", 1.25 x its mean; one person's limit at best is {mass(PERSON_LIFT_KG)}"
    )


def _lift_gear(case: _Case) -> Verdict:
    if not case.is_lifted_by_gear:
        return None
    heavy = (
        [f"{case.laid_name} has a lift mass of {mass(case.laid_lift_kg)}"] if case.laid_lift_kg > GEAR_LIFT_KG else []
    )
    if case.heaviest_slab is not None and case.slab_lift_kg > GEAR_LIFT_KG:
        heavy.append(f"{slab_name(*case.heaviest_slab, named=case.named)} has a lift mass of {mass(case.slab_lift_kg)}")
    return "warning", f"{', '.join(heavy)}, over {mass(GEAR_LIFT_KG)}; lift mass is 1.25 x the mean"


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
        "near_throat",
        _near_throat,
        "Look for stubs and flare all round, underneath too. Roll and chock the log to reach them, and trim them flush "
        "before it goes on the bed. Stop the feed where wood comes near a guide.",
    ),
    _Rule(
        "chainsaw",
        _chainsaw,
        "Use a chainsaw with chain brake, helmet, eye, ear and leg protection and cut-resistant boots; never alone.",
    ),
    _Rule(
        "crosscut_metal",
        _metal_at_crosscuts,
        "Marked metal is in or near a crosscut. Dig it out first, or crosscut elsewhere and plan that length anew.",
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
    _Rule(
        "log_overturns",
        _log_overturns,
        "The log does not stand so: it turns over on its supports. Set more blocks, or lay it another way.",
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


def cautions_of(document: PlanDocument, plan: Plan) -> tuple[Caution, ...]:
    """Return the cautions of one way of a document, and of its log: what to show beside that way alone."""
    return cautions_for(document.log, document.mill, [plan], document.wood.name)


def cautions_for(log: LogFound, mill: Mill, plans: Sequence[Plan], wood_name: str) -> tuple[Caution, ...]:
    """Return the cautions that show, by level (stop, warning, note), then by the order of the work.

    plans : those that are judged together: the ranked plans of a document, or one way alone. Each rule shows once, for
    the worst of them.
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
