#!/usr/bin/python3
"""Jobs that break off: Ctrl-C in the middle, and the destination pulled out in the middle. The start screen goes on, says
what came of it and what to do, the job is marked as incomplete, and with the destination plugged in again the next job
runs to its end. Each time it is a job file that begins it; the mark that one was had is taken away in the shell."""

import os
import pathlib
import re
import time

from _sources import MIB, Drive, Machine, check, copy_volume, finish, make_drive, sha256, tool, work_folder
from _proof import check_unfinished
from _volumes import put_in, take_out

JOB = "name = fernhill\nwhen-done = wait\n"


def make_source(folder):
    """Enough that cannot be compressed to keep a job busy for a while."""
    path = make_drive(folder / "source.img", "FH-OLD", 64)
    put_in(path, "ntfs", "harvest.bin", os.urandom(48 * MIB))
    return path


def make_target(folder):
    path = make_drive(folder / "target.img", "COLDLIFT", 220, "fat")
    put_in(path, "fat", "coldlift-job.txt", JOB.encode())
    return path


def into_the_middle(pc):
    pc.expect("The job begins in 1 second", 240)
    pc.expect(r"harvest\.bin", 120)


def once_more(pc):
    pc.shell()
    check(pc.command("grep -c ' /mnt ' /proc/mounts; true").strip() == "0", "something is mounted still")
    pc.command("rm /run/coldlift/unattended")
    pc.send("exit\n")
    pc.menu()
    pc.send("l\n")


def said_before_menu(pc, word):
    text = re.sub(r"\s+", " ", pc.menu(300))
    check(word in text, f"{word!r} was not said:", text)
    check("Nothing was changed on the old drives" in text, "the promise is missing", text)


with work_folder() as work:
    folder = pathlib.Path(work)
    source = Drive(make_source(folder), "ahci")
    target = Drive(make_target(folder), "usb", serial="NEW-HOME")
    before = sha256(source.path)
    with Machine(folder, firmware="bios", drives=[source]) as pc:
        pc.start()
        pc.plug_in(target, "target")
        time.sleep(5)
        pc.send("l\n")

        into_the_middle(pc)
        pc.send("\x03")
        said_before_menu(pc, "is not finished: it was stopped")
        once_more(pc)

        into_the_middle(pc)
        pc.pull_out("target")
        said_before_menu(pc, "'fernhill-2'")
        time.sleep(2)
        pc.qmp("blockdev-del", **{"node-name": "target"})
        pc.plug_in(target, "target")
        time.sleep(5)
        once_more(pc)

        pc.expect("The job 'fernhill-3' is complete", 400)
        pc.menu()
        pc.send("p\n")
        pc.wait_off()
    check(sha256(source.path) == before, "the source has changed")
    volume = folder / "target.volume"
    copy_volume(target.path, volume)
    names = tool("mdir", "-b", "-/", "-i", volume, "::/")
    for name in ("fernhill/journal", "fernhill-log.txt", "fernhill-2/journal", "fernhill-3/record.jsonl"):
        check(f"::/{name}\n" in names, f"{name} is not there:", names)
    check("fernhill-3/journal" not in names, "the last job is not complete:", names)
    check("fernhill-2/SHA256SUMS" not in names, "a job that broke off looks whole:", names)
    take_out(target.path, "fat", folder / "files", sound=False)
    for name in ("fernhill", "fernhill-2"):
        check_unfinished(folder / "files" / name)
    check("it was stopped" in tool("mtype", "-i", volume, "::/fernhill-log.txt"), "the log does not say so")
finish()
