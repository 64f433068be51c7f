"""How long fifty readers of the service wait, with and without a search that runs.

Each reader asks for the list of logs, a job, and a plan document in turn, pausing as a person's page would; all over
127.0.0.1, so many requests and no more.

python tests/benchmarks/readers.py
"""

import os
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import httpx

READERS = 50
ROUNDS = 12
PAUSE_SECONDS = 0.5
LAYS = 60
COMMAND = [sys.executable, "-c", "from service.cli.command_line import main; main()", "serve", "--port", "0"]


def ended(client, job_id):
    while True:
        job = client.get(f"/api/jobs/{job_id}").json()
        if job["ended_at"] is not None:
            return job
        time.sleep(0.1)


def reader(address, paths, k, waits):
    time.sleep(PAUSE_SECONDS * k / READERS)
    with httpx.Client(base_url=address, timeout=60.0) as client:
        for _ in range(ROUNDS):
            for path in paths:
                start = time.perf_counter()
                answer = client.get(path)
                waits.setdefault(path, []).append(time.perf_counter() - start)
                assert answer.status_code == 200, answer.text
            time.sleep(PAUSE_SECONDS)


def waits_of(address, paths):
    waits = {}
    threads = [threading.Thread(target=reader, args=(address, paths, k, waits)) for k in range(READERS)]
    start = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return waits, time.perf_counter() - start


def row(what, name, waits, total_s):
    cuts = statistics.quantiles(waits, n=100)
    print(
        f"{what:<10}{name:<10}{len(waits):>9}{len(waits) / total_s:>8.0f}{1000 * cuts[49]:>9.1f}{1000 * cuts[94]:>9.1f}"
        f"{1000 * max(waits):>9.1f}",
        flush=True,
    )


def main():
    with tempfile.TemporaryDirectory() as folder:
        environment = os.environ | {
            "XDG_CONFIG_HOME": folder,
            "PYTHONPATH": str(Path.cwd()),
            "PITHLINE_FREE_BYTES": "0",
        }
        server = subprocess.Popen(
            [*COMMAND, "--data", f"{folder}/data"], stdout=subprocess.PIPE, text=True, env=environment
        )
        try:
            address = re.search(r"http://127\.0\.0\.1:\d+", server.stdout.readline())[0]
            measure(address)
        finally:
            server.terminate()
            server.wait()


def measure(address):
    with httpx.Client(base_url=address, timeout=60.0) as client:
        added = client.post("/api/logs/sample").json()
        ended(client, added["job"]["id"])
        plans = f"/api/logs/{added['log']['id']}/plans"
        job = ended(client, client.post(plans, json={"lays": LAYS, "doubt": "off"}).json()["id"])
        paths = {"/api/logs": "logs", f"/api/jobs/{job['id']}": "job", f"/api/plans/{job['plan_id']}": "plan"}
        print(f"load of the machine before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        print(f"{'search':<10}{'what':<10}{'requests':>9}{'per s':>8}{'p50 ms':>9}{'p95 ms':>9}{'max ms':>9}")
        for search in ("none", "runs"):
            runs = []
            if search == "runs":
                # One after the other for as long as there are readers, with doubt, so that both cores are busy.
                runs = [client.post(plans, json={"lays": 20_000, "seed": k}).json()["id"] for k in range(20)]
                time.sleep(2.0)
            waits, total_s = waits_of(address, list(paths))
            for path, name in paths.items():
                row(search, name, waits[path], total_s)
            row(search, "all", [wait for path in paths for wait in waits[path]], total_s)
            for job_id in runs[::-1]:  # the one that runs last, and none is taken up behind it
                start = time.perf_counter()
                client.post(f"/api/jobs/{job_id}/cancel")
                while client.get(f"/api/jobs/{job_id}").json()["state"] != "cancelled":
                    time.sleep(0.005)
            if runs:
                print(f"the search that ran was cancelled in {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
