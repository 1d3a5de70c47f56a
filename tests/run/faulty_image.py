#!/usr/bin/python3
"""Images of drives that fail in many ways (extract --image): whole but for what really does not read.

Patterns are those of faulty_jobs.py, made from a seed. The truth is the file behind the test device: outside the
list beside the image every byte is as there, the list holds only sectors that may not read, all that never read,
and no more; no sector that was read well is asked for again, none that does not read more than six times. Stopped,
killed and given again, it goes on: what the map beside the image speaks of is not read again. COLDLIFT_TORTURE=1
runs 200 patterns, otherwise a fixed sample.
"""

import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True
from _failing import pattern  # noqa: E402

TORTURE = os.environ.get("COLDLIFT_TORTURE") == "1"
BUILD = os.environ.get("COLDLIFT_BUILD", os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../build"))
DRIVER = os.path.join(BUILD, "tests/run/faulty_image")
SIZE, SECTOR, BLOCK = (12 << 20) + 1536, 512, 65536
MOST_TRIES = 6


class Checks:
    count = failures = requests = 0

    def check(self, truth, what):
        Checks.count += 1
        if not truth:
            Checks.failures += 1
            print("FAILED:", what)
        return truth


def sectors_of(ranges):
    return {sector for at, length in ranges for sector in range(at // SECTOR, (at + length + SECTOR - 1) // SECTOR)}


class Drive(Checks):
    def __init__(self, work):
        self.work = work
        self.drive, self.image = os.path.join(work, "drive.img"), os.path.join(work, "saved.img")
        dice = random.Random(1)
        # With a range of nothing in the middle, as drives have.
        self.truth = bytes(dice.randbytes(5 << 20) + bytes(2 << 20) + dice.randbytes(SIZE - (7 << 20)))
        with open(self.drive, "wb") as file:
            file.write(self.truth)

    def clear(self):
        for name in os.listdir(self.work):
            if name.startswith("saved.img"):
                os.unlink(os.path.join(self.work, name))

    def command(self, lines, *options):
        script = os.path.join(self.work, "script")
        with open(script, "w", encoding="ascii") as file:
            file.write("\n".join(["watch", *lines]) + "\n")
        return [DRIVER, self.drive, script, self.image, *options]

    def run(self, label, lines, *options, status=0):
        done = subprocess.run(self.command(lines, *options), capture_output=True, text=True)
        self.check(done.returncode == status, f"{label}: status {done.returncode} {done.stderr[:300]}")
        counts = json.loads(done.stdout or "{}")
        Checks.requests += counts.get("failures", 0)
        return counts, done.stderr

    def check_image(self, label, bad, doubtful):
        """The list's sectors."""
        if not self.check(os.path.exists(self.image), f"{label}: no image"):
            return set()
        with open(self.image, "rb") as file:
            data = file.read()
        with open(self.image + ".holes", encoding="ascii") as file:
            listed = [tuple(map(int, line.split())) for line in file if line[0] != "#"]
        holes, at = sectors_of(listed), 0
        self.check(len(data) == len(self.truth), f"{label}: {len(data)} bytes")
        for offset, length in [*listed, (len(self.truth), 0)]:
            self.check(data[at:offset] == self.truth[at:offset], f"{label}: differs between {at} and {offset}")
            self.check(not any(data[offset:offset + length]), f"{label}: something stands in a hole")
            at = offset + length
        self.check(bad <= holes, f"{label}: the list lacks {sorted(bad - holes)[:9]}")
        self.check(holes <= bad | doubtful, f"{label}: the list has what reads: {sorted(holes - bad - doubtful)[:9]}")
        left = sorted(name for name in os.listdir(self.work) if name.startswith("saved.img"))
        self.check(left == ["saved.img", "saved.img.holes"], f"{label}: left {left}")
        return holes


def check_patterns(drive):
    places = [(SECTOR * 8, SIZE - SECTOR * 8)]  # the first sectors are read before, to know the drive
    for seed in range(200 if TORTURE else 12):
        lines, bad, doubtful = pattern(seed % 6, seed, places)
        bad = {sector for sector in bad if sector * SECTOR < SIZE}
        label = f"seed {seed}:"
        drive.clear()
        counts, _ = drive.run(label, lines)
        if not counts:
            continue
        drive.check(counts["again_since"] == 0, f"{label} read again: {counts}")
        drive.check(counts["most_asked"] <= MOST_TRIES, f"{label} asked too often: {counts}")
        drive.check_image(label, bad, doubtful)


def sectors_read(trace, path):
    reads = re.compile(r"pread64\(\d+<" + re.escape(path) + r">.* (\d+)\) += (\d+)$", re.M)
    with open(trace, encoding="utf-8", errors="replace") as file:
        return sectors_of((int(at), int(got)) for at, got in reads.findall(file.read()))


def stop(drive, label, lines, sign, *options, when):
    """Runs it until `when` says so; what it had read by then."""
    trace = os.path.join(drive.work, "trace")
    job = subprocess.Popen(["strace", "-f", "-y", "-e", "trace=pread64", "-o", trace, *drive.command(lines, *options)],
                           stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    for _ in range(600):
        time.sleep(0.05)
        if when():
            break
    time.sleep(0.5)
    with open(f"/proc/{job.pid}/task/{job.pid}/children", encoding="ascii") as children:
        for pid in children.read().split():
            os.kill(int(pid), sign)
    _, said = job.communicate(timeout=60)
    drive.check(job.returncode != 0, f"{label}: it was not stopped")
    if sign == signal.SIGINT:
        drive.check("the same command given again" in said, f"{label}: {said[:300]}")
    return sectors_read(trace, drive.drive)


def go_on(drive, label, lines, before, may_again, *options):
    trace = os.path.join(drive.work, "trace")
    done = subprocess.run(["strace", "-f", "-y", "-e", "trace=pread64", "-o", trace, *drive.command(lines, *options)],
                          capture_output=True, text=True)
    drive.check(done.returncode == 0, f"{label}: status {done.returncode} {done.stderr[:300]}")
    again = (before & sectors_read(trace, drive.drive)) - may_again
    drive.check(not again, f"{label}: {len(again)} sectors were read again, of {len(before)}: {sorted(again)[:5]}")


def check_going_on(drive):
    """In the first pass and in a round, with Ctrl-C and killed, each at a place where the drive hangs."""
    bad, map_path = 3 << 20, drive.image + ".unfinished-map"
    first = {0, 1}  # tell whether it is the same drive

    def map_says(word):
        try:
            with open(map_path, encoding="ascii") as file:
                return word in file.read()
        except FileNotFoundError:
            return False

    fail = f"fail {bad} {SECTOR}"
    for sign in (signal.SIGINT, signal.SIGKILL):
        label = f"first pass {sign.name}"
        drive.clear()
        before = stop(drive, label, [fail, f"hang {9 << 20} {SECTOR}"], sign, f"checkpoint={2 << 20}",
                      when=lambda: map_says(f"passed {8 << 20}\n"))
        drive.check(len(before) > (8 << 20) // SECTOR - 2 * BLOCK // SECTOR, f"{label}: {len(before)} sectors before")
        go_on(drive, label, [fail], before, first)
        drive.check_image(label, {bad // SECTOR}, set())
        label = f"rounds {sign.name}"
        drive.clear()
        before = stop(drive, label, [fail, f"hang {bad + BLOCK - SECTOR} {SECTOR}"], sign,
                      when=lambda: map_says("rounds 1\n"))
        drive.check(len(before) > (SIZE - 3 * BLOCK) // SECTOR, f"{label}: {len(before)} sectors before")
        # But for the piece of a round that was in work.
        go_on(drive, label, [fail], before, first | sectors_of([(bad, BLOCK)]))
        drive.check_image(label, {bad // SECTOR}, set())


def check_other_cases(drive):
    drive.clear()
    bad, hang = 3 << 20, f"hang {9 << 20} {SECTOR}"
    stop(drive, "other drive", [hang], signal.SIGINT, f"checkpoint={2 << 20}",
         when=lambda: os.path.exists(drive.image + ".unfinished-map"))
    _, said = drive.run("other drive", ["flip 100 1"], status=2)
    drive.check("begun from another drive" in said, f"other drive: {said}")
    map_path = drive.image + ".unfinished-map"
    with open(map_path, encoding="ascii") as file:
        text = file.read()
    for spoilt in ("", text[:-4], text.replace("passed", "past"), "missing 0 0\n" + text):
        with open(map_path, "w", encoding="ascii") as file:
            file.write(spoilt)
        _, said = drive.run("spoilt map", [], status=4)
        drive.check("does not say how far" in said, f"spoilt map: {said}")
    with open(map_path, "w", encoding="ascii") as file:
        file.write(text)
    drive.run("going on", [])
    drive.check_image("going on", set(), set())
    # Patience: the failing request takes longer than is given for all of them.
    drive.clear()
    counts, said = drive.run("patience", [f"slow {bad} {SECTOR} 30", f"fail {bad} {SECTOR}"], "patience=1")
    drive.check(counts["most_asked"] == 1, f"patience: asked again after it had ended: {counts}")
    drive.check("patience-ended" in said, f"patience: not told: {said}")
    drive.check_image("patience", {bad // SECTOR}, sectors_of([(bad - (2 << 20), 12 << 20)]))
    # The drive drops off the bus: what was there before is not lost.
    drive.clear()
    _, said = drive.run("gone", [f"gone {9 << 20} {SECTOR}"], status=3)
    drive.check("stopped answering" in said, f"gone: {said}")
    counts, _ = drive.run("gone, and there again", [])
    drive.check(counts["reads"] < 8, f"gone, and there again: {counts}")
    drive.check_image("gone, and there again", set(), set())


def main():
    if subprocess.run(["strace", "-o", "/dev/null", "true"], check=False).returncode != 0:
        print("skipped: strace is not permitted")
        sys.exit(77)
    work = tempfile.mkdtemp(prefix="coldlift-image-")
    drive = Drive(work)
    check_patterns(drive)
    check_going_on(drive)
    check_other_cases(drive)
    shutil.rmtree(work)
    print(f"{Checks.requests} failed requests, {Checks.count} checks, {Checks.failures} failed")
    sys.exit(Checks.failures != 0)


main()
