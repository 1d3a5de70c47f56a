#!/usr/bin/python3
"""A job that was cut off at one destination goes on at a second and a third one, under one proof.

Moving it on is cut short at calls that change either destination: by SIGKILL, and by a call that fails (ENOSPC,
EIO), through strace. Whatever happens: never do two folders hold the job, nothing of it is proven before it is
complete, and it goes on: where it was, or where it went. In the end all folders together are proven by `verify`,
and without coldlift: the archives of all folders, unpacked by unzip and tar into one folder beside the lists of
hashes, pass `sha256sum -c`, hold the bytes that ntfscp put on the source, and are a complete bag (RFC 8493, section
3: every file in the manifest, and no other). The archives are byte by byte those of a job in one go. What is in
finished archives is not read again, also where their drive is not attached. As root, on tmpfs that is really full,
too. COLDLIFT_TORTURE=1 cuts short at every call.
"""

import hashlib
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import time
import zipfile

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402
from _changes import make_source, traced_calls  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
os.environ["SOURCE_DATE_EPOCH"] = "1796000000"
LONG = bool(os.environ.get("COLDLIFT_TORTURE"))
SIZES = (("plots.txt", 300), ("minutes.pdf", 190000), ("shed.jpg", 1100000), ("map.bin", 700000), ("empty.txt", 0),
         ("letters.doc", 150000), ("seeds.xls", 120000), ("fence.png", 210000))
NOTE = "goes-on-elsewhere.txt"


def command(source, to, format, *options):
    return [h.COLDLIFT, "extract", "--quiet", "--to", to, "--name", "job", "--format", format, "--checkpoint", "50k",
            *options, source]


def resume(source, to, *more):
    return h.run("extract", "--quiet", "--resume", "--checkpoint", "50k", "--to", to, *more, source)


def fresh(*folders):
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)


def break_off(source, to, format, options, wanted, with_store):
    """A job that was killed when its journal has what is wanted (a pattern), in a copy to begin from."""
    for number in range(4, 40):
        fresh(to)
        subprocess.run(["strace", "-f", "-o", "/dev/null", "-e", "trace=fsync,syncfs", "-e",
                        f"inject=fsync:signal=SIGKILL:when={number}", *command(source, to, format, *options)],
                       capture_output=True, check=False)
        journal = to / "job/journal"
        if not journal.exists():
            break
        points = re.findall(r'\{"checkpoint".*', journal.read_text())
        if points and re.search(wanted, points[-1]) and (to / "job/salvage").exists() == with_store:
            return True
    h.check(False, format, "the job could not be cut off with", wanted)
    return False


def holders(*folders):
    """The folders that hold the job: with a journal and without a note that it went on."""
    return [folder for folder in folders if (folder / "job/journal").exists() and not (folder / "job" / NOTE).exists()]


def unpack(jobs, into):
    """All archives of all folders into one, by other programs, with the papers of the last beside them."""
    fresh(into)
    for name in ("SHA256SUMS", "manifest-sha256.txt", "bagit.txt"):
        shutil.copy(jobs[-1] / name, into)
    for job in jobs:
        for part in sorted(job.iterdir()):
            if part.name.endswith(".zip") and "proof" not in part.name:
                h.tool("unzip", "-q", "-o", part, "-d", into)
            elif part.name.endswith(".tar"):
                h.tool("tar", "-xf", part, "-C", into)
            elif part.is_dir() and part.name.startswith("job-files"):
                shutil.copytree(part, into, dirs_exist_ok=True)


def check_bag(label, jobs, contents, work):
    """sha256sum(1); then the manifest against the files, and the files against what was put on the source."""
    bag = work / "bag"
    unpack(jobs, bag)
    done = subprocess.run(["sha256sum", "--quiet", "-c", "SHA256SUMS"], cwd=bag, capture_output=True, text=True,
                          check=False)
    h.check(done.returncode == 0, label, "sha256sum:", done.stdout, done.stderr)
    listed = {line.split("  ", 1)[1] for line in (bag / "manifest-sha256.txt").read_text().splitlines()}
    there = {str(path.relative_to(bag)) for path in (bag / "data").rglob("*") if path.is_file()}
    h.check(listed == there, label, "the bag is not complete:", listed ^ there)
    found = {}
    for path in sorted((bag / "data").rglob("*")):  # pieces in their order
        if path.is_file():
            name = re.sub(r"\.piece-\d+-of-\d+$", "", path.name)
            found[name] = found.get(name, b"") + path.read_bytes()
    for name, content in contents.items():
        h.check(found.get(name) == content, label, name, "is not what was on the source")


