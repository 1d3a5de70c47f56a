#!/usr/bin/python3
"""The way of a person without a serial line: nothing is pressed in the menu, the start screen is on the screen, and a
USB keyboard, then the PC's PS/2 keyboard, answer it. The screen is read from the memory of the VGA text mode."""

import pathlib
import re
import time

from _sources import Drive, Machine, check, finish, make_drive, work_folder


def screen_text(pc):
    memory = pc.folder / "screen"
    pc.qmp("pmemsave", val=0xB8000, size=32768, filename=str(memory))
    return memory.read_bytes()[::2].decode("cp437")


def wait_for(pc, pattern, seconds, times=1):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        text = screen_text(pc)
        if len(re.findall(pattern, text)) >= times:
            return text
        time.sleep(0.5)
    check(False, f"{pattern!r} is not on the screen", repr(re.sub(r"\s+", " ", text)))
    return text


for keyboard in ([], ["-device", "usb-kbd,bus=xhci.0"]):
    with work_folder() as work:
        folder = pathlib.Path(work)
        drives = [Drive(make_drive(folder / "source.img", "FH-SCREEN"), "ide")]
        with Machine(folder, firmware="bios", drives=drives, extra=keyboard) as pc:
            text = wait_for(pc, "coldlift> ", 180)
            check("FH-SCREEN" in text, "the drive is not on the screen", text)
            for key in ("z", "ret"):
                pc.press(key)
                time.sleep(0.3)
            wait_for(pc, "There is no 'z' here", 30)
            # With the German layout the same key gives a y.
            for key in ("k", "ret", "d", "e", "ret"):
                pc.press(key)
                time.sleep(1)
            wait_for(pc, "keyboard> de", 30)
            time.sleep(5)
            for key in ("z", "ret"):
                pc.press(key)
                time.sleep(0.3)
            wait_for(pc, "There is no 'y' here", 30)
            for key in ("p", "ret"):
                pc.press(key)
                time.sleep(0.3)
            pc.wait_off()
finish()
