#!/usr/bin/python3
"""Whole jobs off drives that fail in many ways: nothing but what really does not read is missing.

Patterns are made from a seed: single bad sectors, clusters of them, regions, sectors that read at the third
or fourth try only, a head that dies half-way, and mixtures; under the files, and under the file table, the
folders' indexes and what else the file system has, which are read before there is a job. After each job, in every
format: every byte outside a file's listed holes is the one that was put on the volume, no hole is larger than the
bad sectors (or units of compression) under it, a file without bad sectors under it and under its records is whole,
and no sector was read again once it had been read well after the drive's first failure. The same for the demo
drive with an old system on it, with faults also under its hives: there every file of a person whose records,
sectors and folders are sound arrives as expected.json says. Where a file lies says an independent walk (ntfs/walk.py), which is checked
against the bytes that were put on the volume with libntfs-3g. COLDLIFT_TORTURE=1 runs 200 patterns, otherwise a
fixed sample.
"""

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from _failing import pattern  # noqa: E402
from _job_files import bytes_of  # noqa: E402
from bench import BUILD, Bench, Listing, noise, text  # noqa: E402
from walk import Walk  # noqa: E402

TORTURE = os.environ.get("COLDLIFT_TORTURE") == "1"
DRIVER = os.path.join(BUILD, "tests/run/faulty_job")
DEMO = os.environ.get("COLDLIFT_DEMO", os.path.join(BUILD, "demo"))
SIZE, CLUSTER, SECTOR = 96 << 20, 4096, 512
MOST_TRIES = 6  # of one sector that does not read: the first try in two sizes, and four rounds
MOST_TRIES_SURVEYED = 7  # three before there is a job, then four rounds
DATA_KINDS, META_KINDS = 6, 3  # of patterns
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


