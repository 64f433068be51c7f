"""Thousands of damaged files go the whole way from bytes to a Log or a refusal; counts what else came of them.

Seeds are small files of every format, written here from an invented tube, with the odd files of the data folder
(PITHLINE_DATA) that are small. Each is damaged in one way: bits flipped, cut off, bytes put in, pieces swapped or
repeated, numbers in text or in the header made huge, negative or no number. A process reads them within the product's
own limits, and is started anew where it dies or takes too long.

Over memory: the process took over 1 GB more than before. Half read: cut off by 1 % or more, read without a note, and
with fewer points or faces than the whole; not counted where a table or OBJ was cut just after a line, as nothing in
such a file could tell.

--whole SHARE : so many of the files that can be read go on to a Log, and the others count as read; all unless said.

python tests/benchmarks/fuzz_files.py --files 10000 --seed 1 [--whole 0.1] [--keep FOLDER] [--minutes 20]
"""

import argparse
import io
import multiprocessing
import os
import re
import resource
import sys
import tempfile
import time
import warnings
from collections import Counter, defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np

# The folder of this file holds a scans.py of its own, which would hide the package.
sys.path[0] = str(Path(__file__).parents[2])

MOST_SEED_BYTES = 30_000
MOST_SECONDS = 60.0
OVER_BYTES = 1_000_000_000
SLOW = {".usd", ".usda", ".usdc", ".usdz"}
"""A process of their own reads these: a second each, so that few are tried."""
TABLES = {".xyz", ".txt", ".csv", ".pts", ".asc", ".obj"}
COLUMNS = ("files", "read", "logs", "refusals", "crashes", "hangs", "over memory", "half read")


def tube(length_m=3.0, around=10, along=6):
    """Return corners and triangles of an invented tapering tube, closed."""
    turn = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    rings = [
        np.stack([np.full(around, x), (0.3 - 0.02 * x) * np.cos(turn), (0.3 - 0.02 * x) * np.sin(turn)], axis=1)
        for x in np.linspace(0.0, length_m, along)
    ]
    points = np.concatenate([*rings, [[0.0, 0.0, 0.0], [length_m, 0.0, 0.0]]])
    faces = []
    for ring in range(along - 1):
        for k in range(around):
            a, b = ring * around + k, ring * around + (k + 1) % around
            faces += [[a, b, a + around], [b, b + around, a + around]]
    last = (along - 1) * around
    for k in range(around):
        faces += [[len(points) - 2, (k + 1) % around, k], [len(points) - 1, last + k, last + (k + 1) % around]]
    return points, np.array(faces)


def made_seeds(rng):
    """Return small files of every format as (name, ending, bytes)."""
    import laspy  # noqa: PLC0415
    import trimesh  # noqa: PLC0415

    seeds = []
    # As a log, and so small that it is none, which ends early.
    for what, scale in (("log", 1.0), ("small", 0.02)):
        points, faces = tube()
        mesh = trimesh.Trimesh(scale * points, faces, process=False)
        seeds += [
            (f"{what}.{ending}", f".{ending}", mesh.export(file_type=ending))
            for ending in ("ply", "stl", "obj", "off", "glb", "3mf")
        ]
        seeds.append((f"{what}-text.ply", ".ply", mesh.export(file_type="ply", encoding="ascii")))
        seeds.append((f"{what}-text.stl", ".stl", mesh.export(file_type="stl_ascii")))
    cloud = tube(around=16, along=12)[0] + rng.normal(0.0, 0.01, (16 * 12 + 2, 3))
    colours = rng.integers(0, 256, cloud.shape)
    rows = [f"{x:.4f} {y:.4f} {z:.4f} {r} {g} {b}" for (x, y, z), (r, g, b) in zip(cloud, colours, strict=True)]
    table = "\n".join(rows) + "\n"
    head = "VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH {0}\nHEIGHT 1\nPOINTS {0}\nDATA {1}\n"
    plain = "\n".join(f"{x:.4f} {y:.4f} {z:.4f}" for x, y, z in cloud) + "\n"
    seeds += [
        ("cloud.xyz", ".xyz", table.encode()),
        ("cloud.csv", ".csv", ("x,y,z,r,g,b\n" + table.replace(" ", ",")).encode()),
        ("cloud.pts", ".pts", f"{len(rows)}\n{table}".encode()),
        ("cloud.asc", ".asc", f"# invented\n{plain}".encode()),
        ("cloud.txt", ".txt", plain.replace(" ", "\t").encode()),
        ("cloud-text.pcd", ".pcd", (head.format(len(rows), "ascii") + plain).encode()),
        ("cloud.pcd", ".pcd", head.format(len(rows), "binary").encode() + cloud.astype("<f4").tobytes()),
    ]
    for kind, packed in ((2, False), (2, True), (7, True)):
        header = laspy.LasHeader(point_format=kind, version="1.4" if kind == 7 else "1.2")
        header.scales = np.full(3, 0.0001)
        las = laspy.LasData(header)
        las.x, las.y, las.z = cloud.T
        stream = io.BytesIO()
        las.write(stream, do_compress=packed)
        ending = ".laz" if packed else ".las"
        seeds.append((f"cloud-{kind}{ending}", ending, stream.getvalue()))
    points, faces = tube()
    usda = (
        '#usda 1.0\n(\n metersPerUnit = 1\n upAxis = "Z"\n)\ndef Mesh "a"\n{\n'
        f" point3f[] points = [{', '.join(str(tuple(map(float, np.round(point, 4)))) for point in points)}]\n"
        f" int[] faceVertexCounts = {[3] * len(faces)}\n int[] faceVertexIndices = {faces.ravel().tolist()}\n}}\n"
    )
    seeds.append(("log.usda", ".usda", usda.encode()))
    return [(name, ending, data.encode() if isinstance(data, str) else data) for name, ending, data in seeds]


