"""LAS and LAZ read back as they were written, or refused. All clouds here are invented."""

import io
import json
import struct

import laspy
import lazrs
import numpy as np
import pytest
from laspy.vlrs.known import GeoKeyDirectoryVlr, GeoKeyEntryStruct, WktCoordinateSystemVlr

from scans.errors import ScanError
from scans.formats import read_las as reader
from scans.formats.las_units import SURVEY_FOOT_M, from_well_known_text
from scans.formats.read_las import read_las
from scans.formats.scan import ReadingLimits

LIMITS = ReadingLimits()
METRES = 'PROJCS["a",GEOGCS["b",UNIT["degree",0.0174]],PARAMETER["false_easting",500000],UNIT["metre",1]]'
FEET_UP = f'COMPD_CS["c",{METRES},VERT_CS["d",VERT_DATUM["e",2005],UNIT["foot",0.3048]]]'
DEGREES = 'GEOGCS["b",DATUM["d",SPHEROID["s",6378137,298.25]],UNIT["degree",0.0174532925]]'
FEET_2 = (
    'PROJCRS["a",BASEGEOGCRS["b",ELLIPSOID["e",6378137,298.25,LENGTHUNIT["metre",1]]],'
    'CS[Cartesian,2],AXIS["(E)",east,ORDER[1],LENGTHUNIT["US survey foot",0.304800609601219]]]'
)


def points_of(count, origin=(500_000.0, 5_000_000.0, 120.0)):
    """A half cylinder of 0.3 m and 4 m, on the grid of 0.1 mm that the files here are written with."""
    rng = np.random.default_rng(5)
    turn = rng.uniform(0.0, np.pi, count)
    own = np.stack([rng.uniform(0.0, 4.0, count), 0.3 * np.cos(turn), 0.3 * np.sin(turn)], axis=1)
    return np.round(own + origin, 4)


def file_of(points, is_packed=True, point_format=3, version="1.2", colours=None, withheld=None, records=()):
    header = laspy.LasHeader(version=version, point_format=point_format)
    header.scales, header.offsets = np.full(3, 0.0001), np.floor(points.min(axis=0))
    header.vlrs.extend(records)
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = points.T
    if colours is not None:
        cloud.red, cloud.green, cloud.blue = colours.T
    if withheld is not None:
        cloud.withheld = withheld
    stream = io.BytesIO()
    cloud.write(stream, do_compress=is_packed)
    return stream.getvalue()


def geo_keys(**shorts):
    record = GeoKeyDirectoryVlr()
    record.geo_keys = [GeoKeyEntryStruct(int(key[1:]), 0, 1, value) for key, value in shorts.items()]
    record.geo_keys_header.number_of_keys = len(record.geo_keys)
    return record


def text(words):
    return WktCoordinateSystemVlr(words)


@pytest.mark.parametrize("is_packed", [False, True])
@pytest.mark.parametrize(("point_format", "version"), [(0, "1.2"), (3, "1.2"), (6, "1.4"), (7, "1.4")])
def test_points_come_back_at_their_place(is_packed, point_format, version):
    points = points_of(3000)

    scan = read_las(file_of(points, is_packed, point_format, version), LIMITS)

    np.testing.assert_allclose(scan.points, points, atol=1e-8)
    assert scan.points.dtype == np.float64
    assert len(scan.faces) == 0
    assert scan.up == "z"
    assert scan.unit_m is None
    assert scan.colours is None
    assert scan.notes == ()


def test_chunks_join_without_a_seam(monkeypatch):
    points = points_of(3001)
    monkeypatch.setattr(reader, "_CHUNK_POINTS", 250)

    scan = read_las(file_of(points), LIMITS)

    np.testing.assert_allclose(scan.points, points, atol=1e-8)


def test_deep_colours_come_out_in_eight_bits():
    deep = np.array([[0, 128 << 8, 65535], [256, 255, 40_000]], dtype=np.uint16)

    scan = read_las(file_of(points_of(2), colours=deep), LIMITS)

    assert scan.colours.dtype == np.uint8
    assert scan.colours.tolist() == [[0, 128, 255], [1, 0, 156]]


def test_colours_that_hold_eight_bits_stay():
    shallow = np.array([[0, 128, 255], [3, 2, 1]], dtype=np.uint16)

    assert read_las(file_of(points_of(2), colours=shallow), LIMITS).colours.tolist() == shallow.tolist()


def test_withheld_points_are_left_out_and_counted():
    points, withheld = points_of(100), np.arange(100) % 10 == 0
    colours = np.arange(300, dtype=np.uint16).reshape(100, 3) % 256

    scan = read_las(file_of(points, colours=colours, withheld=withheld), LIMITS)

    np.testing.assert_allclose(scan.points, points[~withheld], atol=1e-8)
    assert scan.colours.tolist() == colours[~withheld].tolist()
    assert [note.text for note in scan.notes] == ["Left out 10 points marked as withheld in the file."]
    with pytest.raises(ScanError, match="all of its points as withheld"):
        read_las(file_of(points, withheld=np.ones(100, dtype=bool)), LIMITS)


