"""Logs bucked: what stays, what comes off, and the same without new faces."""

from dataclasses import replace

import books
import numpy as np
import pytest
import shapes

from optimizer.bed.buck_cuts import (
    BuckError,
    butt_cut,
    from_butt_m,
    limb_cut,
    limb_leaves_m,
    limb_length_m,
    stem_cut,
)
from optimizer.bed.bucking import buck
from optimizer.bed.cut_back import CutBack
from optimizer.bed.marks import place_on_girth
from optimizer.documents.plan import Mark
from scans.log import Solid, moved


@pytest.fixture(scope="module", params=[0.0, 35.0])
def fork(request):
    return shapes.forked(roll_deg=request.param)


@pytest.fixture(scope="module")
def fine_fork(fork):
    """The same with edges as short as a scan's."""
    mesh = shapes.manifold(fork.outer).refine_to_length(0.03).to_mesh64()
    solid = Solid(np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64))
    return replace(fork, outer=solid, wood=solid)


def barked(log, ratio=0.9):
    """The same with less wood: every cross-section drawn in towards the nearest heart."""
    vertices = np.array(log.outer.vertices_m)
    hearts = np.concatenate([shapes_resampled(line) for line in log.hearts])
    nearest = hearts[np.argmin(((vertices[:, None, :] - hearts) ** 2).sum(axis=2), axis=1)]
    shrunk = nearest + ratio * (vertices - nearest)
    shrunk[:, 0] = vertices[:, 0]
    return replace(log, wood=log.outer.bent(shrunk), bark_thickness_m=0.01)


def shapes_resampled(line, count=60):
    share = np.linspace(0.0, 1.0, count)
    along = np.linspace(0.0, 1.0, len(line))
    return np.stack([np.interp(share, along, line[:, k]) for k in range(3)], axis=1)


def ways(log):
    first, second = (limb_leaves_m(log, k) for k in (1, 2))
    return {
        "one limb": [limb_cut(log, 1, first + 0.4)],
        "both limbs": [limb_cut(log, 1, first + 0.5), limb_cut(log, 2, second + 0.2)],
        "butt": [butt_cut(log, 0.4)],
        "stem under the fork": [stem_cut(log, 1.0)],
        "limbs' ends": [stem_cut(log, log.length_m - 0.4)],
        "all": [limb_cut(log, 2, second + 0.7), butt_cut(log, 0.3)],
    }


@pytest.mark.parametrize("way", ways(shapes.forked()))
def test_what_stays_and_the_bolts_are_the_log(fork, way):
    for log in (fork, barked(fork)):
        bucked = buck(log, ways(log)[way])

        for name in ("outer", "wood"):
            kept = getattr(bucked.log, name).volume_m3
            bolts = sum(getattr(bolt.log, name).volume_m3 for bolt in bucked.bolts)
            # Flaps that are no body of their own are left out.
            assert kept + bolts == pytest.approx(getattr(log, name).volume_m3, abs=1e-5)


@pytest.mark.parametrize("way", ways(shapes.forked()))
def test_what_stays_is_one_body_and_no_specks_beside_it(fine_fork, way):
    # A speck beside the log would be a body that no support holds, and the log would never stand.
    for log in (fine_fork, barked(fine_fork)):
        kept = buck(log, ways(log)[way]).log
        assert [len(shapes.manifold(solid).decompose()) for solid in (kept.outer, kept.wood)] == [1, 1]


