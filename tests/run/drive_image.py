#!/usr/bin/python3
"""extract --image: the drive is saved first, with the list of what could not be read, and the job is as from it.

The faulty drive is an image of the demo with a list of holes beside it; the truth is that image, and the job
made straight from it. strace makes single calls fail.
"""

import os
import pathlib
import shutil
import subprocess
import sys

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402

SOURCE = h.DEMO / "old-data.img"
LEAVE = ["--leave", "\\Survey\\**"]
HOLES = [(5 << 20, 4096), (12345 * 512, 512), (30 << 20, 100 << 10), ((64 << 20) - 512, 512)]


def extract(to, source, *options):
    to.mkdir()
    return h.run("extract", "--quiet", "--to", to, "--name", "job", *options, *LEAVE, source)


def rows(to):
    """What the record says of each file, without what names the source or the moment."""
    lines = h.load_lines(to / "job" / "record.jsonl")[1:]
    keys = ("path", "stream", "kind", "state", "reason", "size", "sha256", "holes", "as")
    return [{key: line.get(key) for key in keys} for line in lines]


def saved(work, drive):
    image, listed = work / "saved.img", work / "saved.img.holes"
    done = extract(work / "from-image", drive, "--image", image)
    h.check(done.returncode == 1, "status", done.returncode, done.stderr)
    straight = extract(work / "straight", drive)
    h.check(straight.returncode == 1, "status", straight.returncode, straight.stderr)
    h.check(rows(work / "from-image") == rows(work / "straight"), "the jobs differ")
    findings = (work / "from-image" / "job" / "findings.json").read_text(encoding="utf-8")
    for code in ("drive-saved", "image-has-holes"):
        h.check(code in findings, "no finding", code)
    wanted = bytearray(SOURCE.read_bytes())
    ranges = []
    for offset, length in HOLES:
        wanted[offset:offset + length] = bytes(length)
        ranges.append((offset, length))
    h.check(image.read_bytes() == wanted, "the image differs outside the holes, or is not zero in them")
    lines = [line for line in listed.read_text(encoding="ascii").splitlines() if line[0] != "#"]
    h.check([tuple(map(int, line.split())) for line in lines] == sorted(ranges), "the list:", lines)
    h.check(image.stat().st_blocks * 512 < image.stat().st_size // 2, "zeros take room")
    h.check(not list(work.glob("*.unfinished")), "something unfinished is left")
    h.check(image.stat().st_mode & 0o077 == 0, "others can read the image")
    verify = h.run("verify", "--quiet", work / "from-image" / "job")
    h.check(verify.returncode in (0, 1), "verify:", verify.returncode, verify.stderr)


def refused(work, drive):
    image = work / "saved.img"
    before = image.read_bytes()
    cases = (("there already", 4, "is there already", drive, image),
             ("no folder", 4, "is not there", drive, work / "nowhere" / "x.img"),
             ("no such drive", 3, "does not exist", work / "nothing.img", work / "x.img"))
    for title, status, words, source, target in cases:
        done = extract(work / title, source, "--image", target)
        text = " ".join(done.stderr.split())
        h.check(done.returncode == status and words in text, title, done.returncode, text)
        h.check(not list((work / title).iterdir()), title, "left a job")
    h.check(image.read_bytes() == before, "the image was changed")
    (work / "y.img.holes").write_text("512 512\n", encoding="ascii")
    done = extract(work / "list", drive, "--image", work / "y.img")
    h.check(done.returncode == 4 and not (work / "y.img").exists(), "a list is there:", done.stderr)
    h.check((work / "y.img.holes").read_text() == "512 512\n", "the list was changed")
    for options in (["--dry-run"], ["--to", work, drive]):
        done = h.run("extract", "--image", work / "z.img", *options, drive)
        h.check(done.returncode == 2, options, done.returncode, done.stderr)


def no_room(work, drive):
    small = work / "small"
    small.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", small],
                          capture_output=True, text=True, check=False)
    if done.returncode:
        print("no small file system:", done.stderr.strip())
        return
    try:
        done = extract(work / "room", drive, "--image", small / "x.img")
        text = " ".join(done.stderr.split())
        h.check(done.returncode == 4 and "no room for the image" in text, done.returncode, text)
        h.check(not list(small.iterdir()), "something is left")
    finally:
        h.tool("umount", small)


