"""What all tests may ask for."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# A loaded machine is no failure: examples are bounded in number, not in time.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


@pytest.fixture(scope="session")
def data_folder() -> Path:
    """Folder with real scans and tables, which is no part of the project; tests skip where it is absent."""
    root = Path(__file__).parents[1]
    folder = Path(os.environ.get("PITHLINE_DATA", root.parent / "shared" / "data"))
    if not folder.is_dir():
        pytest.skip(f"no folder of scans and tables at {folder}; set PITHLINE_DATA to one")
    return folder