def sectors_of(places):
    return {sector for at, length in places for sector in range(at // SECTOR, (at + length + SECTOR - 1) // SECTOR)}


def metadata_of(walk):
    """[(offset, length)] of what the file system keeps for itself: the table twice, it is most of what is read.

    Without the copies of the boot sector and of the first records: with both gone there is no volume.
    """
    whole = 1 << 40
    table = walk.places(walk.table_runs, 0, walk.table_size)
    places = table * 2 + [(0, SECTOR)]
    for number, file in walk.files.items():
        places += walk.places(file.list_runs, 0, whole) + walk.places(file.index_runs, 0, whole)
        # $BadClus names the whole volume without owning it; of $LogFile (2) only the beginning is read.
        if number < 24 and number not in (1, 7, 8):
            for stream in file.streams.values():
                places += walk.places(stream.runs, 0, 8192 if number == 2 else 1 << 20)
    return sorted(places)


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
        self.records = {"\\Fernhill\\" + file.names[0][1]: sectors_of(place for record in file.records
                                                                       for place in record.places)
                        for file in walk.files.values() if file.number >= 24 and file.names}
        self.metadata = metadata_of(walk)
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


def only_in(places, lines, bad, doubtful):
    """Faults only there, but for whole regions."""
    sectors, keep, regions = sectors_of(places), [], set()
    for line in lines:
        words = line.split()
        first, count = [int(word) // SECTOR for word in words[1:3]] if len(words) > 2 else (0, 0)
        if words[0] in ("fail", "short", "fleeting") and count <= 60:
            keep += [" ".join([words[0], str(sector * SECTOR), str(SECTOR), *words[3:]])
                     for sector in range(first, first + count) if sector in sectors]
        else:
            keep.append(line)
            regions.update(range(first, first + count))
    return keep, bad & (sectors | regions), doubtful & (sectors | regions)


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


class Totals:
    jobs = failures = files = losses = again = 0


def run_job(bench, label, image, lines, name, options, most_tries):
    """The job's folder and the lines of its files; None where it did not end well."""
    script, to = bench.path("script"), bench.path("to")
    with open(script, "w", encoding="ascii") as file:
        file.write("\n".join(lines) + "\n")
    shutil.rmtree(to, ignore_errors=True)
    os.mkdir(to)
    done = subprocess.run([DRIVER, image, script, to, name, *options], capture_output=True, text=True)
    bench.check(done.returncode in (0, 1), f"{label} status {done.returncode} {done.stderr[:300]}")
    if done.returncode not in (0, 1):
        return None, []
    counts, job = json.loads(done.stdout), os.path.join(to, "job")
    bench.check(counts["again_since"] == 0, f"{label} read again: {counts}")
    bench.check(counts["most_asked"] <= most_tries, f"{label} asked too often: {counts}")
    bench.check(os.listdir(to) == ["job"], f"{label} left {os.listdir(to)}")
    bench.check(not os.path.exists(os.path.join(job, "salvage")), f"{label} the store is still there")
    Totals.jobs, Totals.failures = Totals.jobs + 1, Totals.failures + counts["failures"]
    Totals.again += counts["again_since"]
    with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as record:
        return job, [line for line in map(json.loads, list(record)[1:]) if line["kind"] == "file"]


def check_account(bench, label, job, bad, doubtful, lost):
    """The drive's holes: nothing that reads, and every sector that cost a file something."""
    with open(os.path.join(job, "account.json"), encoding="utf-8") as file:
        holes = sectors_of(json.load(file)["drives"][0]["holes"])
    bench.check(holes <= bad | doubtful, f"{label} the account lists what reads: {sorted(holes - bad - doubtful)[:9]}")
    bench.check(lost <= holes, f"{label} the account lacks {sorted(lost - holes)[:9]}")


def check_loosely(bench, label, truth, line, data):
    """A file whose records are not sound: what came of it is right."""
    at = 0
    bench.check(len(data) <= len(truth), f"{label}: {len(data)} bytes of {len(truth)}")
    for offset, length in [*line.get("holes", []), (len(data), 0)]:
        bench.check(data[at:offset] == truth[at:offset], f"{label}: differs between {at} and {offset}")
        at = offset + length


def check_job(bench, volume, seed, name, options):
    label = f"seed {seed} {name} {' '.join(options)}:"
    kind = seed % (DATA_KINDS + META_KINDS)
    is_meta = kind >= DATA_KINDS
    places = volume.metadata if is_meta else volume.data
    lines, bad, doubtful = only_in(places, *pattern(kind, seed, places))
    job, found = run_job(bench, label, volume.image, lines, name, options,
                         MOST_TRIES_SURVEYED if is_meta else MOST_TRIES)
    if job is None:
        return
    # Names occur once; where a folder's record is lost its files stand elsewhere.
    names = {line["path"].split("\\")[-1]: line for line in found}
    lost, unread = 0, set()
    for path in volume.contents:
        line = names.get(path.split("\\")[-1])
        Totals.files += 1
        is_sound = not volume.records[path] & (bad | doubtful)
        if is_sound and bench.check_that(line is not None, f"{label} {path} is not in the record") and not is_meta:
            bench.check(line["path"] == path, f"{label} {path} is called {line['path']}")
        if line is None:
            lost += 1
            continue
        if not is_sound:
            lost += 1
            if "as" in line:
                check_loosely(bench, f"{label} {path}", volume.contents[path], line, bytes_of(job, line))
            continue
        if line["state"] in ("partial", "unreadable"):
            unread |= bad & sectors_of(run for run in volume.places[path] if run[0] is not None)
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
    check_account(bench, label, job, bad, doubtful, unread)
    Totals.losses += lost


class System:
    """The demo drive with an old system, and what must come of it."""

    def __init__(self, bench):
        self.image = os.path.join(DEMO, "old-system.img")
        with open(self.image, "rb") as file:
            drive = file.read()
        # The first entry of the type "Basic data" (UEFI 2.10, 5.3.3 for the fields; the GUID is Microsoft's).
        entry = drive.index(bytes.fromhex("a2a0d0ebe5b9334487c068b6b72699c7"), 1024)
        self.start, last = (int.from_bytes(drive[entry + at:entry + at + 8], "little") * SECTOR for at in (32, 40))
        self.walk = walk = Walk(drive[self.start:last + SECTOR])
        with open(os.path.join(DEMO, "expected.json"), encoding="utf-8") as file:
            rows = [row for row in json.load(file)["streams"]
                    if row["volume"] == "C:" and row.get("sha256") and row["path"].startswith("\\Users\\") and
                    row["state"] == "taken" and not row["stream"] and not row["path"].upper().endswith(".DAT")]
        paths = {self.path_of(file, name): file for file in walk.files.values() for name in file.names}
        # What this drive alone gives when nothing is wrong with it: demo_zip.py and others check all of that.
        _, found = run_job(bench, "old system, sound:", self.image, [], "folder", [], 0)
        sound = {line["path"]: line.get("sha256") for line in found}
        self.files = [(row["path"], row["sha256"], self.sectors(paths[row["path"]]))
                      for row in rows if row["path"] in paths and sound.get(row["path"]) == row["sha256"]]
        bench.check(len(self.files) > 100, f"only {len(self.files)} files of persons are found by the walk")
        hives = [place for file in walk.files.values() for name in file.names for stream in file.streams.values()
                 if name[1].upper() in ("NTUSER.DAT", "SOFTWARE", "SYSTEM", "SAM", "USRCLASS.DAT")
                 for place in walk.places(stream.runs, 0, 1 << 40)]
        self.places = [(self.start + at, length) for at, length in metadata_of(walk) + hives]

    def path_of(self, file, name):
        parts, parent = [name[1]], name[0]
        while parent != 5:
            parent, above, _ = self.walk.files[parent].names[0]
            parts.append(above)
        return "\\" + "\\".join(reversed(parts))

    def sectors(self, file):
        """All that its name and its bytes depend on, with its folders, as sectors of the drive."""
        places, parent = [], file
        for stream in file.streams.values():
            places += self.walk.places(stream.runs, 0, 1 << 40)
        while parent.number != 5:
            places += [place for record in parent.records for place in record.places]
            parent = self.walk.files[parent.names[0][0]]
        return {self.start // SECTOR + sector for sector in sectors_of(places)}


def check_system(bench, system, seed):
    label, name = f"old system, seed {seed}:", ("folder", "zip", "tar")[seed % 3]
    kind = DATA_KINDS + seed % META_KINDS
    lines, bad, doubtful = only_in(system.places, *pattern(kind, seed, system.places))
    job, found = run_job(bench, label, system.image, lines, name, [], MOST_TRIES_SURVEYED)
    if job is None:
        return
    hashes = {line["path"]: line.get("sha256") for line in found}
    for path, digest, sectors in system.files:
        Totals.files += 1
        if not sectors & (bad | doubtful):
            bench.check(hashes.get(path) == digest, f"{label} {path} did not arrive as it was: {hashes.get(path)}")


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


class Checks(Bench):
    def check_that(self, truth, what):
        self.check(truth, what)
        return truth


def main():
    bench = Checks()
    volume = Volume(bench)
    for seed in range(200 if TORTURE else 18):
        name = ("zip", "tar", "folder")[(seed // 9 + seed) % 3]
        options = (["careful"] if seed % 4 == 1 else []) + ([f"part={PART}"] if seed % 5 in (0, 3) else [])
        check_job(bench, volume, seed, name, options)
    if os.path.exists(os.path.join(DEMO, "old-system.img")):
        system = System(bench)
        for seed in range(30 if TORTURE else 3):
            check_system(bench, system, seed)
    check_hanging(bench, volume)
    bench.check(Totals.failures > 50 and Totals.losses > 5,
                f"too little went wrong: {Totals.failures}, {Totals.losses}")
    print(f"{Totals.jobs} jobs, {Totals.failures} failed requests, {Totals.files} files compared, "
          f"{Totals.losses} with losses, {Totals.again} sectors read again, {bench.failures} checks failed")
    bench.close()
    sys.exit(bench.failures != 0)


main()
