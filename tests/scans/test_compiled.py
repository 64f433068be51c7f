"""Compiled kernels are kept for the source that they were made from."""

import subprocess
import sys
from pathlib import Path

from scans.compiled import source_hash

KERNEL = "import numba\n\n\n@numba.njit(cache=True)\ndef {name}():\n    return {what}\n"


def rooms(folder: Path) -> Path:
    for room in ("scans", "optimizer"):
        (folder / room).mkdir(parents=True)
    (folder / "scans" / "inner.py").write_text(KERNEL.format(name="inner", what="1"))
    (folder / "optimizer" / "outer.py").write_text(KERNEL.format(name="outer", what="inner()"))
    (folder / "optimizer" / "words.py").write_text("WORD = 'slab'\n")
    return folder


def test_a_change_of_any_kernel_in_either_room_is_another_source(tmp_path):
    first = source_hash(rooms(tmp_path))

    (tmp_path / "scans" / "inner.py").write_text(KERNEL.format(name="inner", what="2"))
    second = source_hash(tmp_path)
    (tmp_path / "optimizer" / "outer.py").write_text(KERNEL.format(name="outer", what="inner() + 1"))
    third = source_hash(tmp_path)

    assert len({first, second, third}) == 3


def test_a_change_of_anything_else_is_not(tmp_path):
    first = source_hash(rooms(tmp_path))

    (tmp_path / "optimizer" / "words.py").write_text("WORD = 'offcut'\n")

    assert source_hash(tmp_path) == first


def test_kernels_are_kept_there_and_where_somebody_asks(tmp_path):
    code = "import optimizer.stations.chords, numba; print(numba.config.CACHE_DIR)"

    def told(**environment: str) -> str:
        done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
        return done.stdout.strip()

    root = Path(__file__).resolve().parents[2]
    assert told(PYTHONPATH=str(root)).endswith(f"kernels-{source_hash(root)}")
    assert told(PYTHONPATH=str(root), NUMBA_CACHE_DIR=str(tmp_path)) == str(tmp_path)
