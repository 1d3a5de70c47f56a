"""A job of the demo drives against their ground truth, which was written without any code of coldlift. What lies in
\\Survey on D: is left in these jobs: 4 GiB of zeros are too slow to hash on an emulated processor."""

import json

from _sources import check
from _harness import DEMO, load_lines  # _sources says where it is


def compare(job):
    expected = {(e["volume"].lower(), e["path"], e.get("stream", ""), e["kind"]): e
                for e in json.loads((DEMO / "expected.json").read_text())["streams"]}
    record = [line for line in load_lines(job / "record.jsonl")[1:] if line["reason"] != "file-system"]
    check(len(record) == len(expected), f"{len(record)} lines for {len(expected)} streams, folders and links")
    for line in record:
        key = (line["volume"].lower(), line["path"], line.get("stream", ""), line["kind"])
        truth = expected.get(key)
        if truth is None:
            check(False, "the record has what the drives do not have:", key)
        elif line["reason"] == "not-asked":
            check(line["path"].startswith("\\Survey"), "left, though nobody said so:", key)
        else:
            check((line["state"], line["reason"]) == (truth["state"], truth["reason"]), "another state:", line)
            if "sha256" in line and "sha256" in truth:
                check(line["sha256"] == truth["sha256"], "other bytes:", line)
