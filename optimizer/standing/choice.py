"""The fewest supports that hold a log through all its passes, and what each of them carries."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.optimize import nnls

from optimizer.standing.on_bed import Body, OnBed, centre_of
from optimizer.standing.standing import Held, Standing, held_by, inside_of
from optimizer.standing.supports import Support, SupportRules, thirds_m
from scans.log import FloatArray

MOST_SEARCHED = 5
"""Sets of so many supports are all tried. Four hold a body wherever more do, but for the margin; several bodies and the
margin seldom ask for more."""
_BALANCE_WEIGHT = 1e5
_BALANCE_ERROR = 1e-7
_IN_LINE = 1e-9


@dataclass(frozen=True)
class Carried:
    """A support and the load on it before the first pass, or right after a flip. [kg].

    at_y_m : where on the support the load acts. None, both, where the log does not stand, so that no loads balance it.
    """

    support: Support
    load_kg: float | None
    at_y_m: float | None


@dataclass(frozen=True)
class Supported:
    """The supports to place as the log lies, and those under it after a flip; none without one."""

    first: tuple[Carried, ...]
    flipped: tuple[Carried, ...] = ()


def supported(standing: Standing, density_kg_m3: float) -> Supported:
    """Choose the fewest supports that hold a bolt, and find their loads.

    Of sets of one size that with the fewest props, then the fewest shims, then the least height in all (to the mm),
    then those farthest apart. Where the bolt does not stand, the lowest support in the butt third and in the top
    third, without loads.
    """
    sides = []
    for side in standing.sides:
        chosen = fewest(side, standing.rules)
        if chosen is None:
            lowest = [side.supports[k] for k in _lowest_of_thirds(side)]
            sides.append(tuple(Carried(support, None, None) for support in lowest))
        else:
            supports = [side.supports[k] for k in chosen]
            sides.append(carried(side.states[0].bodies, supports, density_kg_m3))
    return Supported(*sides)


def fewest(side: OnBed, rules: SupportRules) -> tuple[int, ...] | None:
    """Return which supports of a bolt are the fewest that hold every body of it at every time; None where all do not.

    Before a flip butt third and top third each have one.
    """
    held = held_by(side, rules)
    if any(each.spare_m < 0.0 for each in held):
        return None
    allowed = [k for k, support in enumerate(side.supports) if support.is_allowed]

    def trouble(chosen: Iterable[int]) -> tuple[float, ...]:
        supports = [side.supports[k] for k in chosen]
        kinds = [support.kind for support in supports]
        height_m = round(sum(support.height_m for support in supports), 3)
        apart_m = max(support.x_m for support in supports) - min(support.x_m for support in supports)
        return kinds.count("prop"), kinds.count("shim"), height_m, -apart_m

    # One that fails most sets comes first, so that most sets fail at the first look.
    held.sort(key=lambda each: each.spare_m)
    for size in range(1, min(MOST_SEARCHED, len(allowed)) + 1):
        for chosen in sorted(combinations(allowed, size), key=trouble):
            if _hold(side, held, chosen):
                return chosen
    kept = tuple(allowed)
    if not _hold(side, held, kept):
        return None
    for k in sorted(allowed, key=lambda k: trouble((k,)), reverse=True):
        fewer = tuple(other for other in kept if other != k)
        kept = fewer if _hold(side, held, fewer) else kept
    return kept


def _hold(side: OnBed, held: Sequence[Held], chosen: Sequence[int]) -> bool:
    if not side.flipped:
        butt_m, top_m = thirds_m(side.from_m, side.to_m)
        places_m = [side.supports[k].x_m for k in chosen]
        if not (min(places_m) <= butt_m and max(places_m) >= top_m):
            return False
    return all(
        inside_of(each.body, (side.supports[k] for k in chosen if k in each.body.supports)) >= each.margin_m
        for each in held
    )


def _lowest_of_thirds(side: OnBed) -> list[int]:
    butt_m, top_m = thirds_m(side.from_m, side.to_m)
    ends = ([], []) if side.flipped else ([*_places(side, side.from_m, butt_m)], [*_places(side, top_m, side.to_m)])
    chosen = {min(end, key=lambda k: (side.supports[k].height_m, k)) for end in ends if end}
    return sorted(chosen)


def _places(side: OnBed, from_m: float, to_m: float) -> Iterable[int]:
    return (k for k, s in enumerate(side.supports) if s.is_allowed and from_m <= s.x_m <= to_m)


def carried(bodies: Sequence[Body], supports: Sequence[Support], density_kg_m3: float) -> tuple[Carried, ...]:
    """Return what each support carries of the bodies together: the loads sum to the weight and balance its moments."""
    mass_kg = density_kg_m3 * sum(body.volume_m3 for body in bodies)
    ends = np.array([(s.x_m, y_m) for s in supports for y_m in (s.from_y_m, s.to_y_m)])
    shares = balanced_shares(ends, centre_of(bodies)[:2]).reshape(-1, 2)
    found = []
    for support, (right, left) in zip(supports, shares, strict=True):
        share = float(right + left)
        at_y_m = float(right * support.from_y_m + left * support.to_y_m) / share if share > 0.0 else support.y_m
        found.append(Carried(support, mass_kg * share, at_y_m))
    return tuple(found)


def balanced_shares(points_m: FloatArray, centre_m: tuple[float, float]) -> FloatArray:
    """Share a weight of 1 at a place among points (P, 2), none pulling: the shares (P,) of the least sum of squares.

    So a stiff log bears on supports that all give a little alike. Raises ValueError where the place lies outside the
    points' hull, so that nothing balances it.
    """
    centre = np.asarray(centre_m)
    size = max(1e-3, float(np.abs(points_m - centre).max()))
    balance = np.vstack([np.ones(len(points_m)), ((points_m - centre) / size).T])
    wanted = np.array([1.0, 0.0, 0.0])
    # The same three balances as rows at right angles: exact for supports almost in one line too. They are weighed so
    # heavily that the squares only choose among what balances.
    left, sizes, across = np.linalg.svd(balance, full_matrices=False)
    kept = sizes > _IN_LINE * sizes[0]
    rows = np.vstack([_BALANCE_WEIGHT * across[kept], np.eye(len(points_m))])
    sums = _BALANCE_WEIGHT * (left.T @ wanted)[kept] / sizes[kept]
    shares, _ = nnls(rows, np.concatenate([sums, np.zeros(len(points_m))]))
    if np.abs(balance @ shares - wanted).max() > _BALANCE_ERROR:
        raise ValueError(f"centre_m: {centre_m} lies outside the hull of its supports, so that no loads balance it")
    return np.asarray(shares, dtype=np.float64)
