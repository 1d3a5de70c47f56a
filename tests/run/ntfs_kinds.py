#!/usr/bin/python3
"""Everything that a file can be besides a row of bytes: cloud, archive, deduplication, links of every kind, on a
volume of mkntfs and libntfs-3g, and in a whole job.

Sources: [MS-FSCC] 2.1.2.1 (tags), 2.1.2.4 to 2.1.2.6 (data of links), 2.6 (attributes). That a file whose bytes lie
elsewhere is sparse: common practice, no source. The data of app-execution aliases and of the Linux subsystem's
links: common practice, no source.
"""

import json
import os
import struct
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from bench import Bench, Listing, digest, noise, streams  # noqa: E402

COLDLIFT = os.environ["COLDLIFT"]
UNIT = 65536
ARCHIVE, SPARSE, OFFLINE, PINNED, UNPINNED = 0x20, 0x200, 0x1000, 0x80000, 0x100000
RECALL_ON_OPEN, RECALL_ON_DATA = 0x40000, 0x400000
CLOUD = [0x9000001A | i << 12 for i in range(16)]
# FILE_PLACEHOLDER, ONEDRIVE, HSM, HSM2, DRIVE_EXTENDER, STORAGE_SYNC, PROJFS.
ELSEWHERE = [0x80000015, 0x80000021, 0xC0000004, 0x80000006, 0x80000005, 0x8000001E, 0x9000001C]
DEDUP = [0x80000013, 0x80000007]  # DEDUP, SIS


def tagged(tag, data=b"\1\0\0\0\2\0\0\0"):
    """Tags that are not Microsoft's own (without the highest bit) have a GUID before the data."""
    guid = b"" if tag >> 31 else bytes(range(16))
    return struct.pack("<IHH", tag, len(data), 0) + guid + data


def wide(text):
    return text.encode("utf-16-le")


class Truth:
    """path: (state, reason, sha256 or None, missing ranges)."""

    def __init__(self, listing):
        self.listing = listing
        self.rows = {}

    def gone(self, path, tag, attributes, state, reason):
        self._hollow(path, tag, attributes, [])
        self.rows[path] = (state, reason, None, None)

    def half(self, path, tag, attributes, state, reason):
        """The second of four units is there."""
        data = noise(UNIT, len(self.rows))
        self._hollow(path, tag, attributes, [(UNIT, data)])
        whole = bytes(UNIT) + data + bytes(2 * UNIT)
        missing = [[0, UNIT], [2 * UNIT, 2 * UNIT]] if state == "incomplete" else None
        self.rows[path] = (state, reason, digest(whole), missing)

    def here(self, path, tag, attributes=ARCHIVE):
        data = noise(3 * UNIT + 17, len(self.rows))
        self.listing.file(path, data)
        self._finish(path, tag, attributes)
        self.rows[path] = ("taken", "outside", digest(data), None)

    def _hollow(self, path, tag, attributes, parts):
        self.listing.add("file", path, "0")
        for at, data in parts:
            self.listing.write(path, "", at, data)
        self.listing.add("size", path, "", 4 * UNIT)
        self._finish(path, tag, attributes)

    def _finish(self, path, tag, attributes):
        if tag:
            self.listing.reparse(path, tagged(tag))
        self.listing.add("attributes", path, f"{attributes:x}")


