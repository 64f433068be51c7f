"""GLB and glTF read back as they were written, or refused. All meshes written here are invented."""

import base64
import io
import json
import struct

import numpy as np
import pytest
import trimesh
from PIL import Image

from scans.errors import ScanError
from scans.formats.read_gltf import is_glb, is_gltf, read_gltf
from scans.formats.scan import ReadingLimits

LIMITS = ReadingLimits()
SQUARE = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], dtype="<f4")
TYPES = {"<f4": 5126, "<u1": 5121, "<u2": 5123, "<u4": 5125, "<i2": 5122}
TURN = [0.0, 0.0, np.sqrt(0.5), np.sqrt(0.5)]


class Written:
    """A glTF as it is put together: each array gets a view and an accessor of its own."""

    def __init__(self, **tree):
        self.body = b""
        self.tree = {"asset": {"version": "2.0"}, "bufferViews": [], "accessors": [], **tree}

    def view(self, content, **more):
        self.tree["bufferViews"].append({"buffer": 0, "byteOffset": len(self.body), "byteLength": len(content), **more})
        self.body += content + b"\0" * (-len(content) % 4)
        return len(self.tree["bufferViews"]) - 1

    def accessor(self, rows, **more):
        rows = np.asarray(rows)
        width = 1 if rows.ndim == 1 else rows.shape[1]
        self.tree["accessors"].append(
            {
                "bufferView": self.view(rows.tobytes()),
                "componentType": TYPES[rows.dtype.str.replace("|", "<")],
                "count": len(rows),
                "type": "SCALAR" if width == 1 else f"VEC{width}",
                **more,
            }
        )
        return len(self.tree["accessors"]) - 1

    def mesh(self, points=SQUARE, corners=None, mode=None, **attributes):
        primitive = {"attributes": {"POSITION": self.accessor(points), **attributes}}
        if corners is not None:
            primitive["indices"] = self.accessor(np.asarray(corners, dtype="<u2"))
        if mode is not None:
            primitive["mode"] = mode
        self.tree.setdefault("meshes", []).append({"primitives": [primitive]})
        return primitive

    def glb(self):
        self.tree["buffers"] = [{"byteLength": len(self.body)}]
        text = json.dumps(self.tree).encode()
        text += b" " * (-len(text) % 4)
        chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
        if self.body:
            chunks += struct.pack("<II", len(self.body), 0x004E4942) + self.body
        return b"glTF" + struct.pack("<II", 2, 12 + len(chunks)) + chunks

    def gltf(self, address):
        self.tree["buffers"] = [{"byteLength": len(self.body), "uri": address}]
        return json.dumps(self.tree).encode()


def square(**more):
    written = Written(**more)
    written.mesh(corners=[0, 1, 2, 2, 1, 3])
    return written


def corners_of(scan):
    return scan.points[scan.faces]


def test_points_and_faces_come_back():
    data = square().glb()

    scan = read_gltf(data, LIMITS)

    np.testing.assert_array_equal(scan.points, SQUARE)
    assert scan.points.dtype == np.float64
    assert scan.faces.tolist() == [[0, 1, 2], [2, 1, 3]]
    assert (scan.unit_m, scan.up, scan.colours, scan.notes) == (1.0, "y", None, ())
    assert is_glb(data)
    assert not is_gltf(data)


@pytest.mark.parametrize(
    ("mode", "corners", "faces"),
    [
        (5, None, [[0, 1, 2], [1, 3, 2]]),
        (5, [0, 1, 2, 2, 1, 3], [[0, 1, 2], [2, 3, 1]]),
        (6, None, [[1, 2, 0], [2, 3, 0]]),
        (4, [3, 2, 1], [[3, 2, 1]]),
        (0, None, []),
    ],
)
def test_strips_fans_and_points(mode, corners, faces):
    written = Written()
    written.mesh(corners=corners, mode=mode)

    scan = read_gltf(written.glb(), LIMITS)

    expected = SQUARE[np.array(faces, dtype=int).reshape(-1, 3)]
    np.testing.assert_array_equal(corners_of(scan), expected)
    assert len(scan.points) == (3 if mode == 4 else 4)


