"""Polygons cut into triangles that cover them once, as they are wound."""

import numpy as np
import pytest

from scans.formats.polygons import triangles_of

ELL = np.array([[0, 0], [3, 0], [3, 1], [1, 1], [1, 3], [0, 3]], dtype=np.float64)
"""An L of area 5, whose fan about a corner covers other ground."""


def in_space(flat, turn=0.6):
    """Put a flat polygon into a slanting plane."""
    along = np.array([np.cos(turn), np.sin(turn), 0.0])
    across = np.array([-np.sin(turn), np.cos(turn), 1.0]) / np.sqrt(2.0)
    return flat[:, :1] * along + flat[:, 1:] * across + [5.0, -7.0, 2.0]


def areas(points, faces):
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    return np.cross(b - a, c - a) / 2.0


@pytest.mark.parametrize("first", range(6))
@pytest.mark.parametrize("is_turned", [False, True])
def test_a_concave_polygon_is_covered_once(first, is_turned):
    ring = np.roll(np.arange(6), first)[:: -1 if is_turned else 1]
    points = in_space(ELL)

    faces, owners, crossed = triangles_of(points, ring, np.array([6]))

    parts = areas(points, faces)
    assert len(faces) == 4
    assert np.linalg.norm(parts, axis=1).sum() == pytest.approx(5.0)
    assert np.linalg.norm(parts.sum(axis=0)) == pytest.approx(5.0)
    assert (parts @ np.array([0.0, 0.0, -1.0 if is_turned else 1.0]) > 0.0).all()
    assert owners.tolist() == [0] * 4
    assert crossed == 0


def test_mixed_polygons_keep_their_order_and_give_none_for_two_corners():
    turn = np.linspace(0.0, 2.0 * np.pi, 7, endpoint=False)
    points = np.concatenate([in_space(ELL), in_space(np.stack([np.cos(turn), np.sin(turn)], axis=1))])
    corners = np.concatenate([np.arange(6, 13), [0, 1], np.arange(6), [0, 1, 2]])

    faces, owners, crossed = triangles_of(points, corners, np.array([7, 2, 6, 3]))

    assert owners.tolist() == [0] * 5 + [2] * 4 + [3]
    assert np.linalg.norm(areas(points, faces[:5]).sum(axis=0)) == pytest.approx(3.5 * np.sin(2.0 * np.pi / 7.0))
    assert faces[-1].tolist() == [0, 1, 2]
    assert crossed == 0


def test_a_ring_of_64_corners_with_32_dents_is_covered_once():
    turn = np.linspace(0.0, 2.0 * np.pi, 64, endpoint=False)
    reach = np.where(np.arange(64) % 2, 1.0, 0.5)
    flat = reach[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)

    faces, _, _ = triangles_of(in_space(flat), np.arange(64), np.array([64]))

    # 64 triangles between the centre and two neighbours.
    expected = 64 * 0.5 * 1.0 * 0.5 * np.sin(2.0 * np.pi / 64.0)
    assert np.linalg.norm(areas(in_space(flat), faces), axis=1).sum() == pytest.approx(expected)


def test_a_bow_tie_is_counted():
    points = np.array([[0.0, 0, 0], [2, 1, 0], [2, 0, 0], [0, 2, 0]])

    faces, _, crossed = triangles_of(points, np.arange(4), np.array([4]))

    assert crossed == 1
    assert len(faces) == 2


def test_a_star_drawn_in_one_stroke_is_no_convex_polygon():
    turn = np.arange(5) * 4.0 * np.pi / 5.0
    points = in_space(np.stack([np.cos(turn), np.sin(turn)], axis=1))

    assert triangles_of(points, np.arange(5), np.array([5]))[2] == 1


def test_no_polygons_give_no_triangles():
    faces, owners, crossed = triangles_of(np.zeros((0, 3)), np.zeros(0, np.int64), np.zeros(0, np.int64))

    assert faces.shape == (0, 3)
    assert owners.shape == (0,)
    assert crossed == 0
