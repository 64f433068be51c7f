"""Lets these tests use `plan_documents` of the optimizer's."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "optimizer"))
