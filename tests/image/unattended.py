#!/usr/bin/python3
"""An unattended job: the PC is switched on with the stick, the demo drives and a volume labelled COLDLIFT with a job file,
and switches itself off when the job is done. Nobody presses a key.

On the host the job is proven by `coldlift verify`, by `unzip -t` of every part, by `sha256sum -c` over everything
unpacked, and its record is compared with the demo drives' ground truth. The volume is exFAT, read here by exfat-fuse."""

import pathlib
import shutil
import subprocess
import sys

from _sources import Drive, Machine, check, copy_volume, finish, make_drive, sha256, skip, tool, work_folder
from _harness import DEMO, run  # _sources says where it is
from _truth import compare

ORDER = """# the treasurer's PC
persons = everybody
name = fernhill
leave = D:\\Survey\\**
when-done = switch-off
"""

if not (DEMO / "expected.json").exists():
    skip("there are no demo drives (make demo-drives)")
if shutil.which("mount.exfat-fuse") is None:
    skip("needs exfat-fuse")


class Mounted:
    """The first volume of a drive made by make_drive(), as a folder."""

    def __init__(self, folder, drive):
        self.volume = folder / "mounted.volume"
        self.folder = folder / "mounted"
        copy_volume(drive, self.volume)
        self.folder.mkdir(exist_ok=True)

    def __enter__(self):
        self.loop = tool("losetup", "--find", "--show", self.volume).strip()
        tool("blockdev", "--setrw", self.loop)  # the mark outlives an earlier use of the device
        tool("mount.exfat-fuse", self.loop, self.folder)
        return self.folder

    def __exit__(self, *_):
        tool("umount", self.folder)
        tool("losetup", "--detach", self.loop)


def put_back(volume, drive):
    with open(volume, "rb") as source, open(drive, "r+b") as file:
        file.seek(1 << 20)
        shutil.copyfileobj(source, file)


def make_target(folder):
    """With the job file, written as an old editor writes it, and an earlier job that is nobody's business."""
    drive = make_drive(folder / "target.img", "COLDLIFT", 60, "exfat")
    mounted = Mounted(folder, drive)
    with mounted as files:
        (files / "coldlift-job.txt").write_bytes("\ufeff".encode("utf-16-le") +
                                                 ORDER.replace("\n", "\r\n").encode("utf-16-le"))
        (files / "FernHill").mkdir()
        (files / "FernHill/quince-count.txt").write_text("Nobody may see this.\n")
    put_back(mounted.volume, drive)
    return drive


def prove(folder, job):
    done = run("verify", job)
    check(done.returncode == 1 and "Proven" in done.stdout, "the job is not proven:", done.stdout, done.stderr)
    parts = sorted(job.glob("*.zip"))
    check(len(parts) > 10, "too few parts:", parts)
    whole = folder / "whole"
    whole.mkdir()
    for part in parts:
        tool("unzip", "-tqq", part)
        if part.name != "fernhill-proof.zip":
            tool("unzip", "-qq", part, "-d", whole, env={"LC_ALL": "C.UTF-8", "PATH": "/usr/bin:/bin"})
    shutil.copy(job / "SHA256SUMS", whole)
    done = subprocess.run(["sha256sum", "--check", "--quiet", "--strict", "SHA256SUMS"], cwd=whole, check=False,
                          capture_output=True, text=True)
    check(done.returncode == 0, "sha256sum:", done.stdout[-1000:], done.stderr[-1000:])


def check_log(text):
    for word in ("2026-03-01", "FERNHILL-DATA", "serial number", "the destination", "only read", "without D:\\Survey\\**",
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
    drives = [Drive(folder / "system.img", "ahci"), Drive(folder / "data.img", "usb", serial="FERNHILL-DATA")]
    for drive, name in zip(drives, ("old-system.img", "old-data.img")):
        shutil.copyfile(DEMO / name, drive.path)
    before = {drive.path: sha256(drive.path) for drive in drives}
    target = make_target(folder)
    with Machine(folder, firmware="uefi", drives=drives + [Drive(target, "usb", serial="NEW-HOME")]) as pc:
        start_unattended(pc)
        said = pc.raw.decode("utf-8", "replace")
    check("quince-count" not in said and "FernHill" not in said, "an earlier job was shown:", said)
    for path, digest in before.items():
        check(sha256(path) == digest, f"{path.name} has changed")
    with Mounted(folder, target) as files:
        check(sorted(file.name for file in files.iterdir()) ==
              ["FernHill", "coldlift-job.txt", "fernhill-2", "fernhill-2-log.txt"], list(files.iterdir()))
        check((files / "FernHill/quince-count.txt").read_text() == "Nobody may see this.\n", "an earlier job has changed")
        check_log((files / "fernhill-2-log.txt").read_text("utf-8"))
        prove(folder, files / "fernhill-2")
        compare(files / "fernhill-2")
    tool("fsck.exfat", "-n", folder / "mounted.volume")
finish()