def odd_seeds():
    """Return the small files of the data folder."""
    folder = Path(os.environ.get("PITHLINE_DATA", "")) / "odd_files"
    known = {
        ".ply",
        ".stl",
        ".obj",
        ".off",
        ".glb",
        ".gltf",
        ".3mf",
        ".las",
        ".laz",
        ".e57",
        ".xyz",
        ".csv",
        ".pcd",
        ".zip",
        *SLOW,
    }
    return [
        (path.name, path.suffix.lower(), path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.suffix.lower() in known and 0 < path.stat().st_size <= MOST_SEED_BYTES
    ]


def flipped(data, rng):
    letters = bytearray(data)
    for _ in range(int(rng.integers(1, 9))):
        letters[int(rng.integers(len(letters)))] ^= 1 << int(rng.integers(8))
    return bytes(letters)


def cut(data, rng):
    return data[: int(len(data) * rng.uniform(0.02, 0.99))]


def put_in(data, rng):
    at = int(rng.integers(len(data) + 1))
    return data[:at] + rng.bytes(int(rng.integers(1, 40))) + data[at:]


def piece(data, rng):
    first = int(rng.integers(len(data)))
    return first, min(len(data), first + int(rng.integers(1, max(2, len(data) // 8))))


def swapped(data, rng):
    (a, b), (c, d) = sorted((piece(data, rng), piece(data, rng)))
    return data if c < b else data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def repeated(data, rng):
    a, b = piece(data, rng)
    return data[:b] + data[a:b] * int(rng.integers(1, 20)) + data[b:]


NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
ODD_NUMBERS = (
    b"nan",
    b"inf",
    b"-inf",
    b"1e308",
    b"-1",
    b"0",
    b"99999999999999999999",
    b"4294967295",
    b"1e-320",
    b"",
    b"-0.0",
    b"1e7",
    b"1,5",
)


def renumbered(data, rng, most=None):
    found = [match.span() for match in NUMBER.finditer(data[:most])]
    if not found:
        return flipped(data, rng)
    a, b = found[int(rng.integers(len(found)))]
    return data[:a] + ODD_NUMBERS[int(rng.integers(len(ODD_NUMBERS)))] + data[b:]


def recounted(data, rng):
    """Change a number of the head: in text as text, in bytes as a whole number of four bytes."""
    if b"\0" not in data[:200]:
        return renumbered(data, rng, 400)
    at = int(rng.integers(max(1, min(len(data), 400) - 4)))
    value = int(rng.choice([0, 1, 255, 65535, 2**31 - 1, 2**31, 2**32 - 1, 10**6, 10**8]))
    return data[:at] + value.to_bytes(4, "little") + data[at + 4 :]


DAMAGES = (flipped, cut, put_in, swapped, repeated, renumbered, recounted)


def peak_bytes():
    """Return the most memory that this process held since it was last asked, and its children ever."""
    status = Path("/proc/self/status").read_text()
    own = int(re.search(r"VmHWM:\s+(\d+)", status)[1]) * 1024
    Path("/proc/self/clear_refs").write_text("5")
    return max(own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024)


def work(there):
    """Take files from a pipe until none come, and tell what became of each."""
    from scans.errors import ScanError  # noqa: PLC0415
    from scans.formats.readers import read_scan  # noqa: PLC0415
    from scans.formats.reading_apart import _limit_memory  # noqa: PLC0415
    from scans.formats.scan import ReadingLimits  # noqa: PLC0415
    from scans.log_of_scan import ScanChoices, log_of_scan  # noqa: PLC0415

    limits = replace(ReadingLimits(), seconds=MOST_SECONDS)
    _limit_memory(limits.memory_bytes)
    warnings.simplefilter("error")
    while True:
        data, suffix, is_read_only = there.recv()
        before, counts, said = peak_bytes(), None, ""
        try:
            scan = read_scan(data, suffix, limits)
            counts = len(scan.points), len(scan.faces), bool(scan.notes)
            end = "read"
            if not is_read_only:
                log_of_scan(scan, "damaged", 0.92, ScanChoices())
                end = "logs"
        except ScanError as error:
            end, said = ("refusals", str(error)) if "\n" not in str(error) else ("crashes", "more than one line")
        except MemoryError:
            end = "over memory"
        except Exception as error:  # noqa: BLE001 - whatever else comes is what is looked for
            end, said = "crashes", f"{type(error).__name__}: {error}"
        if peak_bytes() - before > OVER_BYTES:
            end = "over memory"
        there.send((end, said, counts))


class Child:
    """A process that reads file after file; another takes its place where it dies or takes too long."""

    def __init__(self):
        self._start()

    def _start(self):
        context = multiprocessing.get_context("spawn")
        self.here, there = context.Pipe()
        self.process = context.Process(target=work, args=(there,), daemon=False)
        self.process.start()
        there.close()

    def outcome(self, data, suffix, *, is_read_only=False):
        self.here.send((data, suffix, is_read_only))
        try:
            if self.here.poll(MOST_SECONDS + 30.0):
                return self.here.recv()
            end = "hangs", "", None
        except (EOFError, ConnectionResetError):
            self.process.join()
            end = "crashes", f"the process ended with code {self.process.exitcode}", None
        self.close()
        self._start()
        return end

    def close(self):
        self.process.kill()
        self.process.join()
        self.here.close()


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--files", type=int, default=1000)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--whole", type=float, default=1.0)
    options.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "fuzz_files")
    options.add_argument("--minutes", type=float, default=600.0)
    asked = options.parse_args()
    asked.keep.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(asked.seed)
    seeds = made_seeds(rng) + odd_seeds()
    by_format = defaultdict(list)
    for seed in seeds:
        by_format[seed[1]].append(seed)
    quick = [ending for ending in by_format if ending not in SLOW]
    slow = [ending for ending in by_format if ending in SLOW]
    child, table, wholes = Child(), defaultdict(Counter), {}
    started = time.monotonic()
    for number in range(asked.files):
        if time.monotonic() - started > 60.0 * asked.minutes:
            break
        kinds = slow if slow and number % 100 == 0 else quick
        suffix = kinds[int(rng.integers(len(kinds)))]
        of_logs = [seed for seed in by_format[suffix] if seed[0].startswith("log")]
        others = [seed for seed in by_format[suffix] if not seed[0].startswith("log")]
        # Making a whole Log takes seconds, so that few are tried.
        of = of_logs if of_logs and (not others or rng.random() < 0.03) else others
        name, _, data = of[int(rng.integers(len(of)))]
        damage = DAMAGES[int(rng.integers(len(DAMAGES)))]
        made = damage(data, rng)
        end, said, counts = child.outcome(made, suffix, is_read_only=bool(rng.random() >= asked.whole))
        found = [end]
        if number % 500 == 499:
            print(f"{number + 1} files, {time.monotonic() - started:.0f} s", flush=True)
        is_told = counts is None or counts[2] or (suffix in TABLES and made.endswith(b"\n"))
        if damage is cut and not is_told and len(made) <= 0.99 * len(data):
            if name not in wholes:
                wholes[name] = child.outcome(data, suffix, is_read_only=True)[2]
            if wholes[name] is not None and counts[:2] != wholes[name][:2]:
                found.append("half read")
        table[suffix]["files"] += 1
        for what in found:
            table[suffix][what] += 1
        if {*found} - {"read", "logs", "refusals"}:
            (asked.keep / f"{number}-{found[-1].replace(' ', '-')}-{damage.__name__}-{name}").write_bytes(made)
            print(number, found, name, damage.__name__, said[:300], flush=True)
    child.close()
    print("| format | " + " | ".join(COLUMNS) + " |\n|---|" + "---:|" * len(COLUMNS))
    for suffix in sorted(table):
        print(f"| {suffix[1:]} | " + " | ".join(str(table[suffix][column]) for column in COLUMNS) + " |")
    total = sum(table.values(), Counter())
    print("| all | " + " | ".join(str(total[column]) for column in COLUMNS) + " |")
    print(f"{time.monotonic() - started:.0f} s")


if __name__ == "__main__":
    main()
