"""Tables of points as text read as they are meant, or refused. All tables written here are invented."""

import json

import numpy as np
import pytest

from scans.errors import ScanError
from scans.formats import read_xyz as reader
from scans.formats.read_xyz import read_xyz
from scans.formats.scan import ReadingLimits

LIMITS = ReadingLimits()
COUNT = 60


def numbers():
    rng = np.random.default_rng(8)
    turn = rng.uniform(0.0, np.pi, COUNT)
    points = np.stack([rng.uniform(0, 4, COUNT), 0.3 * np.cos(turn), 0.3 * np.sin(turn)], axis=1).round(4)
    normals = np.stack([0 * turn, np.cos(turn), np.sin(turn)], axis=1)
    return points, rng.integers(0, 256, (COUNT, 3)), normals.round(5), rng.uniform(-2048, 2047, COUNT).round(2)


POINTS, COLOURS, NORMALS, INTENSITY = numbers()
PARTS = {
    "x": [f"{row[0]:.4f} {row[1]:.4f} {row[2]:.4f}" for row in POINTS],
    "c": [f"{row[0]} {row[1]} {row[2]}" for row in COLOURS],
    "n": [f"{row[0]:.5f} {row[1]:.5f} {row[2]:.5f}" for row in NORMALS],
    "i": [f"{value:.2f}" for value in INTENSITY],
    "t": [f"{number % 3}" for number in range(COUNT)],
}


def table(parts, parting=" ", decimal="."):
    rows = [" ".join(PARTS[part][row] for part in parts) for row in range(COUNT)]
    return "".join(f"{row}\n" for row in rows).replace(".", decimal).replace(" ", parting)


def read(text, suffix=".xyz", limits=LIMITS):
    return read_xyz(text.encode() if isinstance(text, str) else text, limits, suffix)


def assert_is(scan, parts):
    np.testing.assert_array_equal(scan.points, POINTS)
    assert scan.points.dtype == np.float64
    assert (None if scan.colours is None else scan.colours.tolist()) == (COLOURS.tolist() if "c" in parts else None)
    assert (scan.normals is None) == ("n" not in parts)
    if "n" in parts:
        np.testing.assert_allclose(scan.normals, NORMALS, atol=2e-5)
        np.testing.assert_allclose(np.linalg.norm(scan.normals, axis=1), 1.0, atol=1e-12)


@pytest.mark.parametrize("parts", ["x", "xi", "xc", "xn", "xic", "xci", "xcn", "xnc", "xicn", "xcin", "xcni"])
@pytest.mark.parametrize("suffix", ["xyz", ".PTS"])
def test_usual_orders_are_told_by_their_values(parts, suffix):
    scan = read(table(parts), suffix)

    assert_is(scan, parts)
    assert (scan.unit_m, scan.up, scan.notes) == (None, None, ())


@pytest.mark.parametrize(("parting", "decimal"), [("\t", "."), (",", "."), (";", "."), (", ", "."), ("  ", "."),
                                                  (";", ","), ("; ", ","), ("\t", ",")])  # fmt: skip
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_marks_between_columns_and_decimals(parting, decimal, newline):
    assert_is(read(table("xc", parting, decimal).replace("\n", newline)), "xc")
    assert_is(read(table("xc", parting, decimal).replace("\n", parting.strip(" ") + newline)), "xc")


def test_commas_that_could_mean_two_things_are_refused():
    with pytest.raises(ScanError, match="could part columns or stand for decimal points"):
        read(table("x", ",", ","))
    with pytest.raises(ScanError, match="could part columns or stand for decimal points"):
        read(table("x", " ", ","))
    with pytest.raises(ScanError, match="could part columns or stand for decimal points"):
        read("1,5,2,5\n2,5,3,5\n3,5,4,5\n")
    assert read("1,5,2\n2,5,3\n").points.tolist() == [[1, 5, 2], [2, 5, 3]]
    assert read("x,y,z,i\n1,5,2,5\n2,5,3,5\n").points.tolist() == [[1, 5, 2], [2, 5, 3]]
    with pytest.raises(ScanError, match="could part columns or stand for decimal points"):
        read("0,5 1,5 2\n1,5 2,5 3\n")
    with pytest.raises(ScanError, match="commas and points in its numbers"):
        read("1,5;2.5;3\n")
    with pytest.raises(ScanError, match="commas and points in its numbers"):
        read("1,234.5;2;3\n")
    with pytest.raises(ScanError, match="line 2 of the file holds '2,5'"):
        read("1 2 3\n2,5 3 4\n")


