"""A start of the PC and a whole job in one: every kind of source beside each other, one kind of destination.

The demo drives hang on two buses, small drives with one file each on the others. What must hold after every start is
looked at first; then the destination is plugged in and the job done, either by a job file on it or in the
technicians' shell as the README tells. On the host the job is read back with the file system's own tools, proven
there, and compared with the ground truth. The sources are attached writable and must not have changed.

Together the tests bring every bus and every destination together, and every firmware with every bus: see BUSES and
each boot_*.py. Old IDE is there only with legacy BIOS (the PC that QEMU plays has no working one under UEFI)."""

import hashlib
import os
import pathlib
import shutil

from _sources import Drive, Machine, check, look_around, make_drive, sha256, skip, start_with, work_folder
from _harness import DEMO  # _sources says where it is
from _machine import BUSES
from _proof import prove
from _truth import LEFT, compare
from _volumes import put_in, take_out

if not (DEMO / "expected.json").exists():
    skip("there are no demo drives (make demo-drives)")
if shutil.which("mount.exfat-fuse") is None:
    skip("needs exfat-fuse")

JOB = f"""persons = everybody
name = fernhill
same = each
leave = {LEFT}
when-done = wait
"""
MOUNT = {"fat": "mount -t vfat -o utf8", "exfat": "mount -t exfat", "ext4": "mount -t ext4", "ntfs": "ntfs-3g"}


class Sources:
    """The drives of the old PC: the demo drives on buses of your choice, a small drive on each other bus."""

    def __init__(self, folder, system, data, others):
        self.drives = []
        self.others = {}  # for compare()
        for bus, name in ((system, "old-system.img"), (data, "old-data.img")):
            shutil.copyfile(DEMO / name, folder / name)
            self.drives.append(Drive(folder / name, bus, serial=name[:8].upper()))
        for bus in others:
            path = make_drive(folder / f"{bus}.img", f"FH-{bus.upper()}", 6)
            harvest = os.urandom(200_000)
            put_in(path, "ntfs", "harvest.bin", harvest)
            self.drives.append(Drive(path, bus))
            minutes = b"The water butts stay where they are.\n"  # from make_drive()
            self.others[f"FH-{bus.upper()}"] = {"\\harvest.bin": hashlib.sha256(harvest).hexdigest(),
                                                "\\minutes.txt": hashlib.sha256(minutes).hexdigest()}
        self._before = {drive.path: sha256(drive.path) for drive in self.drives}

    def labels(self):
        return ["Windows", *self.others]

    def check_unchanged(self):
        for path, digest in self._before.items():
            check(sha256(path) == digest, f"{path.name} has changed")


def prove_and_compare(folder, files, name, sources):
    whole = folder / "whole"
    prove(files / name, whole)
    compare(files / name, whole, sources.others)


def by_job_file(pc):
    """The start screen finds the job file that was plugged in, and does the job."""
    pc.send("exit\n")
    pc.menu()
    pc.send("l\n")
    pc.expect("A job file was found on COLDLIFT", 120)
    pc.expect("The job 'fernhill' is complete", 600)
    pc.menu()
    pc.send("p\n")


def in_shell(pc, kind):
    name = pc.command("findfs LABEL=COLDLIFT").strip().removeprefix("/dev/")
    pc.command(f"read-write {name} && {MOUNT[kind]} /dev/{name} /mnt", 90)
    said = pc.command(f"coldlift extract --quiet --to /mnt --name fernhill --leave '{LEFT}'; echo ended $?", 600)
    check("ended 1" in said, "extract should end with listed losses:", said)
    pc.command("umount /mnt")
    pc.send("poweroff\n")


def pair_test(firmware, system, data, kind, extra="", shell=False):
    """`system`, `data`: the demo drives' buses; `extra`: more lines for the job file. Returns the kernel's messages."""
    others = [bus for bus in BUSES if bus not in (system, data) and (bus != "ide" or firmware == "bios")]
    with work_folder() as name:
        folder = pathlib.Path(name)
        sources = Sources(folder, system, data, others)
        target = make_drive(folder / "target.img", "COLDLIFT", 60, kind)
        if not shell:
            put_in(target, kind, "coldlift-job.txt", (JOB + extra).encode())
        with Machine(folder, firmware=firmware, drives=sources.drives) as pc:
            start_with(pc, sources.labels())
            pc.shell()
            log = look_around(pc)
            pc.plug_in(Drive(target, "usb", serial="NEW-HOME"), "target")
            pc.command("for i in $(seq 60); do findfs LABEL=COLDLIFT >/dev/null 2>&1 && break; sleep 1; done", 90)
            if shell:
                in_shell(pc, kind)
            else:
                by_job_file(pc)
            pc.wait_off()
        sources.check_unchanged()
        take_out(target, kind, folder / "files")
        prove_and_compare(folder, folder / "files", "fernhill", sources)
        return log
