#!/usr/bin/python3
"""With a drive that cannot be read in places, one that cannot be read at all, and a healthy one, the stick
reaches the start screen and names all three."""

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
              Drive(make_drive(folder / "good.img", "FH-GOOD"), "ide", "GOOD")]
    before = {drive.path: sha256(drive.path) for drive in drives}
    with Machine(folder, firmware="bios", drives=drives) as pc:
        pc.start(300)
        print(f"{pc.seconds:.0f} s to the start screen")
        for word in ("SOME-BAD", "ALL-BAD", "GOOD", "FH-GOOD"):
            check(word in pc.screen, f"{word} is not on the start screen", pc.screen)
        pc.shell()
        check("I/O error" in pc.command("dmesg"), "the drives did not fail: this tests nothing")
    for drive in drives:
        check(sha256(drive.path) == before[drive.path], f"{drive.serial} has changed")
finish()
