#!/usr/bin/python3
"""Labels and free room of volumes with files on them, against the tools of each file system.

References: fsck.fat's and mdir's own count (FAT), dump.exfat (exFAT), dumpe2fs (ext), ntfsinfo
(NTFS). Files are put on the volumes by mcopy, debugfs and ntfscp, so that coldlift has no part in it.
On exFAT, which nothing here can write to, clusters are marked in the allocation bitmap by hand; its
place is the one that dump.exfat tells.
"""

import hashlib
import json
import os
import pathlib
import random
import re
import struct
import sys

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
os.environ["MTOOLS_SKIP_CHECK"] = "1"
MIB = 1 << 20


def make(path, size, *command):
    path.unlink(missing_ok=True)
    with open(path, "wb") as image:
        image.truncate(size)
    h.tool(*command, path)


def look(path):
    before = hashlib.sha256(path.read_bytes()).digest()
    done = h.run("drives", "--json", path)
    h.check(done.returncode == 0, path, done.stderr)
    h.check(max(map(len, done.stderr.splitlines())) <= 80, done.stderr)
    h.check(hashlib.sha256(path.read_bytes()).digest() == before, path, "was changed")
    volume = json.loads(done.stdout)["drives"][0]["volumes"][0]
    h.check(volume["device"] is None, "an image has no device", volume)
    return volume, done.stderr


def compare(path, label, free):
    volume, text = look(path)
    h.check(volume["label"] == label, path.name, "label", volume["label"], label)
    h.check(volume["free"] == free, path.name, "free", volume["free"], free)
    h.check(label in text, path.name, "label is not shown", text)


def number(pattern, text):
    return int(re.search(pattern, text).group(1).replace(",", ""))


def fat(folder, files):
    for kind, size, cluster in (("12", 3 * MIB, 2048), ("16", 24 * MIB, 1024), ("32", 40 * MIB, 512)):
        path = folder / f"fat{kind}.img"
        make(path, size, "mkfs.vfat", "-F", kind, "-s", str(cluster // 512), "-n", "PLOTS " + kind)
        for name in files:
            h.tool("mcopy", "-i", path, name, "::")
        if kind == "32":  # a count that nobody noted: all of it 0xFFFFFFFF
            with open(path, "r+b") as image:
                image.seek(512 + 488)
                image.write(b"\xff" * 4)
        h.tool("mdel", "-i", path, "::" + files[1].name)
        used, clusters = map(int, re.search(
            r"(\d+)/(\d+) clusters", h.tool("fsck.vfat", "-n", path)).groups())
        free = (clusters - used) * cluster
        compare(path, "PLOTS " + kind, free)
        # As mtools counts it.
        shown = h.tool("mdir", "-i", path, "::").replace(" ", "")
        h.check(number(r"\n(\d+)bytesfree", shown) == free, kind, shown)
        # Renamed in the root folder only, as the old system does it.
        h.tool("mlabel", "-i", path, "::Beete")
        compare(path, "BEETE", free)


def exfat(folder):
    path = folder / "exfat.img"
    make(path, 48 * MIB, "mkfs.exfat", "-c", "4096", "-L", "Süd-Plots")
    shown = h.tool("dump.exfat", path)
    compare(path, "Süd-Plots", number(r"Free Clusters:\s+(\d+)", shown) * 4096)
    with open(path, "r+b") as image:
        boot = image.read(512)
        heap = struct.unpack_from("<I", boot, 88)[0] << boot[108]
        first = number(r"Bitmap start cluster:\s+(\d+)", shown)
        random.seed(11)
        image.seek(heap + (first - 2) * 4096)
        bits = bytearray(image.read(1000))
        for i in range(100, 900):
            bits[i] |= random.randrange(256)
        image.seek(heap + (first - 2) * 4096)
        image.write(bits)
    marked = number(r"Free Clusters:\s+(\d+)", h.tool("dump.exfat", path))
    h.check(marked < number(r"Free Clusters:\s+(\d+)", shown), "marks are seen", marked)
    compare(path, "Süd-Plots", marked * 4096)


def ext(folder, files):
    for kind, block in (("ext2", 1024), ("ext3", 4096), ("ext4", 1024)):
        path = folder / f"{kind}.img"
        make(path, 24 * MIB, "mke2fs", "-q", "-F", "-t", kind, "-b", str(block), "-L", "shed é")
        for name in files:
            h.tool("debugfs", "-w", "-R", f"write {name} {name.name}", path)
        shown = h.tool("dumpe2fs", "-h", path)
        free = number(r"Free blocks:\s+(\d+)", shown) - number(r"Reserved block count:\s+(\d+)", shown)
        compare(path, "shed é", free * block)


def ntfs(folder, files):
    for cluster in (512, 4096):
        path = folder / f"ntfs{cluster}.img"
        make(path, 24 * MIB, "mkntfs", "-q", "-F", "-c", str(cluster), "-L", "Gartenhütte")
        for name in files:
            h.tool("ntfscp", "-f", path, name, name.name)
        free = number(r"Free Clusters:\s+(\d+)", h.tool("ntfsinfo", "-m", path)) * cluster
        compare(path, "Gartenhütte", free)


with h.work_folder() as work:
    work = pathlib.Path(work)
    random.seed(3)
    sources = []
    for size in (1, 700, 70001, 400000):
        sources.append(work / f"PLAN{size}.BIN")
        sources[-1].write_bytes(random.randbytes(size))
    fat(work, sources)
    exfat(work)
    ext(work, sources)
    ntfs(work, sources)
h.finish()
