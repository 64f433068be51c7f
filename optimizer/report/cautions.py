"""What could hurt somebody: rules as data, each with its trigger, its line and the reason it shows.

A rule whose input is not known stays silent. Some hold for every log: where nothing of this log sets them off they
stand as rules that always hold. No rule changes the ranking. Thresholds are for lift mass (`loads`).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Caution, Holding, LogFound, Mark, Plan, PlanDocument, Slab
from optimizer.report.bunk_places import bunk_from_butt_m
from optimizer.report.caution_words import Level, Verdict, of_plan
from optimizer.report.loads import Load, bundle_kg, lift_kg, loads_of
from optimizer.report.metal_cautions import is_crosscut, metal_at_crosscuts, metal_known
from optimizer.stations.terms import REACH_SPARE_M
from scans.log import moved
from scans.messages import counted, long_length, mass, short_length
from scans.units import INCH_M

PLAN_LINE = (
    "This plan is geometry. Your equipment's manual, the law where you work and trained judgment at the log "
    "come first. Stop when they disagree with it."
)
"""Shown with every plan, once."""

PERSON_LIFT_KG = 23.0
"""Ideal-case limit of the NIOSH lifting equation, 51 lb (Publication 94-110)."""
GEAR_LIFT_KG = 50.0
"""Common practice, no source."""
NEAR_THROAT_M = 0.1
"""Stubs and flare may stand out so far (common practice, no source); a plan in doubt counts on less, `REACH_SPARE_M`,
as most passes meet none."""
RULES_READ = 2026
"""The year that the rules behind the cautions were read."""

MOST_LINES = 5
"""So many cautions stand with a plan; who reads more of them reads none (our own rule, no source)."""
LEAST_SHIM_M = INCH_M / 16.0
"""A lower shim is none: nobody can place it."""
LEAST_TILT_DEG = 0.05
"""A smaller tilt is told as 0.0 deg."""

_UNSOLD = ("first", "last", "waste")
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

    @cached_property
    def loads(self) -> list[Load]:
        """Of each kind of thing that is lifted the heaviest; the heaviest thing first."""
        return loads_of(self.log, self.mill, self.plans)

    def heavier_than(self, most_kg: float) -> list[Load]:
        """Return what may weigh more than somebody or something lifts."""
        return [load for load in self.loads if load.lift_kg > most_kg]

    @property
    def laid(self) -> Load:
        """What goes on the bed: the log, or the heaviest length that is crosscut from it."""
        return next(load for load in self.loads if load.kind == "log")

    @property
    def flips(self) -> bool:
        """Whether a plan turns the half-sawn log over."""
        return any(cut.flipped for plan in self.plans for cut in plan.passes)

    def marked(self, kind: str) -> list[Mark]:
        """Return the marks of a kind."""
        return [mark for mark in self.log.marks if mark.kind == kind]

    @property
    def highest_shim_m(self) -> float:
        return max((shim.height_m for plan in self.plans for shim in plan.placed()), default=0.0)

    @property
    def has_shims(self) -> bool:
        return self.highest_shim_m >= LEAST_SHIM_M

    def is_of(self, names: Sequence[str]) -> bool:
        return any(name in self.wood_name.lower() for name in names)


def _never(_: _Case) -> Verdict:
    return None


@dataclass(frozen=True)
class _Rule:
    """A caution, and when it shows.

    id : its name. judge : level and reason where this log or a plan of it sets it off, else None. line : what to do.
    holds_as : why it holds for every log, where nothing of this one sets it off; empty where it does not.
    """

    id: str
    judge: Callable[[_Case], Verdict]
    line: str
    holds_as: str = ""

    def shown(self, case: _Case) -> Caution | None:
        """Return the caution; None where it does not show."""
        verdict = self.judge(case)
        if verdict is not None:
            level, reason = verdict
            return Caution(id=self.id, level=level, line=self.line, reason=reason)
        if self.holds_as:
            return Caution(id=self.id, level="note", line=self.line, reason=self.holds_as, standing=True)
        return None


def _log_too_heavy(case: _Case) -> Verdict:
    most = case.mill.max_log_mass_kg
    if most is None or case.laid.mass_kg <= most:
        return None
    return "stop", f"{case.laid.name} weighs about {mass(case.laid.mass_kg)}; the mill takes {mass(most)}"


def _log_near_limit(case: _Case) -> Verdict:
    most = case.mill.max_log_mass_kg
    if most is None or case.laid.mass_kg > most or case.laid.lift_kg <= most:
        return None
    return (
        "warning",
        f"{case.laid.name} could weigh {mass(case.laid.lift_kg)}, 25% over the average; the mill takes {mass(most)}",
    )


def _metal_find(case: _Case) -> Verdict:
    metal = case.marked("metal")
    if not metal:
        return "warning", "no scan and no tape sees metal"
    return "warning", f"{counted(len(metal), 'piece')} of metal marked, and more may hide"


def _metal_known(case: _Case) -> Verdict:
    return metal_known(case.log, case.mill, case.plans)


def _metal_at_crosscuts(case: _Case) -> Verdict:
    return metal_at_crosscuts(case.log, case.mill, case.plans)


def _log_rolls(case: _Case) -> Verdict:
    reasons = []
    if any(plan.rests_by_itself is False for plan in case.plans):
        reasons.append("the log does not stay by itself as it is laid")
    if case.has_shims:
        reasons.append(f"shims or blocks up to {short_length(case.highest_shim_m)} stand under the log")
    if any(plan.roll_deg % 360.0 != 0.0 for plan in case.plans):
        reasons.append("the log is rolled before the first cut")
    if case.flips:
        reasons.append("the half-sawn log is flipped")
    return ("warning", ", ".join(reasons)) if reasons else None


def _shims(case: _Case) -> Verdict:
    return ("warning", f"shims or blocks up to {short_length(case.highest_shim_m)}") if case.has_shims else None


def _tilted_log(case: _Case) -> Verdict:
    tilt_deg = max((abs(plan.tilt_deg) for plan in case.plans), default=0.0)
    return ("warning", f"tilt up to {tilt_deg:.1f} deg") if tilt_deg >= LEAST_TILT_DEG else None


def _bundle(case: _Case) -> Verdict:
    bundles = [plan for plan in case.plans if len({slab.layer for slab in plan.slabs}) > 1]
    if not case.mill.slabs_stay_on or not bundles:
        return None
    plan = max(bundles, key=lambda plan: bundle_kg(case.mill, plan))
    bundle = lift_kg(bundle_kg(case.mill, plan))
    most = case.mill.loader_limit_kg
    limit = ""
    if most is not None:
        limit = f"; the loader lifts {mass(most)}, {'too little for it' if bundle > most else 'enough for it'}"
    return "warning", (
        f"sawn slabs stay on the log until the last cut, and the bundle{of_plan(plan, named=case.named)} could weigh "
        f"{mass(bundle)}, 25% over the average{limit}"
    )


def _log_overturns(case: _Case) -> Verdict:
    falls = [(plan, plan.overturning) for plan in case.plans if plan.overturning is not None]
    if not falls:
        return None
    plan, over = max(falls, key=lambda fall: np.inf if fall[1].outside_m is None else fall[1].outside_m)
    where = of_plan(plan, named=case.named)
    after = " after the flip" if over.flipped else ""
    if over.outside_m is None:
        return "stop", f"a cut{where}{after} leaves wood that nothing holds"
    when = "before the first cut" if over.blade_height_m is None else "once the log is partly sawn"
    block = over.holding
    held = (
        ""
        if block is None
        else f"; blocks {short_length(block.height_m)} high, {_place(case.mill, plan, block)}, would hold it"
    )
    far = _outside_text(over.outside_m)
    if case.mill.clamps_hold:
        return "warning", f"{when}{after}{where} {far}; the clamps alone hold it"
    return "stop", f"{when}{after}{where} {far}{held}"


def _outside_text(outside_m: float) -> str:
    if outside_m > 0.0:
        return f"its weight lies {short_length(outside_m)} outside what it rests on"
    return f"its weight lies only {short_length(-outside_m)} inside the edge of what it rests on"


def _place(mill: Mill, plan: Plan, block: Holding) -> str:
    """Say where blocks go: how far from the butt, and to which side, seen from there."""
    from_butt_m, side = bunk_from_butt_m(mill, plan, block.x_m), "left" if block.y_m > 0.0 else "right"
    return f"{long_length(from_butt_m)} from the butt, {short_length(abs(block.y_m))} {side} of center"


def _flip(case: _Case) -> Verdict:
    return ("warning", "cuts follow a flip") if case.flips else None


def _near_throat(case: _Case) -> Verdict:
    passes = [(cut.reach_m, cut.order, plan) for plan in case.plans for cut in plan.passes]
    reach_m, order, plan = max(passes, key=lambda found: found[0], default=(0.0, 0, None))
    if plan is None or reach_m <= case.mill.throat_m - NEAR_THROAT_M:
        return None
    reason = (
        f"cut {order}{of_plan(plan, named=case.named)} spans {short_length(reach_m)} of the throat's "
        f"{short_length(case.mill.throat_m)}"
    )
    if reach_m <= case.mill.throat_m - REACH_SPARE_M:
        return "note", reason
    return "warning", f"{reason}: a bump that was not measured stops it"


def _chainsaw(case: _Case) -> Verdict:
    if any(is_crosscut(case.log, plan) for plan in case.plans):
        return "warning", "the log is bucked before it goes on the bed"
    return ("warning", "stubs are trimmed before the log goes on the bed") if _near_throat(case) else None


def _rotten_log(case: _Case) -> Verdict:
    # A crack may be a check of drying or a shake that lets go; rot is weak for certain.
    rot, cracks = case.marked("rot"), case.marked("crack")
    if rot:
        return "warning", f"{counted(len(rot), 'place')} of rot marked"
    return ("note", f"{counted(len(cracks), 'crack')} marked") if cracks else None


def _spalt(case: _Case) -> Verdict:
    return ("warning", "rot is marked") if case.marked("rot") else None


def _fork_tension(case: _Case) -> Verdict:
    return ("warning", f"the log divides in {counted(len(case.log.forks), 'place')}") if case.log.forks else None


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
        return "warning", "slabs reach across the crotch"
    if any(slab.figure_area_m2 for plan in case.plans for slab in plan.slabs):
        return "warning", "slabs hold crotch figure"
    return None


def _offcut_falls(case: _Case) -> Verdict:
    unsold = [load for load in case.loads if load.kind in _UNSOLD and load.lift_kg > 0.0]
    return ("warning", f"{unsold[0].said}, 25% over the average") if unsold else None


def _loader_limit(case: _Case) -> Verdict:
    most = case.mill.loader_limit_kg
    over = [] if most is None else case.heavier_than(most)
    if most is None or not over:
        return None
    return "warning", f"{_all_said(over)}; the loader lifts {mass(most)}"


def _lift_person(case: _Case) -> Verdict:
    # A log is rolled onto the bed; nobody carries it.
    carried = [load for load in case.heavier_than(PERSON_LIFT_KG) if load.kind != "log"]
    if not carried:
        return None
    return "warning", f"{_all_said(carried)}; one person's limit at best is {mass(PERSON_LIFT_KG)}"


def _lift_gear(case: _Case) -> Verdict:
    heavy = case.heavier_than(GEAR_LIFT_KG)
    return ("warning", f"{_all_said(heavy)}; over {mass(GEAR_LIFT_KG)}") if heavy else None


def _all_said(loads: Sequence[Load]) -> str:
    return f"{', '.join(load.said for load in loads)}, 25% over the average"


def _dust(case: _Case) -> Verdict:
    if not case.is_of(STRONG_DUST):
        return None
    return "warning", f"the dust of this wood ({case.wood_name}) is among the worst"


def _dust_allergy(case: _Case) -> Verdict:
    return ("warning", f"the wood is {case.wood_name}") if case.is_of(ALLERGY_DUST) else None


def _eab_ash(case: _Case) -> Verdict:
    if not case.wood_name.lower().startswith("ash"):
        return None
    return "warning", f"the wood is {case.wood_name}; rules as read in {RULES_READ}, check current rules"


def _insects_in_slab(case: _Case) -> Verdict:
    return ("note", "the bark is on") if case.log.bark else None


# Within a level the first are shown before the others: what this log's own shape and weight set off, and can kill,
# before what most logs set off. At the end, what only holds for every log.
_RULES: tuple[_Rule, ...] = (
    _Rule("log_too_heavy", _log_too_heavy, "Do not load this log whole. Shorten it, or take it to a bigger mill."),
    # Shown with every plan, first of the warnings: nothing that a plan is made from tells of metal.
    _Rule(
        "metal_find",
        _metal_find,
        "Sweep for metal before every cut, not only once. Nails, wire and bullets hide deep, and broken blades fly.",
    ),
    _Rule(
        "log_overturns",
        _log_overturns,
        "The log will turn over on the bed in this setup. Do not saw it so. Set blocks under it, or use another setup.",
    ),
    _Rule(
        "metal_known",
        _metal_known,
        "Marked metal is in or near the cut. Dig it out, or leave that wood. Find it again with a detector first.",
    ),
    _Rule(
        "crosscut_metal",
        _metal_at_crosscuts,
        "Marked metal is in or near where you buck the log. Dig it out first, or buck somewhere else and plan again.",
    ),
    _Rule("log_near_limit", _log_near_limit, "Weigh the log before it goes on the bed. It may be too heavy for it."),
    _Rule(
        "rotten_log",
        _rotten_log,
        "A hollow or cracked log can break under clamps and when lifted. Do not trust the wood to hold.",
    ),
    # Compression side first, about a third, tension side last: chain saw guides and manuals (seen); USDA Forest
    # Service 0667-2805-MTDC is the course text (title seen only). From the relaxed side alone the bar is pinched.
    _Rule(
        "fork_tension",
        _fork_tension,
        "A crotch holds stored bend. To cut off a limb or a stub, cut about a third of the way through on the side "
        "that is squeezed, then finish from the side that is stretched. Stand clear of where it will spring, and keep "
        "wedges ready. Leave this cut to somebody trained for it.",
    ),
    _Rule(
        "near_throat",
        _near_throat,
        "Look for stubs and flare all around the log, underneath too, and trim them flush before it goes on the bed. "
        "Chock the log when you roll it to reach them. Stop the feed if wood comes near a guide.",
    ),
    _Rule(
        "loader_limit", _loader_limit, "This is too heavy for the loader. Roll or winch it, or use a bigger machine."
    ),
    _Rule(
        "lift_gear",
        _lift_gear,
        "Lift by machine. The sling's tag rating, for your hitch and angle, must cover the lift weight.",
    ),
    # The chock: a wedge that keeps logs or loads from moving, 29 CFR 1910.265(b)(11). Where to stand: practice.
    _Rule(
        "log_rolls",
        _log_rolls,
        "Chock the log on both sides before anybody steps near it. Stand at an end, never downhill of it.",
        holds_as="a log is round",
    ),
    _Rule(
        "flip",
        _flip,
        "Turn the log with a hook, winch or loader, everybody on one side. Its flat face can drop suddenly.",
    ),
    # Common practice, no source.
    _Rule(
        "bundle",
        _bundle,
        "Slabs that stay on the log can slide off together. Strap the bundle before you move it, and stand at an end "
        "when you let a strap go. If it is too heavy for the loader, take the slabs off one at a time.",
    ),
    _Rule("shims", _shims, "Use solid, wide shims and blocks, and keep them from sliding."),
    _Rule("tilted_log", _tilted_log, "The log will want to slide downhill. Block its low end."),
    _Rule(
        "bark_inclusion",
        _bark_inclusion,
        "A slab with a crotch in it can split in two as you carry it. Hold both limbs, and strap across.",
    ),
    _Rule(
        "chainsaw",
        _chainsaw,
        "Use a chainsaw with a chain brake. Wear a helmet, eye, ear and leg protection and cut-resistant boots. Never "
        "work alone.",
    ),
    _Rule("lift_person", _lift_person, "Too heavy for one person: use gear or more people."),
    _Rule("offcut_falls", _offcut_falls, "Round pieces slide and roll. Hold them before the blade leaves the wood."),
    _Rule(
        "spalt",
        _spalt,
        "Rotted wood holds mold and spores. Wear a P100 mask, work outdoors and keep the dust damp.",
    ),
    _Rule(
        "dust",
        _dust,
        "Wood dust can cause cancer. Wear a fitted N95 mask or better while it flies, and do not blow it off.",
        holds_as="sawing makes dust",
    ),
    _Rule(
        "dust_allergy",
        _dust_allergy,
        "Sap and dust of this wood can cause rash and trouble breathing. If so, stop and see a doctor.",
    ),
    _Rule(
        "eab_ash",
        _eab_ash,
        "Your state may restrict moving ash logs, bark and firewood because of the ash borer. Ask first.",
    ),
    _Rule(
        "insects_in_slab",
        _insects_in_slab,
        "Air drying does not kill borers. Heat-treat slabs before they go indoors if holes or fresh powder show.",
    ),
    _Rule(
        "log_clamped",
        _never,
        "Clamp the log so that no cut can lift or turn it. Check that the clamps are below the cut you make.",
        holds_as="the blade pulls at the log",
    ),
    _Rule(
        "blade_guard",
        _never,
        "Keep guards on and hands out of the blade's path. Let the blade stop before you reach in.",
        holds_as="a blade runs",
    ),
    # Isolate energy before servicing, relieve stored energy: 29 CFR 1910.147 (seen).
    _Rule(
        "lockout",
        _never,
        "Before your hands come near the blade: engine off, key or plug out and locked, blade still. Wear gloves for a "
        "coiled blade; it springs.",
        holds_as="a blade is changed and cleaned",
    ),
    _Rule(
        "bystanders",
        _never,
        "Keep children, guests and pets out of the blade's plane, off the downhill side, and behind a marked line.",
        holds_as="a blade runs",
    ),
    _Rule("noise", _never, "Wear hearing protection.", holds_as="a blade runs"),
    # Everybody in the clear before a log is moved by a line: 29 CFR 1910.266(h)(5) (from memory). How a line or strap
    # flies when it parts: common practice, no source.
    _Rule(
        "line_snaps",
        _never,
        "A winch line or strap that breaks flies back along its pull. Before it takes the load, stand clear of that "
        "line, of both its ends and of the inside of any bend.",
        holds_as="lines and straps break",
    ),
    _Rule(
        "under_load",
        _never,
        "Stay clear of a lifted load: not under it, not beside it, not between it and anything solid.",
        holds_as="logs and slabs are lifted",
    ),
    _Rule(
        "lift_margin",
        _never,
        "Don't count on the safety factor in a sling's rating. Shock, wear, knots and angle use it up.",
        holds_as="logs and slabs are lifted",
    ),
    _Rule(
        "lift_angle",
        _never,
        "With two sling legs or more, keep them steeper than 45 degrees. At 30 each leg carries the whole load.",
        holds_as="logs and slabs are lifted",
    ),
)


def cautions_of(document: PlanDocument, plan: Plan) -> tuple[Caution, ...]:
    """Return the cautions of one way of a document, and of its log: what to show beside that way alone."""
    return cautions_for(document.log, document.mill, [plan], document.wood.name)


def cautions_for(log: LogFound, mill: Mill, plans: Sequence[Plan], wood_name: str) -> tuple[Caution, ...]:
    """Return the cautions that show, by level (stop, warning, note); at the end the rules that always hold.

    plans : those that are judged together: the ranked plans of a document, or one way alone. Each rule shows once, for
    the worst of them.
    wood_name : the table's name in lower case, or unknown.
    """
    case = _Case(log, mill, tuple(plans), wood_name)
    shown = [caution for caution in (rule.shown(case) for rule in _RULES) if caution is not None]
    return tuple(sorted(shown, key=lambda caution: (caution.standing, LEVELS.index(caution.level))))


@dataclass(frozen=True)
class CautionsShown:
    """Cautions as they are shown.

    with_plan : what this log and its plan call for most, MOST_LINES at most, but for stops and the sweep for metal,
    the first warning, which all stand there.
    more : what they call for besides. standing : rules that always hold.
    """

    with_plan: tuple[Caution, ...]
    more: tuple[Caution, ...]
    standing: tuple[Caution, ...]


def as_shown(cautions: Sequence[Caution]) -> CautionsShown:
    """Part a document's cautions by where they are shown. cautions : in the order of `cautions_for`."""
    called_for = [caution for caution in cautions if not caution.standing]
    stops = sum(caution.level == "stop" for caution in called_for)
    most = max(MOST_LINES, stops + 1)
    standing = tuple(caution for caution in cautions if caution.standing)
    return CautionsShown(tuple(called_for[:most]), tuple(called_for[most:]), standing)