def test_lines_are_left_out_and_noted():
    written = square()
    written.mesh(mode=1)

    scan = read_gltf(written.glb(), LIMITS)

    assert len(scan.points) == 4
    assert "1 parts of the file are lines, and were left out." in [note.text for note in scan.notes]


def test_nodes_put_their_meshes_in_place_one_in_another():
    written = square(
        nodes=[
            {"children": [1], "translation": [10.0, 0.0, 0.0], "rotation": TURN},
            {"mesh": 0, "scale": [2.0, 3.0, 1.0], "children": [2]},
            {"mesh": 0, "matrix": [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 5, 6, 7, 1]},
            {"mesh": 0, "translation": [1000.0, 0.0, 0.0]},
        ],
        scene=0,
        scenes=[{"nodes": [0]}],
    )

    scan = read_gltf(written.glb(), LIMITS)

    # A quarter turn about z takes x to y and y to -x; the scale comes before it.
    first = np.array([[10, 0, 0], [10, 2, 0], [7, 0, 0], [7, 2, 0]])
    second = np.array([[10 - 3 * 6, 2 * 5, 7], [10 - 3 * 6, 2 * 6, 7], [10 - 3 * 7, 10, 7], [10 - 3 * 7, 12, 7]])
    np.testing.assert_allclose(scan.points, np.concatenate([first, second]), atol=1e-6)
    assert [note.text for note in scan.notes] == ["The file holds a scene of 2 parts, read as one."]


def test_faces_under_a_mirror_are_turned():
    written = square(nodes=[{"mesh": 0, "scale": [-1.0, 1.0, 1.0]}], scenes=[{"nodes": [0]}])

    corners = corners_of(read_gltf(written.glb(), LIMITS))

    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (normals[:, 2] > 0).all()


def test_sparse_accessors_change_their_rows_with_and_without_a_view():
    for has_view in (True, False):
        written = square()
        changes = {
            "count": 2,
            "indices": {"bufferView": written.view(np.array([1, 3], dtype="<u2").tobytes()), "componentType": 5123},
            "values": {"bufferView": written.view(np.array([[7, 8, 9], [4, 5, 6]], dtype="<f4").tobytes())},
        }
        written.tree["accessors"][0]["sparse"] = changes
        if not has_view:
            del written.tree["accessors"][0]["bufferView"]

        points = read_gltf(written.glb(), LIMITS).points

        base = SQUARE if has_view else np.zeros((4, 3))
        np.testing.assert_array_equal(points, [base[0], [7, 8, 9], base[2], [4, 5, 6]])
        changes["count"] = 1
        changes["indices"] = {
            "bufferView": written.view(np.array([4], dtype="<u2").tobytes()),
            "componentType": 5123,
        }
        with pytest.raises(ScanError, match="changes row 4 of 4"):
            read_gltf(written.glb(), LIMITS)


def test_interleaved_rows_are_read_by_their_stride():
    written = square()
    rows = np.concatenate([SQUARE, SQUARE + 50], axis=1).astype("<f4")
    written.tree["accessors"][0].update(bufferView=written.view(rows.tobytes(), byteStride=24), byteOffset=12)

    np.testing.assert_array_equal(read_gltf(written.glb(), LIMITS).points, SQUARE + 50)


@pytest.mark.parametrize("kind", ["<f4", "<u1", "<u2"])
def test_point_colours_are_linear(kind):
    share = np.array([[0.0, 0.2, 1.0, 1.0], [0.002, 0.5, 0.8, 1.0], [0, 0, 0, 1], [1, 1, 1, 1]])
    most = 1.0 if kind == "<f4" else np.iinfo(kind).max
    rows = np.rint(share * most).astype(kind) if kind != "<f4" else share.astype(kind)
    written = square()
    colours = written.accessor(rows, normalized=kind != "<f4")
    written.tree["meshes"][0]["primitives"][0]["attributes"]["COLOR_0"] = colours

    found = read_gltf(written.glb(), LIMITS).colours

    # IEC 61966-2-1, from memory: 0.2 -> 124, 0.5 -> 188, 0.8 -> 231 of 255, and 0.002 on the straight part: 7.
    assert np.abs(found.astype(int) - [[0, 124, 255], [7, 188, 231], [0, 0, 0], [255, 255, 255]]).max() <= 1 + (
        6 if kind == "<u1" else 0
    )


