#!/usr/bin/python3
"""Jobs that break off and are gone on with: Ctrl-C in the middle, then the destination pulled out in the middle. The start
screen goes on, says what came of it and what to do, and the job is marked as incomplete each time. The first two runs
are begun by a job file (the mark that one was had is taken away in the shell), the last one by a person with the
letters: the job is shown, chosen, goes on at another drive, and becomes complete there.

The destinations are FAT and exFAT on USB sticks of the simple kind. On the host mtools, exfat-fuse, unzip and sha256sum
read them, and what arrived is compared with what the test had written to the old drive."""

import pathlib
import re
import time

from _orchard import compare_orchard, make_orchard
from _sources import Drive, Machine, check, finish, make_drive, sha256, work_folder
from _proof import check_unfinished, prove
from _volumes import put_in, take_out

JOB = "name = fernhill\nwhen-done = wait\n"


def make_target(folder):
    path = make_drive(folder / "target.img", "COLDLIFT", 120, "fat")
    put_in(path, "fat", "coldlift-job.txt", JOB.encode())
    return path


def into_the_middle(pc):
    pc.expect("The job begins in 1 second", 240)
    pc.expect(r"Taking: [1-9][0-9.]* MB of", 120)


def look_again(pc, forget):
    """`forget`: the job file counts once more."""
    pc.shell()
    check(pc.command("grep -c ' /mnt ' /proc/mounts; true").strip() == "0", "something is mounted still")
    if forget:
        pc.command("rm /run/coldlift/unattended")
    pc.send("exit\n")
    pc.menu()
    pc.send("l\n")


def said_before_menu(pc, *words):
    text = re.sub(r"\s+", " ", pc.menu(300))
    for word in words:
        check(word in text, f"{word!r} was not said:", text)
    check("Nothing was changed on the old drives" in text, "the promise is missing", text)
    check("the job goes on where it stopped" in text, "what to do is missing", text)


def is_unfinished(folder, target, name):
    take_out(target.path, "fat", folder / name, sound=False)
    check_unfinished(folder / name / "fernhill")


def by_hand(pc):
    """With the letters. Only Enter leaves it first."""
    said = pc.menu()
    check("Press j to take everything" in re.sub(r"\s+", " ", said), "another next step:", said)

    def answer(typed, question):
        pc.send(typed + "\n")
        return re.sub(r"\s+", " ", pc.menu(120, question))

    again = "number, or n> $"
    # The old drive has no Windows on it, so it is offered, too.
    number = re.search(r"(\d+) COLDLIFT: FAT", answer("j", "number> $")).group(1)
    said = answer(number, again)
    check("Unfinished on that volume: 1 'fernhill', begun 2026-03-01 12:0" in said, "the job is not shown:", said)
    check("the files of everybody, as zip" in said and " 2 " not in said, "another job:", said)
    check("Nothing was written." in answer("", "coldlift> $"), "Enter does not leave it:", said)
    answer("j", "number> $")
    answer(number, again)
    said = answer("1", "there> $")
    second = re.search(r"(\d+) SECOND: exFAT", said)
    check(second and "COLDLIFT" not in said, "the other drive is not offered, or the same:", said)
    said = answer(second.group(1), "to leave it: $")
    check("'fernhill' goes on as it was begun" in said and "From /dev/sd" in said, "another sentence:", said)
    pc.send("begin\n")
    pc.expect(r"The job 'fernhill' is complete on SECOND", 400)


with work_folder() as work:
    folder = pathlib.Path(work)
    digests = make_orchard(folder / "source.img", 6)
    source = Drive(folder / "source.img", "ahci")
    target = Drive(make_target(folder), "usb", serial="NEW-HOME")
    second = Drive(make_drive(folder / "second.img", "SECOND", 90, "exfat"), "usb", serial="SECOND-HOME")
    before = sha256(source.path)
    with Machine(folder, firmware="bios", drives=[source]) as pc:
        pc.start()
        pc.plug_in(target, "target")
        time.sleep(5)
        pc.send("l\n")

        into_the_middle(pc)
        pc.send("\x03")
        said_before_menu(pc, "is not finished: it was stopped", "When you are ready, press j")
        is_unfinished(folder, target, "stopped")
        look_again(pc, True)

        into_the_middle(pc)
        check("The job 'fernhill' goes on" in pc.raw.decode("utf-8", "replace"), "a new job was begun")
        pc.pull_out("target")
        said_before_menu(pc, "The job 'fernhill'", "Plug the destination in again")
        time.sleep(2)
        pc.qmp("blockdev-del", **{"node-name": "target"})
        is_unfinished(folder, target, "pulled")
        pc.plug_in(target, "target")
        pc.plug_in(second, "second")
        time.sleep(5)
        look_again(pc, False)

        by_hand(pc)
        pc.menu()
        pc.send("p\n")
        pc.wait_off()
    check(sha256(source.path) == before, "the source has changed")
    take_out(target.path, "fat", folder / "left", sound=False)
    check((folder / "left/fernhill/goes-on-elsewhere.txt").is_file(), "the first drive does not say that the job has left")
    check(not (folder / "left/fernhill/journal").exists(), "the job is on both drives")
    log = (folder / "left/fernhill-log.txt").read_bytes().decode("utf-8", "replace")
    check("it was stopped" in log and log.count("It goes on where it stopped") == 1, "the log:", log)
    take_out(second.path, "exfat", folder / "files")
    names = sorted(file.name for file in (folder / "files").iterdir())
    check(names == ["fernhill", "fernhill-log.txt"], "on the second destination:", names)
    prove(folder / "files/fernhill", folder / "whole", 0, 1)
    compare_orchard(folder / "whole", digests)
    log = (folder / "files/fernhill-log.txt").read_bytes().decode("utf-8", "replace")
    check("what is finished stays where it is" in log and "is complete on SECOND" in log, "the log:", log)
finish()
