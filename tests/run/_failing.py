"""Drives that fail: patterns of faults, and runs that are cut off where the drive hangs."""

import os
import random
import shutil
import signal
import subprocess
import time

SECTOR = 512
MOST_TRIES = 6  # of one sector that does not read: the first try in two sizes, and four rounds


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


def pattern(kind, seed, data):
    """Lines for the test device, the sectors that never read, and those that may not (after bounded tries)."""
    rng = random.Random(seed)
    lines, bad, doubtful, once = ["watch"], set(), set(), set()

    def place():
        at, length = rng.choice(data)
        return (at + rng.randrange(length)) // SECTOR * SECTOR

    def fail(at, length):
        lines.append(f"{rng.choice(('fail', 'short'))} {at} {length}")
        bad.update(range(at // SECTOR, (at + length + SECTOR - 1) // SECTOR))

    if kind in (0, 3, 6):
        for _ in range(rng.randrange(1, 30)):
            fail(place(), SECTOR)
    if kind in (1, 3, 7):
        for _ in range(rng.randrange(1, 4)):
            centre = place()
            for _ in range(rng.randrange(2, 20)):
                fail(max(0, centre + rng.randrange(-200, 200) * SECTOR), SECTOR * rng.randrange(1, 4))
    if kind == 2:
        fail(place(), SECTOR * rng.randrange(100, 8000))
    if kind in (4, 5, 8):
        for _ in range(rng.randrange(1, 12)):
            at, count, times = place(), rng.randrange(1, 40), rng.randrange(1, MOST_TRIES)
            lines.append(f"fleeting {at} {SECTOR * count} {times}")
            # Once is what the last two rounds, sector by sector, are sure to get over; the survey has none.
            sectors = set(range(at // SECTOR, at // SECTOR + count))
            doubtful.update(sectors if times > 1 or kind == 8 else sectors & once)
            once |= sectors
    if kind == 5:
        at, length = max(data, key=lambda run: run[1])
        first, count = (at + length // 3) // SECTOR, length // 2 // SECTOR
        lines.append(f"dies {first * SECTOR} {count * SECTOR} {rng.randrange(60, 90)}")
        doubtful.update(range(first, first + count))
    return lines, bad, doubtful
