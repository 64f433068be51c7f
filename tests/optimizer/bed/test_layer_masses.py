"""Volume, centre and parts between two heights, against the same body cut by a general-purpose library."""

import numpy as np
import pytest
import shapes

from optimizer.bed.bodies import between, manifold_of, mass_centre
from optimizer.bed.layer_masses import layer_mass, neighbours_of
from scans.log import Solid
from scans.solids.frame import axes_from

TURN = axes_from(np.array([0.3, -0.5, 0.8]), np.array([0.0, 0.0, 1.0]))
"""So that no face is level."""


@pytest.fixture(scope="module", params=["bent", "forked"])
def turned(request):
    log = shapes.bent(0.2, 0.24) if request.param == "bent" else shapes.forked()
    return Solid(log.wood.vertices_m @ TURN.T, log.wood.faces)


@pytest.mark.parametrize("share", [(0.05, 0.1), (0.3, 0.35), (0.5, 0.7), (0.0, 1.0), (-0.5, 0.4), (0.9, 1.5)])
def test_a_layer_is_what_a_library_cuts(turned, share):
    low, high = turned.bounds_m[:, 2]
    lower_m, upper_m = (low + part * (high - low) for part in share)
    body = between(manifold_of(turned), lower_m, upper_m)
    mass = layer_mass(turned.vertices_m, neighbours_of(turned), lower_m, upper_m)
    assert mass.volume_m3 == pytest.approx(body.volume(), rel=1e-9)
    assert mass.centre_m == pytest.approx(mass_centre(body), abs=1e-9)
    assert mass.parts == len(body.decompose())


def test_two_limbs_are_two_parts():
    log = shapes.forked()
    points = log.wood.vertices_m[:, [1, 2, 0]]  # on its butt end
    surface = neighbours_of(log.wood)
    top_m = points[:, 2].max()
    assert layer_mass(points, surface, 0.1, 0.2).parts == 1
    assert layer_mass(points, surface, top_m - 0.3, top_m - 0.2).parts == 2


def test_nothing_lies_above_the_top(turned):
    top_m = turned.bounds_m[1, 2]
    mass = layer_mass(turned.vertices_m, neighbours_of(turned), top_m + 0.1, top_m + 0.2)
    assert (mass.volume_m3, mass.parts) == (0.0, 0)
    assert np.isnan(mass.centre_m).all()
