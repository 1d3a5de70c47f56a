#!/usr/bin/python3
"""Destinations that only the stick's own kernel can drive, and that break: exFAT too small, exFAT that is full in the middle,
FAT32 that is pulled out in the middle. Exit status 4 each time, and shell and start screen go on.

On the host, read by exfat-fuse and mtools: an unfinished job says so itself, none of its parts is damaged under a good
name, and `coldlift verify` does not take it for whole. Reading is slowed down, so that there is a middle."""

import os
import pathlib
import re

from _sources import MIB, Drive, Machine, check, finish, make_drive, sha256, work_folder
from _proof import check_unfinished
from _volumes import put_in, take_out

RATE = 1 << 20  # bytes per second: the larger file takes eight seconds
CRAWL = 1 << 16  # while the destination breaks: the job cannot end before that, however slow this computer is
MOUNT = {"exfat": "mount -t exfat", "fat": "mount -t vfat -o utf8"}


def make_source(folder):
    path = make_drive(folder / "source.img", "FH-OLD", 30)
    put_in(path, "ntfs", "a-harvest.bin", os.urandom(MIB))
    put_in(path, "ntfs", "b-harvest.bin", os.urandom(8 * MIB))
    put_in(path, "ntfs", "stores.bin", os.urandom(8 * MIB))
    return Drive(path, "ide", bytes_per_second=RATE)


def open_target(pc, drive, name, kind, label):
    pc.plug_in(drive, name)
    pc.command(f"for i in $(seq 60); do findfs LABEL={label} >/dev/null 2>&1 && break; sleep 1; done", 90)
    volume = pc.command(f"findfs LABEL={label}").strip().removeprefix("/dev/")
    pc.command(f"read-write {volume} && {MOUNT[kind]} /dev/{volume} /mnt")


def extract(name, more=""):
    return f"coldlift extract --quiet --to /mnt --name {name} {more}"


def pace(pc, rate):
    pc.qmp("block_set_io_throttle", device="drive0", bps=rate, bps_rd=0, bps_wr=0, iops=0, iops_rd=0, iops_wr=0)


def begin(pc, name):
    """A job in the background; goes on when a part is complete and the next is begun."""
    pc.command(f"({{ {extract(name, '--part-size 2M --leave stores.bin')}; echo ended $?; }} >/tmp/said 2>&1 &)")
    pc.command(f"for i in $(seq 300); do ls /mnt/{name}/*.zip /mnt/{name}/*.zip.unfinished >/dev/null 2>&1 && break; "
               "usleep 100000; done", 120)
    pace(pc, CRAWL)
    there = pc.command(f"ls /mnt/{name}")
    check(".zip\n" in there and ".unfinished" in there, "no part was complete and another begun: this tests less", there)


def end(pc):
    pace(pc, RATE)
    text = pc.command("for i in $(seq 120); do ! grep -q ended /tmp/said || break; sleep 1; done; cat /tmp/said", 150)
    check("ended 4" in text, "extract should say that the destination failed:", text)
    return re.sub(r"\s+", " ", text)


def full(pc, drive):
    open_target(pc, drive, "small", "exfat", "FH-SMALL")
    said = pc.command(f"{extract('too-large')} 2>&1; echo ended $?", 120)
    check("ended 4" in said, "17 MiB on 15 MiB were not refused:", said)
    check(pc.command("ls -A /mnt") == "", "something was begun:", pc.command("ls -A /mnt"))

    begin(pc, "full")
    pc.command("dd if=/dev/zero of=/mnt/filler bs=64k 2>/dev/null; true", 120)
    check("is full" in end(pc), "it is not said that the destination is full")
    pc.command("umount /mnt")
    pc.pull_out("small")


def pulled_out(pc, drive):
    open_target(pc, drive, "gone", "fat", "FH-GONE")
    begin(pc, "gone")
    pc.pull_out("gone")
    said = end(pc)
    check("takes nothing" in said or "can only be read" in said, "what happened is not said:", said)
    pc.command("umount -l /mnt")


with work_folder() as work:
    folder = pathlib.Path(work)
    source = make_source(folder)
    small = Drive(make_drive(folder / "small.img", "FH-SMALL", 16, "exfat"), "usb", serial="SMALL")
    gone = Drive(make_drive(folder / "gone.img", "FH-GONE", 40, "fat"), "usb", serial="GONE")
    before = sha256(source.path)
    with Machine(folder, firmware="bios", drives=[source]) as pc:
        pc.start()
        pc.shell()
        full(pc, small)
        pulled_out(pc, gone)
        pc.send("exit\n")
        pc.menu()
        pc.send("l\n")
        check("FH-OLD" in pc.menu(120), "the start screen does not go on")
        pc.send("p\n")
        pc.wait_off()
    check(sha256(source.path) == before, "the source has changed")
    take_out(small.path, "exfat", folder / "small")
    check_unfinished(folder / "small/full")
    take_out(gone.path, "fat", folder / "gone", sound=False)  # pulled out: the file system is as it is then
    check_unfinished(folder / "gone/gone")
finish()
