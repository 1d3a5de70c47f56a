#!/usr/bin/python3
"""Everything that a file can be besides a row of bytes: cloud, archive, deduplication, links of every kind,
encrypted, on a volume of mkntfs and libntfs-3g, and in a whole job.

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
from bench import Bench, Listing, digest, find_stream, noise, streams, text  # noqa: E402

COLDLIFT = os.environ["COLDLIFT"]
UNIT = 65536
KEY = "$EFS:$LOGGED_UTILITY_STREAM"
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


# name: (bytes, attributes, how many of them were ever written)
STARTED = {
    "whole clusters.bin": (noise(10 * 4096, 30), "0", 4096),
    "within a cluster.bin": (noise(3 * UNIT + 9, 31), "0", UNIT + 1001),
    "nothing yet.bin": (noise(50000, 32), "0", 0),
    "within a unit.lz": (text(3 * UNIT, 33), "800", UNIT + 30001),
    "whole units.lz": (text(3 * UNIT, 34), "800", 2 * UNIT),
}
SEALED_START = (noise(20 * 512, 35), 3 * 512 + 7)


def add_started(listing):
    """Files that are larger than what was ever written into them; see start()."""
    listing.add("folder", "/started")
    for name, (data, attributes, _) in STARTED.items():
        listing.file("/started/" + name, data, attributes)
    listing.file("/started/sealed.bin", SEALED_START[0] + b"\0\0")
    listing.add("encrypt", "/started/sealed.bin", listing.store(struct.pack("<IIII", 84, 0, 2, 0) + bytes(68)))


def start(image, truth):
    """What lies behind the initialised size is not the file's: it reads as zeros."""
    with open(image, "r+b") as file:
        data = bytearray(file.read())
        for name, (content, _, initialized) in STARTED.items():
            struct.pack_into("<Q", data, find_stream(data, name)[1] + 0x38, initialized)
            whole = content[:initialized] + bytes(len(content) - initialized)
            truth.rows["/started/" + name] = ("taken", "outside", digest(whole), None)
        struct.pack_into("<Q", data, find_stream(data, "sealed.bin")[1] + 0x38, SEALED_START[1])
        file.seek(0)
        file.write(data)


def check_started(bench, image, found):
    """The same by ntfscat; of an encrypted file whole sectors count."""
    for name in STARTED:
        line = found["/started/" + name]
        bench.check(digest(bench.cat(image, line["file_record"])) == line["sha256"],
                    f"{name}: ntfscat reads other bytes")
        bench.check(("note" in line) == (name == "nothing yet.bin"), f"{name}: {line.get('note')}")
    line = found["/started/sealed.bin"]
    raw = SEALED_START[0][:4 * 512]
    bench.check(line["sha256"] == digest(raw + bytes(16 * 512)) and line["gaps"] == [[4 * 512, 16 * 512]],
                f"sealed: {line}")


def add_encrypted(listing):
    """{path: (raw sectors, key stream)} of files that the file system encrypted.

    libntfs-3g wants whole sectors and the length of the padding behind them; sector by sector the bytes stay as they
    are on the drive.
    """
    made = {}
    listing.add("folder", "/encrypted")
    for name, size, key in (("short.txt", 1, 84), ("one sector.txt", 512, 84),
                            ("long.bin", 3 * UNIT + 100, 3000), ("long key.bin", 9000, 20000)):
        raw = noise(size + -size % 512, len(name))
        key = struct.pack("<IIII", key, 0, 2, 0) + noise(key - 16, key)
        path = "/encrypted/" + name
        listing.file(path, raw + struct.pack("<H", -size % 512))
        listing.add("encrypt", path, listing.store(key))
        made[path] = (size, raw, key)
    listing.add("link", "/encrypted/another name.bin", "/encrypted/long.bin")
    # A folder in which everything is to be encrypted has a key stream, too; of a stream the name stands in front.
    listing.add("folder", "/beside")
    listing.add("folder", "/beside/folder")
    listing.add("encrypt", "/beside/folder", listing.store(FOLDER_KEY))
    listing.file("/beside/streams.txt", noise(512, 40) + b"\x01\0")
    listing.write("/beside/streams.txt", "side", 0, noise(9 * 512, 41) + b"\x02\0")
    listing.add("encrypt", "/beside/streams.txt", listing.store(FOLDER_KEY))
    return made


