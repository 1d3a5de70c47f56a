#!/usr/bin/python3
"""A destination of any size is either refused before anything is written, or takes the whole job.

Real file systems of growing size: tmpfs, ext4 with small and large blocks, and NTFS with clusters of 512
bytes and of 64 KiB (ntfs-3g), where every plain file takes a whole one. No outside source says how much a job
needs; what counts is that no job that was begun runs full. Needs root, loop devices and FUSE.
"""

import os
import pathlib
import random
import shutil
import subprocess
import sys

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
MIB = 1 << 20


def make_source(image, point):
    """Many small files, some larger ones, long names, and one that is nearly all hole."""
    random.seed(12)
    with open(image, "wb") as file:
        file.truncate(64 * MIB)
    h.tool("mkntfs", "-q", "-F", image)
    h.tool("ntfs-3g", image, point)
    for plot in range(12):
        folder = point / f"Plot {plot:02} of the Fernhill allotments" / "Beete und Gemüse"
        folder.mkdir(parents=True)
        for number in range(40):
            name = f"photo {number:03} " + "with a rather long name " * (number % 8)
            size = random.choice((0, 1, 300, 5000, 20000)) + (number == 7) * 300000
            (folder / f"{name}.jpg").write_bytes(random.randbytes(size))
    with open(point / "ledger.vdi.old", "wb") as hole:
        hole.truncate(30 * MIB)
        hole.seek(9 * MIB)
        hole.write(random.randbytes(4096))
    h.tool("umount", point)


def extract(label, point, format, source):
    """True: taken; False: refused."""
    done = h.run("extract", "--quiet", "--to", point, "--name", "job", "--format", format, source)
    said = " ".join(done.stderr.split())
    if done.returncode <= 1:
        h.check(not (point / "job/journal").exists(), label, "a journal is left")
        return True
    h.check(done.returncode == 4 and "too small" in said or "so many files" in said, label,
            done.returncode, said)
    h.check("may need" not in said or "are free there; choose" in said, label, said)
    h.check(not (point / "job").exists(), label, "refused, but begun")
    return False


def used(point):
    """Bytes that the job takes there, in whole blocks."""
    return int(h.tool("du", "-s", "-B1", point / "job").split()[0])


def on_tmpfs(point, format, source):
    taken, smallest = False, 0
    for size in range(2 * MIB, 40 * MIB, MIB):
        h.tool("mount", "-t", "tmpfs", "-o", f"size={size}", "none", point)
        label = f"tmpfs of {size} bytes, {format}:"
        now = extract(label, point, format, source)
        h.check(now or not taken, label, "a larger one is refused")
        if now and not taken:
            smallest = size
            h.check(size < 3 * used(point), label, "refused far too long: the job takes", used(point))
        taken = now
        h.tool("umount", point)
        if size > smallest + 6 * MIB and taken:
            break
    h.check(taken, "tmpfs,", format, "never taken")


def on_image(point, image, format, source, make, mount, step):
    """From below on, to the first size that is taken."""
    size = 4 * MIB
    for _ in range(40):
        size += step
        image.unlink(missing_ok=True)
        with open(image, "wb") as file:
            file.truncate(size)
        h.tool(*make, image)
        h.tool(*mount, image, point)
        taken = extract(f"{make[0]} {make[-1]} of {size} bytes, {format}:", point, format, source)
        h.tool("umount", point)
        if taken:
            return
    h.check(False, make, format, "never taken")


def run():
    if os.geteuid() != 0 or subprocess.run(["unshare", "-m", "true"], check=False).returncode != 0:
        h.skip("mounting needs root")
    if len(sys.argv) < 2:
        os.execvp("unshare", ["unshare", "-m", sys.executable, __file__, "inside"])
    if not os.path.exists("/dev/loop-control") or not os.path.exists("/dev/fuse"):
        h.skip("no loop devices, or no FUSE")
    with h.work_folder() as work:
        point, image = pathlib.Path(work) / "to", pathlib.Path(work) / "image"
        source = pathlib.Path(work) / "source.img"
        point.mkdir()
        try:
            make_source(source, point)
            for format in ("zip", "tar", "folder"):
                on_tmpfs(point, format, source)
            ext4 = ("mount", "-t", "ext4", "-o", "loop")
            on_image(point, image, "folder", source, ("mkfs.ext4", "-q", "-F", "-b", "1024"), ext4, 2 * MIB)
            on_image(point, image, "zip", source, ("mkfs.ext4", "-q", "-F", "-b", "4096"), ext4, 3 * MIB)
            for cluster in ("512", "65536"):
                on_image(point, image, "folder", source, ("mkntfs", "-q", "-F", "-c", cluster), ("ntfs-3g",),
                         4 * MIB if cluster == "512" else 16 * MIB)
        finally:
            subprocess.run(["umount", "-l", point], capture_output=True, check=False)
        shutil.rmtree(point, ignore_errors=True)
    h.finish()


run()
