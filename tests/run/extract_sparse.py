#!/usr/bin/python3
"""Sparse files: a huge one costs what it holds, a smaller one stays an ordinary file that takes no room.

Volumes are made by mkntfs and libntfs-3g (see ntfs/bench.py); what was written is known, and the clusters that
hold it are those that ntfscluster names. The README's own commands put the huge file together again.
"""

import hashlib
import json
import os
import re
import shutil
import struct
import subprocess
import sys
import zipfile

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from _job_files import bytes_of  # noqa: E402
from bench import BUILD, ROOT, Bench, Listing, digest, find_stream, noise, text  # noqa: E402

COLDLIFT = os.environ["COLDLIFT"]
CLUSTER, SECTOR, UNIT = 4096, 512, 65536
GIB, TIB = 1 << 30, 1 << 40
GAP = 80 << 20
PACKED = "800"

# path: (size, attributes, [(offset, bytes)])
FILES = {
    "/huge.bin": (TIB + 77, "0", [(0, noise(5000, 1)), (512 * GIB + 10, noise(70000, 2)),
                                  (TIB - 100, noise(177, 3))]),
    "/nothing.bin": (TIB, "0", []),
    "/huge and packed.bin": (100 * GIB, PACKED, [(0, text(40000, 4)), (10 * UNIT + 9, text(100000, 5))]),
    "/gap.bin": (GAP, "0", [(0, noise(8192, 6)), (GAP - 4096, noise(4096, 7))]),
}