def parts_of(*jobs):
    """Archives by name, and plain files by path, with their hashes, and where each is."""
    found = {}
    for job in jobs:
        for path in sorted(job.rglob("*")):
            name = str(path.relative_to(job))
            if not path.is_file() or not (name.startswith("job-files") or re.match(r"job-.*\.(zip|tar)$", name)):
                continue
            if "proof" in name:
                continue
            name = re.sub(r"^job-files(-\d+)?/", "", name)
            h.check(name not in found, "in two folders:", name)
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def sample(calls, most):
    """Evenly over the whole move, the last among them; all in the long form."""
    step = 1 if LONG else max(1, len(calls) // most)
    return calls[::-step][::-1]


def check_alone(label, jobs, status):
    """A folder is never proven by itself, unless the others hold nothing."""
    places = json.loads((jobs[-1] / "destinations.json").read_text())["destinations"]
    for job in jobs:
        done = h.run("verify", "--quiet", job)
        said = " ".join(done.stderr.split())
        if job == jobs[-1] and not any(place["parts"] for place in places[:-1]):
            h.check(done.returncode == status, label, "the last folder, which has everything:", said)
        else:
            h.check(done.returncode == 5 and ("not proven" in said or "only a piece" in said), label,
                    "one folder alone:", done.returncode, said)


def members(*jobs):
    """Name and bytes of everything in zip files: what did not read at once may stand in another order."""
    found = {}
    for job in jobs:
        for part in job.glob("*.zip"):
            if "proof" not in part.name:
                with zipfile.ZipFile(part) as archive:
                    found |= {name: archive.read(name) for name in archive.namelist()}
    return found


def check_whole(label, folders, case, may_be_left=False, closely=False):
    jobs, whole = [folder / "job" for folder in folders], case.whole / "job"
    done = h.run("verify", "--json", *reversed(jobs))
    if not h.check(done.returncode == case.status, label, "verify:", done.returncode, done.stderr, done.stdout[-600:]):
        return
    if case.status == 0:
        h.check(parts_of(*jobs) == parts_of(whole), label, "other archives than in one go:",
                set(parts_of(*jobs).items()) ^ set(parts_of(whole).items()))
    else:
        h.check(members(*jobs) == members(whole), label, "other contents than in one go")
        for name in ("record.jsonl", "manifest-sha256.txt"):
            h.check((jobs[-1] / name).read_bytes() == (whole / name).read_bytes(), label, name)
    places = json.loads((jobs[-1] / "destinations.json").read_text())["destinations"]
    h.check(len(places) == len(jobs), label, "destinations.json:", places)
    for place, job in zip(places, jobs):
        for part in place["parts"]:
            h.check((job / part).exists(), label, part, "is not where destinations.json says")
    for job in jobs:
        left = [path.name for path in job.iterdir() if path.name in ("journal", "salvage") or
                path.name.endswith(".unfinished")]
        h.check(not left or may_be_left, label, "left over:", job, left)
    if closely or LONG:
        check_alone(label, jobs, case.status)
        check_bag(label, jobs, case.contents, case.work)


def paths_of(*jobs):
    """-P and every path that moving on and the rest of the job can touch."""
    names = set()
    for job in jobs:
        names |= {str(path.relative_to(job)) for path in job.rglob("*")}
    names |= {"journal", "salvage", NOTE, "file"}
    words = []
    for job in jobs:
        for path in (job, *(job / name for name in sorted(names))):
            plain = str(path).replace("/job-files-2/", "/job-files-2.unfinished/")
            words += ["-P", plain, "-P", plain + ".unfinished"]
    return words


class Case:
    """One format and state in which the job was cut off."""

    def __init__(self, work, source, contents, label, format, options, wanted):
        self.work, self.source, self.contents, self.label = work, source, contents, label
        self.status = 1 if source.name.startswith("faulty") else 0
        self.first, self.next, self.begun = work / "first", work / "next", work / "begun"
        self.whole = work / f"whole-{label}"
        fresh(self.whole)
        done = subprocess.run(command(source, self.whole, format, *options), capture_output=True, check=False)
        h.check(done.returncode == self.status, label, "in one go:", done.returncode, done.stderr)
        self.is_good = break_off(source, self.begun, format, options, wanted, self.status == 1)

    def start(self):
        fresh(self.first, self.next)
        shutil.copytree(self.begun / "job", self.first / "job")

    def go_on(self):
        return resume(self.source, self.first, "--then", self.next)

    def words(self):
        return [h.COLDLIFT, "extract", "--quiet", "--resume", "--checkpoint", "50k", "--to", self.first, "--then",
                self.next, self.source]

    def check(self, label, *folders, **more):
        check_whole(f"{self.label}: {label}", folders or (self.first, self.next), self, **more)

    def plain(self):
        """Without a fault; then which calls there are while the job moves."""
        self.start()
        done = self.go_on()
        h.check(done.returncode == self.status, self.label, "moved on:", done.returncode, done.stderr)
        self.check("moved on", closely=True)
        for name in ("record.jsonl", "SHA256SUMS", "destinations.json", "job-proof.zip"):
            h.check((self.first / "job" / name).exists(), self.label, name, "was not copied to the first destination")
        paths = paths_of(self.first / "job", self.next / "job")
        self.start()
        calls = traced_calls(self.work / "trace", paths, self.words())
        end = [at for at, line in enumerate(calls.values())
               if "unlink" in line and f'{self.first}/job/journal"' in line]
        h.check(len(end) == 1, self.label, "no end of the move is seen:", *calls.values())
        return paths, list(calls)[:end[0] + 4 if end else 0]

    def strike(self, paths, name, number, how):
        self.start()
        return subprocess.run(["strace", "-f", "-o", "/dev/null", "-e", "trace=" + name, "-e",
                               f"inject={name}:{how}:when={number}", *paths, *self.words()],
                              capture_output=True, text=True, errors="replace", check=False)

    def recover(self, label, turn):
        """The ways to go on, one after the other: as before, at the first if it has the job, at the next."""
        held = holders(self.first, self.next)
        h.check(len(held) < 2, label, "two folders hold the job")
        if turn == 1 and held == [self.first]:
            done = resume(self.source, self.first)
            h.check(done.returncode == self.status, label, "on at the first:", done.returncode, done.stderr)
            self.check_at_first(label)
            # What was brought to the next destination before can never be taken for the job.
            for words in ((self.next,), (self.first, "--then", self.next)):
                done = resume(self.source, *words)
                h.check(done.returncode == 2, label, "taken up twice:", words, done.returncode, done.stderr)
            return
        if turn == 2:
            done = resume(self.source, self.next)
            said = " ".join(done.stderr.split())
            h.check(held != [self.next] or done.returncode == self.status, label, "on at the next:", said)
            if done.returncode == self.status:
                h.check(held != [self.first], label, "the next took the job from the first")
                self.check(label)
                return
            h.check(done.returncode == 2 and ("on its way" in said or "no unfinished job" in said), label, said)
        done = self.go_on()
        if h.check(done.returncode == self.status, label, "the same again:", done.returncode, done.stderr):
            self.check(label)

    def check_at_first(self, label):
        job = self.first / "job"
        h.check(h.run("verify", "--quiet", job).returncode == self.status, label, "not proven at the first")
        if self.status == 0:
            h.check(parts_of(job) == parts_of(self.whole / "job"), label, "other archives at the first")
        else:
            h.check(members(job) == members(self.whole / "job"), label, "other contents at the first")

    def kills(self, most):
        paths, calls = self.plain()
        h.check(len(calls) > 15, self.label, "too few calls seen:", calls)
        for turn, (name, number) in enumerate(sample(calls, most)):
            done = self.strike(paths, name, number, "signal=SIGKILL")
            label = f"{self.label}: killed at {name} number {number}:"
            if done.returncode in (0, 1):
                continue  # another thread's call of that number
            for jobs in ((self.first / "job",), (self.first / "job", self.next / "job")):
                if all(job.exists() for job in jobs):
                    done = h.run("verify", "--quiet", *jobs)
                    h.check(done.returncode in (2, 4, 5), label, "verify of half a job:", done.returncode)
            for way in range(3) if LONG else (turn % 3,):
                if way > 0 and LONG:
                    self.strike(paths, name, number, "signal=SIGKILL")
                self.recover(label, way)
        return paths, calls

    def faults(self, paths, calls, most):
        for turn, (name, number) in enumerate(sample(calls, most)):
            how = ("ENOSPC", "EIO", "EROFS")[turn % 3]
            done = self.strike(paths, name, number, "error=" + how)
            label = f"{self.label}: {how} at {name} number {number}:"
            said = " ".join(done.stderr.split())
            h.check(done.returncode in (self.status, 4), label, done.returncode, said)
            h.check(len(holders(self.first, self.next)) < 2, label, "two folders hold the job")
            if done.returncode == 4:
                h.check(said.startswith("coldlift: ") and said.endswith("."), label, said)
                done = self.go_on()
            if h.check(done.returncode == self.status, label, "the same again:", done.returncode, done.stderr):
                self.check(label, may_be_left=name in ("unlink", "openat"))


def check_three(case):
    """Moved on twice, the drive of the first not attached: its sectors are not read again, and it is told."""
    third, away = case.work / "third", case.work / "away"
    fresh(third, away)
    case.start()
    # Cut off at the next destination once more, behind its first checkpoint there.
    subprocess.run(["strace", "-f", "-o", "/dev/null", "-P", case.next / "job/journal", "-e", "trace=fsync", "-e",
                    "inject=fsync:signal=SIGKILL:when=3", *case.words()], capture_output=True, check=False)
    h.check(holders(case.first, case.next) == [case.next], "three: not cut off at the next destination")
    (case.first / "job").rename(away / "job")
    reads = case.work / "reads"
    done = subprocess.run(["strace", "-f", "-y", "-e", "trace=pread64", "-o", reads, h.COLDLIFT, "extract", "--quiet",
                           "--resume", "--to", case.next, "--then", third, case.source],
                          capture_output=True, text=True, check=False)
    h.check(done.returncode == 0, "three:", done.returncode, done.stderr)
    read = sum(int(match) for match in re.findall(r"pread64\(\d+<[^>]*/fernhill.img>.* = (\d+)$", reads.read_text(),
                                                  re.M))
    in_first = sum(path.stat().st_size for path in (away / "job").glob("*.zip"))
    h.check(0 < read < sum(size for _, size in SIZES) + 400000 - in_first, "three: read", read, "bytes again")
    findings = json.loads((third / "job/findings.json").read_text())
    codes = [finding["code"] for finding in findings]
    h.check("destination-not-attached" in codes and "several-destinations" in codes, "three: findings", codes)
    case.check("three", away, case.next, third, closely=True)
    done = h.run("verify", "--json", third / "job", away / "job")
    absent = json.loads(done.stdout)["not_looked_at"]
    h.check(done.returncode == 5 and absent and {one["destination"] for one in absent} == {2}, "three: without the "
            "second", done.returncode, absent)
    # All archives brought into the last folder: that is a whole job, too.
    for job in (away / "job", case.next / "job"):
        for part in job.glob("*.zip"):
            if not (third / "job" / part.name).exists():
                shutil.copy(part, third / "job")
    h.check(h.run("verify", "--quiet", third / "job").returncode == 0, "three: brought together")


def everything(job):
    return {str(path): path.read_bytes() for path in job.rglob("*") if path.is_file()}


def check_refusals(case):
    """One sentence each, and the job stays where and as it was."""
    other = case.work / "other"
    case.start()
    fresh(other)
    (case.next / "job").mkdir()
    (case.next / "job/plots.txt").write_text("of somebody")
    (other / "sub").mkdir()
    before = everything(case.first / "job")
    for label, words, status, sentence in (
            ("the same folder", ("--resume", "--to", case.first, "--then", case.first), 4, "is there already"),
            ("something of that name", ("--resume", "--to", case.first, "--then", case.next), 4, "is there already"),
            ("no such folder", ("--resume", "--to", case.first, "--then", other / "none"), 4, "is not there"),
            ("nothing to go on with", ("--resume", "--to", other, "--then", other / "sub"), 2, "no unfinished job"),
            ("no other volume", ("--to", case.first, "--then", other), 2, "same volume")):
        done = h.run("extract", "--quiet", *words, case.source)
        said = " ".join(done.stderr.split())
        h.check(done.returncode == status and sentence in said, "refusals:", label, done.returncode, said)
        h.check(holders(case.first, case.next) == [case.first] and everything(case.first / "job") == before,
                "refusals:", label, "changed the job")
    h.check((case.next / "job/plots.txt").read_text() == "of somebody", "somebody's file is gone")
    shutil.rmtree(case.next / "job")
    h.check(case.go_on().returncode == 0, "refusals: it did not go on after all that")
    for words, sentence in (((case.first,), "has left"), ((case.first, "--then", other), "no unfinished job")):
        done = resume(case.source, *words)
        said = " ".join(done.stderr.split())
        h.check(done.returncode == 2 and sentence in said, "after the job has left:", done.returncode, said)
    done = h.run("verify", "--quiet", case.first / "job", case.whole / "job")
    h.check(done.returncode == 2 and "is no folder of the job" in " ".join(done.stderr.split()), "two jobs:", done.returncode, done.stderr)
    done = h.run("verify", "--quiet", case.next / "job", case.whole / "job")
    h.check(done.returncode == 2 and "two jobs" in " ".join(done.stderr.split()), "two jobs:", done.returncode, done.stderr)


def make_faulty(work, source, contents):
    """A drive that does not read everywhere, and what is known of it: all but the files with holes."""
    faulty = work / "faulty.img"
    shutil.copyfile(source, faulty)
    holes = []
    for name, length in (("map.bin", 512), ("fence.png", 20480)):
        text = h.tool("ntfsinfo", "-f", "-v", "-F", name, faulty).split("Dumping attribute $DATA")[1]
        lcn, count = (int(number, 16) for number in re.search(r"0x0\s+0x([0-9a-f]+)\s+0x([0-9a-f]+)", text).groups())
        holes.append(f"{(lcn + count // 2) * 4096} {length}")
    (work / "faulty.img.holes").write_text("\n".join(holes) + "\n")
    return faulty, {name: content for name, content in contents.items() if name not in ("map.bin", "fence.png")}


def mounted(point, *words):
    point.mkdir(exist_ok=True)
    return subprocess.run(["mount", *words, point], capture_output=True, check=False).returncode == 0


def check_two(case, small):
    """Both destinations named from the beginning: the job goes on at the second by itself."""
    second = case.work / "second"
    for path in small.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    fresh(second)
    parts = ("--part-size", "1M")
    done = h.run("extract", "--quiet", "--to", small, "--then", small, "--name", "job", case.source)
    h.check(done.returncode == 2 and "same volume" in " ".join(done.stderr.split()), "two: the same:", done.returncode, done.stderr)
    # As much as the first may fill: the room is reckoned for both together.
    with open(small / "other things", "wb") as other:
        other.write(bytes((12 << 20) - (2 << 20)))
    done = subprocess.run(command(case.source, small, "zip", *parts), capture_output=True, text=True, check=False)
    h.check(done.returncode == 4 and not (small / "job").exists(), "two: not refused:", done.returncode, done.stderr)
    words = [word for word in command(case.source, small, "zip", "--then", second, *parts) if word != "--quiet"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    said = " ".join(done.stderr.split())
    h.check(done.returncode == 0 and "the job goes on at" in said, "two:", done.returncode, said)
    jobs = (small / "job", second / "job")
    h.check(all(list(job.glob("*.zip")) for job in jobs), "two: one has no archives")
    h.check(h.run("verify", "--quiet", *jobs).returncode == 0, "two: not proven")
    check_bag("two", jobs, case.contents, case.work)


def check_full(case):
    """tmpfs that can only be read, and without a single page left."""
    small = case.work / "small"
    h.check(mounted(small, "-t", "tmpfs", "-o", "size=12m", "none"), "no tmpfs")
    try:
        shutil.copytree(case.begun / "job", small / "job")
        with open(small / "other things", "wb", buffering=0) as other:
            try:
                while other.write(bytes(4096)):
                    pass
            except OSError:
                pass
        fresh(case.next)
        # One that can only be read keeps the job: else two could have it when it can be written to again.
        h.tool("mount", "-o", "remount,ro", small)
        done = resume(case.source, small, "--then", case.next)
        said = " ".join(done.stderr.split())
        h.check(done.returncode == 4 and "can only be read" in said and "not lost" in said, "read-only:", said)
        h.check(holders(small, case.next) == [small], "read-only: the job is not where it was")
        h.tool("mount", "-o", "remount,rw", small)
        done = resume(case.source, small)
        said = " ".join(done.stderr.split())
        h.check(done.returncode == 4 and "--then DIR" in said, "full:", done.returncode, said)
        done = resume(case.source, small, "--then", case.next)
        if h.check(done.returncode == 0, "full:", done.returncode, done.stderr):
            case.check("full", small, case.next, closely=True)
        check_two(case, small)
    finally:
        subprocess.run(["umount", "-l", small], capture_output=True, check=False)


def check_fat(case):
    """FAT32 for a job that was begun without its limit: strace lets statfs(2) say so (MSDOS_SUPER_MAGIC, 0x4d44)."""
    case.start()
    done = subprocess.run(["strace", "-f", "-o", "/dev/null", "-e", "trace=statfs", "-e",
                           "inject=statfs:poke_exit=@arg2=444d000000000000", *case.words()],
                          capture_output=True, text=True, check=False)
    said = " ".join(done.stderr.split())
    h.check(done.returncode == 4 and "FAT32" in said, "FAT32:", done.returncode, said)
    h.check(holders(case.first, case.next) == [case.first] and not list(case.next.iterdir()), "FAT32: it was moved")


def cases(work, may_mount):
    source = work / "fernhill.img"
    contents = make_source(source, SIZES)
    faulty = make_faulty(work, source, contents)
    begun = time.monotonic()
    for label, format, options, wanted, kills, faults in (
            ("holes", "zip", (), r'"open":\[\[0,', 2, 1),
            ("zip", "zip", ("--part-size", "1M"), r'"open":\[\[[1-9].*"stored":[1-9]', 6, 3),
            ("zip-one", "zip", (), r'"open":\[\[0,', 1, 0),
            ("tar", "tar", ("--part-size", "1M"), r'"open":\[\[[1-9].*"stored":[1-9]', 1, 0),
            ("folder", "folder", (), r'"open":\[\[0,3,', 3, 2)):
        drive = faulty if label == "holes" else (source, contents)
        case = Case(work, *drive, label, format, options, wanted)
        if not case.is_good:
            continue
        paths, calls = case.kills(kills)
        if faults or LONG:
            case.faults(paths, calls, faults)
        if label == "zip":
            check_three(case)
            check_refusals(case)
        if label == "zip-one":
            check_fat(case)
            if may_mount:
                check_full(case)
        print(f"{label}: {len(calls)} calls, {time.monotonic() - begun:.0f} s")


def run():
    if subprocess.run(["strace", "-o", "/dev/null", "true"], check=False).returncode != 0:
        h.skip("strace is not permitted")
    may_mount = os.geteuid() == 0 and subprocess.run(["unshare", "-m", "true"], check=False).returncode == 0
    if may_mount and len(sys.argv) < 2:
        os.execvp("unshare", ["unshare", "-m", sys.executable, __file__, "inside"])
    with h.work_folder() as work:
        work = pathlib.Path(os.path.realpath(work)) / "here"
        work.mkdir()
        in_memory = may_mount and mounted(work, "-t", "tmpfs", "none")  # nothing here is about a drive's speed
        try:
            cases(work, may_mount)
        finally:
            if in_memory:
                subprocess.run(["umount", "-l", work], check=False)
    h.finish()


run()
