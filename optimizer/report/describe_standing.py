"""How a log stands, as the plan document shows it: its supports with their loads, or how it turns over."""

from math import isfinite

import numpy as np

from optimizer.bed.bodies import flip_matrix
from optimizer.bed.lay import Lay
from optimizer.documents.plan import Holding, Overturning, SupportPlaced
from optimizer.standing.choice import Carried, supported
from optimizer.standing.standing import Standing
from scans.log import FloatArray, Log, moved

GRAVITY_M_PER_S2 = 9.80665


def supports_of(
    log: Log, lay: Lay, flip_face_m: float | None, standing: Standing, density_kg_m3: float
) -> tuple[SupportPlaced, ...]:
    """Return the fewest supports that hold a log, as it lies and after a flip, with what they carry.

    density_kg_m3 : of the log, bark included.
    """
    held = supported(standing, density_kg_m3)
    found = _placed(log, lay.log_to_bed, held.first, flipped=False)
    if flip_face_m is not None:
        found += _placed(log, flip_matrix(flip_face_m) @ lay.log_to_bed, held.flipped, flipped=True)
    return tuple(found)


def _placed(log: Log, to_bed: FloatArray, carried: tuple[Carried, ...], *, flipped: bool) -> list[SupportPlaced]:
    lines = [moved(line, to_bed) for line in log.hearts]
    # Hearts part far below the bark does: what nobody sees as a limb is none.
    crotch_m = min((float(moved(fork.crotch_m, to_bed)[0]) for fork in log.forks), default=-np.inf)
    return [
        SupportPlaced(
            flipped=flipped,
            x_m=one.support.x_m,
            y_m=one.support.y_m,
            member="stem"
            if one.support.x_m < crotch_m
            else _member(lines, np.array([one.support.x_m, one.support.y_m, one.support.height_m])),
            kind="prop" if one.support.kind == "blocks" else one.support.kind,
            height_m=one.support.height_m,
            load_kg=one.load_kg,
        )
        for one in carried
    ]


def _member(hearts: list[FloatArray], point_m: FloatArray) -> str:
    """Return which of the hearts (P, 3) lies nearest a point: the stem's, or that of a limb; bed frame."""
    apart_m = [float(_apart_m(line, point_m)) for line in hearts]
    nearest = int(np.argmin(apart_m)) if apart_m else 0
    return "stem" if nearest == 0 else f"limb_{nearest}"


def _apart_m(line: FloatArray, point_m: FloatArray) -> float:
    a, along = line[:-1], np.diff(line, axis=0)
    share = np.clip(((point_m - a) * along).sum(axis=1) / (along**2).sum(axis=1), 0.0, 1.0)
    return float(np.linalg.norm(a + share[:, None] * along - point_m, axis=1).min())


def overturning_of(standing: Standing, density_kg_m3: float) -> Overturning | None:
    """Return how a log turns over; None where it stands."""
    over = standing.overturning
    if over is None:
        return None
    weight_n = over.volume_m3 * density_kg_m3 * GRAVITY_M_PER_S2
    known, block = isfinite(over.outside_m), over.holding
    return Overturning(
        flipped=over.flipped,
        blade_height_m=over.blade_height_m,
        outside_m=over.outside_m if known else None,
        toward=over.toward,
        moment_n_m=weight_n * max(0.0, over.outside_m) if known else None,
        holding=None if block is None else Holding(x_m=block.x_m, y_m=block.y_m, height_m=block.height_m),
    )