def test_later_blocks_are_held_to_the_decimals_of_the_first(monkeypatch):
    monkeypatch.setattr(reader, "_BLOCK_BYTES", 40)
    assert_is(read(table("xc", ";", ",")), "xc")
    with pytest.raises(ScanError, match=r"commas and points in its numbers, from line 6\d on"):
        read(table("x", ";", ",") + "1.5;2.5;3.5\n")
    with pytest.raises(
        ScanError, match=r"from line \d+ on the file has 2 columns, before 3|line \d+ of the file has 2"
    ):
        read(table("x") + "1.5 2.5\n" * 9)
    for colour in ("1.5 2.5 3.5", "300 2 3"):
        scan = read(f"{table('xc')}1.5 2.5 3.5 {colour}\n")
        assert scan.colours is None
        assert "colors of the file are no numbers from 0 to 255" in scan.notes[0].text


@pytest.mark.parametrize(
    ("header", "parts"),
    [
        ("x y z r g b\n", "xc"),
        ("# made up\n\n# X Y Z Red Green Blue\n", "xc"),
        ("//X Y Z R G B\n", "xc"),
        ("; a comment\n", "xc"),
        ('"x" "y" "z" "r" "g" "b"\n', "xc"),
        ("Easting Northing Elevation red green blue\n", "xc"),
        ("a scan of a log\nsecond line\n", "xc"),
        ("x y z nx ny nz R G B\n", "xnc"),
        ("x y z Normal_X Normal_Y Normal_Z\n", "xn"),
        ("x y z a b c\n", "x?"),
        ("x y z time r g b\n", "xtc"),
    ],
)
def test_names_above_decide_what_columns_are(header, parts):
    body = table(parts.replace("?", "c"))
    assert_is(read(header + body), parts)


def test_names_put_columns_where_they_stand():
    rows = "id;B;G;R;z [mm];y [mm];x [mm]\n1;3;2;1;30,5;20,5;10,5\n2;6;5;4;31,5;21,5;11,5\n"

    scan = read(rows, "csv")

    assert scan.points.tolist() == [[10.5, 20.5, 30.5], [11.5, 21.5, 31.5]]
    assert scan.colours.tolist() == [[1, 2, 3], [4, 5, 6]]
    assert scan.unit_m == 0.001
    assert read(rows.replace("x [mm]", "x [cm]")).unit_m is None
    assert read("x y z\n1 2 3\n").unit_m is None


def test_named_colours_may_be_shares_or_of_16_bits():
    assert read("x y z r g b\n0 0 0 0.0 0.5 1.0\n1 1 1 0.2 0.2 0.2\n").colours.tolist() == [[0, 128, 255], [51] * 3]
    assert read("x y z r g b\n0 0 0 0 256 65535\n1 1 1 1 1 1\n").colours.tolist() == [[0, 1, 255], [0] * 3]
    scan = read("x y z r g b\n0 0 0 -5 3 3\n")
    assert scan.colours is None
    assert "colors of the file are no numbers" in scan.notes[0].text


def test_names_that_do_not_fit_are_refused():
    for text, message in (
        ("x y z\n1 2 3 4\n", "names 3 columns, and its lines have 4"),
        ("x y z x\n1 2 3 4\n", "names x twice"),
        ("lat lon height\n46.1 14.5 300\n", "degrees of longitude and latitude"),
        ("x;y;z\n1;;3\n", "line 2 of the file has an empty column"),
        ("x,y,z\n1,2,3\n,2,3\n", "line 3 of the file has an empty column"),
        ("x;y;z\n1;2;3\n1; ;3\n", "line 3 of the file has an empty column"),
    ):
        with pytest.raises(ScanError, match=message):
            read(text)


