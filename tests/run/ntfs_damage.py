#!/usr/bin/python3
"""Damaged NTFS volumes: what is lost must be exactly what could not be read, and it must be said.

The truth is the same volume without damage (checked against libntfs-3g in ntfs_volumes.py). Damage comes
from the test device of src/disk, or is written into a copy of the image. Sources for what is written:
linux-ntfs documentation, "$Boot" (place of the table), "File record", "$Volume" (dirty flag), "$LogFile"
(restart area); the signature of hiberfil.sys: common practice, no source.
"""

import os
import random
import struct
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from bench import Bench, Listing, codes, digest, noise, streams, text  # noqa: E402
from pieces import take_apart  # noqa: E402

CLUSTER = 4096
RECORD = 1024
UNIT = 16 * CLUSTER
STREAM_DAMAGED = 16
NODE_DAMAGED = 4


def make_listing():
    listing = Listing()
    listing.add("folder", "/Fernhill")
    listing.add("folder", "/Fernhill/Minutes")
    listing.file("/Fernhill/Minutes/spring.txt", text(900, 1) + b"a small file in the table")
    listing.file("/Fernhill/Minutes/tiny.txt", b"tiny")
    listing.file("/Fernhill/plain.bin", noise(100001, 2))
    listing.file("/Fernhill/text.lz", text(300001, 3), "800")
    listing.scatter("/Fernhill/scattered.bin", noise(1500 * CLUSTER, 4))
    for i in range(40):
        listing.write("/Fernhill/plain.bin", f"stream {i:02}", 0, noise(100 + 97 * i, i))
    for i in range(30):
        listing.file(f"/Fernhill/Minutes/plot {i:02}.txt", text(40 * i, i))
    listing.file("/hiberfil.sys", b"wake" + bytes(5000))
    return listing


class Image:
    """The bytes of the sound volume, and where things are in it."""

    def __init__(self, path):
        self.path = path
        with open(path, "rb") as file:
            self.bytes = file.read()
        self.table = struct.unpack_from("<Q", self.bytes, 0x30)[0] * CLUSTER
        self.mirror = struct.unpack_from("<Q", self.bytes, 0x38)[0] * CLUSTER

    def record(self, number, runs):
        """Offset of a record on the volume; `runs` are those of $MFT."""
        at = number * RECORD
        for vcn, lcn, length in runs:
            if vcn * CLUSTER <= at < (vcn + length) * CLUSTER:
                return lcn * CLUSTER + at - vcn * CLUSTER
        raise ValueError(number)

    def extensions(self, base, runs, count):
        """Numbers of the extension records of a file."""
        numbers = []
        for number in range(count):
            at = self.record(number, runs)
            if self.bytes[at:at + 4] == b"FILE":
                of = struct.unpack_from("<Q", self.bytes, at + 0x20)[0] & 0xFFFFFFFFFFFF
                if of == base and self.bytes[at + 0x16] & 1:
                    numbers.append(number)
        return numbers


class Damage:
    def __init__(self, bench, image, sound):
        self.bench = bench
        self.image = image
        self.sound = sound
        self.truth = streams(sound)
        self.runs = streams(sound, True)["\\$MFT", ""]["runs"]

    def node(self, path, stream=""):
        return self.truth[path, stream]["entry"]["node"]

    def bytes_of(self, path, stream=""):
        return self.bench.cat(self.image.path, self.node(path), stream)

    def fail(self, *ranges):
        return "".join(f"fail {offset} {length}\n" for offset, length in ranges)

    def compare(self, title, dump, but=()):
        """Every stream as in the sound volume, but those of `but`."""
        self.bench.check(dump is not None, f"{title}: cannot be opened")
        found = streams(dump) if dump else {}
        for key, stream in self.truth.items():
            if key[0] in but:
                continue
            now = found.get(key)
            self.bench.check(now is not None and now["sha256"] == stream["sha256"] and
                             now["holes"] == [], f"{title}: {key} differs")
        return found