@pytest.mark.parametrize(
    ("record", "unit_m"),
    [
        (geo_keys(k1024=1, k3076=9001), 1.0),
        (geo_keys(k1024=1, k3076=9002), 0.3048),
        (geo_keys(k1024=1, k3076=9003), 1200 / 3937),
        (geo_keys(k1024=1, k3072=32632), 1.0),
        (geo_keys(k1024=1), None),
        (text(METRES), 1.0),
        (text(FEET_2), 1200 / 3937),
        (text("nonsense [[["), None),
    ],
)
def test_the_unit_is_what_the_file_states(record, unit_m):
    scan = read_las(file_of(points_of(10), records=[record]), LIMITS)

    assert scan.unit_m == (None if unit_m is None else pytest.approx(unit_m, rel=1e-12))


def test_heights_in_another_unit_are_brought_to_that_of_the_rest():
    points = points_of(10)

    scan = read_las(file_of(points, records=[text(FEET_UP)]), LIMITS)

    assert scan.unit_m == 1.0
    np.testing.assert_allclose(scan.points, points * [1.0, 1.0, 0.3048], atol=1e-7)
    assert scan.notes[0].kind == "heights_unit"
    assert "{304.8 mm}" in scan.notes[0].text


def test_degrees_are_refused_unless_they_cannot_be_meant():
    small = points_of(10, origin=(14.0, 46.0, 300.0)) * [1e-5, 1e-5, 1.0] + [14.0, 46.0, 0.0]

    with pytest.raises(ScanError, match="degrees of longitude"):
        read_las(file_of(small, records=[text(DEGREES)]), LIMITS)
    with pytest.raises(ScanError, match="degrees of longitude"):
        read_las(file_of(small, records=[geo_keys(k1024=2)]), LIMITS)
    scan = read_las(file_of(points_of(10), records=[text(DEGREES)]), LIMITS)
    assert scan.unit_m is None
    assert "not believed" in scan.notes[0].text


def test_deep_nests_of_text_are_harmless():
    assert from_well_known_text('A["b",' * 5000).across_m is None
    assert from_well_known_text(FEET_2).across_m == SURVEY_FOOT_M


def test_coarse_rounding_is_noted():
    whole = bytearray(file_of(points_of(10), is_packed=False))
    struct.pack_into("<ddd", whole, 131, 0.01, 0.01, 0.01)

    assert "rounds its coordinates to 0.01" in read_las(bytes(whole), LIMITS).notes[0].text


@pytest.mark.parametrize("is_packed", [False, True])
@pytest.mark.parametrize(("point_format", "version"), [(3, "1.2"), (7, "1.4")])
def test_a_cut_file_is_refused_or_whole(is_packed, point_format, version):
    points = points_of(2000)
    whole = file_of(points, is_packed, point_format, version)

    for size in [*range(0, 400, 9), *np.linspace(400, len(whole) - 1, 60).astype(int)]:
        with pytest.raises(ScanError):
            read_las(whole[:size], LIMITS)


@pytest.mark.parametrize("is_packed", [False, True])
@pytest.mark.parametrize("count", [2001, 50_000_000, 4_000_000_000])
def test_a_count_beyond_the_bytes_is_refused(is_packed, count):
    whole = bytearray(file_of(points_of(2000), is_packed))
    struct.pack_into("<I", whole, 107, count)

    with pytest.raises(ScanError, match=r"promises \d+ points|at most 60000000|packed \d+ times|could not be read"):
        read_las(bytes(whole), LIMITS)


def test_missing_points_are_counted_before_they_are_read():
    whole = file_of(points_of(2000), is_packed=False)

    with pytest.raises(ScanError, match="promises 2000 points and holds 1999"):
        read_las(whole[:-1], LIMITS)


def test_the_limit_on_points_holds():
    whole = file_of(points_of(2000))

    with pytest.raises(ScanError, match="2000 points, at most 1999 are read"):
        read_las(whole, ReadingLimits(points=1999))
    assert len(read_las(whole, ReadingLimits(points=2000)).points) == 2000


def test_records_and_chunks_beyond_the_bytes_are_refused():
    records = bytearray(file_of(points_of(100)))
    struct.pack_into("<I", records, 100, 0xFFFF_FFFF)
    with pytest.raises(ScanError, match="promises 4294967295 records"):
        read_las(bytes(records), LIMITS)

    chunks = bytearray(file_of(points_of(100)))
    points_at = struct.unpack_from("<I", chunks, 96)[0]
    table_at = struct.unpack_from("<q", chunks, points_at)[0]
    struct.pack_into("<I", chunks, table_at + 4, 0xFFFF_FFFF)
    with pytest.raises(ScanError, match="promises 4294967295 chunks"):
        read_las(bytes(chunks), LIMITS)


