#!/usr/bin/python3
"""A file table to whose further pieces nothing leads any more: its files arrive all the same.

The table is taken apart (ntfs/pieces.py), then what says where its pieces lie is made unreadable or senseless. A
file on the volume is the image of another drive, full of file records with the same numbers; none of them may be
taken for one of this volume. The truth is what was put on the volume with libntfs-3g. Where things lie says an
independent walk (ntfs/walk.py).
"""

import os
import struct
import sys

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from bench import Bench, Listing, codes, digest, noise, streams, text  # noqa: E402
from pieces import RECORD, attributes_of, mark_used, take_apart  # noqa: E402
from walk import Walk  # noqa: E402

CLUSTER, FIRST = 4096, 16  # FIRST: clusters of the table's first piece


def other_image(bench):
    listing = Listing()
    for i in range(150):
        listing.file(f"/stick {i:03}.bin", noise(9000 + i, i) if i % 3 else text(200, i))
    with open(bench.make("other", 4 << 20, CLUSTER, 512, listing), "rb") as file:
        return file.read()


def make_volume(bench):
    """The volume's bytes with its table in three pieces, and what stands in its files."""
    truth = {"\\Fernhill\\old stick.img": other_image(bench)}
    for i in range(60):
        truth[f"\\Fernhill\\plot {i:02}.txt"] = text(200 + 60 * i, i)
    for i in range(30):
        truth[f"\\Fernhill\\Bed {i % 3}\\seeds {i:02}.bin"] = noise(3000 * i, i)
    listing = Listing()
    listing.add("folder", "/Fernhill")
    for path in sorted(truth, key=lambda path: "Bed" in path):
        folder = path.rsplit("\\", 1)[0].replace("\\", "/")
        if "Bed" in path and not any(line == f"folder\t{folder}" for line in listing.lines):
            listing.add("folder", folder)
        listing.file(path.replace("\\", "/"), truth[path])
    image = bench.make("volume", 20 << 20, CLUSTER, 512, listing)
    with open(image, "rb") as file:
        data = bytearray(file.read())
    walk = Walk(bytes(data))
    rest = sum(length for _, length in walk.table_runs) - FIRST
    take_apart(data, CLUSTER, [list(run) for run in walk.table_runs], walk.table_size, FIRST, free_runs(walk, rest))
    mirror, table = walk.mirror * CLUSTER, walk.table * CLUSTER
    data[mirror:mirror + RECORD] = data[table:table + RECORD]
    mark_used(data, Walk(bytes(data)))
    with open(image, "wb") as file:
        file.write(data)
    return image, data, truth


def free_runs(walk, wanted):
    """Two pieces of free clusters, the first of the table behind the second, both behind every file."""
    bitmap = walk.bytes_of(walk.files[6].streams[""])
    runs, end = [], walk.sectors * walk.sector // CLUSTER
    for length in (wanted // 2, wanted - wanted // 2):
        at = end - length
        while any(bitmap[i // 8] >> i % 8 & 1 for i in range(at, at + length)):
            at -= 1
        runs.append([at, length])
        end = at - 20
    return runs


class Case:
    def __init__(self, bench):
        self.bench = bench
        self.image, self.data, self.truth = make_volume(bench)
        self.walk = Walk(bytes(self.data))
        self.table, self.mirror = self.walk.table * CLUSTER, self.walk.mirror * CLUSTER
        bench.check(len(self.walk.table_runs) == 3, f"runs of the table: {self.walk.table_runs}")
        bench.check(self.walk.table_size // RECORD > 110, f"records: {self.walk.table_size // RECORD}")

    def zeroed(self, *ranges):
        """Another image, with these ranges zero."""
        data, path = bytearray(self.data), self.bench.path("zeroed")
        for at, length in ranges:
            data[at:at + length] = bytes(length)
        with open(path, "wb") as file:
            file.write(data)
        return path

    def check(self, title, path, script, wanted, but=()):
        """Everything arrived but for these files, and nothing that is none of this volume's."""
        dump = self.bench.dump(path, script)
        if dump is None:
            self.bench.check(False, f"{title}: cannot be opened")
            return
        found = streams(dump)
        for name, content in self.truth.items():
            now = found.get((name, ""))
            right = now is not None and now["sha256"] == digest(content) and now["holes"] == []
            self.bench.check(right or name in but, f"{title}: {name}: {now and now['holes']}")
        self.bench.check(not [path for path, _ in found if "\\stick " in path], f"{title}: files of another drive")
        self.bench.check(wanted <= codes(dump), f"{title}: {codes(dump)}")
        if not wanted:
            self.bench.check(not {code for code in codes(dump) if "table" in code}, f"{title}: {codes(dump)}")


def main():
    bench = Bench()
    case = Case(bench)
    first, second, third = case.walk.table_runs
    extension = case.walk.records[15].places[0][0]
    fail = f"fail {extension} 512\n"
    cut, searched = {"file-table-cut"}, {"file-table-cut", "file-table-searched"}
    case.check("the sound volume", case.image, "", set())
    case.check("the further record unreadable", case.image, fail, searched)
    case.check("the further record zeroed", case.zeroed((extension, RECORD)), "", searched)

    # The attribute list says nothing any more: the further record is asked without it.
    record = bytes(case.data[case.table:case.table + RECORD])
    listed = record.index(attributes_of(record)[0x20])
    path = case.zeroed(*[(at + listed + 0x18, 0x80) for at in (case.table, case.mirror)])
    case.check("the attribute list zeroed", path, "", cut)
    both = [(case.table, RECORD), (case.mirror, RECORD)]
    case.check("both first records zeroed", case.zeroed(*both), "", {"file-table-guessed"})
    case.check("both first records and the further one zeroed", case.zeroed(*both, (extension, RECORD)), "",
               {"file-table-guessed", "file-table-searched"})

    # Sectors inside a piece that do not read cost their own records only: two of the table's.
    at = second[0] * CLUSTER + 3 * CLUSTER
    number = (first[1] + 3) * CLUSTER // RECORD
    names = {name for i in (0, 1) for _, name, _ in case.walk.files[number + i].names}
    lost = {path for path in case.truth if path.rsplit("\\", 1)[1] in names}
    bench.check(len(lost) == 2, f"records in the middle: {lost}")
    case.check("and a hole in a piece", case.image, fail + f"fail {at} {2 * RECORD}\n", searched, lost)

    # By a list of free clusters that does not read, all of them are looked at.
    (bitmap, _), = case.walk.files[6].streams[""].runs
    case.check("and no $Bitmap", case.image, fail + f"fail {bitmap * CLUSTER} {CLUSTER}\n", searched)

    # Records that do not say their number, as on volumes before NTFS 3.1, are not found, and are no others.
    data = bytearray(case.data)
    for run in (second, third):
        for at in range(run[0] * CLUSTER, (run[0] + run[1]) * CLUSTER, RECORD):
            struct.pack_into("<I", data, at + 0x2C, 0xFFFFFFFF)
    with open(bench.path("old"), "wb") as file:
        file.write(data)
    case.check("no numbers", bench.path("old"), fail, cut, set(case.truth))
    bench.close()


main()
