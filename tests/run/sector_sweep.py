#!/usr/bin/python3
"""Every single sector of a small volume unreadable in turn: whatever can still be reached arrives.

What can be reached says an independent walk (ntfs/walk.py, not of src/) over the same volume: a stream needs
its file's base record, the records that describe the stream, and its own clusters; a name the record that holds
it. The walk itself is checked against the bytes that were put on the volume. Volumes come from mkntfs and
libntfs-3g, with every cluster size once, sectors of 4,096 bytes, and a table in pieces (ntfs/pieces.py).

COLDLIFT_TORTURE=1 takes every sector of the metadata and of the files, otherwise a fixed sample.
"""

import json
import os
import random
import subprocess
import sys

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from bench import BUILD, Bench, Listing, digest, noise, text  # noqa: E402
from pieces import RECORD, mark_used, take_apart  # noqa: E402
from walk import Walk  # noqa: E402

TORTURE = os.environ.get("COLDLIFT_TORTURE") == "1"
SAMPLE, SAMPLE_SANITIZED = 70, 30   # sectors of each layout
COMPRESSED = 0x00FF
FIRST_USER = 16
# Title, bytes of the volume, of a cluster, of the volume's sectors, of the drive's sectors.
LAYOUTS = [(f"clusters of {cluster}", size << 20, cluster, 512, 512)
           for cluster, size in ((512, 4), (1024, 4), (2048, 5), (4096, 8), (8192, 6), (16384, 8), (32768, 12),
                                 (65536, 24))]
LAYOUTS += [("sectors of 4,096", 10 << 20, 4096, 4096, 4096),
            ("sectors of 512 on a drive of 4,096", 8 << 20, 4096, 512, 4096),
            ("table in pieces", 8 << 20, 4096, 512, 512)]


def scattered(cluster):
    """Bytes of the file that lies in pieces: enough of them that they fill several records."""
    return noise((300 if cluster <= 4096 else 24) * cluster, 4)


def make_listing(cluster):
    listing = Listing()
    listing.add("folder", "/Fernhill")
    listing.add("folder", "/Fernhill/Plots")
    for i in range(40):
        listing.file(f"/Fernhill/Plots/plot {i:02} of the society.txt", text(25 * i, i))
    listing.file("/Fernhill/plain.bin", noise(3 * cluster + 77, 2))
    if cluster <= 4096:
        listing.file("/Fernhill/text.lz", text(40 * cluster + 5, 3), "800")
    listing.scatter("/Fernhill/scattered.bin", scattered(cluster))
    listing.write("/Fernhill/plain.bin", "", 0, noise(3 * cluster + 77, 2))
    for i in range(25):
        listing.write("/Fernhill/plain.bin", f"stream {i:02}", 0, noise(60 + 31 * i, i))
    return listing


