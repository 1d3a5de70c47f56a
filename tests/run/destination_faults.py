#!/usr/bin/python3
"""Every call with which extract changes its destination fails in turn: nothing may look whole then.

strace lets the calls fail (full, pulled out, read-only, a fault that is only told at the end), once or
from one call on. After each run: exit status 4 and one sentence, a journal in the job, parts under their
good names only when they are whole, no half file under its own name in a job of plain files, and
`verify` must not find the job proven; and when the destination takes everything again, --resume makes the job that
an uninterrupted run makes, byte by byte (after some of the faults; COLDLIFT_TORTURE=1: after each). What is whole is judged by Python's zipfile and tarfile and by the
bytes that ntfscp put on the source. What calls can fail with: write(2), fsync(2), close(2), rename(2).
"""

import hashlib
import os
import pathlib
import shutil
import subprocess
import sys
import tarfile
import time
import zipfile

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402
from _changes import calls_of, choose, command, goes_on, make_source, paths_of  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
os.environ["SOURCE_DATE_EPOCH"] = "1796000000"
RESUME_EVERY = 1 if os.environ.get("COLDLIFT_TORTURE") else 5
# Once, or from that call on.
FAULTS = {
    "openat": ("EROFS", "ENOSPC+"), "mkdir": ("ENOSPC", "EROFS"), "mkdirat": ("ENOSPC", "EIO+"),
    "write": ("EIO", "ENOSPC+"), "pwrite64": ("ENOSPC", "EIO+"), "ftruncate": ("EIO",),
    "fsync": ("EIO", "ENODEV+"), "syncfs": ("EIO",), "close": ("EIO",),
    "rename": ("EIO", "EROFS+"), "renameat": ("EIO", "ENOSPC+"), "unlink": ("EROFS", "EIO+"),
}
WORDS = {"ENOSPC": "is full", "EROFS": "can only be read", "EIO": "takes nothing any more",
         "ENODEV": "takes nothing any more"}


def whole_members(path):
    """Name and bytes of everything in a part; raises when the part is not whole."""
    if path.suffix == ".zip":
        with zipfile.ZipFile(path) as part:
            return [(name, part.read(name)) for name in part.namelist()]
    with tarfile.open(path) as part:
        return [(member.name, part.extractfile(member).read())
                for member in part.getmembers() if member.isfile()]


def is_right(name, content, wanted):
    """All of a file of the source, or a piece of one that is larger than a part."""
    name, _, piece = name.rsplit("/", 1)[-1].partition(".piece-")
    return wanted[name] == content if not piece else content and content in wanted[name]


def check_parts(job, wanted, label):
    for path in sorted(job.iterdir()):
        if path.suffix in (".zip", ".tar"):
            try:
                members = whole_members(path)
            except Exception as broken:  # whatever a broken part brings out
                h.check(False, label, path.name, "has a good name and is damaged:", broken)
                continue
            for name, content in members:
                if "proof" not in path.name and not name.endswith("/"):
                    h.check(is_right(name, content, wanted), label, path.name, name)
        elif path.name.startswith("job-files"):
            for file in path.rglob("*"):
                if file.is_file() and file.name != "file.unfinished":
                    h.check(is_right(file.name, file.read_bytes(), wanted), label,
                            "half a file is called", file.name)


def check_run(source, to, format, paths, wanted, name, number, fault):
    label = f"{format}: {name} number {number} gives {fault}:"
    when = str(number) + ("+" if fault.endswith("+") else "")
    error = fault.rstrip("+")
    shutil.rmtree(to / "job", ignore_errors=True)
    done = subprocess.run(
        ["strace", "-f", "--seccomp-bpf", "-o", "/dev/null", "-e", "trace=" + name,
         "-e", f"inject={name}:error={error}:when={when}", *paths,
         *command(source, to, format)],
        capture_output=True, text=True, errors="replace")
    h.check(done.returncode == 4, label, "exit status", done.returncode, done.stderr)
    said = " ".join(done.stderr.split())
    h.check(said.startswith("coldlift: ") and said.endswith("."), label, said)
    job = to / "job"
    if not job.exists():
        h.check("is incomplete" not in said, label, said)
        return
    if "everything is written" in said:  # the journal was taken away, and nothing could come back
        h.check(h.run("verify", "--quiet", job).returncode == 0, label, "a whole job is not proven")
        return
    if "is incomplete" in said:
        h.check(WORDS[error] in said or "cannot be read back" in said, label,
                "the reason is not told:", said)
        h.check("nothing was changed on the old drives" in said, label, said)
    h.check((job / "journal").exists() or (job / "journal.unfinished").exists(), label,
            "no journal:", sorted(os.listdir(job)), said)
    check_parts(job, wanted, label)
    proven = h.run("verify", "--quiet", job)
    h.check(proven.returncode not in (0, -11, -6), label, "verify", proven.returncode)


def run():
    if subprocess.run(["strace", "-o", "/dev/null", "true"], check=False).returncode != 0:
        h.skip("strace is not permitted")
    with h.work_folder() as work:
        work = pathlib.Path(os.path.realpath(work))
        source, to = work / "fernhill.img", work / "to"
        to.mkdir()
        wanted = make_source(source)
        before = hashlib.sha256(source.read_bytes()).digest()
        runs, gone_on, begun = 0, 0, time.monotonic()
        for format, most in (("zip", 14), ("tar", 5), ("folder", 9)):
            shutil.rmtree(to / "job", ignore_errors=True)
            paths = paths_of(source, to, format)
            whole = work / f"whole-{format}"
            shutil.copytree(to / "job", whole)
            calls = calls_of(source, to, format, paths)
            h.check(len(calls) > 40, format, "too few calls seen:", calls)
            for name, number in choose(calls, most):
                for fault in FAULTS[name]:
                    check_run(source, to, format, paths, wanted, name, number, fault)
                    runs += 1
                    if runs % RESUME_EVERY == 0 and (to / "job/journal").exists():
                        label = f"{format}: on after {name} number {number} gave {fault}:"
                        gone_on += goes_on(label, source, to, whole)
        h.check(hashlib.sha256(source.read_bytes()).digest() == before, "the source has changed")
        h.check(gone_on > runs // RESUME_EVERY // 2, "too few jobs could be gone on with:", gone_on)
        print(f"{runs} faults, {gone_on} jobs gone on with, in {time.monotonic() - begun:.0f} s")
    h.finish()


run()
