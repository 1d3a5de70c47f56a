#!/usr/bin/python3
"""Jobs off a drive with single faults, for what patterns of faults (faulty_jobs.py) do not meet.

The list of bookmarks of a file that is safe does not go missing because a later failure lies beside it;
--patience ends the second tries; a drive that is unplugged is waited for; where nothing can be kept at the destination it is told; a slow region costs nothing but time; a bad sector of a hive, which is read
before there is a job, is asked for a bounded number of times; and a job that was killed while it went over
what did not read at first goes on without asking again for what it had read, but for the 64 KiB in work. Where
a file lies says an independent walk (ntfs/walk.py); what must arrive is what was put on the volume with
libntfs-3g, the database is made by Python's sqlite3. The bounds are the project's own promise (README).
"""

import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from _failing import run_until_it_hangs  # noqa: E402
from _job_files import bytes_of  # noqa: E402
from bench import BUILD, Bench, Listing, find_stream, noise, skip  # noqa: E402
from walk import Walk  # noqa: E402

DRIVER = os.path.join(BUILD, "tests/run/faulty_job")
COLDLIFT = os.environ.get("COLDLIFT", os.path.join(BUILD, "coldlift"))
DEMO = os.environ.get("COLDLIFT_DEMO", os.path.join(BUILD, "demo"))
SIZE, CLUSTER, SECTOR, BLOCK = 96 << 20, 4096, 512, 65536
MOST_TRIES = 6
MOST_TRIES_SURVEYED = 7  # three before there is a job, then one in each round


def make_database(path):
    base = sqlite3.connect(path)
    base.executescript("""
        CREATE TABLE moz_places (id INTEGER PRIMARY KEY, url TEXT);
        CREATE TABLE moz_bookmarks (id INTEGER PRIMARY KEY, type INTEGER, fk INTEGER, parent INTEGER,
            position INTEGER, title TEXT, dateAdded INTEGER, lastModified INTEGER, guid TEXT);
        INSERT INTO moz_bookmarks VALUES (1, 2, NULL, 0, 0, '', 1, 1, 'root________');
        INSERT INTO moz_bookmarks VALUES (2, 2, NULL, 1, 0, 'menu', 1, 1, 'menu________');""")
    for i in range(200):
        base.execute("INSERT INTO moz_places VALUES (?, ?)", (i + 1, f"https://fernhill.example/plots/{i}"))
        base.execute("INSERT INTO moz_bookmarks VALUES (?, 1, ?, 2, ?, ?, 1, 1, ?)",
                     (i + 10, i + 1, i, f"plot {i}", f"g{i:011}"))
    base.commit()
    base.close()
    with open(path, "rb") as file:
        return file.read()


class Checks(Bench):
    def check_that(self, truth, what):
        self.check(truth, what)
        return truth


class Drive:
    def __init__(self, bench, name, files, links=()):
        self.bench, self.contents = bench, dict(files)
        listing = Listing()
        listing.add("folder", "/Fernhill")
        for file, data in files:
            listing.file("/Fernhill/" + file, data)
        for link, file in links:
            listing.add("link", "/Fernhill/" + link, "/Fernhill/" + file)
            self.contents[link] = self.contents[file]
        self.image = bench.make(name, SIZE, CLUSTER, SECTOR, listing)
        with open(self.image, "rb") as image:
            walk = Walk(image.read())
        self.log = walk.files[2].streams[""].runs[0][0] * CLUSTER
        self.runs = {name[1]: [(lcn * CLUSTER, count * CLUSTER) for lcn, count in file.streams[""].runs]
                     for file in walk.files.values() if file.number >= 24 and "" in file.streams
                     for name in file.names}

    def prepare(self, lines):
        script, to = self.bench.path("script"), self.bench.path("to")
        with open(script, "w", encoding="ascii") as file:
            file.write("\n".join(["watch", *lines]) + "\n")
        return [DRIVER, self.image, script, to]

    def run(self, label, lines, *options, form="zip"):
        """The job's counts, record by name and findings by code."""
        command = self.prepare(lines)
        shutil.rmtree(command[3], ignore_errors=True)
        os.mkdir(command[3])
        done = subprocess.run([*command, form, *options], capture_output=True, text=True)
        self.bench.check(done.returncode in (0, 1), f"{label}: status {done.returncode} {done.stderr[:300]}")
        return json.loads(done.stdout), *self.results()

    def results(self):
        job = os.path.join(self.bench.path("to"), "job")
        with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as file:
            lines = [line for line in map(json.loads, list(file)[1:]) if line["kind"] == "file"]
        with open(os.path.join(job, "findings.json"), encoding="utf-8") as file:
            findings = {finding["code"]: finding["sentence"] for finding in json.load(file)}
        return {line["path"].split("\\")[-1]: line for line in lines}, findings

    def check_files(self, label, record, partial):
        """Everything arrived; holes are only where `partial` says: name to its list."""
        job = os.path.join(self.bench.path("to"), "job")
        for name, truth in self.contents.items():
            line = record[name]
            holes = line.get("holes", [])
            self.bench.check(holes == partial.get(name, []), f"{label}: {name} has holes {holes}")
            data, at = bytes_of(job, line), 0
            self.bench.check(len(data) == len(truth), f"{label}: {name} has {len(data)} bytes")
            for offset, length in [*holes, [len(truth), 0]]:
                self.bench.check(data[at:offset] == truth[at:offset], f"{label}: {name} differs behind {at}")
                at = offset + length

    def bookmarks(self):
        folder, out = os.path.join(self.bench.path("to"), "job", "bookmarks"), {}
        for name in sorted(os.listdir(folder)) if os.path.isdir(folder) else ():
            with open(os.path.join(folder, name), "rb") as file:
                out[name] = file.read()
        return out


