import numpy as np
import pytest
import trimesh
from solid_measures import section_points, span

from scans.errors import NotALogError
from scans.solids.bark import wood_under_bark
from scans.solids.bodies import body_from_mesh, mesh_from_body
from scans.tape.log_from_sheet import LogSheet, TapedLimb, TapedSection, log_from_sheet


def cylinder(radius, length):
    mesh = trimesh.creation.cylinder(radius=radius, segment=[[0, 0, 0], [length, 0, 0]], sections=128)
    return body_from_mesh(np.array(mesh.vertices), np.array(mesh.faces))


def section_area(body, x):
    return body.transform([[0, 1, 0, 0], [0, 0, 1, 0], [1, 0, 0, 0]]).slice(x).area()


@pytest.mark.parametrize("ratio", [0.85, 0.92, 0.97])
def test_a_cylinder_loses_a_ring_and_keeps_its_end_faces(ratio):
    body = cylinder(0.3, 2.0)
    wood, thickness = wood_under_bark(body, ratio)
    assert thickness == pytest.approx(0.3 * (1.0 - ratio), rel=2e-3)
    # The grid and the simplification move the surface by less than half a millimetre.
    assert wood.volume() / body.volume() == pytest.approx(ratio**2, rel=0.004)
    vertices, faces = mesh_from_body(wood)
    assert vertices[:, 0].min() == pytest.approx(0.0, abs=1e-9)
    assert vertices[:, 0].max() == pytest.approx(2.0, abs=1e-9)
    for x in (0.02, 1.0, 1.98):
        points = section_points(vertices, faces, x)
        assert span(points, 0.0) == pytest.approx(0.6 * ratio, abs=1.5e-3)
    assert (wood - body).volume() < 1e-9
    assert len(wood.decompose()) == 1


def test_a_tapering_oval_loses_the_same_share_along_its_length():
    sections = (TapedSection(0.0, 0.9, 0.7, 30.0), TapedSection(3.0, 0.5, 0.45))
    log = log_from_sheet(LogSheet("invented", None, True, sections), 1.0)
    body = body_from_mesh(log.outer.vertices_m, log.outer.faces)
    wood, _ = wood_under_bark(body, 0.9)
    for x in (0.3, 1.5, 2.7):
        assert section_area(wood, x) / section_area(body, x) == pytest.approx(0.81, rel=0.015)


def test_the_crotch_of_a_fork_stays_sound_and_limbs_keep_their_end_faces():
    limbs = tuple(
        TapedLimb(1.5, 25.0, toward, (TapedSection(length, girth_m=1.3),))
        for toward, length in ((90.0, 1.2), (270.0, 0.8))
    )
    sections = (TapedSection(0.0, 0.7, 0.6, 45.0), TapedSection(1.5, 0.6, 0.6))
    sheet = LogSheet("invented", None, True, sections, None, limbs)
    log, taped = (log_from_sheet(sheet, ratio) for ratio in (1.0, 0.92))
    body = body_from_mesh(log.outer.vertices_m, log.outer.faces)
    wood, _ = wood_under_bark(body, 0.92)
    assert len(wood.decompose()) == 1
    assert (wood - body).volume() < 1e-9
    # The sheet's own wood, made another way, from thinner limbs on the same lines.
    assert wood.volume() == pytest.approx(taped.wood.volume_m3, rel=0.015)
    high = mesh_from_body(wood)[0][:, 1].min(), mesh_from_body(wood)[0][:, 1].max()
    expected = taped.wood.bounds_m[:, 1]
    np.testing.assert_allclose(high, expected, atol=0.012)


def test_bark_as_thick_as_the_limb_is_refused_where_it_parts_the_wood():
    neck = [cylinder(0.3, 1.0), cylinder(0.03, 2.0), cylinder(0.3, 1.0).translate((1.6, 0.0, 0.0))]
    with pytest.raises(NotALogError, match="parts the wood"):
        wood_under_bark(neck[0] + neck[1] + neck[2], 0.8)
