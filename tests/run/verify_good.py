#!/usr/bin/python3
"""`verify` proves valid jobs that another program made, in every format.

That the jobs are valid is checked by others first: unzip and GNU tar unpack the parts, and sha256sum -c
(GNU coreutils) proves them beside the tag files.
"""

import json
import os
import pathlib
import shutil
import subprocess

import _job_maker as maker
from _harness import check, finish, run, tool, work_folder


def prove_by_others(folder, format, scratch):
    scratch.mkdir()
    for part in sorted(folder.glob(f"*.{format}")) if format != "folder" else []:
        if part.name.endswith("-proof.zip"):
            continue
        if format == "zip":
            tool("unzip", "-q", "-o", part, "-d", scratch)
        else:
            tool("tar", "-xf", part, "-C", scratch)
    if format == "folder":
        shutil.copytree(folder / f"{maker.NAME}-files", scratch, dirs_exist_ok=True)
    tool("unzip", "-q", "-o", folder / f"{maker.NAME}-proof.zip", "-d", scratch)
    tool("sha256sum", "--strict", "--quiet", "-c", "SHA256SUMS", cwd=scratch)


with work_folder() as work:
    work = pathlib.Path(work)
    for format in ("zip", "tar", "folder"):
        for what in ({}, {"losses": True}, {"links": True}, {"pieces": True},
                     {"losses": True, "links": True, "pieces": True}):
            label = "-".join([format, *what])
            folder = work / label
            job = maker.Job(format, **what)
            job.write(folder)
            prove_by_others(folder, format, work / f"{label}.unpacked")

            done = run("verify", folder)
            wanted = 1 if "losses" in what else 0
            check(done.returncode == wanted, label, "status", done.returncode, done.stdout, done.stderr)
            check("Proven:" in done.stdout, label, "does not say that it is proven", done.stdout)
            check(done.stderr == "", label, "complains", done.stderr)
            check(max(map(len, done.stdout.splitlines())) < 80, label, "is too wide")
            if "losses" in what:
                check("4 items did not arrive whole" in " ".join(done.stdout.split()), label,
                      done.stdout)
                check("listed 1 loss:" in " ".join(done.stdout.split()), label, done.stdout)

            done = run("verify", "--json", folder)
            facts = json.loads(done.stdout)
            check(facts["proven"] is True and facts["differences"] == [], label, facts)
            check(facts["files"] == len(job.payload), label, facts["files"], len(job.payload))
            check(facts["file_bytes"] == sum(map(len, job.payload.values())), label)
            check(facts["record_lines"] == len(job.record) - 1, label)
            quiet = run("verify", "--quiet", folder)
            check((quiet.stdout, quiet.stderr, quiet.returncode) == ("", "", wanted), label, quiet)

    # A job can be renamed, looked at from inside, and lie beside what it was unpacked to.
    folder = work / "renamed"
    maker.Job("zip").write(folder)
    (folder / "notes.txt").write_text("from the committee")
    (folder / "data").mkdir()
    done = run("verify", ".", cwd=folder)
    check(done.returncode == 0, "renamed", done.stdout, done.stderr)
    check("2 names in the folder are no part of the job" in done.stdout, done.stdout)

    # Pieces whose parts are not in the order of the pieces are joined all the same.
    for format in ("zip", "tar"):
        job = maker.Job(format, pieces=True)
        names = [job.part(f"mara-pictures-{n}") for n in (2, 3, 4)]
        turned = dict(zip(names, reversed(names)))
        job.members = {turned.get(name, name): members for name, members in job.members.items()}
        for line in job.record:
            if "parts" in line:
                line["parts"] = [turned[name] for name in line["parts"]]
        job.write(work / f"turned-{format}")
        done = run("verify", work / f"turned-{format}")
        check(done.returncode == 0, "turned", format, done.stdout, done.stderr)

    # Nothing is proven when nobody can be told.
    with open("/dev/full", "wb") as full:
        for options in ([], ["--json"]):
            done = subprocess.run([os.environ["COLDLIFT"], "verify", *options, folder], stdout=full,
                                  stderr=subprocess.PIPE, text=True)
            check(done.returncode == 5 and "standard output" in " ".join(done.stderr.split()),
                  "a full disk behind standard output", done)

    # The command line, and what is no job.
    check(run("verify").returncode == 2, "no job")
    check(run("verify", folder, folder).returncode == 2, "two jobs")
    check(run("verify", "--nonsense", folder).returncode == 2, "an unknown option")
    check(run("verify", "--help").returncode == 0, "help")
    check(run("verify", work / "nowhere").returncode == 4, "a job that is not there")
    check(run("verify", folder / "bagit.txt").returncode == 4, "a file")
    (work / "empty").mkdir()
    done = run("verify", work / "empty")
    check(done.returncode == 5 and "not the folder of a job" in " ".join(done.stderr.split()),
          "an empty folder", done)
finish()
