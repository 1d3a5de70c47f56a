#!/usr/bin/python3
"""The power is cut in the middle of an unattended job: QEMU is killed, and the destination loses of what was not flushed
what a real drive may lose (see _forgetful.py). The PC is switched on again, and the job goes on by itself and becomes
complete: one folder, one log, nothing that had arrived is read again, every file as it was on the old drive.

Once, on ext4, whose own journal hides the job until it has been replayed. With COLDLIFT_TORTURE=1: ten cuts, spread over
the job by a seeded generator, on ext4, exFAT and FAT32.

On the host: e2fsck, fsck.exfat, unzip, sha256sum, and the bytes that the test itself had written to the old drive."""

import os
import pathlib
import random
import re

from _forgetful import Forgetful
from _orchard import FILE, compare_orchard, into_job, make_orchard
from _proof import prove
from _sources import MIB, Drive, Machine, check, finish, make_drive, sha256, work_folder
from _volumes import put_in, take_out

JOB = "name = fernhill\npart-size = 20M\nwhen-done = switch-off\n"
CHECKPOINT = 64 * MIB  # a part that was finished is noted when so much was taken since the last note
TORTURE = os.environ.get("COLDLIFT_TORTURE") == "1"
# Of the job's bytes: where the power is cut.
CUTS = {"ext4": [0.85]}


def moments(seed):
    """Ten cuts, one somewhere in each tenth of the job, dealt out to the file systems."""
    generator = random.Random(seed)
    cuts = {"ext4": [], "exfat": [], "fat": []}
    for number in range(10):
        cuts[list(cuts)[number % 3]].append((number + generator.random()) / 10)
    return cuts


class Case:
    def __init__(self, folder, kind, files, seed):
        self.folder, self.kind, self.files = folder, kind, files
        self.digests = make_orchard(folder / "source.img", files)
        self.source = Drive(folder / "source.img", "ahci")
        self.before = sha256(self.source.path)
        path = make_drive(folder / "target.img", "COLDLIFT", files * 10 + 60, kind)
        put_in(path, kind, "coldlift-job.txt", JOB.encode())
        self.drive = Forgetful(path, seed)
        self.target = Drive(path, "uas", serial="NEW-HOME", forgetful=self.drive)

    def machine(self):
        return Machine(self.folder, firmware="bios", drives=[self.source, self.target])

    def cut(self, at, first):
        """One start of the PC, up to the cut when so many bytes of the job are at the destination."""
        with self.machine() as pc:
            into_job(pc)
            self.drive.stop_after(max(at - (0 if first else arrived(pc)), MIB))
            while not self.drive.reached.is_set():
                pc._receive(0.2)
                check("Checking" not in pc.text, "the job ended before the power was cut")
            pc.cut_power()
        lost, writes = self.drive.cut()
        check(writes > 0, "nothing was in the drive's cache")
        print(f"{self.kind}: cut at {at / MIB:.0f} MiB, {lost} of the last {writes} writes lost")

    def go_on(self):
        """The last start of the PC, to the end. What had arrived before it."""
        with self.machine() as pc:
            into_job(pc)
            before = arrived(pc)
            pc.expect("The PC switches off now", 600)
            pc.wait_off(120)
        return before

    def prove(self):
        check(sha256(self.source.path) == self.before, "the source has changed")
        files = self.folder / "files"
        take_out(self.target.path, self.kind, files, sound=self.kind != "fat")
        names = sorted(file.name for file in files.iterdir() if file.name != "lost+found")
        check(names == ["coldlift-job.txt", "fernhill", "fernhill-log.txt"], "on the destination:", names)
        log = (files / "fernhill-log.txt").read_bytes().decode("utf-8", "replace")
        check("The job 'fernhill' is complete" in log, "the log:", log)
        prove(files / "fernhill", self.folder / "whole", 0, len(self.digests) // 3)
        compare_orchard(self.folder / "whole", self.digests)


def arrived(pc):
    """The job goes on; bytes of it that had arrived for certain, as the start screen says."""
    found = pc.expect(r"The job 'fernhill' goes on;\s+([\d.]+)\s+(bytes|kB|MB)", 60)
    return int(float(found.group(1)) * {"bytes": 1, "kB": 1000, "MB": 1e6}[found.group(2)])


def cut_and_go_on(folder, kind, files, cuts, seed):
    folder.mkdir()
    case = Case(folder, kind, files, seed)
    size = files * FILE
    for number, at in enumerate(cuts):
        case.cut(int(at * size), number == 0)
    before = case.go_on()
    print(f"{kind}: {before / MIB:.0f} MiB had arrived for certain before the last start")
    check(before >= 0.99 * CHECKPOINT or max(cuts) * size < 1.2 * CHECKPOINT, "little was kept:", before)
    case.prove()
    case.drive.close()


with work_folder() as work:
    for number, (kind, cuts) in enumerate((moments(7) if TORTURE else CUTS).items()):
        cut_and_go_on(pathlib.Path(work) / kind, kind, 30 if TORTURE else 12, cuts, number)
finish()
