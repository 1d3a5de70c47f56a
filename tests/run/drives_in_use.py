#!/usr/bin/python3
"""Drives that this computer uses are refused, and the kernel's read-only mark is put and taken off.

Needs root, loop devices and an ext4 file system in the kernel. Witnesses: blockdev(8), strace(1).
"""

import json
import os
import pathlib
import signal
import subprocess
import sys
import time

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
MIB = 1 << 20
used = []  # commands that undo what was done


def undo():
    for command in reversed(used):
        subprocess.run(command, capture_output=True, check=False)
    used.clear()


def attach(image, *options):
    loop = h.attach_loop(image, *options)
    used.append(["losetup", "--detach", loop])
    return loop


def mount(device, point, *options):
    point.mkdir(exist_ok=True)
    done = subprocess.run(["mount", *options, device, point], capture_output=True, text=True,
                          check=False)
    if done.returncode != 0:
        h.skip("nothing can be mounted: " + done.stderr.strip())
    used.append(["umount", point])


def is_read_only(device):
    return h.tool("blockdev", "--getro", device).strip() == "1"


def check_refused(path, words):
    done = h.run("drives", path)
    h.check(done.returncode == 3, path, "status", done.returncode)
    h.check(words in " ".join(done.stderr.split()), path, done.stderr)


def check_mounts(image, loop, folder):
    point = folder / "mounted"
    mount(loop, point)
    check_refused(loop, "is in use")
    check_refused(image, "is in use")
    done = h.run("drives", "--json", "--quiet")
    seen = [d for d in json.loads(done.stdout)["drives"] if d["path"] == loop]
    h.check(len(seen) == 1 and not seen[0]["readable"] and "in use" in seen[0]["problem"], seen)
    h.check(seen and seen[0]["size"] == 16 * MIB, seen)
    h.check(not is_read_only(loop), "a mounted drive was set read-only")
    h.tool(*used.pop())
    mount(loop, point, "-o", "ro")
    done = h.run("drives", loop)
    h.check(done.returncode == 0, "mounted read-only", done.stderr)
    h.check(not is_read_only(loop), "a mounted drive was set read-only")
    h.tool(*used.pop())


def check_mark(loop, folder):
    trace = folder / "trace"
    h.tool("strace", "-f", "-o", trace, "-e", "trace=openat,ioctl", h.COLDLIFT, "drives", loop)
    lines = [line for line in trace.read_text().splitlines() if "BLKROSET" in line or
             f'"{loop}"' in line]
    h.check(len(lines) == 3, lines)
    h.check(all(word in lines[0] for word in ("O_RDONLY", "O_EXCL", "O_DIRECT")), lines[:1])
    h.check("BLKROSET, [1]" in lines[1] and "BLKROSET, [0]" in lines[2], lines)
    h.check(not is_read_only(loop), "the mark was left on")
    h.tool("blockdev", "--setro", loop)
    h.check(h.run("drives", loop).returncode == 0, "a read-only drive")
    h.check(is_read_only(loop), "a mark that others had put on was taken off")
    h.tool("blockdev", "--setrw", loop)


def check_signal(loop, folder, *command):
    """SIGTERM while the drive is read (strace makes that slow): the mark is taken off first."""
    with subprocess.Popen(["strace", "-f", "-o", folder / "trace", "-e", "trace=pread64", "-e",
                           "inject=pread64:delay_enter=400000", h.COLDLIFT, *command, loop],
                          stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as tracer:
        for _ in range(1200):
            time.sleep(0.05)
            if is_read_only(loop):
                break
        else:
            h.check(False, command, "the mark was never put on")
        tasks = pathlib.Path(f"/proc/{tracer.pid}/task/{tracer.pid}")
        for child in (tasks / "children").read_text().split():
            os.kill(int(child), signal.SIGTERM)
        tracer.wait(timeout=300)
    h.check(tracer.returncode in (-signal.SIGTERM, 128 + signal.SIGTERM), command,
            tracer.returncode)
    h.check(not is_read_only(loop), command, "the mark was left on after SIGTERM")


def check_no_medium():
    """A loop device without a file is like a card reader without a card: a size of zero."""
    loop = h.tool("losetup", "--find").strip()
    if not pathlib.Path(loop).exists():
        return  # no device nodes are made here
    done = h.run("drives", loop)
    h.check(done.returncode == 3, "no medium: status", done.returncode)
    h.check("no medium" in done.stderr, done.stderr)


def check_partition_of_drive(folder):
    """A mounted partition makes its whole drive a drive in use, and its neighbour not."""
    image = folder / "table.img"
    with open(image, "wb") as file:
        file.truncate(40 * MIB)
    h.tool("sfdisk", "--quiet", "--no-reread", image, input="label: gpt\nsize=32768\nsize=20480\n")
    loop = attach(image, "--partscan")
    part = h.first_partition(loop)
    if part is None:
        return
    h.tool("mkfs.ext4", "-q", "-F", part)
    mount(part, folder / "part")
    check_refused(loop, "is in use")
    check_refused(part, "is in use")
    check_refused(image, "is in use")
    done = h.run("drives", loop + "p2")
    h.check("in use" not in done.stderr, done.stderr)
    h.tool(*used.pop())


if os.geteuid() != 0:
    h.skip("needs root")
with h.work_folder() as name:
    work = pathlib.Path(name)
    # A smartctl of this computer would open the drives too, and be traced.
    (work / "smartctl").write_text("#!/bin/sh\n")
    (work / "smartctl").chmod(0o700)
    os.environ["PATH"] = f"{work}:{os.environ['PATH']}"
    disk = work / "disk.img"
    with open(disk, "wb") as empty:
        empty.truncate(16 * MIB)
    try:
        h.tool("mkfs.ext4", "-q", "-F", disk)
        device = attach(disk)
        check_mark(device, work)
        check_signal(device, work, "drives")
        check_signal(device, work, "survey")
        check_signal(device, work, "extract", "--to", work)
        check_mounts(disk, device, work)
        check_partition_of_drive(work)
        check_no_medium()
    finally:
        undo()
h.finish()
