"""What slabs and the rest weigh, bark included, against the solids cut by a general-purpose library."""

import books
import manifold3d
import numpy as np
import pytest
import shapes
from planned_logs import planned

from optimizer.bed.bodies import LogBodies
from optimizer.bed.lay import Lay
from optimizer.report.weights import OnScale
from optimizer.wood.woods import find_wood
from scans.log import Log, Solid

ASH = find_wood("ash, white")


def log_of(name: str) -> Log:
    return {
        "stem": shapes.frustum,
        "stem in bark": lambda: shapes.with_bark(shapes.frustum(), 0.93),
        "fork": lambda: shapes.forked(lumpy=0.06),
        "fork in bark": lambda: shapes.forked_in_bark(lumpy=0.06),
    }[name]()


@pytest.fixture(scope="module", params=["stem", "stem in bark", "fork", "fork in bark"])
def weighed(request):
    log = log_of(request.param)
    mill = books.mill(can_flip=request.param == "stem in bark")
    return log, planned(log, mill, lays=12)


def plans_of(document):
    return [*document.plans, document.plain_way]


def joined(*solids):
    body = manifold3d.Manifold.batch_boolean([shapes.manifold(one) for one in solids], manifold3d.OpType.Add)
    mesh = body.to_mesh64()
    return Solid(np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64))


def on_scale(outer, wood):
    bodies, lay = LogBodies(Log(name="invented", outer=outer, wood=wood, hearts=()), (0.0, 0.0)), Lay(0.0, 0.0, 0.0)
    return OnScale.of(ASH, bodies, bodies.on_bed(lay), lay)


def part_between(solid, matrix, lower_m, upper_m):
    body = shapes.manifold(solid).transform(np.array(matrix)[:3])
    return body.trim_by_plane((0, 0, 1), lower_m).trim_by_plane((0, 0, -1), -upper_m)


def test_slabs_waste_offcuts_and_sawdust_weigh_what_the_log_weighs(weighed):
    log, document = weighed

    for plan in plans_of(document):
        pieces = [*plan.slabs, *plan.waste, *plan.offcuts]
        whole_kg = ASH.log_mass_kg(log.wood.volume_m3, log.outer.volume_m3)

        assert document.log.mass_kg == pytest.approx(whole_kg)
        assert sum(piece.mass_kg for piece in pieces) + plan.kerf_mass_kg == pytest.approx(whole_kg, rel=1e-6)


def test_a_stretch_comes_apart_into_its_own_mass():
    log = shapes.with_bark(shapes.frustum(length_m=4.0), 0.93)
    document = planned(log, books.mill(bed_length_m=3.0), lays=12)
    plan = document.plans[0]
    low, high = plan.stretch_m

    def of_stretch(solid):
        return shapes.manifold(solid).trim_by_plane((1, 0, 0), low).trim_by_plane((-1, 0, 0), -high).volume()

    stretch_kg = ASH.log_mass_kg(of_stretch(log.wood), of_stretch(log.outer))
    pieces = [*plan.slabs, *plan.waste, *plan.offcuts]

    assert high - low < 3.01
    assert sum(piece.mass_kg for piece in pieces) + plan.kerf_mass_kg == pytest.approx(stretch_kg, rel=1e-6)


def test_a_layer_weighs_wood_and_bark_between_its_faces(weighed):
    log, document = weighed

    for plan in plans_of(document):
        for layer in sorted({slab.layer for slab in plan.slabs}):
            pieces = [one for one in (*plan.slabs, *plan.waste) if one.layer == layer]
            slab = next(one for one in plan.slabs if one.layer == layer)
            matrix = plan.flipped_log_to_bed if slab.flipped else plan.log_to_bed
            wood_m3, outer_m3 = (
                part_between(solid, matrix, slab.lower_face_m, slab.upper_face_m).volume()
                for solid in (log.wood, log.outer)
            )

            assert sum(one.volume_m3 for one in pieces) == pytest.approx(wood_m3, rel=1e-6)
            assert sum(one.mass_kg for one in pieces) == pytest.approx(ASH.log_mass_kg(wood_m3, outer_m3), rel=1e-6)


def test_each_limb_keeps_its_own_bark():
    bare, bark = shapes.tube([(0, 1.0, 0), (2, 1.0, 0)], 0.2, 0.2), shapes.tube([(0, 1.0, 0), (2, 1.0, 0)], 0.25, 0.25)
    other = shapes.tube([(0, -1.0, 0), (2, -1.0, 0)], 0.3, 0.3)
    stub_of_bark = shapes.tube([(0.5, -2.0, 0), (1.5, -2.0, 0)], 0.1, 0.1)

    on_bed = on_scale(joined(bark, other, stub_of_bark), joined(bare, other))

    pieces = on_bed.pieces(-0.05, 0.05)
    barked, plain = sorted(pieces.weighed[:2], key=lambda piece: -piece.centre_m[1])
    loose = pieces.weighed[2]
    kept_m3 = part_between(bark, np.eye(4), -0.05, 0.05).volume()

    assert len(pieces.bodies) == 2
    assert len(pieces.weighed) == 3
    assert barked.mass_kg == pytest.approx(ASH.log_mass_kg(barked.volume_m3, kept_m3))
    assert plain.mass_kg == pytest.approx(plain.volume_m3 * ASH.green_density_kg_m3)
    assert loose.volume_m3 == 0.0
    assert loose.mass_kg == pytest.approx(
        part_between(stub_of_bark, np.eye(4), -0.05, 0.05).volume() * ASH.bark_density_kg_m3, rel=1e-6
    )
    assert loose.centre_m == pytest.approx((1.0, -2.0, 0.0), abs=1e-6)
    total = on_bed.between(-0.05, 0.05)
    assert sum(piece.mass_kg for piece in pieces.weighed) == pytest.approx(total.mass_kg, rel=1e-9)
    moment = sum(piece.mass_kg * np.array(piece.centre_m) for piece in pieces.weighed)
    assert moment / total.mass_kg == pytest.approx(total.centre_m, abs=1e-6)


def test_bark_that_holds_two_pieces_of_wood_is_shared_as_the_wood_is():
    wide, narrow = (
        shapes.tube([(0, 0.5, 0), (2, 0.5, 0)], 0.3, 0.3),
        shapes.tube([(0, -0.5, 0), (2, -0.5, 0)], 0.2, 0.2),
    )
    around = shapes.tube([(-0.01, 0, 0), (2.01, 0, 0)], 1.0, 0.4)
    on_bed = on_scale(around, joined(wide, narrow))

    first, second = on_bed.pieces(-0.05, 0.05).weighed

    assert first.mass_kg / second.mass_kg == pytest.approx(first.volume_m3 / second.volume_m3)
    assert first.mass_kg + second.mass_kg == pytest.approx(on_bed.between(-0.05, 0.05).mass_kg, rel=1e-9)


def test_wood_that_stands_out_of_the_bark_by_a_sliver_is_weighed_as_wood():
    log = shapes.cylinder(0.3)
    slimmer = log.outer.moved(np.diag([1.0, 0.9999, 0.9999, 1.0]))
    on_bed = on_scale(slimmer, log.outer)

    piece = on_bed.between(-0.05, 0.05)

    assert piece.mass_kg == pytest.approx(piece.volume_m3 * ASH.green_density_kg_m3)
    assert piece.centre_m == pytest.approx((1.5, 0.0, 0.0), abs=1e-9)
