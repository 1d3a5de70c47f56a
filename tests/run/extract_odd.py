#!/usr/bin/python3
"""Files that a damaged or unusual file table describes: they arrive, the record says what is odd about
them, and verify proves the job.

Volumes are made by mkntfs and libntfs-3g (see ntfs/bench.py); the bytes are known beforehand. Where the
damage is written: linux-ntfs documentation, "$FILE_NAME", "Attribute header" (sizes of the data).
"""

import hashlib
import json
import os
import struct
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from bench import Bench, Listing, noise  # noqa: E402

COLDLIFT = os.environ["COLDLIFT"]
CLOUD = struct.pack("<IHH", 0x9000601A, 8, 0) + bytes(8)


def find_record(data, name):
    name = name.encode("utf-16-le")
    return next(at for at in range(0, len(data), 1024)
                if data[at:at + 4] == b"FILE" and name in data[at:at + 1024])


def make_image(bench):
    listing = Listing()
    listing.add("folder", "/Fernhill")
    listing.file("/Fernhill/twin a.txt", b"beans")
    listing.file("/Fernhill/twin b.txt", b"marigolds")
    listing.file("/Fernhill/endless.bin", noise(40000, 1))
    listing.add("file", "/Fernhill/half.bin", "0")
    listing.write("/Fernhill/half.bin", "", 65536, noise(65536, 2))
    listing.add("size", "/Fernhill/half.bin", "", 4 * 65536)
    listing.reparse("/Fernhill/half.bin", CLOUD)
    listing.add("attributes", "/Fernhill/half.bin", "401020")
    listing.add("link", "/Fernhill/half, again.bin", "/Fernhill/half.bin")
    # Deleted while it was open: the file system keeps a name for it, and its owner another.
    listing.file("/Fernhill/kept.bin", noise(9000, 3))
    listing.add("link", "/$Extend/0001000000000024.bin", "/Fernhill/kept.bin")
    # Made odd below: two streams of one name, one name twice, two records for one file.
    listing.file("/Fernhill/two in one.txt", b"early peas")
    listing.write("/Fernhill/two in one.txt", "late", 0, b"late peas")
    listing.file("/Fernhill/named a.txt", b"leeks")
    listing.add("link", "/Fernhill/named b.txt", "/Fernhill/named a.txt")
    listing.file("/pagefile.sys", b"page")
    listing.file("/spare.sys", b"spare")
    image = bench.make("odd.img", 16 << 20, 4096, 512, listing)
    with open(image, "rb") as file:
        data = bytearray(file.read())
    # Two files of one name in one folder; a file that has one name twice.
    for kind in ("twin", "named"):
        data = data.replace(f"{kind} b.txt".encode("utf-16-le"), f"{kind} a.txt".encode("utf-16-le"))
    # A stream that has lost its name: the length of the name is at 9 in the attribute's head.
    record = find_record(data, "two in one.txt")
    at = data.index("late".encode("utf-16-le"), record)
    while data[at:at + 4] != b"\x80\0\0\0":
        at -= 8
    assert data[at + 9] == 4
    data[at + 9] = 0
    # A copy of a record in the place of another; its own number is at 0x2C.
    page, spare = find_record(data, "pagefile.sys"), find_record(data, "spare.sys")
    number = data[spare + 0x2C:spare + 0x30]
    data[spare:spare + 1024] = data[page:page + 1024]
    data[spare + 0x2C:spare + 0x30] = number
    # A size that no drive can hold.
    record = find_record(data, "endless.bin")
    at = record + struct.unpack_from("<H", data, record + 0x14)[0]
    while struct.unpack_from("<I", data, at)[0] != 0x80:
        at += struct.unpack_from("<I", data, at + 4)[0]
    assert data[at + 8] == 1
    struct.pack_into("<QQ", data, at + 0x30, 1 << 60, 1 << 60)
    with open(image, "wb") as file:
        file.write(data)
    return image


def run(*arguments):
    return subprocess.run([COLDLIFT, *arguments], capture_output=True, text=True)


def check_job(bench, image, title, options):
    to = bench.path(title)
    os.mkdir(to)
    done = run("extract", "--quiet", "--to", to, "--name", "job", *options, image)
    bench.check(done.returncode == 1, f"{title}: extract: status {done.returncode}: {done.stderr}")
    job = os.path.join(to, "job")
    with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as file:
        lines = [json.loads(line) for line in file][1:]
    found = {}
    for line in lines:
        if line["kind"] == "file":
            found.setdefault(line["path"].split("\\")[-1], []).append(line)
    hashes = sorted(line["sha256"] for line in found["twin a.txt"])
    bench.check(hashes == sorted(hashlib.sha256(x).hexdigest() for x in (b"beans", b"marigolds")),
                f"{title}: twins {found['twin a.txt']}")
    contents = {line.get("stream", ""): line.get("sha256") for line in found["two in one.txt"]}
    bench.check(len(found["two in one.txt"]) == 2 and "" in contents and
                sorted(contents.values()) == sorted(hashlib.sha256(x).hexdigest()
                                                    for x in (b"early peas", b"late peas")),
                f"{title}: two streams of one name {found['two in one.txt']}")
    bench.check(len(found["named a.txt"]) == 1, f"{title}: one name twice {found['named a.txt']}")
    records = {line["file_record"] for line in found["pagefile.sys"]}
    bench.check(len(found["pagefile.sys"]) == 2 and len(records) == 2,
                f"{title}: two records for one file {found['pagefile.sys']}")
    bench.check(found["kept.bin"][0]["state"] == "taken" and
                [line["reason"] for line in found["0001000000000024.bin"]] == ["file-system"],
                f"{title}: a name under $Extend: {found['kept.bin']}")
    with open(os.path.join(job, "account.json"), encoding="utf-8") as file:
        volume, = json.load(file)["volumes"]
    # In clusters of 4,096 bytes; the twins lie in the file table.
    bench.check(volume["by_owner"]["taken"] == 10 + 3 and volume["by_owner"]["incomplete"] == 16,
                f"{title}: account: {volume}")
    endless = found["endless.bin"][0]
    bench.check(endless["state"] == "taken" and endless["size"] == 40960 and
                endless.get("note") == "described by a damaged file table",
                f"{title}: a size beyond all sense: {endless}")
    missing = [[0, 65536], [131072, 131072]]
    first, = [line for line in found["half.bin"] + found["half, again.bin"]
              if line["state"] == "incomplete"]
    second, = [line for line in found["half.bin"] + found["half, again.bin"]
               if line["state"] == "same"]
    for line in (first, second):
        bench.check(line["reason"] == "cloud-part" and line["missing"] == missing and
                    "note" not in line, f"{title}: half in the cloud: {line}")
    bench.check(second.get("same_as") == first["as"], f"{title}: second name: {second}")
    done = run("verify", "--json", job)
    bench.check(done.returncode == 1, f"{title}: verify: status {done.returncode}: {done.stdout}")


def main():
    bench = Bench()
    image = make_image(bench)
    for title, options in (("folder", ("--format", "folder")), ("zip", ()), ("tar", ("--format", "tar")),
                           ("once", ("--format", "folder", "--same", "once"))):
        check_job(bench, image, title, options)
    bench.close()


main()
