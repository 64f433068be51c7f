"""How well plans are chosen in doubt, and how well their ranges hold, on invented scans whose truth is known.

.venv/bin/python tests/benchmarks/doubt.py kept|possible|ranges|sheets|roll|more [first] [count] [lays]

kept    a row a seed. kept: net, on the true log, of the plan made from the scan (roll, tilt and heights as planned,
        lift anew, a pass over the throat paid for and the layers beside it lost, no slab no money) over the best net on
        the true log; of the plan chosen in doubt, and of the best on the log as given; in brackets, with no throat in
        the way on the true log. said: what the plan was expected to bring.
possible  the same where possible logs are the truth: what the doubt leaves to anybody who trusts it.
ranges  how often the range from P10 to P90 holds the true net, board feet and wood volume, and the interval score of
        each (the range's width, and ten times what the truth lies outside of it; as a share of the truth), for several
        DOUBT_WIDENED: learn that on one set of seeds, look on another.
sheets  the same for logs measured with tape and calipers (taped_logs.py), at DOUBT_WIDENED alone.
roll    what is kept in the mean on the true log itself where it is set some degrees off, the error known.
more    expected net, P10 and P90 of one plan on more and more possible logs.

Solids made of scans are kept in the folder of temporary files, as they take half a minute each.
"""

import pickle
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "optimizer"), str(ROOT / "tests" / "benchmarks")]

import books  # noqa: E402
from taped_logs import taped_log  # noqa: E402

from optimizer.documents.mill import SetUp  # noqa: E402
from optimizer.doubt.choice import CHOICE_LOGS, chosen_in_doubt  # noqa: E402
from optimizer.doubt.possible_logs import ROLL, PossibleLogs  # noqa: E402
from optimizer.doubt.report import DOUBT_WIDENED, FIRST_REPORT, REPORT_LOGS, drawn, weighed  # noqa: E402
from optimizer.search.lays import search  # noqa: E402
from scans.fit.scanned_log import log_from_points  # noqa: E402
from scans.invented.simulator import random_settings, simulate  # noqa: E402
from scans.locate.ground import find_log  # noqa: E402
from scans.log import Log  # noqa: E402

SOLIDS = Path(tempfile.gettempdir()) / "doubt_solids"
WIDENED = (0.8, DOUBT_WIDENED, 1.2, 1.45)
RANGE_LOGS = 60
POINTS = 200_000


def true_log(scan, log):
    """The truth in the frame of the log made of the scan, and as large as it is."""
    matrix = log.scan_to_log @ scan.log_to_scan
    matrix[:3] /= np.cbrt(np.linalg.det(matrix[:3, :3]))
    low = scan.truth.solid.moved(matrix).bounds_m[0, 0]
    matrix[0, 3] -= low
    solid = scan.truth.solid.moved(matrix)
    hearts = tuple(line @ matrix[:3, :3].T + matrix[:3, 3] for line in scan.truth.hearts)
    hearts = tuple(line[np.concatenate([[True], np.diff(line[:, 0]) > 0])] for line in hearts)
    return Log(name="truth", outer=solid, wood=solid, hearts=hearts)


def scanned(seed):
    """The log made of a seed's scan and the true one; None where the scan is refused."""
    path = SOLIDS / f"{seed}.pkl"
    if not path.exists():
        scan = simulate(seed, random_settings(seed, seed % 2 == 1, points=POINTS))
        found = find_log(scan.points_m, scan.normals)
        try:
            log, _ = log_from_points(scan.points_m[found.mask], found.outline, str(seed), 1.0)
            made = (log, true_log(scan, log))
        except Exception as error:  # noqa: BLE001 - a failure is a row of the table
            print(f"{seed:4d} FAILED {type(error).__name__}: {error}")
            made = None
        SOLIDS.mkdir(exist_ok=True)
        path.write_bytes(pickle.dumps(made))
    return pickle.loads(path.read_bytes())  # noqa: S301 - our own


