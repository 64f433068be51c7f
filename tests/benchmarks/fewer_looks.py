"""What it costs to look less where plans are chosen in doubt, on logs measured with tape and calipers; invented.

.venv/bin/python tests/benchmarks/fewer_looks.py [first] [count] [lays]

A row a log: what the best plan is expected to bring, tried on fresh possible logs, with rolls searched to a twentieth
of a degree, every row of layers worked out and every lay of a climb tried on twelve logs; and as it is now. The
standard error is that of the difference, on the same logs.
"""

import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "optimizer"), str(ROOT / "tests" / "benchmarks")]

import books  # noqa: E402
from taped_logs import taped_log  # noqa: E402

from optimizer.documents.mill import Mill  # noqa: E402
from optimizer.doubt import choice  # noqa: E402
from optimizer.doubt.choice import CHOICE_LOGS, chosen_in_doubt  # noqa: E402
from optimizer.doubt.possible_logs import PossibleLogs  # noqa: E402
from optimizer.doubt.report import FIRST_REPORT, drawn, weighed  # noqa: E402
from optimizer.search.lays import search  # noqa: E402
from service.typed.files import MILL_FILE, parse_document, read_sample  # noqa: E402

FRESH = 120
NOW = (choice.APART_M, choice.BEHIND)
MORE = (0.0, 0.0)


def best(problem, fresh, lays, how, roll_error_deg):
    """The plan that is expected to bring the most, and CPU seconds of search and choice."""
    choice.APART_M, choice.BEHIND = how
    start = time.process_time()
    found = search(problem, lays, roll_error_deg=roll_error_deg)
    searched = time.process_time()
    logs = drawn(PossibleLogs(problem), 0, 0, CHOICE_LOGS, 2)
    plans = chosen_in_doubt(problem, found, logs, 2)
    chosen = time.process_time()
    tried = weighed(problem, [*found.plans, *plans], fresh, 2)
    return max(tried, key=lambda w: w.expected), searched - start, chosen - searched


def main(first=0, count=6, lays=400):
    mill, rows = parse_document(read_sample(MILL_FILE), Mill), []
    print("seed  more looks      now  difference  (error)  CPU s: search         choice")
    for seed in range(first, first + count):
        made = taped_log(seed)
        if made is None:
            continue
        problem = books.problem(made[0], mill)
        fresh = drawn(PossibleLogs(problem), 0, FIRST_REPORT, FRESH, 2)
        more, *more_s = best(problem, fresh, lays, MORE, 0.0)
        now, *now_s = best(problem, fresh, lays, NOW, mill.set_up.roll_error_deg)
        off = (now.outcomes.net - more.outcomes.net) / more.expected
        rows.append(off.mean())
        print(
            f"{seed:4d}  {more.expected:10.0f}  {now.expected:7.0f}  {rows[-1]:+10.2%}  {off.std() / FRESH**0.5:7.2%}"
            f"  {more_s[0]:6.1f} {now_s[0]:6.1f}  {more_s[1]:6.1f} {now_s[1]:6.1f}",
            flush=True,
        )
    print(f"difference: mean {np.mean(rows):+.2%}, worst {min(rows):+.2%}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
