#!/usr/bin/python3
"""scripts/write-stick: what it refuses, what it writes, and that it notices a stick that keeps nothing."""

import os
import pathlib
import subprocess

from _sources import IMAGE, MIB, check, finish, sha256, work_folder

SCRIPT = pathlib.Path(__file__).resolve().parents[2] / "scripts/write-stick"


def run(*args, answer="", path=None):
    environment = dict(os.environ, PATH=f"{path}:{os.environ['PATH']}") if path else None
    return subprocess.run([SCRIPT, *map(str, args)], input=answer, capture_output=True, text=True, check=False,
                          env=environment)


def starts_with_image(path):
    with open(path, "rb") as file, open(IMAGE, "rb") as image:
        return file.read(IMAGE.stat().st_size) == image.read()


def on_file(folder):
    stick = folder / "stick.img"
    with open(stick, "wb") as file:
        file.truncate(64 * MIB)
    empty = sha256(stick)
    done = run(stick, IMAGE, answer="no\n")
    check(done.returncode == 1 and sha256(stick) == empty, "written without a yes", done.stderr)
    done = run(stick, folder / "nothing.iso")
    check(done.returncode == 1 and sha256(stick) == empty, "an image that is not there", done.stderr)
    check(run("--everything").returncode == 2, "a wrong option")
    check(run(folder / "absent", IMAGE).returncode == 1 and not (folder / "absent").exists(), "a new file was made")
    done = run(stick, IMAGE, answer="yes\n")
    check(done.returncode == 0 and "read back" in done.stdout, done.stdout, done.stderr)
    check(starts_with_image(stick) and stick.stat().st_size == 64 * MIB, "not what the image holds")
    return stick


def on_false_stick(folder):
    """A stick that says yes and keeps nothing: dd is replaced by one that writes nowhere."""
    stick = folder / "false.img"
    with open(stick, "wb") as file:
        file.truncate(64 * MIB)
    tools = folder / "tools"
    tools.mkdir()
    (tools / "dd").write_text('#!/bin/sh\ncase " $* " in *" of=/dev/null "*) ;; *" of="*) exit 0 ;; esac\nexec /bin/dd "$@"\n')
    (tools / "dd").chmod(0o755)
    done = run("--yes", stick, IMAGE, path=tools)
    check(done.returncode == 1 and "does not hold" in done.stderr, done.stdout, done.stderr)


def on_loop(folder):
    """The refusals need a block device; a loop device is one that is not removable."""
    stick = folder / "loop.img"
    with open(stick, "wb") as file:
        file.truncate(64 * MIB)
    made = subprocess.run(["losetup", "--find", "--show", stick], capture_output=True, text=True, check=False)
    if made.returncode != 0:
        print("no loop device here: refusals not tested")
        return
    loop = made.stdout.strip()
    try:
        subprocess.run(["blockdev", "--setrw", loop], check=True)  # the mark outlives an earlier use of the device
        empty = sha256(stick)
        done = run("--yes", loop, IMAGE)
        check(done.returncode == 1 and "not a removable" in done.stderr, done.stdout, done.stderr)
        check("64M" in done.stdout, "the size is not shown", done.stdout)
        subprocess.run(["mkfs.ext4", "-q", loop], check=True)
        (folder / "mounted").mkdir()
        if subprocess.run(["mount", loop, folder / "mounted"], check=False).returncode == 0:
            done = run("--yes", "--not-removable", loop, IMAGE)
            check(done.returncode == 1 and "in use" in done.stderr, done.stdout, done.stderr)
            subprocess.run(["umount", folder / "mounted"], check=True)
        done = run("--yes", "--not-removable", loop, IMAGE)
        check(done.returncode == 0, done.stdout, done.stderr)
        check(starts_with_image(stick) and empty != sha256(stick), "not what the image holds")
        with open(folder / "small.img", "wb") as file:
            file.truncate(MIB)
    finally:
        subprocess.run(["losetup", "--detach", loop], check=True)


with work_folder() as work:
    on_file(pathlib.Path(work))
    on_false_stick(pathlib.Path(work))
    if os.geteuid() == 0:
        on_loop(pathlib.Path(work))
finish()
