"""3MF read back as it was written, or refused. All models written here are invented."""

import io
import json
import time
import zipfile

import numpy as np
import pytest
import trimesh

from scans.errors import ScanError
from scans.formats.read_3mf import is_3mf, read_3mf
from scans.formats.scan import ReadingLimits

LIMITS = ReadingLimits()
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
BEAMS = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
RELATION = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="a" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel" Target="/3D/scan.model"/></Relationships>'
)
PLACES = [(0, 0, 0), (2, 0, 0), (0, 3, 0), (0, 0, 5)]
CORNERS = [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]
MESH = (
    "<mesh><vertices>"
    + "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in PLACES)
    + "</vertices><triangles>"
    + "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in CORNERS)
    + "</triangles></mesh>"
)
ITEM = '<item objectid="1"/>'


def body(number, inner=MESH, **given):
    words = "".join(f' {key}="{value}"' for key, value in given.items())
    return f'<object id="{number}"{words}>{inner}</object>'


def model(objects=None, build=ITEM, head='unit="meter"', before=""):
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{before}<model {head} xmlns="{CORE}" xmlns:p="{PRODUCTION}" '
        f'xmlns:b="{BEAMS}"><resources>{objects or body(1)}</resources><build>{build}</build></model>'
    )


def file_of(text=None, relation=RELATION, **others):
    stream = io.BytesIO()
    files = {"[Content_Types].xml": "<Types/>", "_rels/.rels": relation, "3D/scan.model": text or model(), **others}
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            if content is not None:
                archive.writestr(zipfile.ZipInfo(name), content)
    return stream.getvalue()


def test_points_and_faces_come_back():
    scan = read_3mf(file_of(), LIMITS)

    assert scan.points.tolist() == np.array(PLACES, dtype=float).tolist()
    assert scan.faces.tolist() == np.array(CORNERS).tolist()
    assert (scan.unit_m, scan.up, scan.colours, scan.notes) == (1.0, "z", None, ())
    assert is_3mf(["[Content_Types].xml", "3D/3dmodel.MODEL"])
    assert not is_3mf(["scan.obj", "a.model"])


@pytest.mark.parametrize(
    ("head", "unit_m"),
    [("", 0.001), ('unit="micron"', 1e-6), ('unit="inch"', 0.0254), ('unit="foot"', 0.3048),
     ('unit="centimeter"', 0.01), ('unit="millimeter"', 0.001)],
)  # fmt: skip
def test_the_unit_is_what_the_model_states(head, unit_m):
    assert read_3mf(file_of(model(head=head)), LIMITS).unit_m == unit_m


def test_transforms_of_items_and_components_follow_one_another():
    # Rows: x to y, y to -x, then moved; the component's comes before the item's.
    turn, shift = "0 1 0 -1 0 0 0 0 1 10 0 0", "2 0 0 0 2 0 0 0 2 1 0 0"
    objects = body(1) + body(2, f'<components><component objectid="1" transform="{shift}"/></components>')
    build = f'<item objectid="2" transform="{turn}"/>{ITEM}'

    scan = read_3mf(file_of(model(objects, build)), LIMITS)

    first = np.array(PLACES) * 2 + [1, 0, 0]
    turned = np.stack([10 - first[:, 1], first[:, 0], first[:, 2]], axis=1)
    np.testing.assert_allclose(scan.points, np.concatenate([turned, PLACES]), atol=1e-12)
    assert scan.faces.tolist() == np.concatenate([CORNERS, np.array(CORNERS) + 4]).tolist()
    assert [note.text for note in scan.notes] == ["The file holds 2 parts, read as one."]


def test_mirrored_parts_stay_solid():
    scan = read_3mf(file_of(model(build='<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>')), LIMITS)

    assert trimesh.Trimesh(scan.points, scan.faces).volume == pytest.approx(5.0)


