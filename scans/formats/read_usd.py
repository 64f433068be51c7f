"""From the bytes of a USD file or a USDZ to points and faces in the stage's own axes."""

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

import numpy as np

from scans.errors import ScanError
from scans.formats import usd_stage
from scans.formats.scan import ReadingLimits, Scan
from scans.formats.usd_layers import laid_out
from scans.messages import Note

_SHARE_OF_TIME = 0.9
"""The process must end before who waits for all of the reading ends this one, and its folder is left."""
_DAMAGED = "the file is cut off or damaged; copy or export it again"


def read_usd(data: bytes, suffix: str, limits: ReadingLimits) -> Scan:
    """Return all meshes and point clouds of a USD stage as one scan, each where the stage puts it.

    data : the file's bytes. suffix : ".usd", ".usda", ".usdc" or ".usdz", with or without the dot.
    limits : at most limits.points points and limits.faces triangles, in all; the archive's for a USDZ.

    Faces are wound outwards: left-handed meshes and mirroring transforms are turned. Faces of more than
    three corners are cut into triangles. Colours are displayColor, which USD keeps linear, as 8-bit sRGB; they come
    only where everything in the stage has them. What moves is taken at its earliest time. unit_m and up are what the
    stage states; where it states none, USD would have the centimetre and y, which many exporters do not mean, and
    they are None. Hidden things, guides and stand-ins are left out.

    The file is read by a process of its own, which costs half a second, as a damaged one can end the process.

    Raises ScanError where the file is damaged, draws on files that it does not hold, or holds neither meshes nor
    points or more of them than may be read.
    """
    most_seconds = _SHARE_OF_TIME * limits.seconds
    # The library maps files by path and has no way in for bytes, so that the layers lie in a folder of their own.
    with tempfile.TemporaryDirectory(prefix="pithline-") as name:
        folder = Path(name)
        names = laid_out(data, suffix, limits, folder / usd_stage.LAYERS)
        (folder / usd_stage.JOB).write_text(json.dumps({"names": names, "limits": asdict(limits)}))
        # The library's reports of its own crashes go where TMPDIR says, and with the folder.
        modules = os.pathsep.join(path or str(Path.cwd()) for path in sys.path)
        around = {**os.environ, "TMPDIR": name, "PYTHONPATH": modules}
        try:
            # Nothing of the user's is in the command: the folder's name is ours.
            subprocess.run(  # noqa: S603
                [sys.executable, "-P", "-m", usd_stage.__name__, name],
                env=around,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=most_seconds,
                check=True,
            )
        except subprocess.TimeoutExpired:
            raise ScanError(f"the file could not be read as USD within {most_seconds:g} s; export it again") from None
        except subprocess.CalledProcessError as error:
            raise ScanError(f"the file could not be read as USD (code {error.returncode}): {_DAMAGED}") from None
        answer = json.loads((folder / usd_stage.ANSWER).read_text())
        if "error" in answer:
            raise ScanError(**answer["error"])
        with np.load(folder / usd_stage.ARRAYS, allow_pickle=False) as arrays:
            return Scan(
                arrays["points"],
                arrays["faces"],
                colours=arrays.get("colours"),
                unit_m=answer["unit_m"],
                up=answer["up"],
                notes=tuple(Note(**note) for note in answer["notes"]),
            )
