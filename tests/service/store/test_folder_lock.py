"""One service to a data folder, whoever held it before and however that ended."""

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from service.store.folder_lock import FolderLock
from service.typed.errors import InputError

HOLD = "import sys; from pathlib import Path; from service.store.folder_lock import FolderLock\n"
HOLDER = f"{HOLD}lock = FolderLock(Path(sys.argv[1])); print('held', flush=True); sys.stdin.read()"
CHILD = "import sys; print('up', flush=True); sys.stdin.read()"
PARENT = f"""{HOLD}
import subprocess
lock = FolderLock(Path(sys.argv[1]))
child = subprocess.Popen([sys.executable, '-c', {CHILD!r}], stdin=sys.stdin)
print('held', flush=True)
child.wait()
"""


@pytest.fixture
def holder(tmp_path, request):
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[3])}
    command = [sys.executable, "-c", getattr(request, "param", HOLDER), str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment) as process:
        assert process.stdout.readline() == b"held\n"
        yield process
        process.stdin.close()


def test_a_folder_that_is_held_is_refused(holder, tmp_path):
    with pytest.raises(InputError, match=r"another service uses .*data"):
        FolderLock(tmp_path)
    assert holder.poll() is None


@pytest.mark.parametrize("holder", [HOLDER, PARENT], indirect=True, ids=["alone", "with a process that it started"])
def test_a_holder_that_is_killed_lets_go(holder, tmp_path):
    if holder.args[2] == PARENT:
        assert holder.stdout.readline() == b"up\n"
    holder.send_signal(signal.SIGKILL)
    holder.wait()
    assert (tmp_path / "in_use").exists()

    FolderLock(tmp_path).release()


def test_a_file_that_was_left_says_nothing(tmp_path):
    (tmp_path / "in_use").write_text("4711")

    FolderLock(tmp_path).release()


def test_another_thread_may_let_go(tmp_path):
    lock = FolderLock(tmp_path)
    thread = threading.Thread(target=lock.release)
    thread.start()
    thread.join()

    FolderLock(tmp_path).release()


def test_a_folder_that_cannot_be_written_to_is_one_line(tmp_path):
    (tmp_path / "in_use").mkdir()

    with pytest.raises(InputError, match=r"cannot be written to: Is a directory; give a folder of your own"):
        FolderLock(tmp_path)
