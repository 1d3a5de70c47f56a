#!/usr/bin/python3
"""Two builds of one commit are the same, bit for bit: the second is made in another folder, at another time, by
another umask, from a fresh copy of the sources, program and all. Only the downloaded packages are shared."""

import os
import pathlib
import shutil
import subprocess

from _sources import IMAGE, check, finish, sha256, tool, work_folder

ROOT = pathlib.Path(__file__).resolve().parents[2]
name = next(part for part in (ROOT / "build/image/root/etc/coldlift/image").read_text().split("\n"))
_, version, commit = name.split()
epoch = int((ROOT / "build/image/tree/boot/coldlift").stat().st_mtime)

with work_folder() as work:
    copy = pathlib.Path(work) / "elsewhere" / "coldlift"
    copy.mkdir(parents=True)
    for part in ("src", "image", "scripts"):
        shutil.copytree(ROOT / part, copy / part)
    for part in ("Makefile", "LICENSE"):
        shutil.copy(ROOT / part, copy)
    environment = dict(os.environ, COLDLIFT_COMMIT=commit, SOURCE_DATE_EPOCH=str(epoch), TZ="Asia/Tokyo")
    environment.pop("MAKEFLAGS", None)
    subprocess.run(["make", "-s", "-j2", "build/coldlift"], cwd=copy, env=environment, check=True)
    subprocess.run(["bash", "-c", 'umask 077; exec image/build build/coldlift "$0" build/coldlift.iso "$1"',
                    version, str(ROOT / "build/image/packages")], cwd=copy, env=environment, check=True)
    again = copy / "build/coldlift.iso"
    same = sha256(again) == sha256(IMAGE)
    check(same, "the second image differs from the first")
    if not same:
        for part in ("image/root", "image/tree", "image/efi.img"):
            print(subprocess.run(["diff", "-rq", "--no-dereference", ROOT / "build" / part, copy / "build" / part],
                                 capture_output=True, text=True, check=False).stdout)
        print(subprocess.run(["cmp", again, IMAGE], capture_output=True, text=True, check=False).stdout)
    check(tool("cat", copy / "build/coldlift.packages.txt") ==
          tool("cat", ROOT / "build/coldlift.packages.txt"), "the package lists differ")
finish()
