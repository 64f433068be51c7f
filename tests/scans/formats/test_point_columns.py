"""The end of a text: what is cut off in its last line is refused or told of. All tables are invented."""

import pytest

from scans.errors import ScanError
from scans.formats.readers import read_scan

ROWS = [f"{0.1 * turn:.{2 + turn % 3}f} 0.25 1.{turn}" for turn in range(12)]
TABLE = "\n".join(ROWS) + "\n"
FILES = {
    "xyz": TABLE,
    "pts": f"{len(ROWS)}\n{TABLE}",
    "csv": "x,y,z\n" + TABLE.replace(" ", ","),
    "obj": "".join(f"v {row}\n" for row in ROWS),
    "ply": f"ply\nformat ascii 1.0\nelement vertex {len(ROWS)}\nproperty float x\nproperty float y\nproperty float z\n"
    f"end_header\n{TABLE}",
    "pcd": f"VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH {len(ROWS)}\nHEIGHT 1\n"
    f"POINTS {len(ROWS)}\nDATA ascii\n{TABLE}",
    "off": f"OFF\n{len(ROWS)} 0 0\n{TABLE}",
}


@pytest.mark.parametrize("suffix", FILES)
def test_a_last_line_without_its_end_is_told_of(suffix):
    whole = FILES[suffix].encode()

    assert read_scan(whole, suffix).notes == ()
    # Whether the last number was longer cannot be told, as the numbers above it are of different lengths.
    for cut in (whole[:-1], whole[:-2]):
        assert "last line of the file has no end" in read_scan(cut, suffix).notes[0].text


@pytest.mark.parametrize("suffix", FILES)
def test_a_last_line_with_fewer_columns_is_refused(suffix):
    with pytest.raises(ScanError):
        read_scan(FILES[suffix].encode()[:-6], suffix)


@pytest.mark.parametrize("suffix", ["pts", "ply", "pcd", "off"])
def test_a_count_that_is_not_met_is_refused(suffix):
    whole = FILES[suffix].encode()

    with pytest.raises(ScanError):
        read_scan(whole[: whole.rindex(b"\n", 0, -1) + 1], suffix)