def free_runs(walk, wanted):
    """Two pieces of free clusters, apart from each other, that hold `wanted` clusters."""
    bitmap = walk.bytes_of(walk.files[6].streams[""])
    total = walk.sectors * walk.sector // walk.cluster
    free = [i for i in range(total) if not bitmap[i // 8] >> i % 8 & 1]
    half, runs = wanted // 2, []
    for length in (wanted - half, half):
        at = next(i for i in free if all(i + k in set(free[:4000]) for k in range(length)) and
                  all(not i < lcn + n + 1 or not lcn < i + length + 1 for lcn, n in runs))
        runs.append([at, length])
    return runs


class Sweep:
    def __init__(self, bench, layout):
        self.bench = bench
        self.title, size, cluster, sector, self.drive = layout
        self.image = bench.make("volume.img", size, cluster, sector, make_listing(cluster))
        if self.title == "table in pieces":
            self.break_up(cluster)
        with open(self.image, "rb") as file:
            self.walk = Walk(file.read())
        self.injected = self.compared = self.hit_really = self.lost = 0
        if self.title == "table in pieces":
            bench.check(len(self.walk.table_runs) == 3, f"{self.title}: {self.walk.table_runs}")

    def break_up(self, cluster):
        with open(self.image, "rb") as file:
            data = bytearray(file.read())
        walk = Walk(bytes(data))
        runs = [list(run) for run in walk.table_runs]
        first = 16 * RECORD // cluster + 1
        rest = sum(length for _, length in runs) - first
        take_apart(data, cluster, runs, walk.table_size, first, free_runs(walk, rest))
        mirror, table = walk.mirror * cluster, walk.table * cluster
        data[mirror:mirror + RECORD] = data[table:table + RECORD]
        mark_used(data, Walk(bytes(data)))
        with open(self.image, "wb") as file:
            file.write(data)

    # --- which sectors ---------------------------------------------------------------------------

    def sectors(self):
        """Offsets of the metadata's sectors, and of the files'."""
        walk, meta, data = self.walk, set(), set()

        def add(to, places):
            for at, length in places:
                to.update(range(at // self.drive * self.drive, at + length, self.drive))

        def whole(runs):
            return walk.places(runs, 0, 1 << 40)

        add(meta, [(0, 512), (len(walk.data) - 512, 512), (walk.mirror * walk.cluster, 4 * walk.record_size)])
        add(meta, whole(walk.table_runs))
        for number, file in walk.files.items():
            add(meta, whole(file.list_runs) + whole(file.index_runs))
            for stream in file.streams.values():
                # $BadClus names the whole volume without owning it.
                if number != 8:
                    add(meta if number < FIRST_USER else data, whole(stream.runs)[:64])
        return sorted(meta), sorted(data - meta)

    def choose(self, count):
        meta, data = self.sectors()
        if TORTURE and count == SAMPLE:
            return meta + data
        dice = random.Random(self.title)
        # The table and the first sectors count most: half of the sample comes from there.
        table = [at for at in meta if any(
            start <= at < start + length for start, length in
            self.walk.places(self.walk.table_runs, 0, self.walk.table_size))]
        chosen = set(dice.sample(table, min(len(table), count // 2)))
        for pool, share in ((meta, count // 4), (data, count // 4)):
            chosen |= set(dice.sample(pool, min(len(pool), share)))
        # And what tells where the rest of a table in pieces lies.
        further = {at // self.drive * self.drive for at, _ in self.walk.records[15].places
                   if len(self.walk.table_runs) > 1}
        return sorted(chosen | further | {0, self.walk.mirror * self.walk.cluster // self.drive * self.drive})

    # --- what must arrive ------------------------------------------------------------------------

    def hit(self, places, at):
        return any(at < start + length and start < at + self.drive for start, length in places)

    def record_hit(self, number, at):
        # The first four records have copies, unless those lie in the same sector.
        return self.hit(self.walk.records[number].places, at)

    def allowed_holes(self, stream, at):
        """Ranges of the stream that one unreadable sector can cost."""
        unit = 16 * self.walk.cluster if stream.flags & COMPRESSED else 1
        ranges, start = [], 0
        for lcn, length in stream.runs:
            end = start + length * self.walk.cluster
            if lcn is not None:
                first = max(at, lcn * self.walk.cluster) - lcn * self.walk.cluster + start
                last = min(at + self.drive, (lcn + length) * self.walk.cluster) \
                    - lcn * self.walk.cluster + start
                if first < last:
                    ranges.append((first // unit * unit, -(-last // unit) * unit))
            start = end
        return ranges

    def judge(self, result):
        walk, at, bench = self.walk, result["offset"], self.bench
        where = f"{self.title}: sector at {at}"
        self.injected += 1
        if not result["opened"]:
            bench.check(False, f"{where}: the volume cannot be opened")
            return
        differs = {(row["node"], row["stream"]): row for row in result["differs"]}
        bench.check(not differs or result["codes"] or all(row["holes"] for row in differs.values()),
                    f"{where}: {len(differs)} streams differ without a finding")
        for number, file in walk.files.items():
            if number < FIRST_USER:
                continue
            base = self.record_hit(number, at)
            for name, stream in file.streams.items():
                self.compared += 1
                row = differs.get((number, name))
                if row is None:
                    continue
                self.hit_really += 1
                bench.check(not row["wrong"], f"{where}: wrong bytes in {number}:{name}")
                described = base or any(self.record_hit(record, at) for record in stream.records)
                named = not base and not any(self.record_hit(record, at) for _, _, record in file.names)
                holes, allowed = row["holes"], self.allowed_holes(stream, at)
                fits = all(any(first <= start and start + length <= last for first, last in allowed)
                           for start, length in holes)
                lost = (named and not row["named"]) or (not described and (
                    row["missing"] or row["resized"] or not fits))
                self.lost += lost
                bench.check(not lost, f"{where}: {number}:{name} could be reached: {row}")

    def run(self, program, count):
        offsets = self.choose(count)
        done = subprocess.run([program, self.image, str(self.drive)], text=True, capture_output=True,
                              input="".join(f"{at}\n" for at in offsets), check=False)
        if done.returncode:
            self.bench.check(False, f"{self.title}: status {done.returncode}: {done.stderr[-2000:]}")
            return
        truths, results = done.stdout.split("\n\n", 1)
        self.check_truth([json.loads(line) for line in truths.splitlines()])
        for line in results.splitlines():
            self.judge(json.loads(line))

    def check_truth(self, rows):
        """The sound volume: the program, the walk and what was put there agree."""
        expected = {(number, name): stream for number, file in self.walk.files.items()
                    if number >= FIRST_USER for name, stream in file.streams.items()
                    if any(parent not in (11,) for parent, _, _ in file.names)}
        found = {(row["node"], row["stream"]): row for row in rows}
        self.bench.check(set(found) == set(expected), f"{self.title}: other streams: "
                         f"{sorted(set(found) ^ set(expected))[:5]}")
        for key, stream in expected.items():
            row = found.get(key)
            if row and not stream.flags & COMPRESSED:
                self.bench.check(row["sha256"] == digest(self.walk.bytes_of(stream)),
                                 f"{self.title}: {key}: other bytes")
        known = {row["sha256"] for row in rows}
        self.bench.check(digest(scattered(self.walk.cluster)) in known, f"{self.title}: scattered.bin")


def main():
    bench = Bench()
    plain = os.path.join(BUILD, "tests", "run", "sector_sweep")
    sanitized = os.path.join(BUILD, "sanitize", "tests", "run", "sector_sweep")
    totals = [0, 0, 0, 0]
    for layout in LAYOUTS:
        sweep = Sweep(bench, layout)
        sweep.run(plain, SAMPLE)
        if os.path.exists(sanitized):
            sweep.run(sanitized, SAMPLE_SANITIZED)
        for i, count in enumerate((sweep.injected, sweep.compared, sweep.hit_really, sweep.lost)):
            totals[i] += count
    print(f"{totals[0]} faults injected, {totals[1]} streams compared, "
          f"{totals[2]} not whole, {totals[3]} losses that were none")
    bench.close()


main()
