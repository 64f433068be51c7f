"""Rolls and tilts as they move a log."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.bed.lay import Lay


@given(roll=st.floats(0, 360), tilt=st.floats(-20, 20))
def test_log_to_bed_is_rigid_and_moves_nothing_along_or_across(roll, tilt):
    matrix = Lay(roll, tilt, 0.4).log_to_bed

    assert np.allclose(matrix[:3, :3] @ matrix[:3, :3].T, np.eye(3))
    assert np.linalg.det(matrix) == pytest.approx(1.0)
    assert matrix[:3, 3].tolist() == [0.0, 0.0, 0.4]


def test_roll_is_clockwise_seen_from_the_butt():
    # At the butt, looking along +x, left is +y; clockwise takes left up.
    left = np.array([0.0, 1.0, 0.0])

    assert Lay(90.0, 0.0, 0.0).to_bed(left) == pytest.approx([0.0, 0.0, 1.0])


def test_positive_tilt_raises_the_top_end():
    top = np.array([2.0, 0.0, 0.0])

    assert Lay(0.0, 5.0, 0.0).to_bed(top)[2] == pytest.approx(2.0 * np.sin(np.radians(5.0)))
