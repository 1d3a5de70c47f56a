"""Runs of a job off a failing drive that are cut off where the drive hangs."""

import os
import shutil
import signal
import subprocess
import time


def wait_until_it_hangs(store):
    """Until the store is there and has not grown for a while. False: that never happens."""
    sizes, still = None, 0
    for _ in range(600):
        time.sleep(0.1)
        try:
            now = [os.path.getsize(os.path.join(store, name)) for name in os.listdir(store)]
        except FileNotFoundError:
            now = []
        still = still + 1 if now and now == sizes else 0
        if still == 15:
            return True
        sizes = now
    return False


def run_until_it_hangs(command, to, store):
    """Runs `command` into the fresh folder `to` and kills it when it hangs; False: it did not."""
    shutil.rmtree(to, ignore_errors=True)
    os.mkdir(to)
    job = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    began = wait_until_it_hangs(os.path.join(to, store))
    with open(f"/proc/{job.pid}/task/{job.pid}/children", encoding="ascii") as children:
        pids = [int(pid) for pid in children.read().split()]
    for pid in pids or [job.pid]:  # strace ends with what it runs
        os.kill(pid, signal.SIGKILL)
    job.wait()
    return began
