"""Branch stubs found on a log's side, and what is none."""

import numpy as np
import pytest
from tubes_made import tubes

from scans.fit.stubs import with_stubs


def rod(start, end, radius, apart=0.02):
    """Places and normals all round a rod."""
    start, end = np.asarray(start), np.asarray(end)
    along = (end - start) / np.linalg.norm(end - start)
    aside = np.cross(along, [1.0, 0.0, 0.0])
    over = np.cross(along, aside)
    steps = np.arange(0.0, np.linalg.norm(end - start), apart)
    turns = np.arange(0.0, 2.0 * np.pi, apart / radius)
    at, turn = (grid.ravel() for grid in np.meshgrid(steps, turns))
    normals = np.cos(turn)[:, None] * aside + np.sin(turn)[:, None] * over
    return start + at[:, None] * along + radius * normals, normals


def test_a_rod_that_stands_out_is_a_stub_as_thick_and_long():
    places, normals = rod([1.0, 0.2, 0.0], [1.0, 0.5, 0.0], 0.06)

    found = with_stubs(tubes(0.25), places, normals)

    assert found.count == 2
    assert found.terms_m[1, : found.counts[1], 0] == pytest.approx(0.06, abs=0.003)
    assert found.line_m(1, found.lengths_m[1:])[0] == pytest.approx([1.0, 0.5, 0.0], abs=0.03)


def test_a_thick_stub_may_be_long():
    places, normals = rod([1.0, 0.2, 0.0], [1.0, 1.2, 0.0], 0.16)

    assert with_stubs(tubes(0.25), places, normals).count == 2


def test_a_beam_that_the_log_lies_on_is_none():
    places, normals = rod([1.0, -0.75, -0.38], [1.0, 1.65, -0.38], 0.12)

    assert with_stubs(tubes(0.25, 0.25, apart=0.6), places, normals).count == 2
