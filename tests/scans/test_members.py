"""The joined shape of stem and limbs."""

import numpy as np
import pytest

from scans.hidden import fitted, modes_m
from scans.members import TERMS, Members


def tubes(*radii, blend=0.1, apart=None):
    """Members along x, 2 m long, 0.3 m aside of one another unless said otherwise."""
    count, knots = len(radii), 21
    terms = np.zeros((count, knots, TERMS))
    terms[:, :, 0] = np.array(radii)[:, None]
    starts = np.zeros((count, 3))
    starts[:, 1] = np.arange(count) * (0.3 if apart is None else apart)
    cuts = np.zeros((count, 2, 3))
    cuts[:, 1, 0] = 2.0
    return Members(
        starts, np.tile(np.eye(3), (count, 1, 1)), np.full(count, 2.0), np.full(count, knots, dtype=np.int64),
        np.zeros((count, knots, 2)), terms, np.full(count, blend), np.ones((count, 2), dtype=np.bool_), cuts,
    )  # fmt: skip


def test_the_value_is_the_distance_off_a_straight_tube_and_its_ends():
    points = np.array([[1.0, 0.5, 0.0], [1.0, 0.0, -0.1], [2.25, 0.0, 0.0], [-0.1, 0.05, 0.0]])

    assert tubes(0.2).values_m(points) == pytest.approx([0.3, -0.1, 0.25, 0.1])


def test_a_slanting_cut_is_met_square_to_it():
    tube = tubes(0.2)
    tube.cuts_m[0, 1] = [2.0, 1.0, 0.0]

    assert tube.values_m(np.array([[2.2, 0.0, 0.0]])) == pytest.approx([0.2 / np.sqrt(2.0)])


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

    fit = fitted(tubes(0.24), seen, 1)
    below = np.column_stack([x, 0.0 * x, -(0.25 - 0.01 * x - 0.008)])[:66]
    spread = np.sqrt((modes_m(fit, fit.members, np.concatenate([seen, below]), 200).astype(float) ** 2).sum(axis=1))

    assert np.abs(fit.members.values_m(seen)).max() < 0.003
    assert np.abs(fit.members.values_m(below)).max() < 0.012
    assert spread[: len(seen)].mean() < 0.002
    assert spread[len(seen) :].mean() > 3.0 * spread[: len(seen)].mean()


def test_what_leads_the_unseen_side_astray_is_trusted_less():
    # Lobes finer than the series, on the upper half alone.
    x, angle = (grid.ravel() for grid in np.meshgrid(np.arange(0.02, 2.0, 0.03), np.radians(np.arange(0, 181, 2))))
    radius = 0.4 * (1.0 + 0.05 * np.cos(9.0 * angle))
    fit = fitted(tubes(0.4), np.column_stack([x, radius * np.cos(angle), radius * np.sin(angle)]), 1)
    below = fit.members.places(np.array([[1.0, 0.0, -0.4]])).off_m[0, 0]

    assert abs(below) < 0.12
