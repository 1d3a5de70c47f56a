#!/usr/bin/python3
"""The licence of the old system: its kind in the survey, its key only in a job that was asked for it.

Reference: the story of the demo drives, whose keys are encoded by Python code of their own (fixtures/maker/licence.py).
"""

import json
import os
import pathlib

from _harness import DEMO, check, finish, run, skip, work_folder

IMAGE = DEMO / "old-system.img"
TRUTH = DEMO / "expected.json"
KEYS = ["FRNHB-CDFGH-JKMPQ-RTVWX-Y2346", "BCDFG-HJKMP-QRTVW-XY234-6789F"]

if not IMAGE.exists():
    skip("the demo drives are not there: make demo-drives")
LICENCES = [row for row in json.loads(TRUTH.read_text(encoding="utf-8"))["licences"] if row["text"]]
with work_folder() as work:
    done = run("survey", "--json", IMAGE)
    licence = json.loads(done.stdout)["systems"][0]["licence"]
    check(licence["kind"] == "firmware" and licence["channel"] == "OEM:DM", licence)
    check(not any(key in done.stdout for key in KEYS), "the survey tells a key")
    # The machine's go with anybody, a person's own only with that person.
    of_machine = [row["text"] for row in LICENCES if not row["person"]]
    of_mara = [row["text"] for row in LICENCES if row["person"]]
    for name, options in (("without", []), ("with", ["--licence-keys"])):
        done = run("extract", "--to", work, "--name", name, "--person", "hut", *options, IMAGE)
        check(done.returncode in (0, 1), name, done.returncode, done.stderr[-500:])
        job = pathlib.Path(work) / name
        paper = job / "licence-keys.txt"
        check(paper.exists() == bool(options), name, "licence-keys.txt")
        for path in job.rglob("*"):
            holds = path.is_file() and any(key.encode() in path.read_bytes()
                                           for key in KEYS + of_machine)
            check(holds == (path == paper), path.name, "holds a key:", holds)
        check(run("verify", job).returncode == done.returncode, name, "verify")
        if options:
            text = paper.read_text(encoding="utf-8")
            check(all(key in text for key in KEYS) and "firmware" in text, text)
            check(all(key in text for key in of_machine), "serial numbers:", text)
            check(not any(key in text for key in of_mara), "somebody else's serial number:", text)
            check(all(row["where"] in text for row in LICENCES if not row["person"]), text)
            check(os.stat(paper).st_mode & 0o077 == 0, "the keys are open to others")
            tags = (job / "tagmanifest-sha256.txt").read_text(encoding="utf-8")
            check("  licence-keys.txt\n" in tags, tags)
            findings = json.loads((job / "findings.json").read_text(encoding="utf-8"))
            check(any(f["code"] == "licence" and "firmware" in f["sentence"] for f in findings),
                  "no finding")
    done = run("extract", "--to", work, "--name", "mara", "--person", "mara", "--licence-keys", "--format",
               "folder", IMAGE)
    text = (pathlib.Path(work) / "mara/licence-keys.txt").read_text(encoding="utf-8")
    check(all(key in text for key in of_machine + of_mara), "mara's serial numbers:", text)
finish()
