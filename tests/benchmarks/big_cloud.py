"""How long a LAZ of 20 million points takes to read, and how much memory; bound: 60 s and 3 GB.

python tests/benchmarks/big_cloud.py [points]
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import laspy
import numpy as np

from scans.formats.read_las import read_las
from scans.formats.scan import ReadingLimits

PART = 1_000_000


def write(path, count):
    """A cylinder of 0.3 m and 5 m with bark and colours, seeded; invented."""
    rng = np.random.default_rng(3)
    header = laspy.LasHeader(version="1.4", point_format=7)
    header.scales, header.offsets = np.full(3, 0.0001), np.array([500_000.0, 5_000_000.0, 100.0])
    with laspy.open(path, mode="w", header=header, do_compress=True) as writer:
        for first in range(0, count, PART):
            size = min(PART, count - first)
            turn, along = rng.uniform(0.0, 2.0 * np.pi, size), np.sort(rng.uniform(0.0, 5.0, size))
            radius = 0.3 + 0.005 * np.sin(20.0 * turn) + rng.normal(0.0, 0.001, size)
            record = laspy.ScaleAwarePointRecord.zeros(size, header=header)
            record.x = 500_000.0 + along
            record.y = 5_000_000.0 + radius * np.cos(turn)
            record.z = 100.0 + radius * np.sin(turn)
            for name in ("red", "green", "blue"):
                record[name] = rng.integers(20_000, 40_000, size).astype(np.uint16)
            writer.write_points(record)


def read(path):
    start = time.perf_counter()
    scan = read_las(Path(path).read_bytes(), ReadingLimits())
    seconds = time.perf_counter() - start
    print(len(scan.points), f"{seconds:.1f}", f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f}")


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.laz"
        write(path, count)
        megabytes = path.stat().st_size / 1e6
        done = subprocess.run(
            [sys.executable, __file__, "--read", str(path)], capture_output=True, text=True, check=True
        )
    points, seconds, gigabytes = done.stdout.split()
    print("    points   file MB   seconds   peak GB")
    print(f"{points:>10} {megabytes:9.0f} {seconds:>9} {gigabytes:>9}")
    if int(points) != count or float(seconds) > 60.0 or float(gigabytes) > 3.0:
        sys.exit("over the bound")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--read"]:
        read(sys.argv[2])
    else:
        main()
