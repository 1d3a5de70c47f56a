#!/usr/bin/python3
"""programs.json of a job, and what is taken when the owner asks for what the survey offers.

Reference: expected.json, which the builder of the drives writes without any code of src/; Python's hashlib for the
files as they arrived.
"""

import hashlib
import json
import pathlib
import re

from _harness import DEMO, check, finish, load_lines, run, skip, work_folder

IMAGES = [DEMO / "old-system.img", DEMO / "old-data.img"]


def offered_patterns(text):
    """What the survey's text says to give to --take."""
    return sorted(set(re.findall(r'--take "([^"]+)"', re.sub(r"\s*\n\s+", " ", text))))


def below(expected, pattern):
    """The files that a pattern of a folder stands for."""
    if not pattern.endswith("\\**"):
        return {row["path"]: row for row in expected["streams"]
                if row["volume"] + row["path"] == pattern and row["stream"] == ""}
    folder = pattern.removesuffix("\\**")[2:].casefold() + "\\"
    return {row["path"]: row for row in expected["streams"]
            if row["volume"] == pattern[:2] and row["kind"] == "file" and row["stream"] == "" and
            row["path"].casefold().startswith(folder)}


def check_taken(job, expected, pattern):
    rows = below(expected, pattern)
    check(rows, "nothing lies in", pattern)
    lines = {line["path"]: line for line in load_lines(job / "record.jsonl")[1:]
             if line.get("kind") == "file" and line["volume"] == pattern[:2]}
    for path, row in rows.items():
        line = lines.get(path, {})
        check(line.get("state") == "taken", path, "is", line.get("state"))
        files = list(job.glob("*-files/" + line["as"])) if "as" in line else []
        check(files and hashlib.sha256(files[0].read_bytes()).hexdigest() == row["sha256"], path,
              "arrived as", files)


def main():
    if not (DEMO / "expected.json").exists():
        skip("no demo drives: make demo-drives")
    expected = json.loads((DEMO / "expected.json").read_text(encoding="utf-8"))
    survey = run("survey", "--json", *IMAGES)
    system = json.loads(survey.stdout)["systems"][0]
    patterns = offered_patterns(survey.stderr)
    check(expected["drivers"][0]["folder"] + "\\**" in patterns, "drivers are not offered", patterns)
    # Licence files are taken by the very path that is told; those in a profile are taken anyway.
    offered = [row["where"] for row in expected["licences"]
               if row["kind"] == "file" and not row["person"]]
    patterns += offered
    # Gigabytes are only planned here: what is offered would be taken.
    for row in expected["bulk"]:
        check(row["take"] in patterns, row["take"], "is not offered in the text")
        patterns.remove(row["take"])
        dry = run("extract", "--dry-run", "--json", "--take", row["take"], "--to", "/tmp", *IMAGES)
        planned = {item["volume"] + item["path"]: item for item in json.loads(dry.stdout)["items"]
                   if item.get("kind") == "file"}
        rows = below(expected, row["take"])
        check(len(rows) > 1, row["take"], rows)
        for path in rows:
            item = planned.get(row["take"][:2] + path, {})
            check(item.get("state") == "taken", path, "would be", item.get("state"))
    with work_folder() as work:
        takes = [word for pattern in patterns for word in ("--take", pattern)]
        done = run("extract", "--to", work, "--name", "hut", "--format", "folder", "--person", "hut",
                   *takes, *IMAGES)
        check(done.returncode in (0, 1), "extract", done.returncode, done.stderr[-500:])
        job = pathlib.Path(work) / "hut"
        programs = json.loads((job / "programs.json").read_text(encoding="utf-8"))
        for key in ("programs", "other_licences", "game_libraries", "driver_packages"):
            check(programs[key] == system[key], key, "differ from the survey's")
        check(programs["driver_packages"] == expected["drivers"], programs["driver_packages"])
        for pattern in patterns:
            check_taken(job, expected, pattern)
        check(run("verify", job).returncode == done.returncode, "verify")
    finish()


if __name__ == "__main__":
    main()
