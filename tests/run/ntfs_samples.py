#!/usr/bin/python3
"""The open sample volumes, written by other NTFS drivers, read by src/ntfs and by libntfs-3g.

Sources: ntfs/ntfs3.raw.gz and ntfs/ntfs3_attrlist.raw.gz of the sample data; ntfsls and ntfscat (and
fixtures/fill/look.c) of libntfs-3g are the independent readers.
"""

import gzip
import os
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from bench import DATA, Bench, as_listed, codes, digest, skip, streams  # noqa: E402

# In use and with a name in /test, but missing from that folder's index, so that readers which go by the
# indexes (as libntfs-3g does) cannot see it. src/ntfs goes by the file table and must find it.
HIDDEN = {"ntfs3": {"/test/1.txt"}, "ntfs3_attrlist": set()}


def listed(image):
    """Paths by ntfsls."""
    done = subprocess.run(["ntfsls", "-R", image], check=True, capture_output=True, text=True)
    paths, folder = set(), None
    for line in done.stdout.splitlines():
        if line.startswith("/") and line.endswith(":"):
            folder = line[:-1].rstrip("/")
        elif line and line != ".":
            paths.add(f"{folder}/{line}")
    return paths


def check_sample(bench, name):
    image = bench.path(name)
    with gzip.open(os.path.join(DATA, "ntfs", name + ".raw.gz")) as packed, open(image, "wb") as raw:
        raw.write(packed.read())
    dump = bench.dump(image)
    bench.check(dump is not None, f"{name}: cannot be opened")
    if dump is None:
        return
    ours = {as_listed(entry["path"]) for entry in dump["entries"] if not entry["flags"] & 8}
    bench.check(ours == listed(image) | HIDDEN[name],
                f"{name}: names differ from ntfsls: {ours ^ listed(image)}")
    bench.check(dump["clusters_used"] + dump["clusters_free"] == dump["clusters"],
                f"{name}: the account of clusters does not close")
    bench.check(not codes(dump), f"{name}: findings {dump['findings']}")
    theirs = {key[1:]: value for key, value in bench.look(image).items() if key[0] == "file"}
    found = streams(dump)
    for (path, stream), value in found.items():
        data = bench.cat(image, value["entry"]["node"], stream)
        bench.check(digest(data) == value["sha256"] and len(data) == value["size"],
                    f"{name}: {path} differs from ntfscat")
        key = (as_listed(path), as_listed(stream))
        if key[0] not in HIDDEN[name]:
            bench.check(theirs.pop(key, None) == (value["size"], value["sha256"]),
                        f"{name}: {path} differs from libntfs-3g")
    bench.check(not theirs, f"{name}: not found: {theirs}")
    bench.check(len(found) >= 3, f"{name}: only {len(found)} streams")


def main():
    if not os.path.isdir(os.path.join(DATA, "ntfs")):
        skip("the sample data are not here")
    bench = Bench()
    check_sample(bench, "ntfs3")
    check_sample(bench, "ntfs3_attrlist")
    bench.close()


main()
