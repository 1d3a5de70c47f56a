"""Files into and out of the first volume of a drive that make_drive() made, by the file systems' own tools and never by
coldlift. Linux mounts neither exFAT nor NTFS everywhere: exfat-fuse and ntfs-3g do."""

import contextlib
import os
import pathlib
import shutil
import subprocess
import tempfile

from _sources import MIB, check, copy_volume, tool

UTF8 = {"LC_ALL": "C.UTF-8", "PATH": os.environ["PATH"]}


@contextlib.contextmanager
def volume_of(drive, put_back=False):
    """The volume in a file of its own; `put_back`: what was changed there is in the drive afterwards."""
    with tempfile.TemporaryDirectory(prefix="coldlift-volume-", dir=pathlib.Path(drive).parent) as folder:
        volume = pathlib.Path(folder) / "volume"
        copy_volume(drive, volume)
        yield volume
        if put_back:
            with open(volume, "rb") as source, open(drive, "r+b") as file:
                file.seek(MIB)
                shutil.copyfileobj(source, file)


@contextlib.contextmanager
def exfat_mounted(volume):
    """An exFAT volume as a folder: no tool of exfatprogs reads or writes a file."""
    folder = volume.with_suffix(".mounted")
    folder.mkdir()
    loop = tool("losetup", "--find", "--show", volume).strip()
    try:
        tool("blockdev", "--setrw", loop)  # the mark outlives an earlier use of the device
        tool("mount.exfat-fuse", loop, folder)
        try:
            yield folder
        finally:
            tool("umount", folder)
    finally:
        tool("losetup", "--detach", loop)


@contextlib.contextmanager
def ntfs_mounted(volume, how="ro"):
    folder = volume.with_suffix(".mounted")
    folder.mkdir()
    tool("ntfs-3g", "-o", how, volume, folder)
    try:
        yield folder
    finally:
        tool("umount", folder)


def put_in(drive, kind, name, content):
    """A file at the top of the volume."""
    with volume_of(drive, put_back=True) as volume:
        file = volume.with_suffix(".file")
        file.write_bytes(content)
        if kind == "ntfs":
            tool("ntfscp", "-f", volume, file, f"/{name}")
        elif kind == "fat":
            tool("mcopy", "-i", volume, file, f"::/{name}", env=UTF8)
        elif kind == "ext4":
            tool("debugfs", "-w", "-R", f"write {file} {name}", volume)
        else:
            with exfat_mounted(volume) as folder:
                shutil.copyfile(file, folder / name)


def take_out_of_torn_fat(volume, folder):
    """Whatever can still be copied: a file that was being written can lead nowhere, and mcopy then stops."""
    for line in tool("mdir", "-/", "-b", "-i", volume, "::/", env=UTF8).splitlines():
        target = folder / line.removeprefix("::/")
        if line.endswith("/"):
            target.mkdir(parents=True, exist_ok=True)
        else:
            target.parent.mkdir(parents=True, exist_ok=True)
            subprocess.run(["mcopy", "-n", "-i", volume, line, target], env=UTF8, capture_output=True, check=False)


def take_out(drive, kind, folder, sound=True):
    """Everything on the volume, into a new folder; unless it need not be sound, the file system's own check has to call
    it that."""
    folder.mkdir()
    with volume_of(drive) as volume:
        if kind == "fat" and not sound:
            take_out_of_torn_fat(volume, folder)
        elif kind == "fat":
            tool("mcopy", "-s", "-m", "-i", volume, "::*", folder, env=UTF8)
        elif kind == "ext4":
            tool("debugfs", "-R", f"rdump / {folder}", volume)
        else:
            with (ntfs_mounted if kind == "ntfs" else exfat_mounted)(volume) as mounted:
                shutil.copytree(mounted, folder, dirs_exist_ok=True)
        if sound:
            check_volume(volume, kind)


def check_volume(volume, kind):
    if kind == "fat":
        tool("fsck.vfat", "-n", volume)
    elif kind == "ext4":
        tool("e2fsck", "-fn", volume)
    elif kind == "exfat":
        tool("fsck.exfat", "-n", volume)
    else:
        check("Processing of" in tool("ntfsfix", "-n", volume), "ntfsfix finds the volume unsound")