def test_seven_columns_that_could_be_both_are_taken_by_the_ending_and_noted():
    text = "0.5 1 2 10 20 30 40\n0.7 1 2 11 21 31 41\n"

    as_xyz, as_pts = read(text, "xyz"), read(text, "pts")

    assert as_xyz.colours.tolist() == [[10, 20, 30], [11, 21, 31]]
    assert as_pts.colours.tolist() == [[20, 30, 40], [21, 31, 41]]
    assert "Columns 4 to 6" in as_xyz.notes[0].text
    assert "Columns 5 to 7" in as_pts.notes[0].text
    same = read("0.5 1 2 255 20 30 40\n0.7 1 2 255 21 31 41\n", "xyz")
    assert same.colours.tolist() == [[20, 30, 40], [21, 31, 41]]
    assert same.notes == ()


def test_colours_without_names_may_be_shares_of_one():
    shares = "".join(
        f"{row} {r:.4f} {g:.4f} {b:.4f}\n" for row, (r, g, b) in zip(PARTS["x"], COLOURS / 255, strict=True)
    )
    assert_is(read(shares), "xc")
    assert read(shares + "0 0 0 0.5 0.5 0.5\n").colours is None


def test_columns_that_cannot_be_told_are_left_out_and_noted():
    scan = read("0 0 0 0.5 300 -7\n1 1 1 0.25 400 2\n")
    assert scan.colours is None
    assert read("0 0 0 0.5 3.7 200.2\n").notes == scan.notes
    assert [note.text for note in scan.notes] == [
        "The file does not say what its columns 4 to 6 are: they were left out."
    ]
    assert len(read("0 0 0 1 2\n").points) == 1


def test_comments_within_and_behind_rows():
    text = "1 2 3 # one\n# two, three\n\n4 5 6 // four\n;seven\n7 8 9\n"
    assert read(text).points.tolist() == [[1, 2, 3], [4, 5, 6], [7, 8, 9]]
    with pytest.raises(ScanError, match=r"line 7 of the file holds 'x'"):
        read(text + "1 2 x\n")


@pytest.mark.parametrize("block_bytes", [1 << 24, 50])
def test_promised_counts_are_kept(monkeypatch, block_bytes):
    monkeypatch.setattr(reader, "_BLOCK_BYTES", block_bytes)
    body = table("xic")
    rows = body.splitlines(keepends=True)
    assert_is(read(f"{COUNT}\n{body}", "pts"), "xic")
    assert_is(read(f"20\n{''.join(rows[:20])}{COUNT - 20}\n{''.join(rows[20:])}\n\n", "pts"), "xic")
    assert_is(read(f"# x\n{COUNT}\n{''.join(rows[:7])}\n\n# a\n{''.join(rows[7:])}", "pts"), "xic")
    for text, message in (
        (f"{COUNT + 1}\n{body}", "promises 61 points in a block, and 1 of them are missing"),
        (f"{COUNT - 1}\n{body}", "promises 59 points and goes on after them, line 61"),
        (f"{COUNT}\n{body}5\n", "promises 5 points, and ends before them"),
        (f"{COUNT}\n{body}5\n{rows[0]}", "promises 5 points in a block, and 4 of them are missing"),
        (f"{COUNT}\n{body}1\n1 2 3\n", "from line 63 on the file has 3 columns, before 7"),
        (f"70000000\n{body}", "70000000 points or more, at most 60000000"),
    ):
        with pytest.raises(ScanError, match=message):
            read(text, "pts")


