"""Jobs in an executor that is not ours, as that of a cluster: here one of threads, whose work nothing can kill."""

import time

import pytest
from served import serving
from small_log import STRAIGHT

from service.jobs.slots import slots_for
from service.settings import Settings
from service.typed.errors import InputError

THREADS = "concurrent.futures:ThreadPoolExecutor"


def test_jobs_end_and_are_cancelled_by_the_flag_alone(own_files, tmp_path):  # noqa: ARG001
    def state_until(client, job_id, *states):
        until = time.monotonic() + 300.0
        while (job := client.get(f"/api/jobs/{job_id}").json())["state"] not in states:
            assert time.monotonic() < until, job
            time.sleep(0.05)
        return job["state"]

    with serving(Settings(data_folder=tmp_path, free_bytes=0, executor=THREADS)) as client:
        read = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}).json()
        assert state_until(client, read["job"]["id"], "done", "failed") == "done"
        path = f"/api/logs/{read['log']['id']}/plans"
        job_id = client.post(path, json={"lays": 20_000}).json()["id"]
        state_until(client, job_id, "running")
        client.post(f"/api/jobs/{job_id}/cancel")
        assert state_until(client, job_id, "done", "failed", "cancelled") == "cancelled"
        again = client.post(path, json={"lays": 12, "doubt": "off"}).json()["id"]
        assert state_until(client, again, "done", "failed") == "done"


@pytest.mark.parametrize("name", ["nonsense", "no.such.module:make", "concurrent.futures:nothing", ":", "json:"])
def test_an_executor_that_cannot_be_had_is_refused(name):
    with pytest.raises(InputError, match="executor must be module:function"):
        slots_for(Settings(executor=name))
