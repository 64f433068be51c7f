"""The solids that pages draw, read back and held against the mesh and the plan they were made of."""

import json
import struct
from dataclasses import replace
from math import pi

import numpy as np
import pytest
import shapes
from sawn_plan import MILL, plan_of

from optimizer.bed.bodies import manifold_of
from optimizer.documents.plan import Mark
from scans.log import SurfaceColours
from service.drawings.slab_solids import parts_of
from service.drawings.solid_buffer import MOST_FACES, plan_buffer, simplified, solid_buffer


def read(buffer):
    """Read the file as its docstring tells; return the head, and each part's places, faces and seen."""
    assert buffer[:4] == b"PSB1"
    (length,) = struct.unpack_from("<I", buffer, 4)
    assert length % 4 == 0
    head = json.loads(buffer[8 : 8 + length])
    at = 8 + length
    count, faces = head["vertices"], head["faces"]
    steps = np.frombuffer(buffer, "<u2", 3 * count, at).reshape(-1, 3)
    places = np.array(head["offset_m"]) + np.array(head["scale_m"]) * steps
    at += 6 * count
    seen = np.frombuffer(buffer, np.uint8, count, at)
    at += count + (-7 * count) % 4
    corners = np.frombuffer(buffer, "<u2", 3 * faces, at).reshape(-1, 3)
    assert at + 6 * faces + 4 * count * head["coloured"] == len(buffer)
    parts, vertex, face = [], 0, 0
    for part in head["parts"]:
        ends = vertex + part["vertices"], face + part["faces"]
        parts.append((part, places[vertex : ends[0]], corners[face : ends[1]], seen[vertex : ends[0]]))
        vertex, face = ends
    assert (vertex, face) == (count, faces)
    return head, parts


def volume_m3(places, corners):
    a, b, c = (places[corners[:, k]] for k in range(3))
    return np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0


def test_places_lie_on_the_mesh_to_half_a_step():
    log = shapes.bent()

    head, ((part, places, corners, seen),) = read(solid_buffer(log))

    assert np.abs(places - log.outer.vertices_m).max(axis=0) == pytest.approx(0.0, abs=0.51 * max(head["scale_m"]))
    assert max(head["scale_m"]) < 1e-4
    assert (corners == log.outer.faces).all()
    assert (part["kind"], part["level"]) == ("log", None)
    assert (seen == 255).all()
    assert not head["guessed"]
    assert np.allclose(head["hearts"][0], log.hearts[0], atol=1e-4)


def test_a_fine_mesh_keeps_its_volume_with_fewer_faces():
    fine = manifold_of(shapes.forked(lumpy=0.05).outer).refine(3)
    mesh = fine.to_mesh64()
    solid = shapes.Solid(np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64))
    assert len(solid.faces) > 60_000
    buffer = solid_buffer(shapes.log_of(solid))

    _, ((_, places, corners, _),) = read(buffer)

    assert len(corners) <= MOST_FACES
    assert len(buffer) < 500_000
    assert volume_m3(places, corners) == pytest.approx(solid.volume_m3, rel=0.01)
    assert len(simplified(solid, 2000)[1]) <= 2000


def test_what_was_not_seen_is_told_where_it_lies():
    log = shapes.cylinder(points=96)
    middles = log.outer.vertices_m[log.outer.faces].mean(axis=1)
    log = replace(log, face_seen=middles[:, 2] > -0.1)

    head, ((_, places, _, seen),) = read(solid_buffer(log))

    assert head["guessed"]
    assert (seen[places[:, 2] > -0.05] == 255).all()
    assert (seen[places[:, 2] < -0.15] == 0).all()


def test_marks_are_rods_inwards_and_pith_is_none():
    log = shapes.cylinder(0.3)
    nail = Mark(id="nail", kind="metal", x_m=1.0, y_m=0.0, z_m=0.3, radius_m=0.01, depth_m=0.06)
    pith = Mark(id="pith", kind="pith", x_m=0.0, y_m=0.0, z_m=0.0, radius_m=0.01, depth_m=0.1)
    flat = nail.model_copy(update={"id": "flat", "kind": "rot", "depth_m": 0.0, "radius_m": 0.0})

    head, _ = read(solid_buffer(log, [nail, pith, flat]))

    first, second = head["rods"]
    assert (first["id"], first["kind"], first["radius_m"]) == ("nail", "metal", 0.01)
    assert first["from"] == pytest.approx([1.0, 0.0, 0.3])
    assert first["to"] == pytest.approx([1.0, 0.0, 0.24])
    assert second["to"] == pytest.approx([1.0, 0.0, 0.29])


