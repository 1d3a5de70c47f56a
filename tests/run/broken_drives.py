#!/usr/bin/python3
"""Drives whose tables or volumes are broken in their structure: every file arrives, and it is said.

sfdisk makes the tables, mkntfs and libntfs-3g (through the builder of the demo drives) the volumes; the test
breaks them itself. The truth is what it put into the files. Places that are broken: UEFI Specification 2.10,
5.3 (GPT); linux-ntfs documentation, "$Boot", "$MFT", "$MFTMirr", "$UpCase", "$Bitmap", "Index allocation";
the start of partitions at sector 63 up to XP: common practice, no source.
"""

import hashlib
import json
import os
import random
import shutil
import struct
import subprocess
import sys

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402
sys.path.insert(0, str(h.ROOT / "fixtures"))
sys.path.insert(0, str(h.ROOT / "tests" / "run" / "ntfs"))
os.environ["PATH"] += ":/usr/sbin:/sbin"
try:
    from maker import drives, listing, run
    from maker.tree import Volume
    from walk import Walk
except ImportError as missing:
    h.skip(f"skipped: {missing}")

MIB = 1 << 20
SIZE = 8                    # MiB of each volume
FIRST, SECOND = 2048, 2048 + (SIZE << 11)   # sectors
OLD = 63
CLUSTER, RECORD = 4096, 1024


class Bench:
    def __init__(self, folder):
        self.folder = folder
        self.tools = run.Tools(str(h.ROOT / "fixtures" / "fill"), folder)
        self.jobs = 0
        self.truth = {}      # {volume: {(path, stream): digest}}
        self.parts = {name: self.volume(name, seed) for name, seed in (("beds", 1), ("sheds", 2))}

    def path(self, name):
        return os.path.join(self.folder, name)

    def volume(self, label, seed, mib=SIZE, first=FIRST):
        """A volume with small, large, scattered and listed files."""
        dice, volume, truth = random.Random(seed), Volume("D:", label, "outside"), {}

        def add(path, data, **more):
            volume.file(path, data, **more)
            truth["\\" + path.replace("/", "\\"), ""] = hashlib.sha256(data).hexdigest()

        for i in range(60):
            add(f"Plots of {label}/plot {i:02}.txt", dice.randbytes(dice.choice((40, 300, 5000))))
        add(f"{label}.bin", dice.randbytes(700001))
        add("Minutes/2016/spring \u00e4.txt", b"spring meeting of " + label.encode())
        image = self.path(f"{label}-{mib}.part")
        drives.make_ntfs(self.tools, image, mib * MIB, label, CLUSTER, first)
        lines, contents = listing.Listing(volume, CLUSTER).make()
        with open(self.path("list"), "w", encoding="ascii") as out:
            out.write(lines)
        with open(self.path("contents"), "wb") as out:
            out.write(contents)
        self.tools.fill(image, self.path("list"), self.path("contents"))
        self.truth[label] = truth
        with open(image, "rb") as file:
            return file.read()

    def drive(self, script, parts, mib=2 * SIZE + 2):
        """The bytes of a drive with a table and volumes at these sectors."""
        image = self.path("drive.img")
        drives.new_image(image, mib * MIB)
        if script:
            drives.partition(self.tools, image, script)
        with open(image, "r+b") as file:
            for first, label in parts:
                file.seek(first * 512)
                file.write(self.parts[label])
        with open(image, "rb") as file:
            return bytearray(file.read())

    def save(self, data, name="broken.img"):
        with open(self.path(name), "wb") as file:
            file.write(data)
        return self.path(name)

    def extract(self, image):
        """The record's file lines, and the codes of the findings."""
        to = self.path(f"job-{self.jobs}")
        self.jobs += 1
        os.mkdir(to)
        done = h.run("extract", "--quiet", "--to", to, "--name", "job", image)
        job = os.path.join(to, "job")
        if done.returncode not in (0, 1):
            return [], {f"status {done.returncode}: {done.stderr[-300:]}"}
        lines = [line for line in h.load_lines(os.path.join(job, "record.jsonl"))[1:]
                 if line["kind"] == "file"]
        with open(os.path.join(job, "findings.json"), encoding="utf-8") as file:
            codes = {finding["code"] for finding in json.load(file)}
        shutil.rmtree(to)
        return lines, codes

    def whole(self, title, image, labels, wanted, but=()):
        """All files of these volumes arrive whole, and all of these findings are there."""
        lines, codes = self.extract(self.save(image) if not isinstance(image, str) else image)
        found = {(line["path"], line.get("stream", ""), line["sha256"]) for line in lines
                 if line["state"] in ("taken", "same")}
        for label in labels:
            missing = [key for key, digest in self.truth[label].items()
                       if (*key, digest) not in found and key[0] not in but]
            h.check(not missing, title, ":", len(missing), "files of", label, "are missing:", missing[:3],
                    codes)
        h.check(wanted <= codes, title, ": no finding", wanted - codes, "among", codes)
        return lines, codes