def test_a_limb_is_cut_square_to_its_heart_and_the_other_is_left_alone(fork):
    at_m = limb_leaves_m(fork, 1) + 0.3
    cut = limb_cut(fork, 1, at_m)
    (bolt,) = buck(fork, [cut]).bolts
    kept = buck(fork, [cut]).log

    heart = fork.hearts[1][-1] - fork.hearts[1][0]
    assert np.array(cut.normal) @ heart / np.linalg.norm(heart) > 0.99
    # By hand: the half space beyond the plane, less all that is on the other limb's side of the stem's axis.
    body = shapes.manifold(fork.outer)
    beyond, _ = body.split_by_plane(cut.normal, float(np.dot(cut.point_m, cut.normal)))
    side = fork.hearts[1][-1][1:] / np.linalg.norm(fork.hearts[1][-1][1:])
    own, _ = beyond.split_by_plane((0.0, float(side[0]), float(side[1])), 0.0)
    assert bolt.log.outer.volume_m3 == pytest.approx(own.volume(), abs=1e-6)
    assert bolt.member == "limb_1"
    assert kept.hearts[2] == pytest.approx(fork.hearts[2])
    assert np.linalg.norm(np.diff(kept.hearts[1], axis=0), axis=1).sum() == pytest.approx(at_m, abs=1e-6)
    assert len(kept.forks) == 1
    far = fork.outer.vertices_m[fork.outer.vertices_m @ np.array([0.0, *side]) < -0.3]
    assert len(far)
    kept_points = {tuple(np.round(p, 9)) for p in kept.outer.vertices_m}
    assert all(tuple(np.round(p, 9)) in kept_points for p in far)