def test_components_of_other_parts_are_followed():
    objects = body(5, '<components><component objectid="1" p:path="/3D/Objects/A.model"/></components>')
    whole = file_of(model(objects, '<item objectid="5"/>'), **{"3D/Objects/a.model": model(build="")})
    assert len(read_3mf(whole, LIMITS).faces) == 4
    with pytest.raises(ScanError, match=r"part '3D/Objects/A\.model' that is not in it"):
        read_3mf(file_of(model(objects, '<item objectid="5"/>')), LIMITS)
    inch = file_of(model(objects, '<item objectid="5"/>'), **{"3D/Objects/a.model": model(head='unit="inch"')})
    with pytest.raises(ScanError, match="different units"):
        read_3mf(inch, LIMITS)


def test_what_is_built_is_read_and_supports_are_not():
    objects = body(1) + body(2) + body(3, type="support")
    scan = read_3mf(file_of(model(objects, f'{ITEM}<item objectid="3"/>')), LIMITS)
    assert len(scan.faces) == 4
    assert [note.text for note in scan.notes] == ["Supports in the file were left out."]
    scan = read_3mf(file_of(model(body(1) + body(2, '<components><component objectid="1"/></components>'), "")), LIMITS)
    assert len(scan.faces) == 4
    assert [note.text for note in scan.notes] == ["The file builds none of its objects, and all of them were read."]
    assert len(read_3mf(file_of(relation=None), LIMITS).faces) == 4


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (model(build='<item objectid="9"/>'), "uses an object '9' that is not in it"),
        (model(body(1) * 2), "two objects of number '1'"),
        (model(body(1, MESH.replace('v3="3"', 'v3="4"'))), "names point 4, and its mesh has 4"),
        (model(body(1, MESH.replace('v3="3"', 'v3="-1"'))), "v3 of a triangle in the file is '-1'"),
        (model(body(1, MESH.replace('v3="3"', ""))), "v3 of a triangle in the file is ''"),
        (model(body(1, MESH.replace('x="2"', 'x="2_0"'))), "x in the file is '2_0', no number"),
        (model(body(1, MESH.replace('x="2"', 'x="nan"'))), "x in the file is 'nan', no number"),
        (model(body(1, MESH.replace('x="2"', 'x="2,5"'))), "x in the file is '2,5', no number"),
        (model(body(1, MESH.replace('x="2"', ""))), "x in the file is '', no number"),
        (model(build='<item objectid="1" transform="1 0 0"/>'), "3 numbers, not 12"),
        (model(head='unit="league"'), "unit 'league'"),
        (model(head='requiredextensions="p b"'), f"needs {BEAMS}, which is not read"),
        (model(head='requiredextensions="p zz"'), "needs zz, which is not read"),
        (model(body(1, "<mesh/>")), "builds no triangles"),
        (model().replace(CORE, "http://a.b"), "begins as"),
        (model(before='<!DOCTYPE m [<!ENTITY a "b">]>'), "declares a document type, 'm'"),
        (model(before='<!DOCTYPE m SYSTEM "file:///etc/hostname">'), "declares a document type"),
        (model()[:-9], "cannot be read"),
        ("<a" * 10, "cannot be read"),
        (model().replace("UTF-8", "klingon"), "cannot be read"),
    ],
)
def test_models_that_contradict_themselves_are_refused(text, message):
    with pytest.raises(ScanError, match=message):
        read_3mf(file_of(text), LIMITS)


def test_objects_of_one_another_end():
    ring = "".join(body(n, f'<components><component objectid="{3 - n}"/></components>') for n in (1, 2))
    with pytest.raises(ScanError, match="without end"):
        read_3mf(file_of(model(ring)), LIMITS)
    # Ten of ten of ten...: a file of a kilobyte and 10^20 parts.
    tower = body(0, "") + "".join(
        body(n, "<components>" + f'<component objectid="{n - 1}"/>' * 10 + "</components>") for n in range(1, 21)
    )
    start = time.perf_counter()
    with pytest.raises(ScanError, match="without end"):
        read_3mf(file_of(model(tower, '<item objectid="20"/>')), LIMITS)
    assert time.perf_counter() - start < 20.0


