from dataclasses import replace

import numpy as np
import pytest
import trimesh

from scans.solids.bodies import body_from_mesh, united, upended
from scans.solids.stems import read_stems
from scans.tape.log_from_sheet import Bow, LogSheet, TapedLimb, TapedSection, log_from_sheet


def round_section(at_m, diameter_m):
    return TapedSection(at_m, girth_m=np.pi * diameter_m)


def body_of(log):
    return body_from_mesh(log.outer.vertices_m, log.outer.faces)


def taped(*limbs, bow=None):
    """An invented log 60 cm thick, with a fork at 1.8 m if limbs are given."""
    sections = (round_section(0.0, 0.65), round_section(1.8, 0.6))
    if not limbs:
        sections = (*sections, round_section(3.5, 0.5))
    return log_from_sheet(LogSheet("invented", None, True, sections, bow, limbs), 1.0)


LIMB = TapedLimb(1.8, 25.0, 80.0, (round_section(1.3, 0.42),))
OTHER = replace(LIMB, toward_deg=260.0, out_deg=30.0)


def bar(start, end, radius):
    """Body of a straight round bar."""
    mesh = trimesh.creation.cylinder(radius=radius, segment=[start, end], sections=48)
    return body_from_mesh(np.array(mesh.vertices), np.array(mesh.faces))


def distance_to_line(points, line):
    """Distance (N,) of points to a broken line, measured square to x."""
    return np.hypot(*(points[:, k] - np.interp(points[:, 0], line[:, 0], line[:, k]) for k in (1, 2)))


def test_a_single_stem_has_one_heart_along_its_middle():
    log = taped(bow=Bow(0.15, 1.7, 120.0))
    stems = read_stems(upended(body_of(log)))
    assert stems.divides is None
    assert stems.notes == ()
    assert stems.forks == ()
    (line,) = stems.hearts
    assert line[0, 0] == pytest.approx(0.0, abs=1e-6)
    assert line[-1, 0] == pytest.approx(log.length_m, abs=1e-6)
    assert distance_to_line(line, log.hearts[0]).max() < 0.015


def test_a_fork_is_found_where_the_sheet_put_it():
    log = taped(LIMB, OTHER)
    stems = read_stems(upended(body_of(log)))
    assert stems.divides == "high"
    assert len(stems.hearts) == 3
    (found,), (fork,) = stems.forks, log.forks
    np.testing.assert_allclose(found.crotch_m, fork.crotch_m, atol=0.01)
    assert abs(found.normal @ fork.normal) == pytest.approx(1.0, abs=1e-3)
    assert found.direction @ fork.direction > np.cos(np.radians(3.0))
    assert found.diameter_m == pytest.approx(fork.diameter_m, rel=0.1)
    assert found.below_m == pytest.approx(fork.below_m, abs=0.1)
    np.testing.assert_allclose(stems.hearts[0][-1], log.hearts[0][-1], atol=0.05)
    for heart in stems.hearts[1:]:
        assert (np.diff(heart[:, 0]) > 0).all()
        assert min(distance_to_line(heart, line).max() for line in log.hearts[1:]) < 0.04


def test_three_limbs_give_three_hearts_and_one_fork():
    limbs = tuple(replace(LIMB, toward_deg=angle) for angle in (10.0, 130.0, 250.0))
    stems = read_stems(upended(body_of(taped(*limbs))))
    assert len(stems.hearts) == 4
    assert len(stems.forks) == 1


def test_a_fork_at_the_low_end_says_which_end_divides():
    body = body_of(taped(LIMB, OTHER)).transform([[-1, 0, 0, 0], [0, -1, 0, 0], [0, 0, 1, 0]])
    assert read_stems(upended(body)).divides == "low"


def test_a_thin_or_short_branch_stub_is_no_limb():
    log = taped(bow=Bow(0.05, 1.7, 0.0))
    stubs = [
        bar([1.5, 0.0, 0.0], [2.2, 0.9, 0.1], 0.09),  # thin: 18 cm on 55 cm
        bar([2.0, 0.0, 0.0], [2.3, -0.45, 0.1], 0.14),  # short
    ]
    stems = read_stems(upended(united([body_of(log), *stubs])))
    assert len(stems.hearts) == 1
    assert stems.forks == ()
    assert any("stub" in note.text for note in stems.notes)
    assert distance_to_line(stems.hearts[0], log.hearts[0]).max() < 0.08


def test_two_forks_one_above_the_other_are_not_guessed_at():
    second = [bar([2.2, 0.0, 0.0], [4.2, 0.9, 0.0], 0.2), bar([2.2, 0.0, 0.0], [4.2, -0.9, 0.0], 0.2)]
    stem = bar([0.0, 0.0, 0.0], [2.4, 0.0, 0.0], 0.3)
    low = bar([0.6, 0.0, 0.0], [4.2, 0.0, 2.0], 0.2)
    stems = read_stems(upended(united([stem, low, *second])))
    assert stems.hearts == ()
    assert stems.forks == ()
    assert any("hearts are not known" in note.text for note in stems.notes)