def test_a_bolt_has_a_frame_of_its_own(fork):
    cut = limb_cut(fork, 2, limb_leaves_m(fork, 2) + 0.2)
    (bolt,) = buck(fork, [cut]).bolts

    assert bolt.log.outer.bounds_m[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert np.linalg.det(bolt.log_to_bolt[:3, :3]) == pytest.approx(1.0)
    (heart,) = bolt.log.hearts
    assert (np.diff(heart[:, 0]) > 0.0).all()
    assert heart[[0, -1], 1:] == pytest.approx(np.zeros((2, 2)), abs=1e-9)
    assert moved(fork.hearts[2][-1], bolt.log_to_bolt) == pytest.approx(heart[-1])
    # Up stays as near to up as it can.
    assert bolt.log_to_bolt[2, 2] == pytest.approx(np.hypot(*bolt.log_to_bolt[2, [1, 2]]), abs=0.2)
    assert bolt.log.scan_to_log == pytest.approx(bolt.log_to_bolt @ fork.scan_to_log)


def test_a_stem_cut_off_its_fork_leaves_both_in_their_own_right():
    log = shapes.forked()
    (top,) = buck(log, [stem_cut(log, 1.0)]).bolts
    kept = buck(log, [stem_cut(log, 1.0)]).log

    assert (len(kept.hearts), len(kept.forks)) == (1, 0)
    assert (len(top.log.hearts), len(top.log.forks), top.member) == (3, 1, "stem")
    assert top.log.forks[0].crotch_m[0] == pytest.approx(log.forks[0].crotch_m[0] - 1.0)
    ends = buck(log, [stem_cut(log, log.length_m - 0.4)]).bolts
    assert sorted(bolt.member for bolt in ends) == ["limb_1", "limb_2"]


def test_a_cut_that_cannot_be_made_is_refused():
    log = shapes.forked()
    with pytest.raises(BuckError, match="other limb"):
        buck(log, [limb_cut(log, 1, limb_leaves_m(log, 1) - 0.2)])
    with pytest.raises(BuckError, match="no limb 3"):
        limb_cut(log, 3, 1.0)
    with pytest.raises(BuckError, match="limb 1 has its heart"):
        limb_cut(log, 1, limb_length_m(log, 1) + 0.1)
    with pytest.raises(BuckError, match="leaves nothing"):
        buck(log, [butt_cut(log, log.length_m)])


def test_a_limb_cut_is_told_by_tape_from_the_butt_and_from_where_the_hearts_meet():
    log = shapes.forked(stem_length_m=1.4)
    cut = limb_cut(log, 1, 0.9)

    assert from_butt_m(log.hearts, cut) == pytest.approx(1.4 + 0.9)
    assert from_butt_m(log.hearts, butt_cut(log, 0.3)) == 0.3
    point = np.array(cut.point_m)
    assert np.linalg.norm(point - log.hearts[1][0]) == pytest.approx(0.9, abs=0.01)


@pytest.mark.parametrize("way", ways(shapes.forked()))
def test_cut_back_without_new_faces_it_is_the_same_log(fine_fork, way):
    for log in (fine_fork, barked(fine_fork)):
        cuts = ways(log)[way]
        exact, ready = buck(log, cuts), CutBack.of(log, cuts)
        quick = ready.made_on(log)

        assert (quick.wood is quick.outer) is (log.wood is log.outer)
        for name in ("outer", "wood"):
            there, here = getattr(exact.log, name), getattr(quick, name)
            assert here.faces is getattr(log, name).faces
            assert here.volume_m3 == pytest.approx(there.volume_m3, abs=2e-4)
            # The sharp end of an oblique cut is blunter, by half an edge of the mesh at the most.
            assert here.bounds_m == pytest.approx(there.bounds_m, abs=0.015)
        bolts = ready.bolts_of(log)
        assert [b.member for b in bolts] == [b.member for b in exact.bolts]
        for ours, theirs in zip(bolts, exact.bolts, strict=True):
            assert ours.log.outer.volume_m3 == pytest.approx(theirs.log.outer.volume_m3, abs=2e-4)
            assert ours.log.wood.volume_m3 == pytest.approx(theirs.log.wood.volume_m3, abs=2e-4)
            assert ours.log_to_bolt == pytest.approx(theirs.log_to_bolt, abs=0.02)


def test_the_same_cut_is_made_on_a_log_that_is_a_little_larger(fine_fork):
    fork = fine_fork
    cut = limb_cut(fork, 1, limb_leaves_m(fork, 1) + 0.4)
    ready = CutBack.of(fork, [cut])
    larger = fork.outer.bent(1.01 * fork.outer.vertices_m)
    other = replace(fork, outer=larger, wood=larger)

    by_hand = shapes.manifold(Solid(larger.vertices_m, larger.faces))
    beyond, _ = by_hand.split_by_plane(cut.normal, float(np.dot(cut.point_m, cut.normal)))
    lost = max((piece for piece in beyond.decompose()), key=lambda piece: _towards(piece, fork.hearts[1][-1]))
    assert ready.made_on(other).outer.volume_m3 == pytest.approx(by_hand.volume() - lost.volume(), abs=2e-4)


def test_a_log_with_long_edges_is_cut_back_as_well():
    log = shapes.cylinder(0.3, 3.0)
    ready = CutBack.of(log, [stem_cut(log, 2.0)])
    (bolt,) = ready.bolts_of(log)

    assert ready.made_on(log).outer.volume_m3 == pytest.approx(log.outer.volume_m3 * 2.0 / 3.0, rel=1e-3)
    assert bolt.log.outer.volume_m3 == pytest.approx(log.outer.volume_m3 / 3.0, rel=1e-3)


def _towards(piece, point_m):
    mesh = piece.to_mesh64()
    middle = np.asarray(mesh.vert_properties)[:, :3].mean(axis=0)
    return -float(np.linalg.norm(middle - point_m))


def test_metal_in_a_limb_goes_with_it_and_stays_in_its_bolt():
    log = shapes.forked()
    at_x = float(log.hearts[1][-3, 0])
    side = float(np.degrees(np.arctan2(-log.hearts[1][-3, 1], log.hearts[1][-3, 2])))
    marks = []
    for name, toward in (("limb 1", side), ("limb 2", side + 180.0), ("stem", 0.0)):
        x, y, z = place_on_girth(log, 0.5 if name == "stem" else at_x, toward)
        marks.append(Mark(id=name, kind="metal", x_m=x, y_m=y, z_m=z, radius_m=0.02, depth_m=0.05))
    whole = replace(books.problem(log), marks=tuple(marks))
    cuts = [limb_cut(log, 1, limb_leaves_m(log, 1) + 0.2)]

    kept = whole.bucked(cuts)
    (bolt,) = buck(log, cuts).bolts

    assert len(whole.metal) == 3
    there = [zone.corners_m.mean(axis=0) for zone in kept.metal]
    assert there == [pytest.approx(zone.corners_m.mean(axis=0)) for zone in whole.metal[1:]]
    (own,) = whole.of_bolt(bolt).metal
    assert own.corners_m == pytest.approx(moved(whole.metal[0].corners_m, bolt.log_to_bolt))
    bounds = bolt.log.outer.bounds_m
    assert ((own.corners_m > bounds[0] - 0.05) & (own.corners_m < bounds[1] + 0.05)).all()
