#!/usr/bin/python3
"""What the survey read of a failing drive is not asked for again, and a job goes on although the drive gets worse.

On the demo drive with an old system: a job is killed in its rounds and gone on with while all of the file table,
the folders' indexes and the hives fail; or while what did not read at first reads now. Both come out as the job
that was not cut off. The account lists what of the drive did not read. --patience counts from the survey on. A drive that something has written to meanwhile is refused. Nothing is left where no job was
begun; what a run left that was killed before there was a job is removed by the next one. Where everything lies says
an independent walk (ntfs/walk.py).
"""

import json
import os
import shutil
import subprocess
import sys

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from _failing import run_until_it_hangs  # noqa: E402
from bench import BUILD, Bench, skip  # noqa: E402
from walk import Walk  # noqa: E402

DRIVER = os.path.join(BUILD, "tests/run/faulty_job")
IMAGE = os.path.join(os.environ.get("COLDLIFT_DEMO", os.path.join(BUILD, "demo")), "old-system.img")
SECTOR, WHOLE = 512, 1 << 40
EARLY = "coldlift-survey.unfinished"
HIVES = ("NTUSER.DAT", "SOFTWARE", "SYSTEM", "SAM", "USRCLASS.DAT")


class Drive:
    def __init__(self, bench):
        self.bench = bench
        with open(IMAGE, "rb") as file:
            drive = file.read()
        # The first entry of the type "Basic data" (UEFI 2.10, 5.3.3 for the fields; the GUID is Microsoft's).
        entry = drive.index(bytes.fromhex("a2a0d0ebe5b9334487c068b6b72699c7"), 1024)
        self.start, last = (int.from_bytes(drive[entry + at:entry + at + 8], "little") * SECTOR for at in (32, 40))
        self.walk = walk = Walk(drive[self.start:last + SECTOR])
        # The largest of a name: copies of hives in other folders are older.
        by_name = {name[1].upper(): file for file in sorted(
            (file for file in walk.files.values() if "" in file.streams), key=lambda file: file.streams[""].size)
            for name in file.names}
        hives = [file for file in walk.files.values() for name in file.names if name[1].upper() in HIVES]
        self.table = self.on_drive(walk.places(walk.table_runs, 0, walk.table_size))
        self.looked_at = self.table + self.on_drive(
            place for file in walk.files.values()
            for place in walk.places(file.index_runs, 0, WHOLE)) + self.on_drive(
            place for file in hives if "" in file.streams for place in self.data_of(file))
        self.log = self.on_drive(self.data_of(walk.files[2]))[0][0]
        self.hive = self.on_drive(self.data_of(by_name["SOFTWARE"]))[0][0]
        # A record of a file, and where another file lies.
        self.record = self.on_drive(by_name["HEDGE PHOTOS.ZIP"].base.places)[0][0]
        self.bad = self.on_drive(self.data_of(by_name["FIRST FROST.MP4"]))[0][0]

    def on_drive(self, places):
        return [(self.start + at, length) for at, length in places]

    def data_of(self, file):
        return self.walk.places(file.streams[""].runs, 0, WHOLE)

    def command(self, lines, *options):
        script = self.bench.path("script")
        with open(script, "w", encoding="ascii") as file:
            file.write("\n".join(["watch", *lines]) + "\n")
        return [DRIVER, IMAGE, script, self.to, "tar", *options]

    @property
    def to(self):
        return self.bench.path("to")

    def run(self, label, lines, *options, statuses=(0, 1)):
        """The job's counts and what was said; without "resume" into a fresh folder."""
        if "resume" not in options and "there" not in options:
            shutil.rmtree(self.to, ignore_errors=True)
            os.mkdir(self.to)
        done = subprocess.run(self.command(lines, *options), capture_output=True, text=True)
        self.bench.check(done.returncode in statuses, f"{label}: status {done.returncode} {done.stderr[:300]}")
        return json.loads(done.stdout or "{}"), done.stderr

    def record_lines(self):
        """Without the part: files that waited can stand in another one (README)."""
        with open(os.path.join(self.to, "job", "record.jsonl"), encoding="utf-8") as file:
            return sorted(json.dumps({**json.loads(line), "part": ""}, sort_keys=True) for line in list(file)[1:])

    def account_holes(self):
        with open(os.path.join(self.to, "job", "account.json"), encoding="utf-8") as file:
            return json.load(file)["drives"][0]["holes"]

    def break_off(self, label, lines, *options, store="job/salvage"):
        # Behind the bad sector, in what the first try skips: the round that goes sector by sector meets it.
        hang = f"hang {self.bad + 4 * SECTOR} {SECTOR}"
        began = run_until_it_hangs(self.command([*lines, hang], *options), self.to, store)
        self.bench.check(began, f"{label}: the job did not come to where the drive hangs")
        return began

    def check_complete(self, label, wanted):
        self.bench.check(self.record_lines() == wanted, f"{label}: the record is another")
        self.bench.check(os.listdir(self.to) == ["job"], f"{label}: left {os.listdir(self.to)}")
        self.bench.check(not os.path.exists(os.path.join(self.to, "job", "salvage")), f"{label}: the store is there")


