"""How one walk's log is found in another's: invented logs whose surface is the truth itself, seen from above alone."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from scans.errors import ScanError
from scans.invented.simulated_log import LogSettings, rolled_matrix, simulate_log
from scans.log import FloatArray, Log, Solid
from scans.walks.join import KNOWN_WITHIN_DEG, joined
from scans.walks.register import Registration, registered
from scans.walks.witness import witness_of

SEEN_FROM = -0.4
"""A walk sees faces that point no farther down than this."""


def seen_log(solid: Solid, turn: FloatArray, size: float = 1.0, least: float = SEEN_FROM) -> Log:
    """A log in the log frame of a walk that sees it so turned, its butt at x = 0."""
    moved = solid.moved(np.diag([size, size, size, 1.0]) @ turn)
    shift = np.eye(4)
    shift[0, 3] = -moved.bounds_m[0, 0]
    lying = moved.moved(shift)
    a, b, c = (lying.vertices_m[lying.faces[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    upward = normals[:, 2] / np.maximum(np.linalg.norm(normals, axis=1), 1e-15)
    return Log(name="invented", outer=lying, wood=lying, face_seen=upward > least)


@dataclass(frozen=True)
class Apart:
    """How far a registration lies off the truth: the turn left, and the place at most. [deg, m]"""

    turn_deg: float
    place_m: float


def apart(found: Registration, one: Log, two: Log) -> Apart:
    """Both logs have the same vertices, in the same order."""
    there = two.outer.vertices_m @ found.matrix[:3, :3].T + found.matrix[:3, 3]
    turn, _ = Rotation.align_vectors(one.outer.vertices_m - one.outer.vertices_m.mean(0), there - there.mean(0))
    return Apart(np.degrees(turn.magnitude()), float(np.linalg.norm(there - one.outer.vertices_m, axis=1).max()))


def invented(seed: int, **settings: object) -> Solid:
    return simulate_log(np.random.default_rng(seed), LogSettings(edge_m=0.025, **settings)).solid  # type: ignore[arg-type]


FORK = invented(1, limbs=2)
STEM = invented(2, stubs=(2, 2), bumps=(5, 5))
END_FOR_END = np.diag([-1.0, -1.0, 1.0, 1.0])


def pipe(taper: float = 0.01) -> Solid:
    """A round stem without a mark on it. taper : loss of radius for each metre of length. [m/m]"""
    mesh = trimesh.creation.cylinder(0.3, 3.0, sections=48).subdivide().subdivide()
    mesh.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2.0, [0, 1, 0]))
    vertices = np.array(mesh.vertices)
    vertices[:, 1:] *= 1.0 - taper * vertices[:, :1] / 0.3
    return Solid(vertices, np.array(mesh.faces))


@pytest.mark.parametrize(
    ("solid", "roll_deg", "swapped", "size"),
    [(FORK, 97.0, False, 1.01), (STEM, -130.0, True, 0.99), (STEM, 71.0, False, 1.0)],
)
def test_roll_ends_and_size_are_found(solid: Solid, roll_deg: float, swapped: bool, size: float) -> None:
    turn = (END_FOR_END if swapped else np.eye(4)) @ rolled_matrix(roll_deg)
    one, two = seen_log(solid, np.eye(4)), seen_log(solid, turn, size)

    found = registered(witness_of(one), witness_of(two))

    off = apart(found, one, two)
    assert off.turn_deg < 0.3
    assert off.place_m < 0.005
    assert found.swapped is swapped
    assert abs(found.roll_deg - roll_deg) < 0.3
    assert found.scale == pytest.approx(1.0 / size, abs=0.001)
    assert min(found.other_roll, found.other_end) > 2.0
    assert found.known_within_deg < KNOWN_WITHIN_DEG
    assert joined(one, two, 2).matrix == pytest.approx(found.matrix)


def test_a_roll_that_nothing_shows_is_asked_for() -> None:
    one, two = seen_log(pipe(), np.eye(4)), seen_log(pipe(), rolled_matrix(100.0))

    with pytest.raises(ScanError, match="roll") as asked:
        joined(one, two, 2)

    assert asked.value.field == "rolled_deg"
    assert "{:rolled_deg 150}" in asked.value.mend
    assert abs(joined(one, two, 2, 110.0).roll_deg - 110.0) <= 21.0


def test_ends_that_nothing_shows_are_refused_though_the_roll_is_told() -> None:
    one, two = seen_log(pipe(taper=0.0), np.eye(4)), seen_log(pipe(taper=0.0), rolled_matrix(100.0))

    with pytest.raises(ScanError, match="which end is which"):
        joined(one, two, 2, 100.0)


def test_another_log_is_refused() -> None:
    one = seen_log(STEM, np.eye(4))

    for other, told in ((invented(3, stubs=(2, 2)), None), (FORK, 90.0)):
        with pytest.raises(ScanError, match="scan 2 and those before it do not make one log"):
            joined(one, seen_log(other, rolled_matrix(90.0)), 2, told)


def test_another_log_of_the_same_size_is_refused_though_the_roll_is_told() -> None:
    one = seen_log(pipe(), np.eye(4))
    bowed = pipe()
    along = bowed.vertices_m[:, 0] / 1.5
    bent = bowed.vertices_m + 0.03 * np.outer(1.0 - along**2, [0.0, 1.0, 1.0])

    with pytest.raises(ScanError):
        joined(one, seen_log(replace(bowed, vertices_m=bent), rolled_matrix(90.0)), 2, 90.0)


def test_too_little_of_the_same_is_refused() -> None:
    one, two = seen_log(STEM, np.eye(4), least=0.0), seen_log(STEM, rolled_matrix(155.0), least=0.0)

    with pytest.raises(ScanError, match="of the same bark, too little"):
        joined(one, two, 2)


def test_a_roll_told_that_the_scans_contradict_is_refused() -> None:
    one, two = seen_log(FORK, np.eye(4)), seen_log(FORK, rolled_matrix(97.0))

    with pytest.raises(ScanError, match="best at 97") as refused:
        joined(one, two, 2, 150.0)

    assert refused.value.field == "rolled_deg"
    assert joined(one, two, 2, 100.0).roll_deg == pytest.approx(97.0, abs=0.3)
    assert joined(one, two, 2, 97.0 - 360.0).roll_deg == pytest.approx(97.0, abs=0.3)