def test_entities_stand_for_nothing():
    bomb = '<!DOCTYPE m [<!ENTITY a "aaaaaaaaaa">' + "".join(
        f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(9)
    )
    with pytest.raises(ScanError, match="document type"):
        read_3mf(file_of(model(body(1, "&j;"), before=bomb + "]>")), LIMITS)
    with pytest.raises(ScanError, match="document type"):
        read_3mf(file_of(relation='<!DOCTYPE m [<!ENTITY a "b">]>' + RELATION), LIMITS)
    wide = model(before='<!DOCTYPE m [<!ENTITY a "b">]>').replace("UTF-8", "UTF-16").encode("utf-16")
    with pytest.raises(ScanError, match="document type"):
        read_3mf(file_of(wide), LIMITS)


def test_limits_hold_for_all_uses_together():
    twice = file_of(model(build=ITEM * 2))
    assert len(read_3mf(twice, ReadingLimits(points=8, faces=8)).faces) == 8
    with pytest.raises(ScanError, match="8 points, at most 7"):
        read_3mf(twice, ReadingLimits(points=7))
    with pytest.raises(ScanError, match="8 faces, at most 7"):
        read_3mf(twice, ReadingLimits(faces=7))
    with pytest.raises(ScanError, match="more than the 3 points"):
        read_3mf(twice, ReadingLimits(points=3))
    with pytest.raises(ScanError, match="more than the 3 faces"):
        read_3mf(twice, ReadingLimits(faces=3))
    with pytest.raises(ScanError, match="bytes of text"):
        read_3mf(twice, ReadingLimits(text_bytes=500))
    with pytest.raises(ScanError, match="unpacks to"):
        read_3mf(twice, ReadingLimits(archive_bytes=500))


def test_other_archives_are_refused():
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("scan.obj", "v 1 2 3\n")
    with pytest.raises(ScanError, match="no model of a 3MF"):
        read_3mf(stream.getvalue(), LIMITS)
    with pytest.raises(ScanError, match="empty"):
        read_3mf(b"", LIMITS)


def test_a_cut_file_is_refused():
    whole = file_of()
    for size in range(len(whole)):
        with pytest.raises(ScanError):
            read_3mf(whole[:size], LIMITS)
    text = model()
    for size in range(1, len(text)):
        with pytest.raises(ScanError):
            read_3mf(file_of(text[:size]), LIMITS)


def test_damage_gives_a_scan_or_one_clear_line():
    objects = body(1) + body(
        2, '<components><component objectid="1" transform="2 0 0 0 2 0 0 0 2 1 0 0"/></components>'
    )
    text = model(objects, f'{ITEM}<item objectid="2"/>').encode()
    whole = file_of(text)
    rng = np.random.default_rng(6)
    lines = []
    for number in range(1000):
        damaged = bytearray(whole if number % 2 else text)
        for place in rng.integers(0, len(damaged), rng.integers(1, 4)):
            damaged[place] = rng.integers(256) if rng.random() < 0.5 else ord(rng.choice(list('0129-._ "<>/&e')))
        try:
            scan = read_3mf(bytes(damaged) if number % 2 else file_of(bytes(damaged)), LIMITS)
        except ScanError as error:
            lines.append(str(error))
        else:
            assert scan.faces.max() < len(scan.points)
    assert len(lines) > 100
    assert not any("\n" in line for line in lines)


def test_odd_files_are_where_another_reader_has_them(data_folder):
    folder = data_folder / "odd_files"
    seen = 0
    for entry in json.loads((folder / "manifest.json").read_text()):
        if not entry["file"].endswith(".3mf"):
            continue
        seen += 1
        scan = read_3mf((folder / entry["file"]).read_bytes(), LIMITS)
        assert len(scan.points) == entry["seen_here"]["points"]
        assert len(scan.faces) == entry["seen_here"]["faces"]
        other = trimesh.load_scene(folder / entry["file"], process=False)
        np.testing.assert_allclose([scan.points.min(axis=0), scan.points.max(axis=0)], other.bounds, atol=1e-6)
        assert trimesh.Trimesh(scan.points, scan.faces).volume == pytest.approx(other.to_mesh().volume, rel=1e-6)
        assert scan.unit_m == 0.001
    assert seen


def test_a_mesh_of_another_writer_comes_back():
    sphere = trimesh.creation.icosphere(subdivisions=2)

    scan = read_3mf(sphere.export(file_type="3mf"), LIMITS)

    np.testing.assert_allclose(scan.points[scan.faces], sphere.vertices[sphere.faces], atol=1e-6)
