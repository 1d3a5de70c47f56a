#!/usr/bin/python3
"""Old drives that fail in the middle of a job: one cannot be read in places, and another, on USB, is pulled out.

The job says in a sentence that the drive is gone, and is marked as unfinished. With the drive plugged in again, under
another name, it goes on and ends with its losses listed: exactly the sectors that QEMU's blkdebug fails are holes, and
every other byte is what the test had written. On the host exfat-fuse, unzip and sha256sum read the destination."""

import pathlib
import re
import time

from _orchard import compare_orchard, harvest, into_job, make_orchard
from _proof import check_unfinished, prove
from _sources import MIB, Drive, Machine, check, finish, make_drive, sha256, work_folder
from _harness import load_lines  # _sources says where it is
from _volumes import put_in, take_out

JOB = "name = fernhill\nwhen-done = wait\n"
SECTOR = 512
BAD = "harvest 1.bin"
# In that file: one sector, and three together.
HOLES = [[1 * MIB + 5 * SECTOR, SECTOR], [6 * MIB, 3 * SECTOR]]
USB_SPEED = 3 * MIB  # bytes a second: slow enough that it is still being read when its name is on the screen


def fail_sectors(image, configuration):
    """Reads of these sectors give EIO. Where they are: where their bytes are in the image."""
    drive, content = image.read_bytes(), harvest(1)
    lines = ""
    for offset, length in HOLES:
        for at in range(offset, offset + length, SECTOR):
            place = drive.find(content[at:at + SECTOR])
            check(place % SECTOR == 0, "a sector of the file is not to be found")
            lines += f'[inject-error]\nevent = "read_aio"\nerrno = "5"\nsector = "{place // SECTOR}"\n'
    configuration.write_text(lines)
    return configuration


def pull_out_in_the_middle(pc):
    pc.qmp("block_set_io_throttle", device="drive1", bps=0, bps_rd=USB_SPEED, bps_wr=0, iops=0, iops_rd=0, iops_wr=0)
    pc.expect(r"drives/FH-USB/harvest", 240)
    pc.pull_out("drive1")
    said = re.sub(r"\s+", " ", pc.menu(300))
    for words in ("The job 'fernhill' on COLDLIFT", "is not finished: the old drive /dev/sd", "is gone: it was unplugged",
                  "Plug the old drive in again. Then press l", "the job goes on where it stopped"):
        check(words in said, f"{words!r} was not said:", said)


def go_on(pc, drive):
    time.sleep(2)
    pc.plug_in(drive, "again")
    time.sleep(5)
    pc.shell()
    check(pc.command("grep -c ' /mnt ' /proc/mounts; true").strip() == "0", "something is mounted still")
    pc.command("rm /run/coldlift/unattended")
    pc.send("exit\n")
    pc.menu()
    pc.send("l\n")
    pc.expect("The job 'fernhill' goes on;", 240)
    said = re.sub(r"\s+", " ", pc.menu(600))
    check("The job 'fernhill' is complete" in said and "1 loss is listed in findings.json" in said, "another end:", said)


def check_holes(job, path):
    lines = {line["path"]: line for line in load_lines(job / "record.jsonl")[1:]}
    lost = [line for line in lines.values() if line["state"] not in ("taken", "left")]
    check([line["path"] for line in lost] == ["\\" + BAD], "other losses:", lost)
    check(lost[0]["state"] == "partial" and lost[0]["holes"] == HOLES, "other holes:", lost)
    truth = bytearray(harvest(1))
    for offset, length in HOLES:
        truth[offset:offset + length] = bytes(length)
    check(path.read_bytes() == truth, f"{BAD} differs outside its holes, or they are not zeros")


with work_folder() as work:
    folder = pathlib.Path(work)
    digests = {**make_orchard(folder / "old.img", 3), **make_orchard(folder / "usb.img", 3, "FH-USB", 3)}
    sources = [Drive(folder / "old.img", "ahci", blkdebug=fail_sectors(folder / "old.img", folder / "bad.conf")),
               Drive(folder / "usb.img", "usb", serial="FH-USB")]
    before = {drive.path: sha256(drive.path) for drive in sources}
    target = Drive(make_drive(folder / "target.img", "COLDLIFT", 90, "exfat"), "usb", serial="NEW-HOME")
    put_in(target.path, "exfat", "coldlift-job.txt", JOB.encode())
    with Machine(folder, firmware="bios", drives=[*sources, target]) as pc:
        into_job(pc)
        pull_out_in_the_middle(pc)
        take_out(target.path, "exfat", folder / "broken")
        check_unfinished(folder / "broken/fernhill")
        go_on(pc, sources[1])
        pc.send("p\n")
        pc.wait_off()
    for path, digest in before.items():
        check(sha256(path) == digest, f"{path.name} has changed")
    take_out(target.path, "exfat", folder / "files")
    names = sorted(file.name for file in (folder / "files").iterdir())
    check(names == ["coldlift-job.txt", "fernhill", "fernhill-log.txt"], "on the destination:", names)
    prove(folder / "files/fernhill", folder / "whole", 1, 2)
    found = compare_orchard(folder / "whole", digests, [BAD])
    check_holes(folder / "files/fernhill", found[BAD])
finish()
