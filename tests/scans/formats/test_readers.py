import numpy as np
import pytest
import trimesh
from meshes import read_mesh

from scans.formats.readers import read_scan
from scans.locate.placing import place_scan

BOX = trimesh.creation.box(extents=(3.0, 0.5, 0.4))


def exported(mesh, kind):
    data = mesh.export(file_type=kind)
    return data.encode() if isinstance(data, str) else data


@pytest.mark.parametrize("kind", ["ply", "obj", "stl", "off", "glb"])
def test_a_box_of_every_mesh_format_is_one_closed_surface(kind):
    vertices, faces = read_mesh(exported(BOX, kind), kind)
    assert vertices.shape == (8, 3)
    assert faces.shape == (12, 3)
    box = trimesh.Trimesh(vertices, faces, process=False)
    assert box.is_watertight
    # Above zero, as the faces keep the way they turn.
    assert box.volume == pytest.approx(0.6, rel=1e-6)


def test_the_y_of_a_glb_is_up():
    # glTF 2.0 specification, section 3.4: metres, +y up. A box raised in y, 0.5 high, stands so in z.
    raised = BOX.copy()
    raised.apply_translation([0.0, 7.0, 0.0])
    placed = place_scan(read_scan(exported(raised, "glb"), "glb"))
    assert (placed.unit, placed.up) == ("m", "y")
    np.testing.assert_allclose(np.ptp(placed.points_m, axis=0), [3.0, 0.4, 0.5], rtol=1e-6)
    assert placed.points_m[:, 2].min() == pytest.approx(6.75)
