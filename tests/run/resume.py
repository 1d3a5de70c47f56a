#!/usr/bin/python3
"""A job that was killed at any call that changes its destination goes on with --resume, to the same result.

strace ends the program (SIGKILL) at the call; then: `verify` must not find the job proven, a part under its
good name is whole, and the same command with --resume makes the job that an uninterrupted run makes, byte by
byte (the job's clock is kept in it, so nothing is left out of the comparison). What a finished part took is not
read from the source again. Drives that are not the job's are refused, as are other options. What the parts
must hold is what ntfscp put on the source; the rest is the project's own promise. COLDLIFT_TORTURE=1 kills at
every call.
"""

import filecmp
import hashlib
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import time
import zipfile

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402
from _changes import (calls_of, choose, command, files_of, goes_on, make_source, paths_of, resume,  # noqa: E402
                      same)

os.environ["PATH"] += ":/usr/sbin:/sbin"
os.environ["SOURCE_DATE_EPOCH"] = "1796000000"
LONG = bool(os.environ.get("COLDLIFT_TORTURE"))
OPTIONS = ("--checkpoint", "50k")


def kill_at(source, to, format, paths, name, number):
    shutil.rmtree(to / "job", ignore_errors=True)
    return subprocess.run(
        ["strace", "-f", "-o", "/dev/null", "-e", "trace=" + name,
         "-e", f"inject={name}:signal=SIGKILL:when={number}", *paths,
         *command(source, to, format, *OPTIONS)],
        capture_output=True, text=True, errors="replace", check=False)


def check_kill(source, to, format, paths, wanted, name, number):
    label = f"{format}: killed at {name} number {number}:"
    kill_at(source, to, format, paths, name, number)
    job = to / "job"
    if not (job / "journal").exists():  # before there was a job, or after it was complete
        if job.exists() and (job / "bagit.txt").exists():
            same(label, job, wanted)
        return False
    h.check(h.run("verify", "--quiet", job).returncode not in (0, -11, -6), label, "a half job is proven")
    return goes_on(label, source, to, wanted)


