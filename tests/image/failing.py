#!/usr/bin/python3
"""With a drive that cannot be read in places, one that cannot be read at all, and a healthy one, the stick
reaches the start screen and names all three. smartctl, in the image, asks them (QEMU's drives say that they are
healthy), and what cannot be read at all is not called failing for that alone."""

import json
import pathlib

from _sources import Drive, Machine, check, finish, make_drive, sha256, work_folder

# QEMU's blkdebug: every read of sector 2048 (the volume's boot sector), or every read, gives EIO.
SOME = '[inject-error]\nevent = "read_aio"\nerrno = "5"\nsector = "2048"\n'
ALL = '[inject-error]\nevent = "read_aio"\nerrno = "5"\n'

with work_folder() as work:
    folder = pathlib.Path(work)
    (folder / "some.conf").write_text(SOME)
    (folder / "all.conf").write_text(ALL)
    drives = [Drive(make_drive(folder / "some.img", "FH-SOME"), "ahci", "SOME-BAD", folder / "some.conf"),
              Drive(make_drive(folder / "all.img", "FH-ALL"), "ahci", "ALL-BAD", folder / "all.conf"),
              Drive(make_drive(folder / "good.img", "FH-GOOD"), "ide", "GOOD"),
              Drive(make_drive(folder / "nvme.img", "FH-NVME"), "nvme", "FAST")]
    before = {drive.path: sha256(drive.path) for drive in drives}
    with Machine(folder, firmware="bios", drives=drives) as pc:
        pc.start(300)
        print(f"{pc.seconds:.0f} s to the start screen")
        for word in ("SOME-BAD", "ALL-BAD", "GOOD", "FH-GOOD"):
            check(word in pc.screen, f"{word} is not on the start screen", pc.screen)
        pc.shell()
        check("I/O error" in pc.command("dmesg"), "the drives did not fail: this tests nothing")
        seen = json.loads(pc.command("coldlift drives --json --quiet", 300))["drives"]
        said = {drive["serial"][:4]: drive["faults"] for drive in seen if not drive["stick"]}
        for serial in ("GOOD", "FAST", "SOME"):
            check(said[serial]["verdict"] == "none-reported", serial, said[serial])
        # "locked" where all reads fail at once, which depends on how fast this PC is.
        check(said["ALL-"]["verdict"] in ("none-reported", "locked"), said["ALL-"])
        check([drive["faults"] for drive in seen if drive["stick"]] == [None], "the stick was asked")
    for drive in drives:
        check(sha256(drive.path) == before[drive.path], f"{drive.serial} has changed")
finish()