def net_on(true, plan):
    """Net and board feet of a plan's roll, tilt and heights on another log, lifted anew; net with no throat to pass.

    A pass over the throat is paid for, and the two layers beside it bring nothing. No mill of these flips.
    """
    turned, mill = true.supports.turned(plan.lay.roll_deg), true.mill
    done = true.price_rows(turned.lay(plan.lay.tilt_deg), [p.row for p in plan.passes], plan.entries)
    failed = {k for k, p in enumerate(done.passes, start=1) if p.reach_m > mill.throat_m}
    lost = [slab for slab in done.slabs if {slab.layer, slab.layer + 1} & failed]
    each = mill.money(mill.pace.minutes_per_slab)
    net = done.net - sum(slab.price - slab.drying_cost - each for slab in lost)
    return net, sum(slab.board_feet for slab in done.slabs if slab not in lost), done.net


def chosen(problem, lays, widened=DOUBT_WIDENED, seed=0, logs=CHOICE_LOGS, fresh=REPORT_LOGS):
    """Plans of a log: the best in doubt with its outcomes, the best on the log as given, CPU seconds."""
    start = time.process_time()
    found = search(problem, lays)
    possible = PossibleLogs(problem, widened)
    plans = chosen_in_doubt(problem, found, drawn(possible, seed, 0, logs, 2), 2)
    fresh = drawn(possible, seed, FIRST_REPORT, fresh, 2)
    tried = weighed(problem, [*found.plans, *plans], fresh, 2)
    best = max(tried, key=lambda w: w.expected)
    return best, found.plans[0], fresh, time.process_time() - start


def kept(first=100, count=24, lays=300, make=scanned):
    """Print what is kept, seed by seed."""
    rows = []
    print("seed    kept (any throat)  as given (any throat)    said  in doubt's range  CPU s  wall s")
    for seed in range(first, first + count):
        made = make(seed)
        if made is None:
            rows.append((np.nan,) * 7)
            continue
        start = time.perf_counter()
        problem, true = books.problem(made[0]), books.problem(made[1])
        best, middle, _, cpu = chosen(problem, lays)
        wall = time.perf_counter() - start
        robust, plain = net_on(true, best.priced), net_on(true, middle)
        most = max(search(true, lays).plans[0].net, robust[0], plain[0])
        low, high = np.quantile(best.outcomes.net, [0.1, 0.9])
        held = low <= robust[0] <= high
        shares = [net / most for net in (robust[0], robust[2], plain[0], plain[2], best.expected)]
        rows.append((*shares, held, cpu))
        print(
            f"{seed:4d}  {shares[0]:6.3f}      ({shares[1]:5.3f})    {shares[2]:6.3f}      ({shares[3]:5.3f})  "
            f"{shares[4]:6.3f}  {'yes' if held else 'no':<16}  {cpu:5.1f}  {wall:6.1f}",
            flush=True,
        )
    found = np.array(rows, dtype=np.float64).T
    for name, values in zip(
        ("in doubt", "in doubt, any throat", "as given", "as given, any throat"), found, strict=False
    ):
        print(f"kept {name}: {summed_up(values)}")
    print(
        f"said {np.nanmean(found[4]):.3f}; held {np.nanmean(found[5]):.0%} of ranges; "
        f"CPU s {np.nanmedian(found[6]):.0f}, median"
    )


def summed_up(values):
    """Median, mean and worst, as text."""
    return f"median {np.nanmedian(values):.3f}, mean {np.nanmean(values):.3f}, worst {np.nanmin(values):.3f}"


def possible(first=100, count=12, lays=200, each=2):
    """Print what is kept where possible logs are the truth."""
    rows = []
    for seed in range(first, first + count):
        made = scanned(seed)
        if made is None:
            continue
        problem = books.problem(made[0])
        plan = chosen(problem, lays)[0].priced
        # Logs that took part neither in choosing nor in ranking.
        for log in drawn(PossibleLogs(problem, DOUBT_WIDENED), 0, FIRST_REPORT + REPORT_LOGS, each, 2):
            true = books.problem(log.log)
            net = net_on(true, plan)[0]
            rows.append(net / max(search(true, lays).plans[0].net, net))
        print(f"{seed:4d} ", *(f"{share:.3f}" for share in rows[-each:]), flush=True)
    print(f"kept where possible logs are the truth: {summed_up(np.array(rows))}")


