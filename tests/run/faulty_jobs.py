#!/usr/bin/python3
"""Whole jobs off drives that fail in many ways: nothing but what really does not read is missing.

Patterns are made from a seed: single bad sectors, clusters of them, regions, sectors that read at the third
or fourth try only, a head that dies half-way, and mixtures. After each job, in every format: every byte outside
a file's listed holes is the one that was put on the volume, no hole is larger than the bad sectors (or units
of compression) under it, a file without bad sectors is whole, and no sector was read again once it had been
read well after the drive's first failure. Where a file lies says an independent walk (ntfs/walk.py), which is checked
against the bytes that were put on the volume with libntfs-3g. COLDLIFT_TORTURE=1 runs 200 patterns, otherwise a
fixed sample.
"""

import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from _job_files import bytes_of  # noqa: E402
from bench import BUILD, Bench, Listing, noise, text  # noqa: E402
from walk import Walk  # noqa: E402

TORTURE = os.environ.get("COLDLIFT_TORTURE") == "1"
DRIVER = os.path.join(BUILD, "tests/run/faulty_job")
SIZE, CLUSTER, SECTOR = 96 << 20, 4096, 512
MOST_TRIES = 6  # of one sector that does not read: the first try in two sizes, and four rounds
COMPRESSED, UNIT = 0x00FF, 16 * CLUSTER
PART = 9 << 20  # bytes of a part, where there is a limit: the longest file is cut into pieces


def make_listing():
    contents = {}
    listing = Listing()
    listing.add("folder", "/Fernhill")

    def add(name, data, attributes="0"):
        contents[f"\\Fernhill\\{name}"] = data
        listing.file(f"/Fernhill/{name}", data, attributes)

    for i in range(60):
        add(f"plot {i:02}.txt", text(3000 + 1700 * i, i))
    add("summer.mov", noise(36 << 20, 2))   # longer than what is read ahead at once
    add("harvest.jpg", noise(5 << 20, 3))
    add("minutes.doc", text(3 << 20, 4), "800")
    add("seeds.lst", text(700000, 5), "800")
    listing.scatter("/Fernhill/scattered.bin", noise(300 * CLUSTER, 6))
    contents["\\Fernhill\\scattered.bin"] = noise(300 * CLUSTER, 6)
    return listing, contents


class Volume:
    """The volume, the truth about it, and where on it each file lies."""

    def __init__(self, bench):
        listing, self.contents = make_listing()
        self.image = bench.make("faulty", SIZE, CLUSTER, SECTOR, listing)
        with open(self.image, "rb") as image:
            walk = Walk(image.read())
        self.files, self.places = {}, {}
        for file in walk.files.values():
            if file.number < 24 or not file.names or "" not in file.streams:
                continue
            stream = file.streams[""]
            path = "\\Fernhill\\" + file.names[0][1]
            self.files[path] = stream
            self.places[path] = [] if stream.value is not None else [
                (None if lcn is None else lcn * walk.cluster, count * walk.cluster) for lcn, count in stream.runs]
            if not stream.flags & COMPRESSED:
                bench.check(walk.bytes_of(stream) == self.contents[path], f"the walk reads {path} wrongly")
        bench.check(set(self.files) == set(self.contents), "the walk finds other files")
        self.data = sorted((at, length) for runs in self.places.values() for at, length in runs if at is not None)

    def bad_bytes(self, path, bad):
        """[from, end) of the file that its bad sectors cost: whole units where it is compressed."""
        out, at = [], 0
        size, unit = len(self.contents[path]), UNIT if self.files[path].flags & COMPRESSED else SECTOR
        for lcn, length in self.places[path]:
            for start in range(0, length, SECTOR) if lcn is not None else ():
                if (lcn + start) // SECTOR in bad:
                    first = (at + start) // unit * unit
                    out.append((first, min(first + unit, size)))
            at += length
        return {(first, end) for first, end in out if first < size}


