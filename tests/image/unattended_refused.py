#!/usr/bin/python3
"""What keeps an unattended job from beginning, and that looking for it changes nothing.

Four volumes with a job file, each with something that mounting it for writing would change: an ext4 journal to play, an
NTFS log that is not closed, FAT and exFAT marked as dirty. The stick says that it cannot know which is meant, and waits;
all four are as before. With one of them left the job runs, and its journal is played only then. A drive that cannot be
read in places keeps a job from beginning, and a log on the volume says so."""

import pathlib
import time

from _sources import Drive, Machine, check, copy_volume, finish, make_drive, sha256, tool, work_folder
from _unclean import unclean_exfat, unclean_ext4, unclean_fat, unclean_ntfs  # _sources says where it is
from _volumes import put_in, volume_of

# QEMU's blkdebug: every read of sector 2048 (the volume's boot sector) gives EIO.
SOME = '[inject-error]\nevent = "read_aio"\nerrno = "5"\nsector = "2048"\n'
JOB = "name = fernhill\nwhen-done = wait\n"
SPOIL = {"ext4": unclean_ext4, "ntfs": unclean_ntfs, "fat": unclean_fat, "exfat": unclean_exfat}
SIZES = {"ext4": 24, "ntfs": 24, "fat": 40, "exfat": 24}


def make_target(path, kind, spoil=None):
    """A drive with a volume labelled COLDLIFT and a job file."""
    make_drive(path, "COLDLIFT", SIZES[kind], kind)
    put_in(path, kind, "coldlift-job.txt", JOB.encode())
    if spoil:
        with volume_of(path, put_back=True) as volume:
            spoil(volume)
    return path


def begin(pc):
    while "coldlift is starting" not in pc.text:
        pc.press("s")
        pc._receive(0.7)


def four_volumes(folder):
    source = Drive(make_drive(folder / "source.img", "FH-OLD"), "ide")
    targets = {kind: Drive(make_target(folder / f"{kind}.img", kind, spoil), "usb", serial=f"NEW-{kind}")
               for kind, spoil in SPOIL.items()}
    before = {drive.path: sha256(drive.path) for drive in (source, *targets.values())}
    with Machine(folder, firmware="bios", drives=[source, *targets.values()]) as pc:
        begin(pc)
        pc.expect("There are job files on 4 volumes", 240)
        said = pc.menu()
        check("Leave one of them plugged in" in said.replace("\n", " "), "what to do is not said", said)
        check("The job begins" not in pc.raw.decode("utf-8", "ignore"), "a job was begun")
        for path, digest in before.items():
            check(sha256(path) == digest, f"{path.name}: the glance has changed it")

        for number in (2, 3, 4):
            pc.pull_out(f"drive{number}")
        time.sleep(3)
        pc.send("l\n")
        pc.expect("A job file was found on COLDLIFT", 120)
        pc.expect("The job begins in 1 second", 60)
        pc.expect("The job 'fernhill' is complete", 300)
        pc.menu()
        pc.send("p\n")
        pc.wait_off()
    check(sha256(source.path) == before[source.path], "the source has changed")
    for kind in ("ntfs", "fat", "exfat"):
        check(sha256(targets[kind].path) == before[targets[kind].path], f"{kind}: changed, though another was meant")
    volume = folder / "ext4.volume"
    copy_volume(targets["ext4"].path, volume)
    tool("e2fsck", "-fn", volume)
    tool("debugfs", "-R", f"rdump /fernhill {folder}", volume)
    check((folder / "fernhill/record.jsonl").exists() and not (folder / "fernhill/journal").exists(), "there is no job")


def failing_source(folder):
    (folder / "some.conf").write_text(SOME)
    drives = [Drive(make_drive(folder / "bad.img", "FH-BAD"), "ahci", "SOME-BAD", folder / "some.conf"),
              Drive(make_target(folder / "note.img", "ext4"), "usb", serial="NEW-HOME")]
    before = sha256(drives[0].path)
    with Machine(folder, firmware="bios", drives=drives) as pc:
        begin(pc)
        pc.expect("There is a job file on /dev/sd.", 240)
        said = pc.menu()
        check("SOME-BAD" in said and "No job was begun" in said.replace("\n", " "), "the drive is not named", said)
        check("The job begins" not in pc.raw.decode("utf-8", "ignore"), "a job was begun")
        pc.send("p\n")
        pc.wait_off()
    check(sha256(drives[0].path) == before, "the failing drive has changed")
    volume = folder / "note.volume"
    copy_volume(drives[1].path, volume)
    tool("e2fsck", "-fn", volume)
    log = tool("debugfs", "-R", "cat coldlift-stopped-log.txt", volume)
    check("SOME-BAD" in log and "No job was begun" in log, "the log does not say why", log)


with work_folder() as work:
    four_volumes(pathlib.Path(work))
with work_folder() as work:
    failing_source(pathlib.Path(work))
finish()