@pytest.mark.parametrize("block_bytes", [1 << 24, 100])
def test_ragged_rows_are_named(monkeypatch, block_bytes):
    monkeypatch.setattr(reader, "_BLOCK_BYTES", block_bytes)
    rows = table("xc").splitlines(keepends=True)
    rows[41] = rows[41].rsplit(" ", 1)[0] + "\n"

    with pytest.raises(ScanError, match=r"line 43 (of the file|on the file) has 5 columns|line 43 on|has 5 columns"):
        read("# x\n" + "".join(rows))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("\n\n", "no points"),
        ("# only this\n", "no points"),
        ("x y z\n", "no points"),
        ("1 2\n3 4\n", "2 columns, three at least"),
        ("1\n2\n3\n", "columns|no number|promises"),
        ("ply\nformat ascii 1.0\n", "does not begin as a table"),
        ("<html>\n", "does not begin as a table"),
        ("v 1 2 3\nv 2 3 4\n", "does not begin as a table"),
        ("words and words\n" * 60, "no table of numbers"),
        ("1.0 x.5 3.0\n", "line 1 of the file holds 'x.5', which is no number"),
        ("1 2 3\n4 5 6-7\n", "line 2|lines|line 1"),
        ("1 2 3\n4 5 6.7.8\n", "line 2|lines|line 1"),
        ("1" * 200_000 + " 2 3\n", "200004 bytes"),
    ],
)
def test_what_is_no_table_is_refused(text, message):
    with pytest.raises(ScanError, match=message):
        read(text)


def test_limits_hold():
    with pytest.raises(ScanError, match="60 points or more, at most 59"):
        read(table("x"), limits=ReadingLimits(points=59))
    assert len(read(table("x"), limits=ReadingLimits(points=60)).points) == 60
    with pytest.raises(ScanError, match="bytes of text, at most 100"):
        read(table("x"), limits=ReadingLimits(text_bytes=100))


@pytest.mark.parametrize("head", ["", "x y z r g b nx ny nz\n", f"{COUNT}\n"])
def test_a_cut_file_is_refused_or_whole_to_its_last_line(head):
    whole = head + table("xcn")
    for size in range(len(whole) - 1):
        text = whole[:size]
        try:
            scan = read(text)
        except ScanError:
            continue
        assert not head.startswith(str(COUNT)), "a promise that was not kept"
        rows = len(scan.points)
        assert text.removeprefix(head).removesuffix("\n") == whole.removeprefix(head)[
            : len(text) - len(head)
        ].removesuffix("\n")
        # Only between two lines, or at the last digit of one, can a cut not be seen.
        assert text.removeprefix(head).rstrip("\n").count("\n") == rows - 1
        if rows >= 5:  # of fewer, no line says how the last should end
            np.testing.assert_array_equal(scan.points, POINTS[:rows])
            assert len(text.rstrip("\n").rsplit(".", 1)[1]) == 5


def test_damage_gives_a_scan_or_one_clear_line():
    rng = np.random.default_rng(6)
    lines = []
    for whole in (table("xcn"), f"x;y;z;r;g;b\n{table('xc', ';', ',')}", f"{COUNT}\n{table('xic')}"):
        for _ in range(300):
            damaged = bytearray(whole.encode())
            for place in rng.integers(0, len(whole), rng.integers(1, 4)):
                damaged[place] = rng.integers(256) if rng.random() < 0.5 else ord(rng.choice(list("0129-. \n;,#e")))
            try:
                scan = read(bytes(damaged))
            except ScanError as error:
                lines.append(str(error))
            else:
                assert scan.points.shape[1] == 3
                assert scan.colours is None or len(scan.colours) == len(scan.points)
    assert len(lines) > 100
    assert not any("\n" in line for line in lines)


def test_odd_files_end_as_their_list_says(data_folder):
    folder = data_folder / "odd_files"
    seen = 0
    for entry in json.loads((folder / "manifest.json").read_text()):
        path = folder / entry["file"]
        if path.suffix not in {".xyz", ".csv", ".txt", ".pts", ".asc"}:
            continue
        seen += 1
        if entry["expect"] == "refuse":
            with pytest.raises(ScanError):
                read(path.read_bytes(), path.suffix)
            continue
        scan = read(path.read_bytes(), path.suffix)
        assert len(scan.points) == entry["seen_here"].get("points", 500), entry["file"]
        if "extent" in entry["seen_here"]:
            np.testing.assert_allclose(np.ptp(scan.points, axis=0), entry["seen_here"]["extent"], rtol=1e-3)
        else:
            assert np.ptp(scan.points, axis=0).max() < 1.5, entry["file"]
        assert (scan.colours is not None) == (
            path.stem in {"xyz_seven_columns", "points_agisoft", "points_cloudcompare"}
        )
    assert seen >= 7