FOLDER_KEY = struct.pack("<IIII", 84, 0, 2, 0) + noise(68, 42)


def check_beside(bench, lines, title):
    """Key stream of a folder; a further stream of an encrypted file."""
    at = "data/drives/Fernhill \u00e9/beside/"
    wanted = {
        ("/beside/folder", KEY): ("taken", "keys", "encrypted-key", digest(FOLDER_KEY), "folder.encrypted-key"),
        ("/beside/streams.txt", KEY): ("taken", "keys", "encrypted-key", digest(FOLDER_KEY),
                                          "streams.txt.encrypted-key"),
        ("/beside/streams.txt", ""): ("locked", "encrypted", "encrypted-data", digest(noise(512, 40)),
                                         "streams.txt.encrypted-data"),
        ("/beside/streams.txt", "side"): ("locked", "encrypted", "encrypted-data", digest(noise(9 * 512, 41)),
                                             "streams.txt.stream-side.encrypted-data"),
    }
    for line in lines:
        key = (line["path"].replace("\\", "/"), line.get("stream", ""))
        if line["kind"] == "file" and key in wanted:
            *fields, name = wanted.pop(key)
            bench.check([line["state"], line["reason"], line["form"], line["sha256"]] == fields and
                        line["as"] == at + name, f"{title}: {line}")
    bench.check(not wanted, f"{title}: not there: {wanted}")


def check_encrypted(bench, image, made, found, keys, title):
    """Kept as they are: sectors and key stream; what nobody owns stays with its drive."""
    for path, (size, raw, key) in made.items():
        line, of_key = found[path], keys[path]
        if line["state"] == "same":  # of two names the first counts
            line, of_key = found["/encrypted/another name.bin"], keys["/encrypted/another name.bin"]
        bench.check((line["state"], line["reason"], line["form"], line["size"], line["stored"]) ==
                    ("locked", "encrypted", "encrypted-data", size, len(raw)),
                    f"{title}: {path}: {line}")
        bench.check(line["sha256"] == digest(raw), f"{title}: {path}: other bytes")
        bench.check((of_key["state"], of_key["reason"], of_key["form"], of_key["size"]) ==
                    ("taken", "keys", "encrypted-key", len(key)), f"{title}: {path}: {of_key}")
        bench.check(of_key["sha256"] == digest(key), f"{title}: {path}: another key stream")
        number = str(line["file_record"])
        theirs = subprocess.run(["ntfscat", "-f", "-i", number, "-a", "256", "-n", "$EFS", image],
                                check=True, capture_output=True).stdout
        bench.check(theirs == key, f"{path}: ntfscat reads another key stream")
        bench.check(line["as"].endswith(".encrypted-data") and
                    of_key["as"] == line["as"][:-4] + "key", f"{title}: {path}: {line['as']}")
    states = sorted(found[path]["state"] for path in ("/encrypted/long.bin",
                                                      "/encrypted/another name.bin"))
    bench.check(states == ["locked", "same"], f"{title}: two names: {states}")


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


def check_job(bench, image, truth, links, encrypted, title, *options):
    to = bench.path(title)
    os.mkdir(to)
    done = subprocess.run([COLDLIFT, "extract", "--quiet", "--to", to, "--name", "job", *options,
                           image], capture_output=True, text=True)
    bench.check(done.returncode == 1, f"{title}: status {done.returncode}: {done.stderr}")
    job = os.path.join(to, "job")
    with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as file:
        lines = [json.loads(line) for line in file][1:]
    found = {line["path"].replace("\\", "/"): line for line in lines if "stream" not in line}
    keys = {line["path"].replace("\\", "/"): line for line in lines
            if line.get("stream") == KEY}
    check_beside(bench, lines, title)
    check_encrypted(bench, image, encrypted, found, keys, title)
    check_started(bench, image, found)
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
    bench.check({"files-deduplicated", "files-cloud-only", "files-cloud-part", "files-encrypted"} <= codes,
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
    encrypted = add_encrypted(listing)
    add_started(listing)
    image = bench.make("kinds.img", 48 << 20, 4096, 512, listing)
    start(image, truth)
    check_volume(bench, image, truth.rows, links)
    for title, options in (("folder", ("--format", "folder")), ("zip", ()),
                           ("tar", ("--format", "tar", "--same", "each"))):
        check_job(bench, image, truth.rows, links, encrypted, title, *options)
    bench.close()


main()
