#!/usr/bin/python3
"""A glance at a volume changes no byte of it, whatever state it is in; opening one for writing refuses what must not be
written to, also without a change. With the kernel's ext4 and ntfs-3g here; FAT and exFAT are looked at in the tests of
the live stick. What was written is read back with debugfs and ntfscat."""

import hashlib
import os
import pathlib
import shutil
import subprocess

from _harness import BUILD, ROOT, check, finish, skip, tool, work_folder
from _unclean import hibernated_ntfs, unclean_ext4, unclean_ntfs

LOOK = BUILD / "tests/run/target_look"
JOB = "format = zip\n"
# The stick's own small programs; busybox's usleep may be missing here, and is only patience.
PROGRAMS = f"{ROOT}/image/root/usr/lib/coldlift:{os.environ['PATH']}"


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def make(path, kind, name="coldlift-job.txt", windows=False):
    with open(path, "wb") as file:
        file.truncate(24 << 20)
    job = path.with_suffix(".txt")
    job.write_text(JOB)
    if kind == "NTFS":
        tool("mkntfs", "-F", "-q", "-Q", "-s", "512", "-p", "0", "-H", "255", "-S", "63", "-L", "COLDLIFT", path)
        tool("ntfscp", "-f", path, job, f"/{name}")
    else:
        tool("mkfs.ext4", "-q", "-L", "COLDLIFT", *(["-O", "^has_journal"] if kind == "ext2" else []), path)
        commands = f"write {job} {name}\n"
        if windows:
            commands += "mkdir WINNT\nmkdir WINNT/System32\nmkdir WINNT/System32/Config\n" \
                        f"write {job} WINNT/System32/Config/SYSTEM\n"
        subprocess.run(["debugfs", "-w", "-f", "/dev/stdin", path], text=True, check=True, capture_output=True,
                       input=commands)
    job.unlink()
    return path


class Loop:
    def __init__(self, path):
        self.path = path

    def __enter__(self):
        self.name = tool("losetup", "--find", "--show", self.path).strip()
        tool("blockdev", "--setrw", self.name)  # the mark outlives an earlier use of the device
        return self.name

    def __exit__(self, *_):
        tool("blockdev", "--setrw", self.name)
        tool("losetup", "--detach", self.name)


def look(what, path, kind, name="coldlift-job.txt"):
    """The volume is attached writable; the mount is seen by nobody else."""
    with Loop(path) as device:
        done = subprocess.run(["unshare", "--mount", LOOK, what, device, "NTFS" if kind == "NTFS" else "ext", name],
                              capture_output=True, text=True, check=False, env=dict(os.environ, PATH=PROGRAMS))
        check(tool("blockdev", "--getro", device).strip() == "1", f"{path.name}: not read-only afterwards")
    return done


def peek(path, kind, expected, name="coldlift-job.txt"):
    before = digest(path)
    done = look("peek", path, kind, name)
    check(done.returncode == 0 and done.stdout == expected, f"{path.name}: peek said {done.stdout!r} {done.stderr}")
    check(digest(path) == before, f"{path.name}: a glance has changed it")


def refuse(path, kind, words):
    before = digest(path)
    done = look("write", path, kind, "new.txt")
    check(done.returncode == 4 and words in done.stderr, f"{path.name}: {done.returncode} {done.stderr!r}")
    check(digest(path) == before, f"{path.name}: refused, but changed")


def read_back(path, kind):
    text = tool("ntfscat", path, "/new.txt") if kind == "NTFS" else tool("debugfs", "-R", "cat new.txt", path)
    check(text == "plums and gooseberries\n", f"{path.name}: not what was written: {text!r}")
    if kind != "NTFS":
        tool("e2fsck", "-fn", path)


if os.geteuid() != 0 or shutil.which("ntfs-3g") is None:
    skip("needs root and ntfs-3g")
probe = subprocess.run(["losetup", "--find"], capture_output=True, check=False)
if probe.returncode != 0 or not os.path.exists("/dev/fuse"):
    skip("there are no loop devices or no FUSE here")

with work_folder() as work:
    folder = pathlib.Path(work)
    fine = {kind: make(folder / f"fine-{kind}.img", kind) for kind in ("ext4", "ext2", "NTFS")}
    for kind, path in fine.items():
        peek(path, kind, "found\n" + JOB)
        peek(path, kind, "", "another-job.txt")

    replay = make(folder / "replay.img", "ext4", "Coldlift-JOB.txt")
    unclean_ext4(replay)
    peek(replay, "ext4", "found\n" + JOB)
    peek(make(folder / "windows.img", "ext4", windows=True), "ext4", "found\nold-system\n" + JOB)
    unclean = make(folder / "unclean.img", "NTFS")
    unclean_ntfs(unclean)
    asleep = make(folder / "asleep.img", "NTFS")
    hibernated_ntfs(asleep)
    for path in (unclean, asleep):
        peek(path, "NTFS", "found\n" + JOB)
        refuse(path, "NTFS", "Windows")
    broken = make(folder / "broken.img", "ext4")
    with open(broken, "r+b") as file:
        file.seek(1024)
        file.write(b"\xFF" * 40)
    refuse(broken, "ext4", "damaged")

    for kind, path in list(fine.items()) + [("ext4", replay)]:
        done = look("write", path, kind, "new.txt")
        check(done.returncode == 0, f"{path.name}: {done.stderr}")
        read_back(path, kind)
    check(subprocess.run(["dumpe2fs", "-h", replay], capture_output=True, text=True, check=True).stdout
          .find("needs_recovery") < 0, "the journal was not played when it was opened for writing")
finish()