def test_no_points_and_no_las_are_refused():
    empty = bytearray(file_of(points_of(3), is_packed=False))
    struct.pack_into("<I", empty, 107, 0)

    with pytest.raises(ScanError, match="holds no points"):
        read_las(bytes(empty), LIMITS)
    with pytest.raises(ScanError, match="empty"):
        read_las(b"", LIMITS)
    with pytest.raises(ScanError, match="does not begin as a LAS"):
        read_las(b"ply\n" * 200, LIMITS)
    struct.pack_into("<I", empty, 107, 3)
    struct.pack_into("<d", empty, 131, float("nan"))
    with pytest.raises(ScanError, match="scales coordinates"):
        read_las(bytes(empty), LIMITS)


@pytest.mark.parametrize("is_packed", [False, True])
def test_damage_gives_all_points_or_one_clear_line(is_packed):
    whole = file_of(points_of(500), is_packed)
    rng = np.random.default_rng(2)
    lines = []

    for number in range(200):
        damaged = bytearray(whole)
        for place in rng.integers(0, len(whole) if number % 2 else 240, 3):
            damaged[place] = rng.integers(256)
        try:
            scan = read_las(bytes(damaged), ReadingLimits(points=1_000_000))
        except ScanError as error:
            lines.append(str(error))
        else:
            assert np.isfinite(scan.points).all()
    assert lines
    assert not any("\n" in line for line in lines)


def test_odd_files_end_as_their_list_says(data_folder):
    folder = data_folder / "odd_files"
    seen = 0
    for entry in json.loads((folder / "manifest.json").read_text()):
        if not entry["file"].endswith((".las", ".laz")):
            continue
        seen += 1
        data = (folder / entry["file"]).read_bytes()
        if entry["expect"] == "refuse":
            with pytest.raises(ScanError):
                read_las(data, LIMITS)
            continue
        scan = read_las(data, LIMITS)
        assert len(scan.points) == entry["seen_here"]["points"], entry["file"]
        assert entry["expect"] == "load" or scan.notes, entry["file"]
    assert seen > 15


def wide(points):
    """Return a LAZ with all of its points in one chunk, and no others."""
    whole = file_of(points, point_format=2)
    at = struct.unpack_from("<I", whole, 96)[0]
    usual = bytes(lazrs.LazVlr.new_for_compression(2, 0).record_data())
    record = bytearray(usual)
    struct.pack_into("<I", record, 12, len(points))
    plain = file_of(points, is_packed=False, point_format=2)
    stream = io.BytesIO()
    packer = lazrs.LasZipCompressor(stream, lazrs.LazVlr(bytes(record)))
    packer.compress_many(np.frombuffer(plain, np.uint8, offset=struct.unpack_from("<I", plain, 96)[0]))
    packer.done()
    body = bytearray(stream.getvalue())
    struct.pack_into("<q", body, 0, struct.unpack_from("<q", body, 0)[0] + at)
    return whole[:at].replace(usual, bytes(record)) + bytes(body)


def test_a_chunk_of_any_width_is_not_unpacked_as_a_whole(monkeypatch):
    points = points_of(3000)
    monkeypatch.setattr(reader, "_CHUNK_BYTES", 26 * 100)

    def never(*_):
        raise AssertionError("unpacks whole chunks")

    monkeypatch.setattr(lazrs, "ParLasZipDecompressor", never)

    np.testing.assert_allclose(read_las(wide(points), LIMITS).points, points, atol=1e-8)


def test_wide_points_that_are_packed_too_tightly_are_refused():
    header = laspy.LasHeader(version="1.2", point_format=0)
    for number in range(100):
        header.add_extra_dim(laspy.ExtraBytesParams(f"more{number}", "3f8"))
    cloud = laspy.LasData(header)
    cloud.x = np.zeros(40_000)
    stream = io.BytesIO()
    cloud.write(stream, do_compress=True)

    with pytest.raises(ScanError, match="packed 97 times, at most 50 times is read"):
        read_las(stream.getvalue(), ReadingLimits(archive_ratio=50.0))


def test_layers_that_promise_more_than_their_chunk_are_refused_before_memory_is_taken(monkeypatch):
    header = laspy.LasHeader(version="1.4", point_format=7)
    header.scales, header.offsets = np.full(3, 0.0001), np.zeros(3)
    header.add_extra_dim(laspy.ExtraBytesParams("more", "u2"))
    cloud = laspy.LasData(header)
    points = points_of(500, (0.0, 0.0, 0.0))
    cloud.x, cloud.y, cloud.z = points.T
    stream = io.BytesIO()
    cloud.write(stream, do_compress=True)
    whole = stream.getvalue()
    spoiled = bytearray(whole)
    # After the place of the table, one whole point and the count of points come the layers: 9, colours, 2 extra bytes.
    last_size_at = struct.unpack_from("<I", whole, 96)[0] + 8 + header.point_format.size + 4 + 4 * 11
    struct.pack_into("<I", spoiled, last_size_at, 3_000_000_000)

    def never(*_):
        raise AssertionError("unpacks")

    np.testing.assert_allclose(read_las(whole, LIMITS).points, points, atol=1e-8)
    monkeypatch.setattr(laspy.LasReader, "chunk_iterator", never)
    with pytest.raises(ScanError, match=r"promises 300\d+ bytes of packed points"):
        read_las(bytes(spoiled), LIMITS)
