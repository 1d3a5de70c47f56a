#!/usr/bin/python3
"""An unattended job: the PC is switched on with the stick, the demo drives and a volume labelled COLDLIFT with a job file,
and switches itself off when the job is done. Nobody presses a key.

On the host the job is proven by `coldlift verify`, by `unzip -t` of every part, by `sha256sum -c` over everything
unpacked, and its record is compared with the demo drives' ground truth. The volume is exFAT, read here by exfat-fuse."""

import pathlib

from _sources import Drive, Machine, check, finish, make_drive, work_folder
from _machine import BUSES
from _pairs import Sources, prove_and_compare
from _volumes import exfat_mounted, take_out, volume_of

ORDER = """# the treasurer's PC
persons = everybody
name = fernhill
leave = D:\\Survey\\**
when-done = switch-off
"""
# Together with boot_bios, boot_secure and boot_uefi32: every bus, every destination. Under UEFI there is no old IDE here.
OTHERS = [bus for bus in BUSES if bus not in ("ahci", "usb", "ide")]


def make_target(folder):
    """With the job file, written as an old editor writes it, and an earlier job that is nobody's business."""
    drive = make_drive(folder / "target.img", "COLDLIFT", 60, "exfat")
    with volume_of(drive, put_back=True) as volume, exfat_mounted(volume) as files:
        (files / "coldlift-job.txt").write_bytes("\ufeff".encode("utf-16-le") +
                                                 ORDER.replace("\n", "\r\n").encode("utf-16-le"))
        (files / "FernHill").mkdir()
        (files / "FernHill/quince-count.txt").write_text("Nobody may see this.\n")
    return drive


def check_log(text):
    for word in ("2026-03-01", "OLD-DATA", "serial number", "the destination", "only read", "without D:\\Survey\\**",
                 "The job 'fernhill-2' is complete", "Keep the old drives"):
        check(word in text, f"the log does not say {word!r}:", text)
    check("quince-count" not in text, "the log shows an earlier job")
    check("\x1b" not in text and "MB/s" not in text, "the log has the progress in it")


def start_unattended(pc):
    """The serial line is chosen in the boot menu, and then nobody types."""
    while "coldlift is starting" not in pc.text:
        pc.press("s")
        pc._receive(0.7)
    pc.expect("A job file was found on COLDLIFT", 240)
    pc.expect("The job begins in 1 second", 60)
    pc.expect("The PC switches off now", 600)
    pc.wait_off(120)


with work_folder() as work:
    folder = pathlib.Path(work)
    sources = Sources(folder, "ahci", "usb", OTHERS)
    target = make_target(folder)
    with Machine(folder, firmware="uefi", drives=[*sources.drives, Drive(target, "usb", serial="NEW-HOME")]) as pc:
        start_unattended(pc)
        said = pc.raw.decode("utf-8", "replace")
    check("quince-count" not in said and "FernHill" not in said, "an earlier job was shown:", said)
    sources.check_unchanged()
    files = folder / "files"
    take_out(target, "exfat", files)
    check(sorted(file.name for file in files.iterdir()) ==
          ["FernHill", "coldlift-job.txt", "fernhill-2", "fernhill-2-log.txt"], list(files.iterdir()))
    check((files / "FernHill/quince-count.txt").read_text() == "Nobody may see this.\n", "an earlier job has changed")
    check_log((files / "fernhill-2-log.txt").read_text("utf-8"))
    prove_and_compare(folder, files, "fernhill-2", sources)
finish()
