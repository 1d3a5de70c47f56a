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


def start_screen(pc, seconds):
    """Everything that was on the screen until the start screen waits for a letter; Enter turns the pages."""
    seen = ""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        text = screen_text(pc)
        # The screen is a window that moves down through this memory: the last line is at its lower end.
        lines = [line.rstrip() for line in re.findall(".{80}", text.replace("\0", " "), re.DOTALL)]
        last = [line for line in lines if line][-1:] or [""]
        if last[0] in ("-- Enter for more --", "coldlift>"):
            seen += "\n".join(lines) + "\n"
            if last[0] == "coldlift>":
                return seen
            pc.press("ret")
        time.sleep(1)
    check(False, "the start screen does not ask for a letter", repr(seen))
    return seen


def type_keys(pc, *keys):
    for key in keys:
        pc.press(key)
        time.sleep(0.5)


for keyboard in ([], ["-device", "usb-kbd,bus=xhci.0"]):
    with work_folder() as work:
        folder = pathlib.Path(work)
        drives = [Drive(make_drive(folder / "source.img", "FH-SCREEN"), "ide")]
        with Machine(folder, firmware="bios", drives=drives, extra=keyboard) as pc:
            text = start_screen(pc, 180)
            check("FH-SCREEN" in text, "the drive is not on the screen", text)
            check("Nothing on the drives of this PC has been changed" in text, "the promise is missing", text)
            check("Next step" in text, "there is no next step", text)
            type_keys(pc, "z", "ret")
            wait_for(pc, "There is no 'z' here", 30)
            # With the German layout the same key gives a y.
            type_keys(pc, "k", "ret")
            wait_for(pc, "-- Enter for more --|keyboard>", 30)
            if "keyboard>" not in screen_text(pc):
                type_keys(pc, "ret")
            wait_for(pc, "keyboard>", 30)
            type_keys(pc, "d", "e", "ret")
            wait_for(pc, "The keyboard is now de", 30)
            start_screen(pc, 30)
            type_keys(pc, "z", "ret")
            wait_for(pc, "There is no 'y' here", 30)
            type_keys(pc, "p", "ret")
            pc.wait_off()
finish()