def middle_of(drive, name):
    """A place on the drive inside the file's longest run, and where in the file that is."""
    at, best = 0, (0, 0, 0)
    for place, length in drive.runs[name]:
        best = max(best, (length, place, at))
        at += length
    length, place, at = best
    start = (place + length // 2) // BLOCK * BLOCK
    return start, at + start - place


def check_bookmarks(bench, drive):
    """The database is taken first; then a sector in front of it fails, and what is skipped covers it."""
    (database, _), = drive.runs["places.sqlite"]
    (at, length), = drive.runs["shed.bin"]
    bad = at + length - SECTOR
    if not bench.check_that(at + length == database and bad // BLOCK == database // BLOCK, "the layout is another"):
        return
    drive.run("bookmarks of a good drive", [], "careful")
    wanted = drive.bookmarks()
    bench.check(len(wanted) == 2, f"bookmarks of a good drive: {list(wanted)}")
    for options in ((), ("careful",)):
        label = f"bookmarks beside a bad sector {options}"
        counts, record, _ = drive.run(label, [f"fail {bad} {SECTOR}"], *options)
        drive.check_files(label, record, {"shed.bin": [[length - SECTOR, SECTOR]]})
        bench.check(drive.bookmarks() == wanted, f"{label}: {list(drive.bookmarks())}")
        bench.check(counts["most_asked"] <= MOST_TRIES, f"{label}: asked too often: {counts}")


def check_bookmarks_kept(bench, drive):
    """The drive fails before the database is read: for its bookmarks it is not asked once more."""
    (gate, _), (database, length) = drive.runs["gate.bin"][0], drive.runs["places.sqlite"][0]
    drive.run("bookmarks of a good drive", [])
    wanted = drive.bookmarks()
    counts, record, findings = drive.run("bookmarks behind a failure", [f"fail {gate} {SECTOR}"])
    drive.check_files("bookmarks behind a failure", record, {"gate.bin": [[0, SECTOR]]})
    bench.check(counts["again_since"] == 0, f"bookmarks behind a failure: read again: {counts}")
    bench.check(drive.bookmarks() == wanted and len(wanted) == 2, f"bookmarks behind a failure: {list(wanted)}")
    bench.check("bookmarks-unreadable" not in findings, f"bookmarks behind a failure: {list(findings)}")
    for label, at, size in (("whole", 0, length), ("head", 0, SECTOR), ("tail", CLUSTER, length - CLUSTER)):
        label = f"bookmarks, {label} unreadable"
        counts, record, findings = drive.run(label, [f"fail {database + at} {size}"])
        bench.check("places.sqlite" in findings.get("bookmarks-unreadable", ""), f"{label}: {findings}")
        bench.check(counts["again_since"] == 0, f"{label}: read again: {counts}")


def check_again(bench):
    """Second names, and files that are hashed before it is known whether they are the same: read once."""
    drive = Drive(bench, "again", [("gate.bin", noise(70 * CLUSTER, 1)), ("plan one.bin", noise(9 << 20, 7)),
                                   ("plan two.bin", noise(9 << 20, 7)), ("hall.mov", noise(18 << 20, 8))],
                  [("show.mov", "hall.mov")])
    (gate, _), (plan, _) = drive.runs["gate.bin"][0], drive.runs["plan one.bin"][0]
    for form, options, bad, partial in (
            ("zip", ["each"], gate, {"gate.bin": [[0, SECTOR]]}),
            ("tar", [], plan, {"plan one.bin": [[0, SECTOR]]}),
            # Found while they are hashed: whole then, both of them.
            ("tar", ["careful"], gate, {"gate.bin": [[0, SECTOR]]})):
        label = f"{form} {options} with what is read more than once"
        counts, record, _ = drive.run(label, [f"fail {bad} {SECTOR}"], *options, form=form)
        drive.check_files(label, record, partial)
        bench.check(counts["again_since"] == 0, f"{label}: {counts}")


def check_shared(bench):
    """Two files whose records claim the same clusters: both get what stands there, and that is told."""
    drive = Drive(bench, "shared", [("gate.bin", noise(70 * CLUSTER, 1)), ("shed.bin", noise(70 * CLUSTER, 2))])
    (gate, length), = drive.runs["gate.bin"]
    with open(drive.image, "r+b") as image:
        data = image.read()
        _, at = find_stream(data, "shed.bin")
        pair = at + int.from_bytes(data[at + 0x20:at + 0x22], "little")
        n_length, n_place = data[pair] & 15, data[pair] >> 4
        image.seek(pair + 1 + n_length)
        image.write((gate // CLUSTER).to_bytes(n_place, "little", signed=True))
    drive.contents["shed.bin"] = drive.contents["gate.bin"]
    hole = [length // 2, SECTOR]
    for lines, partial in (([], {}), ([f"fail {gate + hole[0]} {SECTOR}"], {"gate.bin": [hole], "shed.bin": [hole]})):
        counts, record, findings = drive.run(f"shared clusters {lines}", lines)
        drive.check_files(f"shared clusters {lines}", record, partial)
        told = findings.get("clusters-claimed-twice", "")
        bench.check("gate.bin" in told and "shed.bin" in told, f"shared clusters {lines}: {findings}")
        bench.check(counts["again_since"] == 0, f"shared clusters {lines}: {counts}")


def check_pieces(bench, drive):
    """A file that is cut: the drive's first failure comes when two pieces are complete, and stand in finished parts."""
    place, at = middle_of(drive, "summer.mov")
    limit = 4 << 20
    bench.check(2 * limit < at < 4 * limit, f"the failure is not in the third piece: {at}")
    for form in ("zip", "tar", "folder"):
        # Skips of the first try reach over more than the sector.
        counts, record, _ = drive.run(f"pieces, {form}", [f"fail {place} {SECTOR}"], f"part={limit}", form=form)
        drive.check_files(f"pieces, {form}", record, {"summer.mov": [[at, SECTOR]]})
        bench.check(counts["again_since"] == 0, f"pieces, {form}: {counts}")
        names = sorted(os.listdir(os.path.join(bench.path("to"), "job")))
        parts = {part for line in record.values() if "as" in line for part in line.get("parts", [line.get("part")])}
        parts |= {name for name in names if "proof" in name}
        bench.check({name for name in names if name.startswith("job-")} == parts, f"pieces, {form}: {names}")
        verify = subprocess.run([COLDLIFT, "verify", "--quiet", os.path.join(bench.path("to"), "job")],
                                capture_output=True, text=True)
        bench.check(verify.returncode == 1, f"pieces, {form}: verify says {verify.returncode} {verify.stderr[:300]}")


def check_patience(bench, drive):
    place, at = middle_of(drive, "summer.mov")
    # The failing request takes longer than is given for all of them.
    lines = [f"slow {place} {SECTOR} 30", f"fail {place} {SECTOR}"]
    counts, record, findings = drive.run("patience", lines, "patience=1")
    holes = record["summer.mov"].get("holes", [])
    drive.check_files("patience", record, {"summer.mov": holes})
    bench.check(len(holes) == 1 and holes[0][0] <= at < sum(holes[0]), f"patience: holes of {holes}")
    bench.check(counts["most_asked"] == 1, f"patience: asked again after it had ended: {counts}")
    bench.check("patience-ended" in findings, f"patience: not told: {list(findings)}")
    counts, record, findings = drive.run("much patience", lines[1:], "patience=3600000")
    drive.check_files("much patience", record, {"summer.mov": [[at, SECTOR]]})
    bench.check("patience-ended" not in findings, f"much patience: {list(findings)}")
    bench.check("512 bytes" in findings.get("read-in-rounds", ""), f"much patience: {findings}")


def check_gone(bench, drive):
    """Unplugged in the middle: the job stops and is gone on with, and is as if nothing had been. --patience ends it instead."""
    place, _ = middle_of(drive, "summer.mov")
    gone = f"gone {place} {SECTOR}"
    command = drive.prepare([gone])
    shutil.rmtree(command[3], ignore_errors=True)
    os.mkdir(command[3])
    done = subprocess.run([*command, "zip"], capture_output=True, text=True)
    said = " ".join(done.stderr.split())
    bench.check(done.returncode == 5 and "is gone: it was unplugged" in said, f"gone: status {done.returncode} {said[:300]}")
    bench.check(os.path.exists(os.path.join(command[3], "job", "journal")), "gone: the job does not say that it is unfinished")
    done = subprocess.run([*drive.prepare([]), "zip", "resume"], capture_output=True, text=True)
    bench.check(done.returncode == 0, f"gone, and back: status {done.returncode} {done.stderr[:300]}")
    record, findings = drive.results()
    drive.check_files("gone, and back", record, {})
    bench.check("read-in-rounds" not in findings, f"gone, and back: {list(findings)}")
    _, record, findings = drive.run("gone for good", [gone], "patience=3600000")
    bench.check(record["summer.mov"]["state"] == "partial", f"gone for good: {record['summer.mov']}")
    bench.check("files-partly-read" in findings, f"gone for good: not told: {list(findings)}")


def check_not_kept(bench, drive):
    """No room at the destination for what waits: it is read again, and told."""
    place, at = middle_of(drive, "summer.mov")
    command = drive.prepare([f"fail {place} {SECTOR}"])
    shutil.rmtree(command[3], ignore_errors=True)
    os.mkdir(command[3])
    done = subprocess.run(["strace", "-f", "-qq", "-o", "/dev/null", "-P",
                           os.path.join(command[3], "job/salvage/drive-1.sectors-1"), "-e", "trace=pwrite64", "-e",
                           "inject=pwrite64:error=ENOSPC", *command, "tar"], capture_output=True, text=True)
    bench.check(done.returncode == 1, f"not kept: status {done.returncode} {done.stderr[:300]}")
    record, findings = drive.results()
    drive.check_files("not kept", record, {"summer.mov": [[at, SECTOR]]})
    bench.check("not-kept" in findings, f"not kept: not told: {list(findings)}")


def check_slow(bench, drive):
    """What is only slow arrives whole. That it is put off says the unit test."""
    place, _ = middle_of(drive, "summer.mov")
    lines = [f"slow {place + i * (1 << 20)} {BLOCK} 120" for i in range(3)]
    counts, record, findings = drive.run("slow", lines, "slow=60")
    drive.check_files("slow", record, {})
    bench.check(counts["status"] == 0 and counts["failures"] == 0, f"slow: {counts}")
    bench.check("All of it" in findings.get("read-in-rounds", "All of it"), f"slow: {findings}")
    # The last two rounds, sector by sector, are sure to get over one failure.
    lines.append(f"fleeting {place + BLOCK} {SECTOR} 1")
    counts, record, findings = drive.run("slow and fleeting", lines, "slow=60")
    drive.check_files("slow and fleeting", record, {})
    bench.check("All of it" in findings.get("read-in-rounds", "All of it"), f"slow and fleeting: {findings}")


def check_hives(bench):
    """A bad sector in each person's hive of the demo drive, and under the one favourite of a folder."""
    image = os.path.join(DEMO, "old-system.img")
    if not bench.check_that(os.path.exists(image), "no demo drives: make demo-drives"):
        return
    with open(image, "rb") as file:
        drive = file.read()
    # The first entry of the type "Basic data" (UEFI 2.10, 5.3.3 for the fields; the GUID is Microsoft's).
    entry = drive.index(bytes.fromhex("a2a0d0ebe5b9334487c068b6b72699c7"), 1024)
    start, last = (int.from_bytes(drive[entry + at:entry + at + 8], "little") * SECTOR for at in (32, 40))
    walk, count = Walk(drive[start:last + SECTOR]), 0
    favourite, = (start + file.base.places[0][0] for file in walk.files.values()
                  if "Seed swap.url" in [name[1] for name in file.names])
    for file in walk.files.values():
        if "NTUSER.DAT" not in [name[1] for name in file.names] or file.streams[""].value is not None:
            continue
        lcn, clusters = file.streams[""].runs[0]
        bad = start + lcn * walk.cluster + clusters * walk.cluster // 2 // SECTOR * SECTOR
        script, to = bench.path("script"), bench.path("to")
        with open(script, "w", encoding="ascii") as text:
            text.write(f"watch\nfail {bad} {SECTOR}\nfail {favourite} {SECTOR}\n")
        shutil.rmtree(to, ignore_errors=True)
        os.mkdir(to)
        done = subprocess.run([DRIVER, image, script, to, "tar"], capture_output=True, text=True)
        bench.check(done.returncode == 1, f"hive {file.number}: status {done.returncode} {done.stderr[:300]}")
        counts = json.loads(done.stdout)
        bench.check(0 < counts["most_asked"] <= MOST_TRIES_SURVEYED, f"hive {file.number}: asked too often: {counts}")
        with open(os.path.join(to, "job", "findings.json"), encoding="utf-8") as findings:
            told = [finding["sentence"] for finding in json.load(findings)
                    if finding["code"] == "bookmarks-unreadable"]
        bench.check(any("Favorites should hold bookmarks" in sentence for sentence in told), f"favourites: {told}")
        count += 1
    bench.check(count > 1, f"{count} hives found")


def ranges_read(trace, image):
    """Bytes that the drive gave, as (from, end)."""
    pattern = re.compile(r"pread64\(\d+<" + re.escape(image) + r">.* (\d+)\) += (\d+)$", re.M)
    with open(trace, encoding="utf-8", errors="replace") as file:
        return [(int(at), int(at) + int(got)) for at, got in pattern.findall(file.read())]


def sectors_in(ranges, runs):
    return {sector for first, end in ranges for at, length in runs
            for sector in range(max(first, at) // SECTOR, min(end, at + length) // SECTOR)}


def check_resume(bench, drive):
    """Killed in the rounds. All that was read of the long file is in the store: with --careful a drive is faulty."""
    place, at = middle_of(drive, "summer.mov")
    trace = bench.path("trace")
    strace = ["strace", "-f", "-y", "-e", "trace=pread64", "-o", trace]
    fail = f"fail {place} {SECTOR}"
    # Behind the bad sector, in what the first try skips: a round comes upon it.
    command = drive.prepare([fail, f"hang {place + BLOCK - SECTOR} {SECTOR}"])
    began = run_until_it_hangs([*strace, *command, "zip", "careful"], command[3], "job/salvage")
    if not bench.check_that(began, "resume: the job did not come to its rounds"):
        return
    everything = [(0, SIZE)]
    read = ranges_read(trace, drive.image)
    before = sectors_in(read, drive.runs["summer.mov"])
    bench.check(len(before) * SECTOR > len(drive.contents["summer.mov"]) - BLOCK * 2,
                f"resume: only {len(before)} sectors were read before")
    done = subprocess.run([*strace, *drive.prepare([fail]), "zip", "resume"], capture_output=True, text=True)
    bench.check(done.returncode == 1, f"resume: status {done.returncode} {done.stderr[:300]}")
    again = sectors_in(read, everything) & sectors_in(ranges_read(trace, drive.image), everything)
    # But for the piece of a round that was in work, and what tells whether it is the same drive.
    again -= set(range(place // SECTOR, (place + BLOCK) // SECTOR)) | {0, 1}
    again -= sectors_in([(0, SIZE)], [(drive.log, 8192)])
    bench.check(not again, f"resume: {len(again)} sectors were read again, of {len(before)}: {sorted(again)[:5]}")
    record, _ = drive.results()
    drive.check_files("resume", record, {"summer.mov": [[at, SECTOR]]})
    bench.check(not os.path.exists(os.path.join(command[3], "job", "salvage")), "resume: the store is still there")


def main():
    if subprocess.run(["strace", "-o", "/dev/null", "true"], check=False).returncode != 0:
        skip("strace is not permitted")
    bench = Checks()
    # The order makes the small file and the database neighbours: see check_bookmarks.
    drive = Drive(bench, "drive", [
        ("gate.bin", noise(70 * CLUSTER, 1)), ("shed.bin", noise(9 * CLUSTER, 2)),
        ("pond.bin", noise(20 * CLUSTER, 3)), ("hut.bin", noise(8 * CLUSTER, 4)),
        ("places.sqlite", make_database(bench.path("base"))), ("summer.mov", noise(40 << 20, 5))])
    check_bookmarks(bench, drive)
    check_bookmarks_kept(bench, drive)
    check_again(bench)
    check_shared(bench)
    check_pieces(bench, Drive(bench, "cut", [("summer.mov", noise(18 << 20, 5)), ("gate.bin", noise(9 * CLUSTER, 1))]))
    check_patience(bench, drive)
    check_gone(bench, drive)
    check_not_kept(bench, drive)
    check_slow(bench, drive)
    check_hives(bench)
    check_resume(bench, drive)
    bench.close()


main()