def check_kills(source, work, format, most):
    to = work / "to"
    shutil.rmtree(to, ignore_errors=True)
    to.mkdir()
    paths = paths_of(source, to, format, *OPTIONS)
    wanted = work / ("whole-" + format)
    shutil.copytree(to / "job", wanted)
    calls = calls_of(source, to, format, paths, *OPTIONS)
    h.check(len(calls) > 40, format, "too few calls seen:", calls)
    gone_on = 0
    for name, number in choose(calls, 10000 if LONG else most):
        gone_on += check_kill(source, to, format, paths, wanted, name, number)
    h.check(gone_on > len(calls) // 20, format, "too few jobs had begun:", gone_on)
    return gone_on


def break_off(source, to, format="zip"):
    """A job that is cut off when its first parts are finished, and the journal says so."""
    shutil.rmtree(to, ignore_errors=True)
    to.mkdir()
    subprocess.run(["strace", "-f", "-o", "/dev/null", "-e", "trace=rename", "-e",
                    "inject=rename:signal=SIGKILL:when=4", *command(source, to, format, *OPTIONS)],
                   capture_output=True, check=False)
    h.check('{"finished":' in (to / "job/journal").read_text(), "the job was not cut off where it should be")


def check_refusals(source, work):
    """One sentence each, and the job stays as it was."""
    to = work / "to"
    break_off(source, to)
    before = {name: (to / "job" / name).read_bytes() for name in files_of(to / "job")}
    other = work / "other.img"
    make_source(other)
    changed = work / "changed.img"
    shutil.copyfile(source, changed)
    (work / "new.txt").write_bytes(b"written since")
    h.tool("ntfscp", "-f", changed, work / "new.txt", "new.txt")
    for label, arguments, words in (
            ("another drive", [other], "is not among these"),
            ("changed since", [changed], "begin a new job without --resume"),
            ("another format", ["--format", "tar", source], "another --format"),
            ("another size", ["--part-size", "2M", source], "another --part-size"),
            ("another person", ["--person", "mara", source], "another --person"),
            ("no such job", ["--name", "allotment", source], "no unfinished job"),
            ("a dry run", ["--dry-run", source], "do not go together")):
        done = h.run("extract", "--quiet", "--resume", "--to", to, *arguments)
        said = " ".join(done.stderr.split())
        h.check(done.returncode == 2 and words in said, label, done.returncode, said)
        after = {name: (to / "job" / name).read_bytes() for name in files_of(to / "job")}
        h.check(before == after, label, "the job was changed")
    h.check(resume(source, to).returncode == 0, "the job could not be gone on with after all that")
    done = resume(source, to)
    h.check(done.returncode == 2 and "no unfinished job" in done.stderr, "a complete job", done.stderr)


def check_not_read_again(source, work):
    """The sectors of files in finished parts: read by the first run, not by the second."""
    to = work / "to"
    break_off(source, to)
    done = subprocess.run(["strace", "-f", "-y", "-e", "trace=pread64", "-o", work / "reads", h.COLDLIFT, "extract",
                           "--quiet", "--resume", "--to", to, source], capture_output=True, check=False)
    h.check(done.returncode == 0, "going on while reads are counted", done.stderr)
    read = sum(int(match) for match in re.findall(r"pread64\(\d+<[^>]*/fernhill.img>.* = (\d+)$",
                                                  (work / "reads").read_text(), re.M))
    whole = 1100000 + 700000 + 90000
    h.check(0 < read < whole, "read", read, "bytes, as if nothing had been done before")


def members(job):
    """Name and bytes of everything in the parts: what did not read at once may stand in another order."""
    out = {}
    for part in job.glob("*.zip"):
        if "proof" not in part.name:
            with zipfile.ZipFile(part) as archive:
                out[part.name] = {name: archive.read(name) for name in archive.namelist()}
    return out


def check_holes(source, work):
    """Off a drive that does not read everywhere: the same files with the same holes, and the same findings."""
    to, whole, faulty = work / "to", work / "whole-faulty", work / "faulty.img"
    shutil.copyfile(source, faulty)
    # Where a file lies says ntfsinfo: a sector in the middle of the second one, and 40 of the largest.
    holes = []
    for name, length in (("map.bin", 512), ("shed.jpg", 20480)):
        text = h.tool("ntfsinfo", "-f", "-v", "-F", name, faulty).split("Dumping attribute $DATA")[1]
        lcn, count = (int(number, 16) for number in re.search(r"0x0\s+0x([0-9a-f]+)\s+0x([0-9a-f]+)", text).groups())
        holes.append(f"{(lcn + count // 2) * 4096} {length}")
    (work / "faulty.img.holes").write_text("\n".join(holes) + "\n")
    for folder in (to, whole):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    done = subprocess.run(command(faulty, whole, "zip", *OPTIONS), capture_output=True, text=True, check=False)
    h.check(done.returncode == 1, "a drive with holes", done.returncode, done.stderr)
    states = [json.loads(line).get("state") for line in (whole / "job/record.jsonl").read_text().splitlines()]
    h.check(states.count("partial") == 2, "partial files", states)
    for number in range(1, 9):
        shutil.rmtree(to / "job", ignore_errors=True)
        subprocess.run(["strace", "-f", "-o", "/dev/null", "-e", "trace=fsync", "-e",
                        f"inject=fsync:signal=SIGKILL:when={5 + 2 * number}", *command(faulty, to, "zip", *OPTIONS)],
                       capture_output=True, check=False)
        label = f"with holes, killed at fsync number {5 + 2 * number}:"
        if h.check((to / "job/journal").exists(), label, "was not cut off"):
            done = resume(faulty, to)
            h.check(done.returncode == 1, label, done.returncode, done.stderr)
            for name in ("record.jsonl", "findings.json", "account.json", "manifest-sha256.txt"):
                h.check(filecmp.cmp(to / "job" / name, whole / "job" / name, shallow=False), label, name, "differs")
            h.check(members(to / "job") == members(whole / "job"), label, "other contents")
            h.check(not (to / "job/salvage").exists(), label, "the store is still there")


def check_damage(source, work):
    """A finished part that is gone is told; a damaged checkpoint never makes a false job."""
    to = work / "to"
    break_off(source, to)
    number = int(re.search(r'"finished":\[(\d+),', (to / "job/journal").read_text()).group(1))
    part = to / "job" / re.findall(r'"part":\["([^"]*)"', (to / "job/journal").read_text())[number]
    content = part.read_bytes()
    part.unlink()
    done = resume(source, to)
    h.check(done.returncode == 4 and part.name in done.stderr, "a part is gone:", done.returncode, done.stderr)
    part.write_bytes(content)
    journal = to / "job/journal"
    text = journal.read_bytes()
    lines = text.splitlines(keepends=True)
    for number in range(len(lines) - 1, len(lines) - 4, -1):
        journal.write_bytes(b"".join(lines[:number]) + lines[number][:-9])  # torn by a power cut
        shutil.copytree(to, work / "torn")
        done = resume(source, work / "torn")
        h.check(done.returncode == 0, "torn in line", number, done.returncode, done.stderr)
        same(f"torn in line {number}", work / "torn/job", work / "whole-zip")
        shutil.rmtree(work / "torn")


def run():
    if subprocess.run(["strace", "-o", "/dev/null", "true"], check=False).returncode != 0:
        h.skip("strace is not permitted")
    with h.work_folder() as work:
        work = pathlib.Path(os.path.realpath(work))
        source = work / "fernhill.img"
        make_source(source)
        before = hashlib.sha256(source.read_bytes()).digest()
        begun = time.monotonic()
        count = sum(check_kills(source, work, format, most)
                    for format, most in (("zip", 6), ("tar", 3), ("folder", 4)))
        check_refusals(source, work)
        check_not_read_again(source, work)
        check_damage(source, work)
        check_holes(source, work)
        h.check(hashlib.sha256(source.read_bytes()).digest() == before, "the source has changed")
        print(f"{count} jobs went on in {time.monotonic() - begun:.0f} s")
    h.finish()


run()