def zero(data, offset, length):
    data[offset:offset + length] = bytes(length)


def broken_tables(bench):
    basic = drives.TYPES["basic"]
    script = (f"label: gpt\nstart={FIRST}, size={SIZE << 11}, type={basic}\n"
              f"start={SECOND}, size={SIZE << 11}, type={basic}\n")
    both = ((FIRST, "beds"), (SECOND, "sheds"))
    gpt, labels = bench.drive(script, both), ("beds", "sheds")
    _, codes = bench.whole("sound GPT", gpt, labels, set())
    h.check(not codes & {"volume-unlisted", "partition-too-short", "gpt-from-backup"}, "sound:", codes)
    for title, ranges, wanted in (
            ("main GPT zeroed", ((512, 33 * 512),), "gpt-from-backup"),
            ("protective MBR zeroed", ((0, 512),), "protective-mbr-lost"),
            ("MBR and main GPT zeroed", ((0, 34 * 512),), "gpt-from-backup"),
            ("entries of the main GPT zeroed", ((1024, 512),), "gpt-from-backup"),
            ("everything of both zeroed", ((0, 34 * 512), (len(gpt) - 33 * 512, 33 * 512)), "table-lost")):
        data = bytearray(gpt)
        for offset, length in ranges:
            zero(data, offset, length)
        bench.whole(title, data, labels, {wanted})
    for title, numbers in (("first deleted", "1"), ("second deleted", "2"), ("all deleted", "1 2")):
        image = bench.save(gpt)
        for number in numbers.split():
            h.tool("sfdisk", "--quiet", "--no-reread", "--delete", image, number)
        bench.whole(f"GPT, {title}", image, labels, {"volume-unlisted"})
    mbr = bench.drive(f"label: dos\nstart={FIRST}, size={SIZE << 11}, type=7\n"
                      f"start={SECOND}, size={SIZE << 11}, type=7\n", both)
    bench.whole("sound MBR", mbr, labels, set())
    data = bytearray(mbr)
    zero(data, 0, 512)
    bench.whole("MBR zeroed", data, labels, {"table-lost"})
    for number, title in enumerate(("first", "second")):
        data = bytearray(mbr)
        zero(data, 446 + 16 * number, 16)
        bench.whole(f"MBR, {title} deleted", data, labels, {"volume-unlisted"})
    data = bytearray(mbr)
    struct.pack_into("<I", data, 446 + 12, (SIZE << 11) // 3)
    bench.whole("MBR entry too short", data, labels, {"partition-too-short"})
    data = bytearray(mbr)
    lines, codes = bench.whole("image cut off", data[:(SECOND << 9) + 5 * MIB], ("beds",),
                               {"drive-truncated"})
    for line in lines:
        if line["path"] == "\\sheds.bin" and line["state"] == "partial":
            holes = sum(length for _, length in line["holes"])
            h.check(0 < holes < line["size"], "cut off:", line)
    return gpt, mbr


def odd_layouts(bench, gpt):
    both = ((FIRST, "beds"), (SECOND, "sheds"))
    labels, basic = ("beds", "sheds"), drives.TYPES["basic"]
    # Counted in sectors of 4,096 bytes, shown in 512: sfdisk knows only 512, so it lays out an eighth.
    script = (f"label: dos\nstart={FIRST}, size={SIZE << 11}, type=7\n"
              f"start={SECOND}, size={SIZE << 11}, type=7\n")
    data = bench.drive(script, both)
    for entry in (0, 1):
        start, size = struct.unpack_from("<II", data, 446 + 16 * entry + 8)
        struct.pack_into("<II", data, 446 + 16 * entry + 8, start // 8, size // 8)
    bench.whole("MBR for 4,096 shown as 512", data, labels, set())
    shown_as_4096(bench, "GPT for 512 shown as 4,096", gpt, labels)
    shown_as_4096(bench, "MBR for 512 shown as 4,096", bench.drive(script, both), labels)
    # An MBR over an older GPT that says something else; and the other way round.
    older = f"label: gpt\nstart={FIRST + 4096}, size=2048, type={basic}\n"
    data = bench.drive(older, both)
    data[:512] = bench.drive(script, both)[:512]
    bench.whole("MBR over an older GPT", data, labels, {"table-not-used"})
    zero(data, 0, 512)
    bench.whole("MBR zeroed, older GPT behind it", data, labels, {"table-lost"})
    zero(data, 0, 34 * 512)
    bench.whole("MBR zeroed, an older GPT's backup left", data, labels, set())
    older = f"label: gpt\nstart={FIRST}, size=4096, type={basic}\n"
    data = bench.drive(older, both)
    zero(data, 0, 34 * 512)
    bench.whole("an older GPT's backup with the same start", data, labels,
                {"gpt-from-backup", "partition-too-short", "volume-unlisted"})
    data = bytearray(gpt)
    data[:512] = bench.drive(f"label: dos\nstart={FIRST + 4097}, size=2048, type=7\n", ())[:512]
    bench.whole("an MBR that leads to nothing over a GPT", data, labels, {"table-not-used"})
    # A whole drive as one volume, whose boot sector has something like a table in it.
    data = bytearray(bench.parts["beds"])
    struct.pack_into("<BBHBBHII", data, 446, 0, 0, 0, 7, 0, 0, 5000, 7000)
    bench.whole("a volume without a table", data, ("beds",), {"drive-is-one-volume"})
    zero(data, 0, 512)
    bench.whole("the same, boot sector zeroed", data, ("beds",), {"boot-sector-from-backup"})
    # An older volume over the whole drive; the newer ones lie in it, and the table is lost.
    bench.parts["old"] = bench.volume("old", 3, 2 * SIZE + 1, OLD)
    data = bench.drive("", ((OLD, "old"), *both))
    bench.whole("two volumes over the same clusters", data, labels, {"table-lost", "partition-overlap"})


def shown_as_4096(bench, title, data, labels):
    image = bench.save(data)
    loop = subprocess.run(["losetup", "--find", "--show", "--sector-size", "4096", image],
                          capture_output=True, text=True, check=False)
    if loop.returncode != 0:
        print("no loop device for", title, ":", loop.stderr.strip())
        return
    try:
        bench.whole(title, loop.stdout.strip(), labels, {"table-sector-size"})
    finally:
        h.tool("losetup", "--detach", loop.stdout.strip())


def broken_volumes(bench, mbr):
    """Structures inside a volume; the other one on the drive stays sound."""
    start, labels = FIRST * 512, ("beds", "sheds")
    part = bench.parts["beds"]
    walk = Walk(part)
    table, mirror = start + walk.table * CLUSTER, start + walk.mirror * CLUSTER

    def case(title, ranges, wanted, fill=None):
        data = bytearray(mbr)
        for offset, length in ranges:
            data[offset:offset + length] = bytes(length) if fill is None else fill(length)
        bench.whole(title, data, labels, wanted)

    noise = random.Random(9).randbytes
    case("boot sector zeroed", ((start, 512),), {"boot-sector-from-backup"})
    case("boot sector overwritten", ((start, 8192),), {"boot-sector-from-backup"}, noise)
    case("first record zeroed", ((table, RECORD),), {"file-table-from-mirror"})
    case("first four records overwritten", ((table, 4 * RECORD),), {"file-table-from-mirror"}, noise)
    case("mirror overwritten", ((mirror, 4 * RECORD),), {"file-table-mirror"}, noise)
    case("both first records zeroed", ((table, RECORD), (mirror, RECORD)), {"file-table-guessed"})
    for number in (5, 6, 9):
        case(f"record {number} overwritten", ((table + number * RECORD, RECORD),), {"records-damaged"}, noise)
    case("records 4 to 15 overwritten", ((table + 4 * RECORD, 12 * RECORD),), {"records-damaged"}, noise)
    # The mirror is sound, but of another time: its label differs.
    data = bytearray(mbr)
    at = data.index("beds".encode("utf-16-le"), mirror + 3 * RECORD)
    data[at:at + 2] = b"B\0"
    bench.whole("mirror differs", data, labels, {"file-table-mirror"})

    def clusters(runs):
        return [(start + lcn * CLUSTER, length * CLUSTER) for lcn, length in runs if lcn is not None]

    case("upper-case table overwritten", clusters(walk.files[10].streams[""].runs),
         {"upper-case-damaged"}, noise)
    case("bitmap zeroed", clusters(walk.files[6].streams[""].runs), {"volume-does-not-add-up"})
    indexes = [place for file in walk.files.values() for place in clusters(file.index_runs)]
    h.check(len(indexes) >= 2, "indexes:", indexes)
    case("all directory indexes overwritten", indexes, {"folder-lists-damaged"}, noise)
    # The root of an index, in the record of a folder: its entries lead nowhere.
    folder, = (file.number for file in walk.files.values() if file.names and file.names[0][1] == "Plots of beds")
    at = start + walk.records[folder].places[0][0]
    head = mbr.index("$I30".encode("utf-16-le"), at) + 8 + 0x10
    h.check(at < head < at + RECORD, "index root:", head - at)
    case("an index root overwritten", ((head, 8),), {"folder-lists-damaged"})


def unreadable(bench, mbr):
    """The same structures where the drive cannot read them: a list of holes beside the image."""
    start, labels = FIRST * 512, ("beds", "sheds")
    walk = Walk(bench.parts["beds"])
    table, mirror = start + walk.table * CLUSTER, start + walk.mirror * CLUSTER
    end = start + SIZE * MIB   # where the other volume begins, too

    def case(title, ranges, wanted, but=()):
        image = bench.save(mbr)
        with open(image + ".holes", "w", encoding="ascii") as out:
            out.writelines(f"{offset} {length}\n" for offset, length in ranges)
        lines, _ = bench.whole(title, image, labels, wanted | {"image-has-holes"}, but)
        os.remove(image + ".holes")
        return lines

    def clusters(runs):
        return [(start + lcn * CLUSTER, length * CLUSTER) for lcn, length in runs if lcn is not None]

    case("first sector of the drive", ((0, 512),), {"table-lost"})
    case("boot sector and MBR", ((0, 512), (start, 512)), {"table-lost", "boot-sector-from-backup"})
    case("MBR and both boot sectors", ((0, 512), (start, 512), (end, 512)),
         {"table-lost", "boot-sector-from-backup"})
    case("boot sector", ((start, 4096),), {"boot-sector-from-backup"})
    case("first four records", ((table, 4 * RECORD),), {"file-table-from-mirror"})
    case("mirror", ((mirror, 4 * RECORD),), {"file-table-mirror"})
    case("records 0 to 15", ((table, 16 * RECORD),), {"file-table-from-mirror", "records-unreadable"})
    case("backup boot sector", ((end - 512, 512),), set())
    case("bitmap", clusters(walk.files[6].streams[""].runs), {"bitmap-unreadable"})
    case("upper-case table", clusters(walk.files[10].streams[""].runs), {"upper-case-damaged"})
    case("directory indexes", [place for file in walk.files.values() for place in clusters(file.index_runs)],
         {"folder-lists-damaged"})
    # A stretch of the table: the files in it, and no others. Their folders still know their names.
    plots = sorted(number for number, file in walk.files.items()
                   if any(name.startswith("plot ") for _, name, _ in file.names))[10:18]
    hit = {"\\Plots of beds\\" + name for number in plots for _, name, _ in walk.files[number].names}
    lines = case("a stretch of the table", [(table + plots[0] * RECORD, (plots[-1] - plots[0] + 1) * RECORD)],
                 {"records-unreadable", "names-from-folders"}, but=hit)
    states = {line["path"]: line["state"] for line in lines if line["path"] in hit}
    h.check(set(states) == hit and set(states.values()) == {"unreadable"}, "a stretch:", states)


with h.work_folder() as name:
    bench = Bench(name)
    gpt, mbr = broken_tables(bench)
    odd_layouts(bench, gpt)
    broken_volumes(bench, mbr)
    unreadable(bench, mbr)
h.finish()