@pytest.mark.parametrize("flipped_rows", [(), (120, 80, 40)])
def test_slabs_and_what_is_left_are_the_whole_log_less_the_kerfs(flipped_rows):
    log = shapes.forked(lumpy=0.05)
    plan = plan_of(log, [300, 260, 220, 180], flipped_rows)

    head, parts = read(plan_buffer(log, plan, MILL.kerf_m))

    assert plan.slabs
    assert any(slab.flipped for slab in plan.slabs) == bool(flipped_rows)
    assert {part["id"] for part, *_ in parts if part["kind"] == "slab"} == {slab.id for slab in plan.slabs}
    volumes = [volume_m3(places, corners) for _, places, corners, _ in parts]
    described = sum(one.volume_m3 for one in (*plan.slabs, *plan.waste, *plan.offcuts))
    assert sum(volumes) == pytest.approx(described, rel=0.002)
    assert sum(volumes) + plan.kerf_volume_m3 == pytest.approx(log.wood.volume_m3, rel=0.002)
    # Its solid piece less the wood crosscut at the ends, which is waste beside it.
    for slab in plan.slabs:
        own = [v for (part, *_), v in zip(parts, volumes, strict=True) if part["id"] == slab.id]
        assert len(own) == 1
        assert slab.area_m2 * slab.green_thickness_m * 0.999 < own[0] < slab.volume_m3 * 1.001
    assert sum(part["faces"] for part, *_ in parts) <= MOST_FACES
    assert head["levels"] == len({part["level"] for part, *_ in parts})


@pytest.mark.parametrize("flipped_rows", [(), (120, 80, 40)])
def test_each_slab_lies_between_its_faces_and_above_those_sawn_lower(flipped_rows):
    log = shapes.bent(radius_m=0.28)
    plan = plan_of(log, [300, 260, 220, 180], flipped_rows)

    head, parts = read(plan_buffer(log, plan, MILL.kerf_m))

    by_id = {part["id"]: (part, places) for part, places, *_ in parts}
    to_bed, levels = np.array(plan.log_to_bed), []
    assert head["up"] == pytest.approx(to_bed[2, :3])
    for slab in plan.slabs:
        part, places = by_id[slab.id]
        matrix = np.array(plan.flipped_log_to_bed) if slab.flipped else to_bed
        on_bed = places @ matrix[:3, :3].T + matrix[:3, 3]
        assert on_bed[:, 2].min() == pytest.approx(slab.lower_face_m, abs=5e-4)
        assert on_bed[:, 2].max() == pytest.approx(slab.upper_face_m, abs=5e-4)
        assert on_bed[:, 0].min() >= slab.span_m[0] - 5e-4
        assert on_bed[:, 0].max() <= slab.span_m[1] + 5e-4
        levels.append(((places @ to_bed[2, :3]).mean(), part["level"]))
    ranked = [level for _, level in sorted(levels)]
    assert ranked == sorted(set(ranked))


def test_wood_beyond_the_stretch_stays_and_bark_is_left_out():
    log = shapes.with_bark(shapes.frustum(0.3, 0.3, 4.0), 0.9)
    plan = plan_of(log, [250, 210, 170]).model_copy(update={"stretch_m": (1.0, 3.5)})

    parts = parts_of(log, plan, MILL.kerf_m)

    rest = [part for part in parts if part.kind == "rest"]
    assert sum(part.body.volume() for part in rest) == pytest.approx(1.5 * pi * 0.27**2, rel=0.002)
    for part in parts:
        x0, *_, x1, _, _ = part.body.bounding_box()
        assert (x1 <= 1.0 + 1e-6 or x0 >= 3.5 - 1e-6) == (part.kind == "rest")


def test_two_slabs_of_one_solid_piece_share_it_by_their_outlines():
    log = shapes.cylinder(0.3)
    plan = plan_of(log, [260, 220], roll_deg=0.0)
    (whole,) = plan.slabs

    def strip(slab_id, y):
        return whole.model_copy(
            update={"id": slab_id, "outline_m": (((0.1, y), (2.9, y), (2.9, y + 0.1), (0.1, y + 0.1)),)}
        )

    halves = [strip("1a", 0.05), strip("1b", -0.15)]
    plan = plan.model_copy(update={"slabs": tuple(halves)})

    parts = parts_of(log, plan, MILL.kerf_m)

    own = [part.body.volume() for part in parts if part.kind == "slab"]
    assert own == pytest.approx([2.8 * 0.1 * whole.green_thickness_m] * 2, rel=1e-6)
    layer = sum(part.body.volume() for part in parts if part.kind != "offcut")
    assert layer == pytest.approx(whole.volume_m3, rel=1e-6)


def test_colours_follow_the_faces_where_a_scan_told_them():
    log = shapes.cylinder(points=96)
    rng = np.random.default_rng(0)
    rgb, known = rng.integers(0, 256, log.outer.vertices_m.shape, np.uint8), rng.random(len(log.outer.vertices_m)) > 0.3
    buffer = solid_buffer(replace(log, colours=SurfaceColours(rgb, known)))
    head, _ = read(buffer)
    told = np.frombuffer(buffer[-4 * head["vertices"] :], np.uint8).reshape(-1, 4)

    assert head["coloured"]
    assert (told[:, :3] == rgb).all()
    assert (told[:, 3] == np.where(known, 255, 0)).all()
    assert not read(solid_buffer(log))[0]["coloured"]
