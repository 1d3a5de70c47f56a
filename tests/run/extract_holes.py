#!/usr/bin/python3
"""An image that is cut off, or has a list of unreadable ranges beside it: only those are lost.

The truth is expected.json, which the maker of the demo drives writes without any code of src/: a file of
the whole image is believed when its SHA-256 stands there.
"""

import hashlib
import json
import os
import shutil
import subprocess
import sys

COLDLIFT = os.environ["COLDLIFT"]
DEMO = os.environ["COLDLIFT_DEMO"]
IMAGE = os.path.join(DEMO, "old-data.img")
# The 4 GiB file of the demo is left: it says nothing here and takes long.
LEAVE = ["--leave", "\\Survey\\**"]

failures = []


def check(condition, *words):
    if not condition:
        failures.append(" ".join(str(word) for word in words))


def extract(image, to, wanted, *options):
    os.mkdir(to)
    done = subprocess.run([COLDLIFT, "extract", "--quiet", "--to", to, "--name", "job", *options,
                           *LEAVE, image], capture_output=True, text=True)
    check(done.returncode in wanted, image, "status", done.returncode, done.stderr[:300])
    job = os.path.join(to, "job")
    with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as lines:
        record = [json.loads(line) for line in lines][1:]
    return job, {(line["path"], line.get("stream", "")): line for line in record
                 if line["kind"] == "file"}


def read(job, line):
    with open(os.path.join(job, "job-files", line["as"]), "rb") as file:
        return file.read()


def check_partial(line, cut, whole):
    """Holes are zero, everything else is as it was."""
    check(len(cut) == len(whole), line["path"], "has another size")
    check(line["holes"], line["path"], "is partial without holes")
    at = 0
    for offset, length in line["holes"]:
        check(cut[at:offset] == whole[at:offset], line["path"], "differs outside its holes")
        check(not any(cut[offset:offset + length]), line["path"], "holds something in a hole")
        at = offset + length
    check(cut[at:] == whole[at:], line["path"], "differs behind its holes")
    check(hashlib.sha256(cut).hexdigest() == line["sha256"], line["path"], "has another hash")


def compare(truth, job, record, whole_job, whole):
    counts = {}
    for key, line in record.items():
        counts[line["state"]] = counts.get(line["state"], 0) + 1
        if line["state"] in ("taken", "same") and key in truth:
            check(line["sha256"] == truth[key], key, "is taken with other bytes")
        elif line["state"] == "partial":
            check(whole[key].get("sha256") == truth.get(key), key, "is not believed")
            check_partial(line, read(job, line), read(whole_job, whole[key]))
        elif line["state"] == "unreadable":
            check("as" not in line and "sha256" not in line, key, "is in the archive all the same")
        if line["state"] in ("partial", "unreadable") and whole[key]["state"] in ("taken", "same"):
            check(line["reason"] in ("read-error", "damaged"), key, "for the reason", line["reason"])
    return counts


def listed(whole_job, whole):
    """A list beside the image: whatever stands in its ranges, the files there are partial."""
    with open(IMAGE, "rb") as source:
        image = source.read()
    for key, line in whole.items():
        data = read(whole_job, line) if line["state"] == "taken" and line["size"] > 60000 else b""
        at = image.find(data[:4096])
        if data and image[at:at + len(data)] == data and image.find(data[:4096], at + 1) < 0:
            break
    else:
        check(False, "no file lies in one piece")
        return
    shutil.copyfile(IMAGE, "listed.img")
    with open("listed.img.holes", "w", encoding="ascii") as file:
        file.write(f"# made by hand\n{at + 8192 + 100} 1\n{at + 20480} 1024\n")
    job, record = extract("listed.img", "listed", (1,), "--format", "folder")
    check(record[key]["state"] == "partial", key, "is", record[key]["state"])
    check(record[key].get("holes") == [[8192, 512], [20480, 1024]], key, record[key].get("holes"))
    check_partial(record[key], read(job, record[key]), data)
    others = {other: row["sha256"] for other, row in record.items()
              if other != key and "sha256" in row}
    check(others == {other: row["sha256"] for other, row in whole.items()
                     if other != key and "sha256" in row}, "a list costs other files")
    with open(os.path.join(job, "findings.json"), encoding="utf-8") as file:
        check("image-has-holes" in file.read(), "no finding of the list")
    with open("listed.img.holes", "a", encoding="ascii") as file:
        file.write("much\n")
    done = subprocess.run([COLDLIFT, "survey", "listed.img"], capture_output=True, text=True)
    check(done.returncode == 2 and "line 4 of" in " ".join(done.stderr.split()), "a wrong list:",
          done.returncode, done.stderr)


def main():
    if not os.path.exists(IMAGE):
        print("no demo drives")
        sys.exit(77)
    with open(os.path.join(DEMO, "expected.json"), encoding="utf-8") as file:
        truth = {(row["path"], row["stream"]): row["sha256"]
                 for row in json.load(file)["streams"]
                 if row["volume"] == "D:" and row["kind"] == "file" and "sha256" in row}
    whole_job, whole = extract(IMAGE, "whole", (0, 1), "--format", "folder")
    seen = {}
    for size in (10, 18, 34, 50):
        with open(IMAGE, "rb") as source, open("cut.img", "wb") as target:
            shutil.copyfileobj(source, target)
            target.truncate(size << 20)
        job, record = extract("cut.img", f"cut-{size}", (1,), "--format", "folder")
        check(record.keys() == whole.keys(), size, "MiB: the record lists other files")
        for state, count in compare(truth, job, record, whole_job, whole).items():
            seen[state] = seen.get(state, 0) + count
        with open(os.path.join(job, "findings.json"), encoding="utf-8") as file:
            codes = {finding["code"] for finding in json.load(file)}
        check("files-unreadable" in codes, size, "MiB: no finding of loss", codes)
        sums = subprocess.run(["sha256sum", "-c", "--quiet", "../SHA256SUMS"],
                              cwd=os.path.join(job, "job-files"), capture_output=True, text=True)
        check(sums.returncode == 0, size, "MiB: sha256sum:", sums.stderr[:300], sums.stdout[:300])
        zip_job, zip_record = extract("cut.img", f"zip-{size}", (1,))
        check({key: line["state"] for key, line in zip_record.items()} ==
              {key: line["state"] for key, line in record.items()}, size, "MiB: zip differs")
    listed(whole_job, whole)
    for state in ("taken", "partial", "unreadable"):
        check(seen.get(state, 0) > 0, "no file is", state, "in any of the cut images")
    for failure in failures:
        print("FAILED:", failure)
    print(seen)
    sys.exit(1 if failures else 0)


main()