def add_elsewhere(truth):
    away = ARCHIVE | OFFLINE | RECALL_ON_DATA | UNPINNED
    for tag in CLOUD:
        at = f"/cloud {tag:x}"
        truth.listing.add("folder", at)
        truth.gone(at + "/gone.bin", tag, away, "absent", "cloud-only")
        truth.gone(at + "/gone without a mark.bin", tag, ARCHIVE, "absent", "cloud-only")
        truth.half(at + "/half.bin", tag, away, "incomplete", "cloud-part")
        truth.half(at + "/half, recalled on opening.bin", tag, RECALL_ON_OPEN, "incomplete",
                   "cloud-part")
        truth.half(at + "/half, to be freed.bin", tag, UNPINNED, "incomplete", "cloud-part")
        truth.here(at + "/here.bin", tag)
        truth.here(at + "/here, whatever the marks say.bin", tag, away)
        truth.half(at + "/sparse and kept here.bin", tag, ARCHIVE | PINNED, "taken", "outside")
        truth.half(at + "/sparse and here.bin", tag, ARCHIVE, "taken", "outside")
    for tag in ELSEWHERE + [0x80000099, 0x000000F9]:  # and two that nobody knows
        at = f"/elsewhere {tag:x}"
        truth.listing.add("folder", at)
        truth.gone(at + "/gone.bin", tag, ARCHIVE | OFFLINE, "absent", "cloud-only")
        truth.half(at + "/half.bin", tag, ARCHIVE, "incomplete", "cloud-part")
        truth.here(at + "/here.bin", tag, ARCHIVE | OFFLINE)
    for tag in DEDUP:
        at = f"/deduplicated {tag:x}"
        truth.listing.add("folder", at)
        truth.gone(at + "/gone.bin", tag, ARCHIVE, "unreadable", "deduplicated")
        truth.half(at + "/half.bin", tag, ARCHIVE, "unreadable", "deduplicated")
        truth.rows[at + "/half.bin"] = ("unreadable", "deduplicated", None, None)
        truth.here(at + "/here.bin", tag)


def add_sparse(truth):
    """Without any tag what is sparse is zeros, unless the attributes say that it lies elsewhere."""
    truth.listing.add("folder", "/plain")
    truth.half("/plain/sparse.bin", 0, ARCHIVE, "taken", "outside")
    truth.half("/plain/sparse, pinned.bin", 0, ARCHIVE | PINNED, "taken", "outside")
    truth.half("/plain/half.bin", 0, ARCHIVE | OFFLINE, "incomplete", "cloud-part")
    truth.gone("/plain/gone.bin", 0, ARCHIVE | RECALL_ON_DATA, "absent", "cloud-only")
    truth.here("/plain/here.bin", 0, ARCHIVE | OFFLINE)


def add_links(listing):
    """{path: target} of everything that leads elsewhere and holds nothing itself."""
    names = wide("Fernhill.Rota_5eed\0Fernhill.Rota_5eed!Rota\0C:\\Rota\\rota.exe\0" "0\0")
    junction = wide("\\??\\C:\\Fernhill") + b"\0\0" + wide("C:\\Fernhill") + b"\0\0"
    shown, meant = len(wide("C:\\Fernhill")), len(wide("\\??\\C:\\Fernhill"))
    volume = wide("\\??\\Volume{5eed0001-fe61-4a11-8c0d-0a1107beef01}\\")
    target = wide("..\\minutes.txt")
    files = {
        "app alias.exe": (tagged(0x8000001B, struct.pack("<I", 3) + names), "C:\\Rota\\rota.exe"),
        "linux link": (tagged(0xA000001D, struct.pack("<I", 2) + b"../plots/3"), "../plots/3"),
        "socket": (tagged(0x80000023, b""), None),
        "fifo": (tagged(0x80000024, b""), None),
        "character device": (tagged(0x80000025, b""), None),
        "block device": (tagged(0x80000026, b""), None),
        "nfs link": (tagged(0x80000014, struct.pack("<Q", 0x014B4E4C) + wide("../gate")), "../gate"),
        "nfs fifo": (tagged(0x80000014, struct.pack("<Q", 0x4F464946)), None),
        "symbolic link.txt": (tagged(0xA000000C, struct.pack("<HHHHI", 0, len(target), 0,
                                                             len(target), 1) + target),
                              "..\\minutes.txt"),
    }
    folders = {
        "junction": (tagged(0xA0000003, struct.pack("<HHHH", 0, meant, meant + 2, shown) + junction),
                     "C:\\Fernhill"),
        "mount point": (tagged(0xA0000003, struct.pack("<HHHH", 0, len(volume), len(volume) + 2, 0) +
                               volume + bytes(4)),
                        "Volume{5eed0001-fe61-4a11-8c0d-0a1107beef01}\\"),
    }
    listing.add("folder", "/links")
    for name, (data, _) in files.items():
        listing.add("file", "/links/" + name, "0")
        # The Linux subsystem marks its special files so; libntfs-3g insists on it.
        listing.add("attributes", "/links/" + name, f"{RECALL_ON_OPEN:x}")
        listing.reparse("/links/" + name, data)
    for name, (data, _) in folders.items():
        listing.add("folder", "/links/" + name)
        listing.reparse("/links/" + name, data)
    return {"/links/" + name: target for name, (_, target) in {**files, **folders}.items()}


