"""Where files go that nothing needs any more, as far as can be told: moved aside under the date, never deleted."""

from datetime import UTC, datetime
from pathlib import Path

TRASH = "trash"


def new_trash(data_folder: Path) -> Path:
    """Make a new folder for what is moved aside now, and return it. Raises OSError."""
    dated = data_folder / TRASH / datetime.now(UTC).strftime("%Y-%m-%d_%H-%M-%S")
    # Two within one second get a folder each.
    for path in (dated, *(dated.with_name(f"{dated.name}_{k}") for k in range(2, 1000))):
        try:
            path.mkdir(parents=True, mode=0o700)
        except FileExistsError:
            continue
        return path
    raise FileExistsError(f"{dated} is there already")