def pattern(seed, data):
    """Lines for the test device, the sectors that never read, and those that may not (after bounded tries)."""
    rng = random.Random(seed)
    lines, bad, doubtful = ["watch"], set(), set()

    def place():
        at, length = rng.choice(data)
        return (at + rng.randrange(length)) // SECTOR * SECTOR

    def fail(at, length):
        lines.append(f"{rng.choice(('fail', 'short'))} {at} {length}")
        bad.update(range(at // SECTOR, (at + length + SECTOR - 1) // SECTOR))

    kind = seed % 6
    if kind in (0, 3):
        for _ in range(rng.randrange(1, 30)):
            fail(place(), SECTOR)
    if kind in (1, 3):
        for _ in range(rng.randrange(1, 4)):
            centre = place()
            for _ in range(rng.randrange(2, 20)):
                fail(max(0, centre + rng.randrange(-200, 200) * SECTOR), SECTOR * rng.randrange(1, 4))
    if kind == 2:
        fail(place(), SECTOR * rng.randrange(100, 8000))
    if kind in (4, 5):
        for _ in range(rng.randrange(1, 12)):
            at, count, times = place(), rng.randrange(1, 40), rng.randrange(1, MOST_TRIES)
            lines.append(f"fleeting {at} {SECTOR * count} {times}")
            # Once is what the last two rounds, sector by sector, are sure to get over.
            doubtful.update(range(at // SECTOR, at // SECTOR + count) if times > 1 else ())
    if kind == 5:
        at, length = max(data, key=lambda run: run[1])
        first, count = (at + length // 3) // SECTOR, length // 2 // SECTOR
        lines.append(f"dies {first * SECTOR} {count * SECTOR} {rng.randrange(60, 90)}")
        doubtful.update(range(first, first + count))
    return lines, bad, doubtful


def in_data(lines, bad, doubtful, volume):
    """Faults only where files lie: the table and what belongs to the file system are another test's matter."""
    sectors = {sector for at, length in volume.data for sector in range(at // SECTOR, (at + length) // SECTOR)}
    keep = []
    for line in lines:
        words = line.split()
        if words[0] in ("fail", "short", "fleeting"):
            first, count = int(words[1]) // SECTOR, int(words[2]) // SECTOR
            keep += [" ".join([words[0], str(sector * SECTOR), str(SECTOR), *words[3:]])
                     for sector in range(first, first + count) if sector in sectors] if count <= 60 else [line]
        else:
            keep.append(line)
    return keep, bad & sectors, doubtful & sectors


def check_file(bench, label, volume, path, line, data, bad, doubtful):
    truth = volume.contents[path]
    holes = [tuple(hole) for hole in line.get("holes", [])]
    label = f"{label} {path}"
    bench.check(len(data) == len(truth), f"{label}: {len(data)} bytes of {len(truth)}")
    bench.check(hashlib.sha256(data).hexdigest() == line["sha256"], f"{label}: has another hash")
    at = 0
    for offset, length in holes + [(len(truth), 0)]:
        bench.check(data[at:offset] == truth[at:offset], f"{label}: differs between {at} and {offset}")
        bench.check(not any(data[offset:offset + length]), f"{label}: something stands in a hole")
        at = offset + length
    bench.check((line["state"] == "partial") == bool(holes), f"{label}: {line['state']} with holes {holes}")
    for first, end in volume.bad_bytes(path, bad):
        bench.check(any(o <= first and end <= o + n for o, n in holes), f"{label}: {first} is bad and in no hole")
    may = volume.bad_bytes(path, bad | doubtful)
    inside = sum(min(end, o + n) - max(first, o) for first, end in may for o, n in holes if first < o + n and o < end)
    bench.check(sum(n for _, n in holes) == inside, f"{label}: holes of {holes}, bad are {sorted(may)[:9]}")


def check_job(bench, volume, seed, name, options):
    label = f"seed {seed} {name} {' '.join(options)}:"
    lines, bad, doubtful = in_data(*pattern(seed, volume.data), volume)
    script, to = bench.path("script"), bench.path("to")
    with open(script, "w", encoding="ascii") as file:
        file.write("\n".join(lines) + "\n")
    shutil.rmtree(to, ignore_errors=True)
    os.mkdir(to)
    done = subprocess.run([DRIVER, volume.image, script, to, name, *options], capture_output=True, text=True)
    bench.check(done.returncode in (0, 1), f"{label} status {done.returncode} {done.stderr[:300]}")
    if done.returncode not in (0, 1):
        return 0, 0
    counts, job = json.loads(done.stdout), os.path.join(to, "job")
    bench.check(counts["again_since"] == 0, f"{label} read again: {counts}")
    bench.check(counts["most_asked"] <= MOST_TRIES, f"{label} asked too often: {counts}")
    bench.check(not os.path.exists(os.path.join(job, "salvage")), f"{label} the store is still there")
    with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as record:
        files = {line["path"]: line for line in map(json.loads, list(record)[1:]) if line["kind"] == "file"}
    bench.check(set(files) >= set(volume.contents), f"{label} missing in the record")
    lost = 0
    for path in volume.contents:
        line = files[path]
        if line["state"] == "unreadable":
            lost += 1
            size = len(volume.contents[path])
            may = volume.bad_bytes(path, bad | doubtful)
            bench.check(sum(end - first for first, end in may) == size, f"{label} {path}: could be read")
        else:
            lost += line["state"] == "partial"
            check_file(bench, label, volume, path, line, bytes_of(job, line), bad, doubtful)
    verify = subprocess.run([os.path.join(BUILD, "coldlift"), "verify", "--quiet", job], capture_output=True, text=True)
    bench.check(verify.returncode in (0, 1), f"{label} verify says {verify.returncode} {verify.stderr[:300]}")
    return counts["failures"], lost


def check_hanging(bench, volume):
    """A drive that hangs: whoever asks to stop does not have to wait for it."""
    script, to, (at, _) = bench.path("script"), bench.path("to"), max(volume.data, key=lambda run: run[1])
    with open(script, "w", encoding="ascii") as file:
        file.write(f"hang {at + 9 * UNIT} {SECTOR}\n")
    shutil.rmtree(to, ignore_errors=True)
    os.mkdir(to)
    job = subprocess.Popen([DRIVER, volume.image, script, to, "tar"], stderr=subprocess.PIPE, text=True,
                           stdout=subprocess.DEVNULL)
    for _ in range(1200):  # until it has begun
        if os.path.exists(os.path.join(to, "job", "journal")):
            break
        time.sleep(0.05)
    time.sleep(0.5)
    job.send_signal(signal.SIGINT)
    try:
        # The drive itself would be given up after three minutes only.
        _, said = job.communicate(timeout=90)
    except subprocess.TimeoutExpired:
        job.kill()
        said = ""
    bench.check("stopped as asked" in said, f"a hanging drive cannot be stopped: {said[:300]}")
    bench.check(os.path.exists(os.path.join(to, "job", "journal")), "a stopped job has no journal")


def main():
    bench = Bench()
    volume = Volume(bench)
    faults = losses = jobs = 0
    for seed in range(200 if TORTURE else 18):
        name = ("zip", "tar", "folder")[seed // 6 % 3]
        options = (["careful"] if seed % 4 == 1 else []) + ([f"part={PART}"] if seed % 5 in (0, 3) else [])
        failed, lost = check_job(bench, volume, seed, name, options)
        faults, losses, jobs = faults + failed, losses + lost, jobs + 1
    check_hanging(bench, volume)
    bench.check(faults > 50 and losses > 5, f"too little went wrong: {faults}, {losses}")
    print(f"{jobs} jobs, {faults} failed requests, {jobs * len(volume.contents)} files compared, {losses} with losses, "
          f"{bench.failures} checks failed")
    bench.close()
    sys.exit(bench.failures != 0)


main()