def check_volume(bench, image, truth, links):
    """As the plan's states follow from what src/ntfs says of the content."""
    dump = bench.dump(image)
    bench.check(dump["findings"] == [], f"findings {dump['findings']}")
    bench.check(dump["clusters_used"] + dump["clusters_free"] == dump["clusters"], "clusters")
    found = streams(dump)
    contents = {"absent": "cloud-only", "incomplete": "cloud-part", "unreadable": "deduplicated",
                "taken": "readable"}
    for path, (state, _, sha256, missing) in truth.items():
        stream = found[path.replace("/", "\\"), ""]
        bench.check(stream["content"] == contents[state], f"{path}: {stream['content']}")
        if sha256:
            bench.check(stream["sha256"] == sha256, f"{path}: other bytes")
        if missing:
            bench.check(stream["missing"] == missing, f"{path}: missing {stream['missing']}")
    targets = {entry["path"].replace("\\", "/"): entry["target"] for entry in dump["entries"]}
    for path, target in links.items():
        bench.check(targets[path] == target, f"{path}: leads to {targets[path]}")


def check_job(bench, image, truth, links, title, *options):
    to = bench.path(title)
    os.mkdir(to)
    done = subprocess.run([COLDLIFT, "extract", "--quiet", "--to", to, "--name", "job", *options,
                           image], capture_output=True, text=True)
    bench.check(done.returncode == 1, f"{title}: status {done.returncode}: {done.stderr}")
    job = os.path.join(to, "job")
    with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as file:
        lines = [json.loads(line) for line in file][1:]
    found = {line["path"].replace("\\", "/"): line for line in lines if "stream" not in line}
    for path, (state, reason, sha256, missing) in truth.items():
        line = found[path]
        bench.check((line["state"], line["reason"]) == (state, reason),
                    f"{title}: {path} is {line['state']}, {line['reason']}")
        bench.check(line.get("sha256") == sha256, f"{title}: {path}: other bytes")
        bench.check(line.get("missing") == missing, f"{title}: {path}: {line.get('missing')}")
        bench.check(("as" in line) == (sha256 is not None), f"{title}: {path}: {line.get('as')}")
    for path, target in links.items():
        line = found[path]
        bench.check((line["kind"], line["state"], line["reason"]) == ("link", "left", "link"),
                    f"{title}: {path}: {line}")
        bench.check(line.get("target") == target, f"{title}: {path}: {line.get('target')}")
    with open(os.path.join(job, "account.json"), encoding="utf-8") as file:
        volume, = json.load(file)["volumes"]
    bench.check(volume["by_owner"]["unaccounted"] == 0, f"{title}: account {volume}")
    with open(os.path.join(job, "findings.json"), encoding="utf-8") as file:
        codes = {finding["code"] for finding in json.load(file)}
    bench.check({"files-deduplicated", "files-cloud-only", "files-cloud-part"} <= codes,
                f"{title}: findings {codes}")
    done = subprocess.run([COLDLIFT, "verify", job], capture_output=True, text=True)
    bench.check(done.returncode == 1 and "Proven" in done.stdout,
                f"{title}: verify {done.returncode}: {done.stdout}")
    return found


def main():
    bench = Bench()
    listing = Listing()
    truth = Truth(listing)
    add_elsewhere(truth)
    add_sparse(truth)
    links = add_links(listing)
    image = bench.make("kinds.img", 48 << 20, 4096, 512, listing)
    check_volume(bench, image, truth.rows, links)
    for title, options in (("folder", ("--format", "folder")), ("zip", ()),
                           ("tar", ("--format", "tar", "--same", "each"))):
        check_job(bench, image, truth.rows, links, title, *options)
    bench.close()


main()
