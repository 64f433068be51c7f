"""My way: a lay and passes that somebody chose, priced like any plan; or the rest planned from passes made."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np
from scipy.optimize import brentq

from optimizer.bed.lay import STEEPEST_TILT_DEG
from optimizer.bed.pricing import Priced
from optimizer.bed.sawn_layers import cut_meets
from optimizer.documents.prices import MenuEntry
from optimizer.problem import Problem
from optimizer.search.no_plan import NoPlanError
from optimizer.standing.rolled import Rolled
from optimizer.stations.ruled_passes import best_ruled_cuts
from optimizer.stations.rules import Rules
from scans.log import FloatArray
from scans.messages import Note, Refusal, exact_length, long_length, named, short_length

SHIM_TOLERANCE_M = 0.003
"""Shims that differ from the gaps by less than this are as given: about 1/8 in."""
TILT_STRIDE_DEG = 1.0
HEIGHT_TOLERANCE_M = 0.0002
MOST_SHIM_M = 2.0
"""Nobody puts a log so high; it is a slip."""
MOST_HEIGHT_M = 10.0
"""No log stands so high; it is a slip."""


class GivenError(Refusal):
    """A way that contradicts itself."""


@dataclass(frozen=True)
class FaceSeen:
    """A face as it was found: of which pass, from 1; its widest place and its length. [m]."""

    order: int
    width_m: float
    length_m: float


@dataclass(frozen=True)
class Given:
    """What somebody chose.

    roll_deg : clockwise seen from the butt. shim_butt_m, shim_top_m : what stands under the two ends. [m]
    heights_m : blade heights above the bunks, from the top down. [m]
    made : how many of them are made already, the rest to be planned; None: these are all.
    seen : faces as found. They count in doubt alone.
    stretch_m : of a log longer than the bed, from where to where along it lies on the bed. [m]
    buck_at : what is bucked, and where: of "butt" and "stem" from the butt end, of "limb_1" past the crotch. [m]
    """

    roll_deg: float
    shim_butt_m: float
    shim_top_m: float
    heights_m: tuple[float, ...]
    made: int | None = None
    seen: tuple[FaceSeen, ...] = ()
    stretch_m: tuple[float, float] | None = None
    buck_at: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        if not self.heights_m:
            raise GivenError(f"{named('heights')} must hold at least one blade height, got none", field="heights")
        if self.made is not None and not 1 <= self.made <= len(self.heights_m):
            raise GivenError(
                f"{named('made')} must lie in 1 to {len(self.heights_m)}, the heights given, got {self.made}",
                field="made",
            )
        for height_m in self.heights_m:
            if not 0.0 <= height_m <= MOST_HEIGHT_M:
                raise GivenError(
                    f"{named('heights')} must lie in 0 to {long_length(MOST_HEIGHT_M)} above the bunks, got "
                    f"{exact_length(height_m)}",
                    "check the number and its unit",
                    field="heights",
                )
        for above, below in pairwise(self.heights_m):
            if below >= above:
                raise GivenError(
                    f"{named('heights')} must fall from cut to cut, got {exact_length(below)} after "
                    f"{exact_length(above)}",
                    field="heights",
                )
        for name, shim_m in (("shim_butt", self.shim_butt_m), ("shim_top", self.shim_top_m)):
            if not 0.0 <= shim_m <= MOST_SHIM_M:
                raise GivenError(
                    f"{named(name)} must lie in 0 to {long_length(MOST_SHIM_M)}, got {long_length(shim_m)}", field=name
                )


def tilt_of_shims_deg(rolled: Rolled, shim_butt_m: float, shim_top_m: float) -> float:
    """Return the tilt at which the lowest gaps of the butt and the top third differ as the shims do. [deg].

    Where there are several, the nearest to the resting tilt.
    """

    def off(tilt_deg: float) -> float:
        butt_m, top_m = rolled.gaps_m(tilt_deg)
        return (butt_m - top_m) - (shim_butt_m - shim_top_m)

    before_deg = rolled.resting_tilt_deg
    if shim_butt_m == shim_top_m:
        return before_deg
    # The more the top end is raised, the smaller the gap at the butt.
    stride_deg = TILT_STRIDE_DEG if shim_top_m > shim_butt_m else -TILT_STRIDE_DEG
    while abs(before_deg) < STEEPEST_TILT_DEG:
        tilt_deg = before_deg + stride_deg
        after_m = off(tilt_deg)
        if not np.isfinite(after_m):
            break
        if after_m * stride_deg <= 0.0:
            return float(brentq(off, before_deg, tilt_deg, xtol=1e-10))
        before_deg = tilt_deg
    raise GivenError("the shims differ by more than any lay of this log can; give smaller ones")


def price_given(problem: Problem, given: Given) -> tuple[Priced, tuple[Note, ...]]:
    """Price a chosen way, or plan on from the passes made; return it with what the user should know.

    It is priced even where the log does not stand so (Problem.standing tells), but the rest is planned so that it does.
    Raises NoPlanError where the mill cannot take the lay or make a pass that is still to come.
    """
    notes: list[Note] = []
    rolled = problem.supports.turned(given.roll_deg % 360.0)
    tilt_deg = tilt_of_shims_deg(rolled, given.shim_butt_m, given.shim_top_m)
    _check_lay(problem, rolled, tilt_deg)
    for name, shim_m, gap_m in zip(
        ("butt", "top"), (given.shim_butt_m, given.shim_top_m), rolled.gaps_m(tilt_deg), strict=True
    ):
        if abs(shim_m - gap_m) > SHIM_TOLERANCE_M:
            notes.append(
                Note(
                    "shims_misfit",
                    f"With these shims the gap under the {name} third is {short_length(gap_m)}, not "
                    f"{short_length(shim_m)}: the shims will not fit as given.",
                    bears_on_plan=True,
                )
            )
    rows = _rows(problem, given, notes)
    lay = rolled.lay(tilt_deg)
    if given.made is None:
        _check_passes(problem, rolled, tilt_deg, rows)
        priced = problem.price_rows(lay, rows, _best_uses(problem, rolled, tilt_deg, rows))
        return problem.as_it_stands(priced), tuple(notes)
    made = rows[: given.made]
    if len(rows) > len(made):
        notes.append(_planned_anew(given.made, len(rows) - len(made)))
    table = problem.table(problem.fine, rolled, tilt_deg, exact=True, must_stand=rolled.stands(tilt_deg))
    here = made[-1] - table.lowest_row
    if not 0 <= here < len(table.possible):
        raise NoPlanError(
            f"the last cut made, at {exact_length(given.heights_m[given.made - 1])}, does not meet the log",
            f"check {named('heights')} and {named('made')}",
            field="heights",
        )
    before = _best_uses(problem, rolled, tilt_deg, made)
    rest = best_ruled_cuts(table, problem.terms, rules_after(problem, before), start_row=here)
    priced = problem.price_rows(
        lay,
        [*made, *rest.rows[1:]],
        [*before, *problem.menu_entries(rest.entries)],
        rest.flipped_rows,
        problem.menu_entries(rest.flipped_entries),
    )
    return problem.as_it_stands(priced), tuple(notes)


def rules_after(problem: Problem, sawn: Sequence[MenuEntry | None]) -> Rules:
    """Return the rules for the rest, where layers are sawn already: their thicknesses count."""
    entries = [problem.menu.index(entry) for entry in sawn if entry is not None]
    return replace(problem.rules, sawn=frozenset(entries))


def _planned_anew(made: int, left: int) -> Note:
    after = "cut" if made == 1 else f"{made} cuts"
    what, verb = ("height", "is") if left == 1 else ("heights", "are")
    return Note("planned_anew", f"The {what} after the {after} made {verb} planned anew.", bears_on_plan=True)


def _check_lay(problem: Problem, rolled: Rolled, tilt_deg: float) -> None:
    posts_m = problem.mill.between_posts_m
    if posts_m is not None and rolled.width_m > posts_m:
        raise NoPlanError(
            f"rolled so, the log is {short_length(rolled.width_m)} wide, {short_length(rolled.width_m - posts_m)} over "
            f"{named('between_posts')}",
            "roll it another way",
            field="roll_deg",
        )
    gap_m, highest_m = max(rolled.gaps_m(tilt_deg)), problem.supports.rules.highest_m
    if gap_m > highest_m + SHIM_TOLERANCE_M:
        raise NoPlanError(
            f"blocks of {short_length(gap_m)} are needed, {short_length(gap_m - highest_m)} more than "
            f"{named('max_prop')}, {short_length(highest_m)}",
            "give smaller shims, or another roll",
            field="shim_butt",
        )


def _rows(problem: Problem, given: Given, notes: list[Note]) -> list[int]:
    step_m = problem.mill.height_step_m
    rows = [round(height_m / step_m) for height_m in given.heights_m]
    for row, height_m in zip(rows, given.heights_m, strict=True):
        if abs(row * step_m - height_m) > HEIGHT_TOLERANCE_M:
            notes.append(
                Note(
                    "height_rounded",
                    f"{exact_length(height_m)} is no whole number of height steps: taken as "
                    f"{exact_length(row * step_m)}.",
                    bears_on_plan=True,
                )
            )
    least = problem.terms.kerf_m / step_m
    for above, below in pairwise(rows):
        if above - below <= least + 1e-9:
            here = f"{exact_length(above * step_m)} and {exact_length(below * step_m)}"
            raise GivenError(
                f"two cuts at {here} leave no wood between them", "give each its own height", field="heights"
            )
    return rows


def _check_passes(problem: Problem, rolled: Rolled, tilt_deg: float, rows: list[int]) -> None:
    mill, step_m = problem.mill, problem.mill.height_step_m
    lay, height_m = rolled.lay(tilt_deg), rolled.height_m(tilt_deg)
    forbidden_m = problem.forbidden_m(lay)
    bed = problem.bodies.on_bed(lay)
    for number, row in enumerate(rows, start=1):
        at_m = row * step_m
        where = f"cut {number} at {exact_length(at_m)}"
        reach_m = problem.pricer.price_pass(bed, row).reach_m
        if reach_m == 0.0:
            raise GivenError(
                f"{where} does not meet the log, whose top is at {short_length(height_m)}",
                "give heights on the log",
                field="heights",
            )
        if reach_m > mill.throat_m:
            raise NoPlanError(
                f"{where} reaches across {short_length(reach_m)}, {short_length(reach_m - mill.throat_m)} more than "
                f"{named('throat')}",
                f"roll the log{', cut off a limb' if problem.log.forks else ''}, or saw higher",
                field="heights",
            )
        if at_m < mill.lowest_blade_m - 1e-9:
            raise NoPlanError(
                f"{where} is under {named('lowest_blade')}, {exact_length(mill.lowest_blade_m)}",
                "stay above it",
                field="heights",
            )
        if mill.highest_blade_m is not None and at_m > mill.highest_blade_m + 1e-9:
            raise NoPlanError(
                f"{where} is over {named('highest_blade')}, {exact_length(mill.highest_blade_m)}",
                "stay below it",
                field="heights",
            )
        over_m = height_m - at_m
        checked = mill.throat_depth_m is not None and (number == 1 or mill.slabs_stay_on)
        if checked and mill.throat_depth_m is not None and over_m > mill.throat_depth_m + 1e-9:
            raise NoPlanError(
                f"{where} has {short_length(over_m)} of log above it, {short_length(over_m - mill.throat_depth_m)} "
                "more "
                f"than {named('throat_depth')}",
                "begin higher",
                field="heights",
            )
        if any(cut_meets((at_m, at_m + mill.kerf_m), barred_m) for barred_m in forbidden_m):
            near = f", or pass within {short_length(mill.metal_keep_out_m)} of it" if mill.metal_keep_out_m else ""
            raise NoPlanError(
                f"{where} would hit marked metal{near}", "dig the metal out, or saw elsewhere", field="heights"
            )


def _best_uses(problem: Problem, rolled: Rolled, tilt_deg: float, rows: list[int]) -> list[MenuEntry | None]:
    """Return what each layer is best sold as: a thickness that it holds.

    Where none brings anything on the log as given, the one that it is sawn for exactly, as it may if the log is larger
    than measured; else None.
    """
    lay, mill = rolled.lay(tilt_deg), problem.mill
    own = mill.money(mill.pace.minutes_per_slab)
    values = np.zeros((len(rows) - 1, len(problem.menu)))
    for k, (above, below) in enumerate(pairwise(rows)):
        thick_m = (above - below) * mill.height_step_m - mill.kerf_m
        for m, entry in enumerate(problem.menu):
            if entry.wanted_m <= thick_m + 1e-9:
                slabs = problem.pricer.price(lay, [above, below], [entry]).slabs
                values[k, m] = sum(slab.price - slab.drying_cost - own for slab in slabs)
    allowed = _few(values, problem.rules.thicknesses)
    values[:, [m for m in range(len(problem.menu)) if m not in allowed]] = 0.0
    exact = [
        next((problem.menu[m] for m in allowed if problem.menu[m].drop_steps == above - below), None)
        for above, below in pairwise(rows)
    ]
    return [
        problem.menu[int(np.argmax(of))] if of.max() > 0.0 else meant for of, meant in zip(values, exact, strict=True)
    ]


def _few(values: FloatArray, most: int | None) -> tuple[int, ...]:
    """Return which entries of the menu bring the most together, at most so many. values : (layers, M)."""
    used = np.unique(np.argmax(values, axis=1)[values.max(axis=1) > 0.0]) if len(values) else np.zeros(0, dtype=int)
    if most is None or len(used) <= most:
        return tuple(int(m) for m in used)
    sold = np.flatnonzero(values.max(axis=0) > 0.0)
    return max(combinations(sold.tolist(), most), key=lambda part: float(values[:, part].max(axis=1).sum()))