def picture(kind="PNG"):
    stream = io.BytesIO()
    pixels = np.array([[[255, 0, 0], [0, 255, 0]], [[0, 0, 255], [9, 99, 199]]], dtype=np.uint8)
    Image.fromarray(pixels).save(stream, kind, lossless=True)
    return stream.getvalue()


def textured(places, image=None, sampler=None, **use):
    written = square()
    primitive = written.tree["meshes"][0]["primitives"][0]
    primitive["attributes"]["TEXCOORD_0"] = written.accessor(np.array(places, dtype="<f4"))
    primitive["material"] = 0
    texture = {"source": 0}
    if sampler is not None:
        written.tree["samplers"], texture["sampler"] = [sampler], 0
    written.tree.update(
        images=[image or {"bufferView": written.view(picture()), "mimeType": "image/png"}],
        textures=[texture],
        materials=[{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0, **use}}}],
    )
    return written


CORNERS = [[0.2, 0.1], [0.9, 0.4], [0.3, 0.8], [0.7, 0.6]]
SEEN = [[255, 0, 0], [0, 255, 0], [0, 0, 255], [9, 99, 199]]


def test_colours_come_from_the_picture_as_they_are():
    assert read_gltf(textured(CORNERS).glb(), LIMITS).colours.tolist() == SEEN
    # Wound around, upside down, held at the edge, and moved by half a picture.
    far = [[across + 3.0, down - 2.0] for across, down in CORNERS]
    assert read_gltf(textured(far).glb(), LIMITS).colours.tolist() == SEEN
    mirrored = read_gltf(textured(far, sampler={"wrapS": 33648}).glb(), LIMITS).colours.tolist()
    assert mirrored == [SEEN[1], SEEN[0], SEEN[3], SEEN[2]]
    held = read_gltf(textured(far, sampler={"wrapS": 33071, "wrapT": 33071}).glb(), LIMITS).colours.tolist()
    assert held == [SEEN[1]] * 4
    moved = textured(CORNERS, extensions={"KHR_texture_transform": {"offset": [0.5, 0.0]}})
    moved.tree["extensionsRequired"] = ["KHR_texture_transform"]
    assert read_gltf(moved.glb(), LIMITS).colours.tolist() == [SEEN[1], SEEN[0], SEEN[3], SEEN[2]]


def test_pictures_in_other_places():
    address = "data:image/webp;base64," + base64.b64encode(picture("WEBP")).decode()
    assert read_gltf(textured(CORNERS, {"uri": address}).glb(), LIMITS).colours.tolist() == SEEN
    beside = textured(CORNERS, {"uri": "skin%201.png"}).glb()
    assert read_gltf(beside, LIMITS, {"skin 1.png": picture()}).colours.tolist() == SEEN
    scan = read_gltf(beside, LIMITS)
    assert scan.colours is None
    assert [note.text for note in scan.notes] == [
        "The picture on the surface is not with the file: it gives no colors."
    ]


def test_a_damaged_or_huge_picture_costs_the_colours_alone(monkeypatch):
    written = textured(CORNERS)
    view = written.tree["images"][0]["bufferView"]
    at = written.tree["bufferViews"][view]["byteOffset"]
    written.body = written.body[: at + 30] + b"\0" * (len(written.body) - at - 30)

    scan = read_gltf(written.glb(), LIMITS)

    assert len(scan.faces) == 2
    assert scan.colours is None
    assert "picture on the surface" in scan.notes[0].text
    monkeypatch.setattr("scans.formats.gltf_colours._MOST_PIXELS", 3)
    assert "more than 3 pixels" in read_gltf(textured(CORNERS).glb(), LIMITS).notes[0].text


def test_colours_of_a_part_alone_are_not_used():
    written = textured(CORNERS)
    written.mesh(corners=[0, 1, 2])

    scan = read_gltf(written.glb(), LIMITS)

    assert scan.colours is None
    assert "A part of the file has no colors, so that none are used." in [note.text for note in scan.notes]