def ranges(first=200, count=96, lays=60, make=scanned, widths=WIDENED):
    """Print how often ranges hold, for several widenings of the doubt."""
    found = {widened: [] for widened in widths}
    for seed in range(first, first + count):
        made = make(seed)
        if made is None:
            continue
        problem, true = books.problem(made[0]), books.problem(made[1])
        plan = chosen(problem, lays, logs=8, fresh=30)[0].priced
        net, feet, _ = net_on(true, plan)
        volume = made[1].wood.volume_m3
        for widened in widths:
            fresh = drawn(PossibleLogs(problem, widened), 1, FIRST_REPORT, RANGE_LOGS, 2)
            tried = weighed(problem, [plan], fresh, 1)[0].outcomes
            row = [seed]
            for truth, values in (
                (net, tried.net),
                (feet, tried.board_feet),
                (volume, np.array([log.log.wood.volume_m3 for log in fresh])),
            ):
                low, high = np.quantile(values, [0.1, 0.9])
                outside = max(low - truth, truth - high, 0.0)
                row += [truth < low, truth > high, (high - low + 10.0 * outside) / truth]
            found[widened].append(row)
        print(f"{seed:4d} {net:8.0f} {[int(not (f[-1][1] or f[-1][2])) for f in found.values()]}", flush=True)
    print("widened   net: held  under  over  score   board feet: held  score   volume: held  under  over  score")
    for widened, rows in found.items():
        at = np.array(rows, dtype=np.float64).mean(axis=0)
        print(
            f"{widened:7.2f}  {1 - at[1] - at[2]:10.0%} {at[1]:6.0%} {at[2]:5.0%} {at[3]:6.3f}   "
            f"{1 - at[4] - at[5]:16.0%} {at[6]:6.3f} {1 - at[7] - at[8]:14.0%} {at[7]:6.0%} {at[8]:5.0%} {at[9]:6.3f}"
        )


def sheets(first=0, count=48, lays=60):
    """Print how often the ranges of logs hold that were measured with tape and calipers."""
    ranges(first, count, lays, make=taped_log, widths=(DOUBT_WIDENED,))


def roll(first=100, count=8, lays=300):
    """Print what is kept in the mean where the true log is set some degrees off."""
    print("error deg  kept, chosen for it  kept, chosen on the log as set just so")
    for error_deg in (0.0, 3.0, 5.0, 10.0):
        rows = []
        for seed in range(first, first + count):
            made = scanned(seed)
            if made is None:
                continue
            mill = books.mill(set_up=SetUp(roll_error_deg=error_deg))
            problem = books.problem(made[1], mill)
            found = search(problem, lays)
            possible = PossibleLogs(problem)
            on = (ROLL,) if error_deg else ()
            plans = chosen_in_doubt(problem, found, drawn(possible, 0, 0, CHOICE_LOGS, 2, on), 2)
            tried = weighed(problem, [found.plans[0], *plans], drawn(possible, 0, FIRST_REPORT, 100, 2, on), 2)
            best = found.plans[0].net
            rows.append((max(w.expected for w in tried) / best, tried[0].expected / best))
        robust, raw = np.mean(rows, axis=0)
        print(f"{error_deg:9.0f}  {robust:19.3f}  {raw:38.3f}", flush=True)


def more(seed=100, lays=100):
    """Print what a plan is expected to bring, on more and more possible logs."""
    problem = books.problem(scanned(seed)[0])
    plan = search(problem, lays).plans[0]
    print("logs  expected     P10     P90")
    for count in (25, 50, 100, 200, 400, 800):
        logs = drawn(PossibleLogs(problem, DOUBT_WIDENED), 0, FIRST_REPORT, count, 2)
        net = weighed(problem, [plan], logs, 1)[0].outcomes.net
        print(f"{count:4d}  {net.mean():8.1f}  {np.quantile(net, 0.1):6.1f}  {np.quantile(net, 0.9):6.1f}", flush=True)


if __name__ == "__main__":
    what, *numbers = sys.argv[1:]
    {"kept": kept, "possible": possible, "ranges": ranges, "sheets": sheets, "roll": roll, "more": more}[what](
        *(int(number) for number in numbers)
    )
