#!/usr/bin/python3
"""Drives that come and go while the stick runs, and destinations.

A source that is plugged in later, or again, is read-only at once. The stick can be pulled out. Each kind of
destination can be opened for writing by choice, and only it; what was written is read on the host with the file
systems' own tools."""

import pathlib
import time

from _sources import (Drive, Machine, all_read_only, check, copy_volume, finish, make_drive, sha256, tool,
                      work_folder)

TEXT = "plums and gooseberries"
MOUNT = {
    "fat": "mount -t vfat -o utf8", "exfat": "mount -t exfat", "ext4": "mount -t ext4", "ntfs": "ntfs-3g",
}


def wait_for(pc, text, seconds=30):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        listing = pc.command("coldlift drives", 120)
        if text in listing:
            return listing
        time.sleep(1)
    check(False, f"{text} has not appeared", listing)
    return listing


def name_of(pc, label):
    """The kernel's name of the volume with this label."""
    text = pc.command(f"findfs LABEL={label}").strip().removeprefix("/dev/")
    check(text, f"no volume is labelled {label}")
    return text


def write_to(pc, kind, label):
    name = name_of(pc, label)
    drive = name.rstrip("0123456789")
    check(pc.command(f"dd if=/dev/zero of=/dev/{name} count=1 conv=fsync 2>/dev/null && echo written; true") == "",
          f"{kind}: could be written to before it was chosen")
    pc.command(f"read-write {name}")
    pc.command(f"{MOUNT[kind]} /dev/{name} /mnt", 90)
    pc.command(f"echo '{TEXT}' >/mnt/Gänse.txt && sync")
    check(pc.command(f"blockdev --getro /dev/{drive}").strip() == "0", f"{drive} is read-only still")
    pc.command("umount /mnt; for i in 1 2 3 4 5 6 7 8 9; do pidof ntfs-3g >/dev/null || break; sleep 1; done")
    pc.command("read-only")


def read_back(folder, kind, path):
    volume = folder / f"{kind}.volume"
    copy_volume(path, volume)
    if kind == "fat":
        text = tool("mtype", "-i", volume, "::/Gänse.txt", env={"LC_ALL": "C.UTF-8", "PATH": "/usr/bin:/bin"})
    elif kind == "ntfs":
        text = tool("ntfscat", volume, "/Gänse.txt")
    elif kind == "ext4":
        text = tool("debugfs", "-R", 'cat "/Gänse.txt"', volume)
        tool("e2fsck", "-fn", volume)
    else:  # no tool of exfatprogs reads a file: look for its bytes, and check the volume
        tool("fsck.exfat", "-n", volume)
        data = volume.read_bytes()
        text = TEXT + "\n" if TEXT.encode() in data and "Gänse.txt".encode("utf-16-le") in data else ""
    check(text == TEXT + "\n", f"{kind}: not what was written: {text!r}")


with work_folder() as work:
    folder = pathlib.Path(work)
    source = Drive(make_drive(folder / "source.img", "FH-LATE"), "usb", serial="FERNHILL-LATE")
    inner = Drive(make_drive(folder / "inner.img", "FH-INNER"), "ahci")
    sizes = {"fat": 40, "exfat": 24, "ext4": 24, "ntfs": 24}
    targets = {kind: make_drive(folder / f"{kind}.img", f"TO-{kind.upper()}", mib, kind) for kind, mib in sizes.items()}
    before = {drive.path: sha256(drive.path) for drive in (source, inner)}
    with Machine(folder, firmware="bios", drives=[inner]) as pc:
        pc.start()
        pc.shell()

        pc.plug_in(source, "late")
        wait_for(pc, "FH-LATE")
        all_read_only(pc)
        pc.pull_out("late")
        time.sleep(3)
        check("FH-LATE" not in pc.command("coldlift drives"), "a drive that is gone is listed")
        pc.qmp("blockdev-del", **{"node-name": "late"})
        pc.plug_in(source, "late")
        wait_for(pc, "FH-LATE")
        all_read_only(pc)

        check("this stick" in pc.command("coldlift drives"), "the stick is not marked")
        pc.pull_out("stick")
        time.sleep(2)
        listing = pc.command("coldlift drives")
        check("FH-INNER" in listing, "without the stick nothing works")
        check("this stick" not in listing, "another drive is taken for the stick", listing)
        check(pc.command("cat /run/coldlift/stick").strip() == "", "the stick's name stays although it is gone")

        for kind, path in targets.items():
            pc.plug_in(Drive(path, "usb", serial=f"stick-{kind}"), kind)
            listing = wait_for(pc, f"serial number stick-{kind}")
            check("this stick" not in listing, "a drive with the stick's name is taken for it", listing)
            write_to(pc, kind, f"TO-{kind.upper()}")
        all_read_only(pc)
        pc.send("poweroff\n")
        pc.wait_off()
    for path, digest in before.items():
        check(sha256(path) == digest, f"{path.name} has changed")
    for kind, path in targets.items():
        read_back(folder, kind, path)
finish()