def test_text_with_its_buffer_inside_or_beside():
    written = square()
    inside = written.gltf("data:application/octet-stream;base64," + base64.b64encode(written.body).decode())
    beside = written.gltf("part%20a.bin")

    assert is_gltf(inside)
    assert not is_glb(inside)
    np.testing.assert_array_equal(read_gltf(inside, LIMITS).points, SQUARE)
    for name in ("part a.bin", "scan/part a.bin", "scan/Part A.BIN"):
        np.testing.assert_array_equal(read_gltf(beside, LIMITS, {name: written.body, "other": b""}).points, SQUARE)
    with pytest.raises(ScanError, match=r"another file, 'part%20a.bin', that is not with it; pack it as GLB or zip it"):
        read_gltf(beside, LIMITS, {"other.bin": written.body})
    with pytest.raises(ScanError, match="buffer 0 of the file has 59 of its 60 bytes"):
        read_gltf(beside, LIMITS, {"part a.bin": written.body[:-1]})


@pytest.mark.parametrize(
    "name",
    [
        "EXT_meshopt_compression",
        "KHR_draco_mesh_compression",
        "KHR_mesh_quantization",
        "EXT_mesh_gpu_instancing",
        "A_b",
    ],
)
def test_needed_extensions_that_are_not_read_are_named(name):
    with pytest.raises(ScanError, match=f"needs {name}, which is not read"):
        read_gltf(square(extensionsRequired=["KHR_materials_unlit", name]).glb(), LIMITS)
    assert len(read_gltf(square(extensionsUsed=[name]).glb(), LIMITS).faces) == 2
    assert len(read_gltf(square(extensionsRequired=["KHR_materials_unlit"]).glb(), LIMITS).faces) == 2


def test_compression_that_is_not_called_needed_gives_no_points_of_nothing():
    written = square()
    del written.tree["accessors"][0]["bufferView"]
    with pytest.raises(ScanError, match="has no data"):
        read_gltf(written.glb(), LIMITS)
    written = square()
    written.glb()
    written.tree["buffers"] = [{"byteLength": 60, "extensions": {"EXT_meshopt_compression": {"fallback": True}}}]
    with pytest.raises(ScanError, match=r"compressed \(EXT_meshopt_compression\)"):
        read_gltf(json.dumps(written.tree).encode(), LIMITS)


def changed(path, value, **more):
    written = square(nodes=[{"mesh": 0}], scenes=[{"nodes": [0]}], **more)
    written.glb()
    place = written.tree
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    return written.glb()


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (("accessors", 0, "count"), 5, "promises 5 rows, and a view of it holds 4"),
        (("accessors", 0, "count"), 10**12, "at most 60000000"),
        (("accessors", 0, "count"), -1, "should be a whole number"),
        (("accessors", 0, "byteOffset"), 4, "promises 4 rows, and a view of it holds 3"),
        (("accessors", 0, "byteOffset"), 10**9, "holds 0"),
        (("accessors", 0, "componentType"), 5124, "a type that no glTF has"),
        (("accessors", 0, "componentType"), 5122, "not three numbers of 32 bits"),
        (("accessors", 0, "type"), "VEC2", "not three numbers"),
        (("accessors", 0, "type"), ["VEC3"], "a type that no glTF has"),
        (("accessors", 0, "bufferView"), 9, "names bufferViews 9, and has 2"),
        (("accessors", 0, "bufferView"), True, "names bufferViews True"),
        (("accessors", 1, "componentType"), 5126, "holds 3|should list corners"),
        (("bufferViews", 0, "byteLength"), 47, "holds 3"),
        (("bufferViews", 0, "byteLength"), 61, "reaches to byte 61 of a buffer of 60"),
        (("bufferViews", 0, "byteStride"), 4, "rows of 12 bytes, 4 bytes apart"),
        (("bufferViews", 0, "buffer"), 1, "names buffers 1"),
        (("meshes", 0, "primitives", 0, "indices"), 7, "names accessors 7"),
        (("meshes", 0, "primitives", 0, "mode"), 9, "mode 9"),
        (("meshes", 0, "primitives"), [3], "holds no parts"),
        (("meshes", 0, "primitives"), {}, "should be a list"),
        (("nodes", 0, "mesh"), 1, "names meshes 1"),
        (("nodes", 0, "children"), [0], "node 0 of the file hangs in its scene twice"),
        (("nodes", 0, "scale"), [1, 1], "should be 3 numbers"),
        (("nodes", 0, "scale"), [1, 1, 10**400], "beyond all bounds"),
        (("scenes", 0, "nodes"), [0, 0], "hangs in its scene twice"),
        (("scene",), 3, "names scenes 3"),
        (("asset", "version"), "1.0", "version '1.0', only 2"),
    ],
)
def test_a_tree_that_is_not_what_the_bytes_hold_is_refused(path, value, message):
    with pytest.raises(ScanError, match=message):
        read_gltf(changed(path, value), LIMITS)


