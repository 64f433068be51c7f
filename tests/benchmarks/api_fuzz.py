"""Made-up requests to every operation of the API, more of them than the tests send: what was answered, and what broke.

    .venv/bin/python tests/benchmarks/api_fuzz.py --examples 200

Right and wrong by the API's own description, in sequences that use each other's answers, and odd ones that no
description could think of. Prints a row for each operation: cases, statuses, and 5xx, of which none is wanted.
Whatever did not get what is promised is printed below the table; the exit code is 1 then.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
# In front: beside this file stands scans.py, which is not the room.
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "service"), str(ROOT / "tests" / "service" / "api")]

from made_up import ask_each, ask_oddly, walk  # noqa: E402
from schemathesis import GenerationMode  # noqa: E402
from served import serving  # noqa: E402
from small_log import STRAIGHT  # noqa: E402

from service.settings import Settings  # noqa: E402


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examples", type=int, default=100, help="Requests of each kind to each operation.")
    examples: int = parser.parse_args().examples
    seen: dict[str, Counter[int]] = defaultdict(Counter)
    broken: list[str] = []

    def answered(label: str, status: int) -> None:
        seen[label][status] += 1

    def tried(what: str, work: Callable[[], None]) -> None:
        start = time.perf_counter()
        try:
            work()
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            broken.append(f"{what}: {error}\n{getattr(error, 'exceptions', '')}")
        print(f"{what}: {time.perf_counter() - start:.0f} s", flush=True)

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with serving(Settings(data_folder=folder, free_bytes=0)) as client:
            added = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}).json()
            ids = {"log_id": added["log"]["id"], "job_id": added["job"]["id"]}
            while client.get(f"/api/logs/{ids['log_id']}").json()["state"] == "reading":
                time.sleep(0.05)
        with serving(Settings(data_folder=folder, free_bytes=0, slots=0, most_queued=10**6)) as client:
            ids["mill_id"] = client.get("/api/mills").json()[0]["id"]
            ids["prices_id"] = client.get("/api/price-books").json()[0]["id"]
            tried("odd", lambda: ask_oddly(client, ids, examples, answered))
            tried("wrong", lambda: ask_each(client, ids, examples, answered, GenerationMode.NEGATIVE))
            tried("right", lambda: ask_each(client, ids, examples, answered, GenerationMode.POSITIVE))
            tried("sequences", lambda: walk(client, ids, examples, answered, steps=30))
    print(f"{'operation':<52}{'cases':>7}{'5xx':>5}  statuses")
    for label, statuses in sorted(seen.items()):
        worst = sum(times for status, times in statuses.items() if status >= 500)
        shown = ", ".join(f"{status} x {times}" for status, times in sorted(statuses.items()))
        print(f"{label:<52}{statuses.total():>7}{worst:>5}  {shown}")
    every = sum(statuses.total() for statuses in seen.values())
    print(f"{'all':<52}{every:>7}{sum(n for s in seen.values() for status, n in s.items() if status >= 500):>5}")
    print(*broken, sep="\n")
    sys.exit(1 if broken else 0)


if __name__ == "__main__":
    main()
