#!/usr/bin/python3
"""A drive that hardly answers (256 bytes a second, and the kernel resets it again and again) does not keep the stick
from reaching the start screen with the healthy drive on it."""

import pathlib

from _sources import Drive, Machine, check, finish, make_drive, sha256, work_folder

with work_folder() as work:
    folder = pathlib.Path(work)
    drives = [Drive(make_drive(folder / "hangs.img", "FH-HANGS"), "ahci", "HANGS", bytes_per_second=256),
              Drive(make_drive(folder / "good.img", "FH-GOOD"), "ide", "GOOD")]
    before = {drive.path: sha256(drive.path) for drive in drives}
    with Machine(folder, firmware="bios", drives=drives) as pc:
        pc.start(300)
        print(f"{pc.seconds:.0f} s to the start screen")
        print(pc.screen)
        check("FH-GOOD" in pc.screen, "the healthy drive is not on the start screen", pc.screen)
        check("This stick is sd" in pc.screen, "the stick is not known", pc.screen)
    for drive in drives:
        check(sha256(drive.path) == before[drive.path], f"{drive.serial} has changed")
finish()