def test_corners_out_of_range_and_odd_counts_are_refused():
    written = Written()
    written.mesh(corners=[0, 1, 4])
    with pytest.raises(ScanError, match="names point 4, and its part has 4 points"):
        read_gltf(written.glb(), LIMITS)
    written = Written()
    written.mesh(corners=[0, 1, 2, 3])
    with pytest.raises(ScanError, match="have 4 corners, no multiple of three"):
        read_gltf(written.glb(), LIMITS)


def test_limits_hold_for_all_uses_together():
    written = square(nodes=[{"mesh": 0}] * 3, scenes=[{"nodes": [0, 1, 2]}])

    assert len(read_gltf(written.glb(), ReadingLimits(points=12, faces=6)).points) == 12
    with pytest.raises(ScanError, match="12 points, at most 11"):
        read_gltf(written.glb(), ReadingLimits(points=11))
    with pytest.raises(ScanError, match="6 faces, at most 5"):
        read_gltf(written.glb(), ReadingLimits(faces=5))
    with pytest.raises(ScanError, match="bytes of text"):
        read_gltf(written.glb(), ReadingLimits(text_bytes=10))


def test_deep_trees_are_read_or_refused():
    nodes = [{"children": [number + 1]} for number in range(5000)] + [{"mesh": 0}]
    assert len(read_gltf(square(nodes=nodes).glb(), LIMITS).points) == 4
    with pytest.raises(ScanError, match="cannot be read"):
        read_gltf(b'{"asset":' + b"[" * 100_000, LIMITS)
    with pytest.raises(ScanError, match="does not begin as a GLB"):
        read_gltf(b"ply\n", LIMITS)
    with pytest.raises(ScanError, match="version 1"):
        read_gltf(b"glTF" + struct.pack("<II", 1, 40) + bytes(28), LIMITS)


def test_a_cut_file_is_refused():
    whole = textured(CORNERS).glb()
    for size in range(len(whole)):
        with pytest.raises(ScanError):
            read_gltf(whole[:size], LIMITS)
    written = square()
    text = written.gltf("data:application/octet-stream;base64," + base64.b64encode(written.body).decode())
    for size in range(len(text)):
        with pytest.raises(ScanError):
            read_gltf(text[:size], LIMITS)


def test_chunks_end_within_the_file():
    whole = square().glb()
    size = struct.unpack_from("<I", whole, 12)[0]
    for at in (12, 20 + size):
        damaged = bytearray(whole)
        struct.pack_into("<I", damaged, at, 1_000_000)
        with pytest.raises(ScanError, match=r"a chunk of the file has \d+ of its 1000000 bytes"):
            read_gltf(bytes(damaged), LIMITS)


def test_damage_gives_a_scan_or_one_clear_line():
    whole = textured(CORNERS, sampler={"wrapS": 33648}).glb()
    rng = np.random.default_rng(4)
    lines = []

    for _ in range(1500):
        damaged = bytearray(whole)
        for place in rng.integers(0, len(whole), rng.integers(1, 4)):
            damaged[place] = rng.integers(256) if rng.random() < 0.5 else ord(rng.choice(list('0129-"{}[],:.eE')))
        try:
            scan = read_gltf(bytes(damaged), LIMITS)
        except ScanError as error:
            lines.append(str(error))
        else:
            assert scan.faces.max(initial=-1) < len(scan.points)
            assert scan.colours is None or len(scan.colours) == len(scan.points)
    assert len(lines) > 100
    assert not any("\n" in line for line in lines)