def ranges_of(path):
    """Whole clusters, of a compressed file whole units, around what was written; what lies behind the last byte
    that was written into the compressed file was never initialised."""
    size, attributes, parts = FILES[path]
    step = UNIT if attributes == PACKED else CLUSTER
    if attributes == PACKED:
        size = parts[-1][0] + len(parts[-1][1])
    found = []
    for at, data in parts:
        start = at // step * step
        found.append([start, min(-(-(at + len(data)) // step) * step, size) - start])
    return found


def content(path, start, length):
    """Bytes that the file has there."""
    data = bytearray(length)
    for at, written in FILES[path][2]:
        first, end = max(at, start), min(at + len(written), start + length)
        if first < end:
            data[first - start:end - start] = written[first - at:end - at]
    return bytes(data)


def lengthen(data, name, size):
    """Puts a sparse run behind the others, as libntfs-3g does not do in a compressed file.

    Where the fields are: linux-ntfs documentation, "Attribute header", "Data runs".
    """
    record, at = find_stream(data, name)
    length, = struct.unpack_from("<I", data, at + 4)
    assert struct.unpack_from("<I", data, at + length)[0] == 0xFFFFFFFF, "not the last attribute"
    end = runs = at + struct.unpack_from("<H", data, at + 0x20)[0]
    while data[end]:
        end += 1 + (data[end] & 15) + (data[end] >> 4)
    clusters, = struct.unpack_from("<Q", data, at + 0x18)
    more = struct.pack("<BI", 4, size // CLUSTER - clusters - 1) + b"\0"
    grown = -(-(end - at + len(more)) // 8) * 8
    assert at + grown + 8 < record + 510 and end > runs
    data[end:at + grown + 8] = more.ljust(at + grown - end, b"\0") + b"\xff\xff\xff\xff\0\0\0\0"
    struct.pack_into("<I", data, at + 4, grown)
    struct.pack_into("<Q", data, at + 0x18, size // CLUSTER - 1)
    struct.pack_into("<QQ", data, at + 0x28, size, size)
    struct.pack_into("<I", data, record + 0x18, at + grown + 8 - record)


def make_image(bench):
    listing = Listing()
    for path, (size, attributes, parts) in FILES.items():
        listing.add("file", path, attributes)
        for at, data in parts:
            listing.write(path, "", at, data)
        if attributes != PACKED:
            listing.add("size", path, "", size)
    # Encrypted, of which whole sectors count: libntfs-3g takes the length of the padding from the last two bytes.
    listing.add("file", "/huge and locked.bin", "0")
    listing.write("/huge and locked.bin", "", 70 * GIB, noise(10 * SECTOR, 8) + b"\x9c\x01")
    listing.add("encrypt", "/huge and locked.bin", listing.store(struct.pack("<IIII", 84, 0, 2, 0) + bytes(68)))
    image = bench.make("sparse.img", 32 << 20, CLUSTER, SECTOR, listing)
    with open(image, "r+b") as file:
        data = bytearray(file.read())
        lengthen(data, "huge and packed.bin", FILES["/huge and packed.bin"][0])
        file.seek(0)
        file.write(data)
    return image


def put_together(bench, job, unpacked, stored):
    """By the commands in the README."""
    with open(os.path.join(ROOT, "README.md"), encoding="utf-8") as file:
        script = re.search(r"^python3 - record\.jsonl .* <<'END'\n(.*?)^END$", file.read(), re.S | re.M)[1]
    made = bench.path("made.bin")
    subprocess.run(["/usr/bin/python3", "-", os.path.join(job, "record.jsonl"), stored, made], input=script, text=True,
                   cwd=unpacked, check=True)
    return made


def check_line(bench, title, line, path, stored):
    size = FILES[path][0]
    wanted = ranges_of(path)
    bench.check((line["state"], line["reason"], line["form"], line["size"], line["ranges"]) ==
                ("taken", "outside", "data-ranges", size, wanted), f"{title}: {path}: {line}")
    data = b"".join(content(path, start, length) for start, length in wanted)
    bench.check(line["stored"] == len(data) and line["sha256"] == digest(data), f"{title}: {path}: other bytes")
    bench.check(line["as"] == f"data/drives/Fernhill é{path}.data-ranges", f"{title}: {line['as']}")
    with open(stored, "rb") as file:
        bench.check(file.read() == data, f"{title}: {path}: other bytes in the archive")


def check_huge(bench, title, job, unpacked, lines):
    for path in FILES:
        if path != "/gap.bin":
            check_line(bench, title, lines[path], path, os.path.join(unpacked, lines[path]["as"]))
    made = put_together(bench, job, unpacked, lines["/huge.bin"]["as"])
    bench.check(os.path.getsize(made) == TIB + 77, f"{title}: put together: size")
    with open(made, "rb") as file:
        for start in (0, 4096, 512 * GIB - UNIT, TIB - UNIT):
            file.seek(start)
            length = min(3 * UNIT, TIB + 77 - start)
            bench.check(file.read(length) == content("/huge.bin", start, length), f"{title}: put together: {start}")
    os.unlink(made)


def check_locked(bench, title, line):
    """Of the encrypted one only the sectors that were written."""
    first = 70 * GIB
    bench.check((line["state"], line["form"], line["ranges"], line["stored"]) ==
                ("locked", "encrypted-data", [[first, 10 * SECTOR]], 10 * SECTOR) and
                line["size"] == first + 10 * SECTOR - 0x19C, f"{title}: {line}")
    bench.check(line["sha256"] == digest(noise(10 * SECTOR, 8)), f"{title}: locked: other bytes")


def check_gap(bench, title, line, stored):
    """An ordinary file, which takes no room where the format can leave zeros out."""
    hashed = hashlib.sha256(content("/gap.bin", 0, 8192))
    for _ in range((GAP - 8192 - 4096) // CLUSTER):
        hashed.update(bytes(CLUSTER))
    hashed.update(content("/gap.bin", GAP - 4096, 4096))
    bench.check((line["state"], line.get("form"), line["sha256"]) == ("taken", None, hashed.hexdigest()),
                f"{title}: {line}")
    status = os.stat(stored)
    bench.check(status.st_size == GAP, f"{title}: size {status.st_size}")
    if title != "zip":
        bench.check(status.st_blocks * 512 < 1 << 20, f"{title}: takes {status.st_blocks} blocks")


def unpack(bench, title, job):
    if title == "folder":
        return os.path.join(job, "job-files")
    to = bench.path(title + "-unpacked")
    os.mkdir(to)
    part, = [name for name in os.listdir(job) if name.endswith("." + title) and "proof" not in name]
    size = os.path.getsize(os.path.join(job, part))
    bench.check(size < 2 << 20, f"{title}: a part of {size} bytes")
    if title == "tar":
        subprocess.run(["tar", "-xf", os.path.join(job, part), "-C", to], check=True)
    else:
        zipfile.ZipFile(os.path.join(job, part)).extractall(to)
    return to


def check_job(bench, image, title):
    to = bench.path(title)
    os.mkdir(to)
    done = subprocess.run([COLDLIFT, "extract", "--quiet", "--to", to, "--name", "job", "--format", title, image],
                          capture_output=True, text=True)
    bench.check(done.returncode == 1, f"{title}: status {done.returncode}: {done.stderr}")
    job = os.path.join(to, "job")
    with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as file:
        lines = {line["path"].replace("\\", "/"): line for line in map(json.loads, file)
                 if "path" in line and "stream" not in line}
    unpacked = unpack(bench, title, job)
    check_huge(bench, title, job, unpacked, lines)
    check_locked(bench, title, lines["/huge and locked.bin"])
    check_gap(bench, title, lines["/gap.bin"], os.path.join(unpacked, lines["/gap.bin"]["as"]))
    with open(os.path.join(job, "findings.json"), encoding="utf-8") as file:
        told = [finding["sentence"] for finding in json.load(file) if finding["code"] == "files-as-ranges"]
    bench.check(len(told) == 1 and told[0].startswith("4 huge files"), f"{title}: findings {told}")
    done = subprocess.run([COLDLIFT, "verify", job], capture_output=True, text=True)
    bench.check(done.returncode == 1 and "Proven" in done.stdout, f"{title}: verify {done.returncode}: {done.stdout}")


def runs_of(image, path):
    """By ntfscluster: (VCN, LCN, clusters)."""
    listed = subprocess.run(["ntfscluster", "-F", path, image], check=True, capture_output=True,
                            text=True).stdout.partition("0x80")[2]
    return [tuple(map(int, found)) for found in re.findall(r"^\s*(\d+)\s+(\d+)\s+(\d+)\s*$", listed, re.M)]


def check_faulty(bench, image):
    """A drive that cannot read a sector under one of the ranges, and one that can at the second try only."""
    runs = runs_of(image, "/huge.bin")
    (vcn, lcn, count), at, script, to = runs[1], 9 * CLUSTER, bench.path("script"), bench.path("faulty")
    bench.check(count > 10, f"runs: {runs}")
    with open(script, "w", encoding="ascii") as file:
        file.write(f"watch\nfail {lcn * CLUSTER + at} {SECTOR}\nfleeting {runs[2][1] * CLUSTER} {SECTOR} 1\n")
    for options in ([], ["careful"]):
        os.mkdir(to)
        done = subprocess.run([os.path.join(BUILD, "tests/run/faulty_job"), image, script, to, "tar", *options],
                              capture_output=True, text=True)
        label = f"faulty {options}"
        bench.check(done.returncode == 1, f"{label}: status {done.returncode} {done.stderr}")
        counts = json.loads(done.stdout)
        bench.check(counts["again_since"] == 0 and counts["most_asked"] <= 6, f"{label}: {counts}")
        with open(os.path.join(to, "job", "record.jsonl"), encoding="utf-8") as file:
            lines = {line["path"].replace("\\", "/"): line for line in map(json.loads, file)
                     if "path" in line and "stream" not in line}
        line, wanted = lines["/huge.bin"], ranges_of("/huge.bin")
        bench.check((line["state"], line["ranges"], line["holes"]) ==
                    ("partial", wanted, [[vcn * CLUSTER + at, SECTOR]]), f"{label}: {line}")
        data = b"".join(content("/huge.bin", start, length) for start, length in wanted)
        hole = wanted[0][1] + at   # in what is stored: the first range comes before it
        data = data[:hole] + bytes(SECTOR) + data[hole + SECTOR:]
        bench.check(bytes_of(os.path.join(to, "job"), line) == data, f"{label}: other bytes")
        check_line_of_others(bench, label, lines)
        shutil.rmtree(to)


def check_line_of_others(bench, label, lines):
    for path in FILES:
        if path != "/huge.bin":
            bench.check(lines[path]["state"] == "taken", f"{label}: {lines[path]}")


def check_clusters(bench, image):
    """The ranges are the clusters that ntfscluster lists."""
    theirs = [[vcn * CLUSTER, length * CLUSTER] for vcn, _, length in runs_of(image, "/huge.bin")]
    ours = [[start, -(-length // CLUSTER) * CLUSTER] for start, length in ranges_of("/huge.bin")]
    bench.check(theirs == ours, f"ntfscluster: {theirs}, not {ours}")


def main():
    bench = Bench()
    image = make_image(bench)
    check_clusters(bench, image)
    for title in ("folder", "tar", "zip"):
        check_job(bench, image, title)
    check_faulty(bench, image)
    bench.close()


main()
