"""The joined shape of stem and limbs."""

import numpy as np
import pytest
from tubes_made import tubes

from scans.fit.hidden import fitted, modes_m
from scans.fit.line_frames import frames_along, lengths_along
from scans.fit.members import TERMS, Members


def bent(radius, turn_deg, out=2.0):
    """One member along an arc, `out` m round its middle, that turns so far."""
    turn = np.radians(np.linspace(0.0, turn_deg, 31))
    centres = np.column_stack([out * np.sin(turn), out * (1.0 - np.cos(turn)), 0.0 * turn])
    length = lengths_along(centres)[-1]
    terms = np.zeros((1, 31, TERMS))
    terms[:, :, 0] = radius
    return Members(
        centres[None], frames_along(centres)[None], np.array([length]), np.array([31]), terms,
        np.array([0.1]), np.ones((1, 2), dtype=np.bool_), np.array([[[0.0, 0.0, 0.0], [length, 0.0, 0.0]]]),
    )  # fmt: skip


def test_the_value_is_the_distance_off_a_straight_tube_and_its_ends():
    points = np.array([[1.0, 0.5, 0.0], [1.0, 0.0, -0.1], [2.25, 0.0, 0.0], [-0.1, 0.05, 0.0]])

    assert tubes(0.2).values_m(points) == pytest.approx([0.3, -0.1, 0.25, 0.1])


def test_a_slanting_cut_is_met_square_to_it():
    tube = tubes(0.2)
    tube.cuts_m[0, 1] = [2.0, 1.0, 0.0]

    assert tube.values_m(np.array([[2.2, 0.0, 0.0]])) == pytest.approx([0.2 / np.sqrt(2.0)])


def test_the_value_is_the_distance_off_a_bent_tube():
    tube = bent(0.2, 60.0)
    rng = np.random.default_rng(0)
    turn, aside, over = rng.uniform(0.02, 1.02, 300), rng.uniform(-0.6, 0.6, 300), rng.uniform(-0.6, 0.6, 300)
    ring = 2.0 - aside
    points = np.column_stack([ring * np.sin(turn), 2.0 - ring * np.cos(turn), over])
    at = tube.places(points)

    assert at.values_m == pytest.approx(np.hypot(aside, over) - 0.2, abs=1e-3)
    assert at.along_m[:, 0] == pytest.approx(2.0 * turn, abs=2e-3)
    assert tube.line_m(0, np.array([1.0, 2.0]))[:, 0] == pytest.approx(2.0 * np.sin([0.5, 1.0]), abs=1e-3)


def test_a_line_goes_on_straight_beyond_the_ends():
    tube = bent(0.2, 60.0)
    frame = tube.end_frame(0, 1)
    beyond = frame[0] + 0.3 * frame[1][0] + 0.25 * frame[1][1]

    assert tube.places(beyond[None]).values_m == pytest.approx([0.05], abs=1e-6)
    assert tube.by_end_m(0, 1, beyond[None])[0] == pytest.approx([tube.lengths_m[0] + 0.3, 0.25, 0.0], abs=1e-6)
    assert tube.values_m(beyond[None]) == pytest.approx([0.3], abs=1e-6)


def test_members_join_in_a_hollow_and_not_beyond_the_blend():
    joined, apart = tubes(0.2, 0.2), tubes(0.2, 0.2, apart=1.0)
    between = np.array([[1.0, 0.15, 0.15]])
    off = np.hypot(0.15, 0.15) - 0.2

    assert joined.values_m(between) == pytest.approx([off - 0.25 * 0.1])
    assert apart.values_m(np.array([[1.0, 0.25, 0.0]])) == pytest.approx([0.05])


def test_shares_are_how_the_value_follows_each_members_radius():
    members = tubes(0.2, 0.17)
    points = np.random.default_rng(0).uniform([0.2, -0.3, -0.3], [1.8, 0.6, 0.3], (200, 3))
    step = 1e-6
    shares = members.places(points).share
    for m in range(2):
        terms = members.terms_m.copy()
        terms[m, :, 0] += step
        slope = -(members.with_terms(terms).values_m(points) - members.values_m(points)) / step

        assert shares[:, m] == pytest.approx(slope, abs=1e-4)


def test_the_fit_finds_radii_where_seen_and_doubts_where_not():
    truth = tubes(0.25)
    truth.terms_m[0, :, 0] = 0.25 - 0.02 * np.linspace(0.0, 1.0, 21)
    truth.terms_m[0, :, 3] = 0.008
    x, angle = (grid.ravel() for grid in np.meshgrid(np.arange(0.02, 2.0, 0.03), np.radians(np.arange(-50, 231, 4))))
    radius = 0.25 - 0.01 * x + 0.008 * np.cos(2.0 * angle)
    seen = np.column_stack([x, radius * np.cos(angle), radius * np.sin(angle)])

    fit = fitted(tubes(0.24), seen)
    below = np.column_stack([x, 0.0 * x, -(0.25 - 0.01 * x - 0.008)])[:66]
    spread = np.sqrt((modes_m(fit, fit.members, np.concatenate([seen, below]), 200).astype(float) ** 2).sum(axis=1))

    assert np.abs(fit.members.values_m(seen)).max() < 0.003
    assert np.abs(fit.members.values_m(below)).max() < 0.012
    assert spread[: len(seen)].mean() < 0.002
    assert spread[len(seen) :].mean() > 3.0 * spread[: len(seen)].mean()


def test_lobes_of_the_seen_half_do_not_lead_the_unseen_half_astray():
    x, angle = (grid.ravel() for grid in np.meshgrid(np.arange(0.02, 2.0, 0.03), np.radians(np.arange(0, 181, 2))))
    radius = 0.4 * (1.0 + 0.03 * np.cos(8.0 * angle))
    fit = fitted(tubes(0.4), np.column_stack([x, radius * np.cos(angle), radius * np.sin(angle)]))
    turn = np.radians(np.arange(200, 341, 5))
    unseen = np.column_stack([np.ones_like(turn), 0.4 * np.cos(turn), 0.4 * np.sin(turn)])

    assert np.abs(fit.members.places(unseen).off_m[:, 0]).max() < 0.05