def test_values_of_wrong_kinds_give_one_clear_line():
    whole = textured(CORNERS, sampler={}, extensions={"KHR_texture_transform": {"offset": [0, 0], "rotation": 0}})
    whole.tree.update(nodes=[{"mesh": 0, "scale": [1, 1, 1]}], scenes=[{"nodes": [0]}], scene=0)
    whole.glb()
    text = json.dumps(whole.tree)
    places: list[tuple] = []

    def walk(place, path):
        for key, below in place.items() if isinstance(place, dict) else enumerate(place):
            places.append((*path, key))
            if isinstance(below, (dict, list)):
                walk(below, (*path, key))

    walk(whole.tree, ())
    refused = 0
    for path in places:
        for value in (None, True, -1, 1.5, "a", [], {}, [None], {"a": 1}, float("nan"), 10**30):
            tree = json.loads(text)
            place = tree
            for step in path[:-1]:
                place = place[step]
            place[path[-1]] = value
            whole.tree = tree
            try:
                body = json.dumps(tree).encode()
                data = struct.pack("<II", len(body), 0x4E4F534A) + body
                data += struct.pack("<II", len(whole.body), 0x004E4942) + whole.body
                read_gltf(b"glTF" + struct.pack("<II", 2, 12 + len(data)) + data, LIMITS)
            except ScanError:
                refused += 1
    assert refused > 500


@pytest.mark.parametrize("name", ["nested", "simple_pole", "BoxInterleaved", "no_indices_3storybuilding", "cubevc"])
def test_scenes_are_where_another_reader_has_them(data_folder, name):
    path = data_folder / "odd_files" / "trimesh_mit" / f"{name}.glb"

    scan = read_gltf(path.read_bytes(), LIMITS)

    other = trimesh.load_scene(path, process=False).to_mesh()
    assert len(scan.faces) == len(other.faces)
    ours = corners_of(scan).reshape(len(scan.faces), 9)
    theirs = np.asarray(other.vertices)[other.faces].reshape(-1, 9)
    np.testing.assert_allclose(
        ours[np.lexsort(ours.round(4).T)], theirs[np.lexsort(theirs.round(4).T)], rtol=0, atol=1e-4
    )


def test_a_mesh_of_another_writer_comes_back():
    sphere = trimesh.creation.icosphere(subdivisions=2)
    scene = trimesh.Scene()
    scene.add_geometry(sphere, transform=trimesh.transformations.rotation_matrix(0.7, [1, 2, 3], [4, 5, 6]))

    scan = read_gltf(scene.export(file_type="glb"), LIMITS)

    moved = scene.to_mesh()
    np.testing.assert_allclose(corners_of(scan), moved.vertices[moved.faces], atol=1e-5)


def test_odd_files_end_as_their_list_says(data_folder):
    folder = data_folder / "odd_files"
    seen = 0
    for entry in json.loads((folder / "manifest.json").read_text()):
        path = folder / entry["file"]
        if path.suffix not in {".glb", ".gltf"}:
            continue
        seen += 1
        side = path.with_suffix(".bin")
        sides = {side.name: side.read_bytes()} if side.exists() else {}
        # What is not finite is dropped, or refused, after reading.
        if entry["expect"] == "refuse" and "infinite" not in entry["why"]:
            with pytest.raises(ScanError):
                read_gltf(path.read_bytes(), LIMITS, sides)
            continue
        scan = read_gltf(path.read_bytes(), LIMITS, sides)
        assert len(scan.points) == entry["seen_here"]["points"], entry["file"]
        assert len(scan.faces) == entry["seen_here"]["faces"], entry["file"]
        assert entry["expect"] != "warn" or scan.notes, entry["file"]
    assert seen >= 14