def check_first_records(damage):
    """Boot sector, mirror and first records: each has a copy."""
    image, bench = damage.image, damage.bench
    table, mirror = (image.table, RECORD), (image.mirror, RECORD)
    for title, script, code in (
            ("boot sector", damage.fail((0, 512)), "boot-sector-from-backup"),
            ("zeroed boot sector", "".join(f"flip {i} {image.bytes[i]}\n" for i in range(3, 11)),
             "boot-sector-from-backup"),
            ("mirror", damage.fail((image.mirror, 4 * RECORD)), "file-table-mirror"),
            ("third record", damage.fail((image.table + 2 * RECORD, 512)), "file-table-from-mirror"),
            ("first record", damage.fail(table), "file-table-from-mirror"),
            ("first four records", damage.fail((image.table, 4 * RECORD)), "file-table-from-mirror"),
            ("boot sector and first record", damage.fail((0, 512), table), "file-table-from-mirror")):
        dump = bench.dump(image.path, script)
        damage.compare(title, dump)
        bench.check(codes(dump) == ({code} if code else set()) or
                    (title.startswith("boot sector and") and code in codes(dump)),
                    f"{title}: findings {codes(dump)}")
    dump = bench.dump(image.path, damage.fail(table, mirror))
    bench.check(dump is not None and "file-table-guessed" in codes(dump), "both first records")
    if len(damage.runs) == 1:
        damage.compare("both first records", dump)
    last = len(image.bytes) - 512
    bench.check(bench.dump(image.path, damage.fail((0, 512), (last, 512), (len(image.bytes) // 2, 512)))
                is None, "without any boot sector there is no volume")


def check_records(damage):
    """A record that cannot be read, or is torn: that file, and nothing else."""
    image, bench = damage.image, damage.bench
    dump = bench.dump(image.path, damage.fail((image.record(5, damage.runs), 512)))
    damage.compare("root folder's record", dump)
    bench.check(dump["records_unreadable"] == 1 and "records-unreadable" in codes(dump), "root finding")

    path = "\\Fernhill\\Minutes\\tiny.txt"
    at = image.record(damage.node(path), damage.runs)
    for title, script, code in (
            ("unreadable record", damage.fail((at + 512, 512)), "records-unreadable"),
            ("torn record", f"flip {at + 1023} 1\n", "records-damaged"),
            ("overwritten record", f"flip {at} 255\n", "records-damaged")):
        dump = bench.dump(image.path, script)
        found = damage.compare(title, dump, but=(path,))
        # Its folder still lists it: the loss has a name and a size.
        now = found.get((path, ""))
        bench.check(now is not None and now["size"] == 4 and now["holes"] == [[0, 4]] and
                    now["content"] == "damaged" and now["entry"]["flags"] == 1 | NODE_DAMAGED | 32,
                    f"{title}: {now}")
        bench.check(codes(dump) == {code, "names-from-folders", "files-damaged"} and
                    dump["records_unreadable"] == 1, f"{title}: {codes(dump)}")

    folder = [entry for entry in damage.sound["entries"] if entry["path"] == "\\Fernhill\\Minutes"][0]
    at = image.record(folder["node"], damage.runs)
    dump = bench.dump(image.path, damage.fail((at, 512)))
    damage.compare("lost folder", dump)
    bench.check({"records-unreadable", "names-from-folders"} <= codes(dump), f"lost folder: {codes(dump)}")

    # When the index that lists it is gone as well, its name is made up and its contents stay together.
    up = [entry for entry in damage.sound["entries"] if entry["path"] == "\\Fernhill"][0]
    up_at = image.record(up["node"], damage.runs)
    dump = bench.dump(image.path, damage.fail((at, 512), (up_at, 512)))
    moved = f"\\[no folder]\\record {folder['node']}\\"
    found = streams(dump)
    for (path, stream), value in damage.truth.items():
        now = found.get((path.replace("\\Fernhill\\Minutes\\", moved), stream))
        bench.check(now is not None and now["sha256"] == value["sha256"],
                    f"lost folder: {path} differs")
    bench.check({"records-unreadable", "folders-missing"} <= codes(dump), f"lost folder: {codes(dump)}")


def check_file_data(damage):
    image, bench = damage.image, damage.bench
    path = "\\Fernhill\\plain.bin"
    data = damage.bytes_of(path)
    start = image.bytes.find(data[:4096])
    for sector, title in ((512, "512-byte sectors"), (4096, "4,096-byte sectors")):
        script = f"sector {sector}\nfail {start + 8192 + 700} 1\n"
        first = (8192 + 700) // sector * sector
        dump = bench.dump(image.path, script)
        found = damage.compare(title, dump, but=(path,))
        stream = found[path, ""]
        bench.check(stream["holes"] == [[first, sector]], f"{title}: holes {stream['holes']}")
        holed = data[:first] + bytes(sector) + data[first + sector:]
        bench.check(stream["sha256"] == digest(holed), f"{title}: bytes differ")
    # The last sector of the file: the hole ends where the file does.
    last = len(data) // 512 * 512
    dump = bench.dump(image.path, damage.fail((start + last, 1)))
    stream = streams(dump)[path, ""]
    bench.check(stream["holes"] == [[last, len(data) - last]], f"last sector: {stream['holes']}")


def check_compressed(damage):
    image, bench = damage.image, damage.bench
    path = "\\Fernhill\\text.lz"
    data = damage.bytes_of(path)
    stream = damage.truth[path, ""]
    bench.check(stream["flags"] & 2 and stream["allocated"] < len(data), "text.lz is not compressed")
    run = [run for run in stream["runs"] if run[0] == 2 * UNIT // CLUSTER][0]
    at = run[1] * CLUSTER
    for title, script in (("unreadable sector in a unit", damage.fail((at + 513, 1))),
                          ("damaged chunk header", f"flip {at + 1} 64\n")):
        dump = bench.dump(image.path, script)
        found = damage.compare(title, dump, but=(path,))
        now = found[path, ""]
        bench.check(now["holes"] == [[2 * UNIT, UNIT]], f"{title}: holes {now['holes']}")
        holed = data[:2 * UNIT] + bytes(UNIT) + data[3 * UNIT:]
        bench.check(now["sha256"] == digest(holed), f"{title}: bytes differ")
    last = [run for run in stream["runs"] if run[0] == len(data) // UNIT * UNIT // CLUSTER][0]
    dump = bench.dump(image.path, damage.fail((last[1] * CLUSTER, 1)))
    first = len(data) // UNIT * UNIT
    now = streams(dump)[path, ""]
    bench.check(now["holes"] == [[first, len(data) - first]], f"last unit: holes {now['holes']}")


def check_extensions(damage):
    """A file whose runs fill several records, and one of those is gone."""
    image, bench = damage.image, damage.bench
    path = "\\Fernhill\\scattered.bin"
    data = damage.bytes_of(path)
    numbers = image.extensions(damage.node(path), damage.runs, damage.sound["nodes"])
    bench.check(len(numbers) > 3, f"scattered.bin has {len(numbers)} extension records")
    lost = 0
    for number in numbers:
        title = f"extension record {number}"
        dump = bench.dump(image.path, damage.fail((image.record(number, damage.runs), 512)))
        damage.compare(title, dump, but=(path,))
        # The name can stand in an extension record as well: then it is found by its number.
        now = [stream for stream in streams(dump).values()
               if stream["entry"]["node"] == damage.node(path)][0]
        bench.check(now["entry"]["path"] == path or
                    now["entry"]["path"] == f"\\[no folder]\\record {damage.node(path)}",
                    f"{title}: path {now['entry']['path']}")
        holed = bytearray(data)
        for offset, length in now["holes"]:
            holed[offset:offset + length] = bytes(length)
            lost += length
        bench.check(now["size"] == len(data) and now["sha256"] == digest(holed), f"{title}: bytes")
        bench.check(now["entry"]["flags"] & NODE_DAMAGED and
                    bool(now["holes"]) == bool(now["flags"] & STREAM_DAMAGED), f"{title}: not marked")
        bench.check({"records-unreadable", "files-damaged"} <= codes(dump), f"{title}: {codes(dump)}")
    bench.check(len(data) // 2 < lost <= len(data), "extension records cost more than the file")


def check_cut_off(damage):
    image, bench = damage.image, damage.bench
    path = "\\Fernhill\\plain.bin"
    end = image.bytes.find(damage.bytes_of(path)[:4096]) + 10000
    dump = bench.dump(image.path, f"size {end}\n")
    bench.check(dump is not None and "volume-cut-off" in codes(dump), "cut off: finding")
    if dump is None:
        return
    found = streams(dump)
    stream = found[path, ""]
    bench.check(stream["holes"] == [[10000, 100001 - 10000]], f"cut off: holes {stream['holes']}")
    bench.check(bench.dump(image.path, "size 100\n") is None, "nearly nothing")


def check_patched(damage):
    """States of the volume and sizes that libntfs-3g does not make."""
    image, bench = damage.image, damage.bench
    patched = bench.path("patched.img")

    def dump_with(*patches):
        data = bytearray(image.bytes)
        for offset, new in patches:
            data[offset:offset + len(new)] = new
        with open(patched, "wb") as file:
            file.write(data)
        return bench.dump(patched)

    at = image.record(3, damage.runs)
    value = image.bytes.find(struct.pack("<I", 0x70), at + 0x38)
    offset = value + struct.unpack_from("<H", image.bytes, value + 0x14)[0]
    dump = dump_with((offset + 10, b"\1\0"))
    bench.check(dump["dirty"] and codes(dump) == {"volume-dirty", "file-table-mirror"}, f"dirty: {codes(dump)}")

    log = streams(damage.sound, True)["\\$LogFile", ""]["runs"][0][1] * CLUSTER
    page = bytearray(4096)
    page[0:4] = b"RSTR"
    struct.pack_into("<HH", page, 4, 0x1E, 9)
    struct.pack_into("<H", page, 0x18, 0x30)
    struct.pack_into("<QHHHH", page, 0x30, 77, 1, 0xFFFF, 0, 0)  # a client in use, not clean
    for sector in range(8):
        page[512 * sector + 510:512 * sector + 512] = page[0x1E:0x20]
    dump = dump_with((log, page))
    bench.check(dump["log_pending"] and codes(dump) == {"log-pending"}, f"log: {codes(dump)}")
    struct.pack_into("<H", page, 0x30 + 12, 0xFFFF)
    dump = dump_with((log, page))
    bench.check(not dump["log_pending"] and not codes(dump), f"closed log: {codes(dump)}")

    data = image.bytes.find(b"wake" + bytes(4000))
    for signature, sleeps in ((b"hibr", True), (b"HIBR", True), (b"RSTR", True), (b"wake", False)):
        dump = dump_with((data, signature))
        bench.check(dump["hibernated"] == sleeps and ("hibernated" in codes(dump)) == sleeps,
                    f"hiberfil.sys with {signature}")

    # Initialized size: what is beyond reads as zeros, whatever the clusters hold.
    path = "\\hiberfil.sys"
    at = image.record(damage.node(path), damage.runs)
    attribute = image.bytes.find(struct.pack("<II", 0x80, 0x48), at)
    bench.check(at < attribute < at + RECORD, "hiberfil.sys has no runs")
    dump = dump_with((data, b"wakewake"), (attribute + 0x38, struct.pack("<Q", 6)))
    stream = streams(dump)[path, ""]
    bench.check(stream["sha256"] == digest(b"wakewa" + bytes(4998)) and stream["holes"] == [],
                "initialized size")

    # A size that the volume could not hold is not believed; one that it could gives a hole.
    dump = dump_with((attribute + 0x30, struct.pack("<Q", 1 << 50)))
    stream = streams(dump)[path, ""]
    bench.check(stream["size"] == 8192 and stream["flags"] & STREAM_DAMAGED, "senseless size")
    dump = dump_with((attribute + 0x30, struct.pack("<QQ", 20000, 20000)))
    stream = streams(dump)[path, ""]
    bench.check(stream["size"] == 20000 and stream["holes"] == [[8192, 20000 - 8192]], "runs too short")


def check_table_in_pieces(damage):
    """$MFT with an attribute list of its own: its runs stand in two records, the second in the table."""
    image, bench = damage.image, damage.bench
    data = bytearray(image.bytes)
    first, size = 16, streams(damage.sound, True)["\\$MFT", ""]["size"]
    runs = [[lcn, length] for vcn, lcn, length in damage.runs]
    extension = take_apart(data, CLUSTER, runs, size, first)
    patched = bench.path("pieces.img")
    with open(patched, "wb") as file:
        file.write(data)
    dump = bench.dump(patched)
    damage.compare("table in pieces", dump)
    bench.check(codes(dump) == {"file-table-mirror"} and dump["nodes"] == damage.sound["nodes"],
                f"table in pieces: {codes(dump)}")
    bench.check(dump["clusters_used"] == damage.sound["clusters_used"], "table in pieces: clusters")
    dump = bench.dump(patched, damage.fail((extension, 512)))
    # Nothing leads to the second part any more; it is found by what stands in it.
    damage.compare("table cut", dump)
    bench.check({"file-table-cut", "file-table-searched"} <= codes(dump) and dump["nodes"] == damage.sound["nodes"],
                f"table cut: {codes(dump)}")


def check_samples(damage):
    """Sectors of the metadata one by one, a seeded choice: nothing is ever missing without a word."""
    image, bench = damage.image, damage.bench
    sectors = [0, image.mirror // 512]
    for vcn, lcn, length in damage.runs:
        sectors += range(lcn * CLUSTER // 512, (lcn + length) * CLUSTER // 512)
    for sector in random.Random(1).sample(sectors, 60):
        dump = bench.dump(image.path, damage.fail((sector * 512, 512)))
        bench.check(dump is not None, f"sector {sector}: cannot be opened")
        found = streams(dump) if dump else {}
        changed = [key for key, stream in damage.truth.items()
                   if key not in found or found[key]["sha256"] != stream["sha256"]]
        bench.check(not changed or dump["findings"], f"sector {sector}: {changed} without a finding")
        allowed = 1 if dump["records_unreadable"] <= 1 else 0
        names = {key[0] for key in changed if "[no folder]" not in key[0]}
        inside = {name for name in names if name.startswith("\\Fernhill")}
        bench.check(len(names) <= allowed or any("[no folder]" in key[0] for key in found),
                    f"sector {sector}: costs {sorted(inside)}")


def main():
    bench = Bench()
    path = bench.make("sound.img", 24 << 20, CLUSTER, 512, make_listing())
    sound = bench.dump(path)
    bench.check(sound["findings"] == [], f"sound volume: {sound['findings']}")
    damage = Damage(bench, Image(path), sound)
    check_first_records(damage)
    check_records(damage)
    check_file_data(damage)
    check_compressed(damage)
    check_extensions(damage)
    check_cut_off(damage)
    check_patched(damage)
    check_table_in_pieces(damage)
    check_samples(damage)
    bench.close()


main()
