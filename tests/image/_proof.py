"""Proves a job on the host with tools that did not make it, as anybody could who has no coldlift."""

import shutil
import subprocess

from _sources import check, tool
from _harness import run  # _sources says where it is
from _volumes import UTF8


def prove(job, whole, status=1, least=11):
    """`coldlift verify`; unzip -t of every zip; everything unpacked into the new folder `whole` and hashed by
    sha256sum. The demo drives have losses, which are listed: status 1; and no fewer parts than `least`."""
    done = run("verify", job)
    check(done.returncode == status and "Proven" in done.stdout, "the job is not proven:", done.stdout, done.stderr)
    check(not (job / "journal").exists(), "the job says that it is not complete")
    parts = sorted([*job.glob("*.zip"), *job.glob("*.tar")])
    check(len(parts) >= least, "too few parts:", parts)
    whole.mkdir()
    for part in parts:
        if part.suffix == ".zip":
            tool("unzip", "-tqq", part)
        if part.stem != f"{job.name}-proof":
            unpack(part, whole)
    shutil.copy(job / "SHA256SUMS", whole)
    done = subprocess.run(["sha256sum", "--check", "--quiet", "--strict", "SHA256SUMS"], cwd=whole, check=False,
                          capture_output=True, text=True)
    check(done.returncode == 0, "sha256sum:", done.stdout[-1000:], done.stderr[-1000:])


def unpack(part, folder):
    if part.suffix == ".zip":
        tool("unzip", "-qq", part, "-d", folder, env=UTF8)
    else:
        tool("tar", "-xf", part, "-C", folder, env=UTF8)


def check_unfinished(job):
    """A job that broke off: it says so, no part is damaged under a good name, and it is not proven."""
    check((job / "journal").is_file() and (job / "journal").read_text().strip(), f"{job.name} does not say that it is unfinished")
    check(not (job / "SHA256SUMS").exists(), f"{job.name} has the proof of a complete job")
    for part in job.glob("*.zip"):
        done = subprocess.run(["unzip", "-tqq", part], check=False, capture_output=True, text=True)
        check(done.returncode == 0, f"{part.name} looks whole and is not:", done.stdout, done.stderr)
    done = run("verify", job)
    check(done.returncode not in (0, 1) and "Proven" not in done.stdout, f"{job.name} counts as proven:", done.stdout)
