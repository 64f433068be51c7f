"""A mesh file as one surface, for tests that measure what was written or is to become a log."""

from scans.formats.readers import read_scan
from scans.locate.placing import UP_TURNS
from scans.locate.scan_surface import merged_corners


def read_mesh(data, suffix):
    """Return vertices (V, 3), in the file's unit and z up, and faces (F, 3), corners at the same place made one."""
    scan = read_scan(data, suffix)
    vertices, faces = merged_corners(scan.points, scan.faces)
    return vertices @ UP_TURNS[scan.up or "z"].T, faces