def check_worse(drive):
    """The first failure comes in the job: what the survey read before that was in memory."""
    bad, holes = f"fail {drive.bad} {SECTOR}", [[drive.bad, SECTOR]]
    worse = [f"fail {at} {length}" for at, length in drive.looked_at]
    drive.run("not cut off", [bad])
    wanted = drive.record_lines()
    for options in ([], ["careful"]):
        if options:
            drive.run("not cut off, careful", [bad], *options)
            wanted = drive.record_lines()
        label = f"worse {options}"
        if not drive.break_off(label, [bad], *options):
            continue
        counts, _ = drive.run(label, [bad, *worse], "resume")
        drive.check_complete(label, wanted)
        drive.bench.check(drive.account_holes() == holes, f"{label}: the drive's holes: {drive.account_holes()}")
        # Once for each of the later rounds; none for what is in the store.
        drive.bench.check(0 < counts["failures"] <= 6, f"{label}: {counts}")


def check_better(drive):
    """A record and a piece of a hive that did not read in the survey, and would now."""
    lines = [f"fail {drive.record} 1024", f"fail {drive.hive + 8192} {SECTOR}", f"fail {drive.bad} {SECTOR}"]
    drive.run("record and hive", lines)
    wanted = drive.record_lines()
    holes = sorted([[drive.record, 1024], [drive.hive + 8192, SECTOR], [drive.bad, SECTOR]])
    drive.bench.check(drive.account_holes() == holes, f"record and hive: the drive's holes: {drive.account_holes()}")
    if drive.break_off("better", lines):
        drive.run("better", lines[-1:], "resume")
        # The hive itself may have arrived whole now.
        same = [line for line in drive.record_lines() if "SOFTWARE" not in line]
        drive.bench.check(same == [line for line in wanted if "SOFTWARE" not in line], "better: the record is another")


def check_written(drive):
    """Somebody has used the drive in between: that changes the beginning of the log ($LogFile)."""
    bad = f"fail {drive.bad} {SECTOR}"
    drive.run("written to, not cut off", [bad])
    wanted = drive.record_lines()
    if not drive.break_off("written to", [bad]):
        return
    _, said = drive.run("written to", [bad, f"flip {drive.log + 48} 1"], "resume", statuses=(2,))
    drive.bench.check("something has written" in said, f"written to: {said}")
    drive.run("not written to", [bad], "resume")
    drive.check_complete("not written to", wanted)


def check_patience(drive):
    """It counts from the first look at the drive on."""
    lines = [f"slow {drive.record} {SECTOR} 30", f"fail {drive.record} {SECTOR}"]
    counts, _ = drive.run("patience", lines, "patience=1")
    drive.bench.check(counts["most_asked"] == 1, f"patience: asked again after it had ended: {counts}")
    for title, there in (("no patience", True), ("much patience", False)):
        with open(os.path.join(drive.to, "job", "findings.json"), encoding="utf-8") as file:
            codes = [finding["code"] for finding in json.load(file)]
        drive.bench.check(("patience-ended-early" in codes) == there, f"{title}: {codes}")
        drive.run("much patience", lines, "patience=3600000")


def check_nothing_left(drive):
    """Before there is a job: refused, and killed."""
    bad = f"fail {drive.record} 1024"
    drive.run("first", [])
    before = sorted(os.listdir(os.path.join(drive.to, "job")))
    drive.run("refused", [bad], "there", statuses=(2, 4))
    drive.bench.check(os.listdir(drive.to) == ["job"], f"refused: left {os.listdir(drive.to)}")
    drive.bench.check(sorted(os.listdir(os.path.join(drive.to, "job"))) == before, "refused: the other job was touched")
    hang = f"hang {drive.hive} {SECTOR}"
    began = run_until_it_hangs(drive.command([bad, hang]), drive.to, EARLY)
    drive.bench.check(began and os.listdir(drive.to) == [EARLY], f"killed: {began} {os.listdir(drive.to)}")
    drive.run("after that", [bad], "there")
    drive.bench.check(os.listdir(drive.to) == ["job"], f"after that: left {os.listdir(drive.to)}")


def main():
    if not os.path.exists(IMAGE):
        skip("no demo drives: make demo-drives")
    bench = Bench()
    drive = Drive(bench)
    check_worse(drive)
    check_better(drive)
    check_written(drive)
    check_patience(drive)
    check_nothing_left(drive)
    bench.close()


main()
