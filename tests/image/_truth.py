"""A job of the demo drives against their ground truth, which was written without any code of coldlift. What lies in
\\Survey on D: is left in these jobs: 4 GiB of zeros are too slow to hash on an emulated processor."""

import json

from _sources import check, sha256
from _harness import DEMO, load_lines  # _sources says where it is

LEFT = "D:\\Survey\\**"


def ground_truth(others):
    """By volume, path, stream and kind. `others`: more volumes, as {label: {path: sha256}}."""
    entries = json.loads((DEMO / "expected.json").read_text())["streams"]
    entries += [{"volume": label, "path": path, "kind": "file", "state": "taken", "reason": "outside", "sha256": digest}
                for label, files in others.items() for path, digest in files.items()]
    return {(e["volume"].lower(), e["path"], e.get("stream", ""), e["kind"]): e for e in entries}


def compare(job, whole, others=None):
    """`whole`: the folder into which the job's parts were unpacked."""
    expected = ground_truth(others or {})
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
            if truth["state"] in ("taken", "same") and "sha256" in truth:
                check(sha256(whole / line["as"]) == truth["sha256"] == line["sha256"], "other bytes:", line)