def calls_that_fail(work, drive):
    """The first and a later call of each kind: exit status 4, no job, and the same command again goes on."""
    target = work / "fails" / "x.img"
    target.parent.mkdir()
    wanted = (work / "saved.img").read_bytes()
    for call, error, when in (("pwrite64", "EIO", 1), ("pwrite64", "ENOSPC", 5), ("ftruncate", "EIO", 1),
                              ("ftruncate", "EIO", 2), ("fsync", "EIO", 1), ("fsync", "EIO", 2),
                              ("fdatasync", "EIO", 1), ("rename", "EIO", 1), ("rename", "EROFS", 2),
                              ("rename", "EIO", 3)):
        to = work / f"job-{call}-{error}-{when}"
        to.mkdir()
        # Only the image's own calls: the job begins when it has its name.
        done = subprocess.run(["strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={call}",
                               "-e", f"inject={call}:error={error}:when={when}", h.COLDLIFT, "extract",
                               "--quiet", "--to", to, "--name", "job", *LEAVE, "--image", target, drive],
                              capture_output=True, text=True, check=False)
        h.check(done.returncode == 4, call, error, when, "status", done.returncode, done.stderr)
        h.check(not list(to.iterdir()), call, error, when, "began a job")
        h.check(not target.exists(), call, error, when, "the image has its good name")
        shutil.rmtree(to)
        done = extract(to, drive, "--image", target)
        h.check(done.returncode == 1, call, error, when, "again: status", done.returncode, done.stderr)
        h.check(target.exists() and target.read_bytes() == wanted, call, error, when, "again: another image")
        left = {path.name for path in target.parent.iterdir()}
        h.check(left == {"x.img", "x.img.holes"}, call, error, when, "again: left", left)
        for path in target.parent.iterdir():
            path.unlink()
        shutil.rmtree(to)


def resumed(work, drive):
    """--resume with an image that is not complete goes on with the image: there is no job yet."""
    target, to = work / "r.img", work / "resumed"
    to.mkdir()
    done = subprocess.run(["strace", "-f", "-qq", "-o", "/dev/null", "-e", "trace=rename",
                           "-e", "inject=rename:error=EIO:when=4", h.COLDLIFT, "extract", "--quiet", "--to", to,
                           "--name", "job", *LEAVE, "--image", target, drive], capture_output=True, text=True, check=False)
    h.check(done.returncode == 4 and (work / "r.img.unfinished-map").exists(), "cut off:", done.returncode, done.stderr)
    shutil.rmtree(to)
    done = extract(to, drive, "--resume", "--image", target)
    h.check(done.returncode == 1, "resumed: status", done.returncode, done.stderr)
    h.check(rows(to) == rows(work / "straight"), "resumed: the jobs differ")
    h.check(not (work / "r.img.unfinished-map").exists(), "resumed: the map is left")


if not SOURCE.exists():
    h.skip("no demo drives")
with h.work_folder() as name:
    folder = pathlib.Path(name)
    faulty = folder / "drive.img"
    shutil.copyfile(SOURCE, faulty)
    (folder / "drive.img.holes").write_text(
        "".join(f"{offset} {length}\n" for offset, length in HOLES), encoding="ascii")
    saved(folder, faulty)
    refused(folder, faulty)
    no_room(folder, faulty)
    if shutil.which("strace"):
        calls_that_fail(folder, faulty)
        resumed(folder, faulty)
    h.check(faulty.read_bytes() == SOURCE.read_bytes(), "the drive was changed")
h.finish()
