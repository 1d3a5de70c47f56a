"""Every call with which a small job changes its destination, one by one, through strace.

What the tests share that let such a call fail, or end the program there: a source whose bytes are known, the
command, the list of calls, and that the job can be gone on with. Calls are counted as strace counts them: each kind in each thread by itself.
"""

import filecmp
import random
import re
import shutil
import subprocess

import _harness as h

CALLS = "openat,mkdir,mkdirat,write,pwrite64,ftruncate,fsync,syncfs,close,rename,renameat,unlink"


SIZES = (("plots.txt", 300), ("minutes.pdf", 90000), ("shed.jpg", 1100000), ("map.bin", 700000), ("empty.txt", 0))


def make_source(path, sizes=SIZES):
    """Some files on an NTFS volume without an old system; their bytes by name."""
    random.seed(7)
    with open(path, "wb") as image:
        image.truncate(16 << 20)
    h.tool("mkntfs", "-q", "-F", "-L", "Fernhill", path)
    wanted = {}
    for name, size in sizes:
        content = random.randbytes(size)
        local = path.parent / name
        local.write_bytes(content)
        h.tool("ntfscp", "-f", path, local, name)
        wanted[name] = content
    return wanted


def command(source, to, format, *options):
    return [h.COLDLIFT, "extract", "--quiet", "--to", to, "--name", "job", "--format", format,
            "--part-size", "1M", *options, source]


def paths_of(source, to, format, *options):
    """-P and every path of a job while it is made: strace leaves all other calls alone."""
    done = subprocess.run(command(source, to, format, *options), capture_output=True, text=True, check=False)
    h.check(done.returncode == 0, format, "without a fault", done.returncode, done.stderr)
    job, paths = to / "job", []
    for path in (job, job / "journal", *job.rglob("*")):
        name = str(path).replace("/job/job-files", "/job/job-files.unfinished")
        paths += [name, name + ".unfinished"] if "job-files" not in name else [name, str(path)]
    paths.append(str(job / "job-files.unfinished/file.unfinished"))
    return [word for path in paths for word in ("-P", path)]


def calls_of(source, to, format, paths, *options):
    """For each call that changes the destination: which of its kind it is in its thread, as strace counts."""
    shutil.rmtree(to / "job")
    return list(traced_calls(to.parent / "trace", paths, command(source, to, format, *options)))


def traced_calls(trace, paths, words):
    """The same of any command, in their order; beside each call its line in the trace."""
    subprocess.run(["strace", "-f", "-y", "-o", trace, "-e", "trace=" + CALLS, *paths, *words],
                   capture_output=True, check=False)
    seen, found = {}, {}
    for line in trace.read_text(errors="replace").splitlines():
        match = re.match(r"(\d+) +(\w+)\((.*)", line)
        if match is None:
            continue
        thread, name, rest = match.groups()
        seen[thread, name] = seen.get((thread, name), 0) + 1
        # Closing a folder, or what was only read, says nothing.
        if name != "close" or (".unfinished>" in rest and "-files.unfinished>" not in rest):
            found.setdefault((name, seen[thread, name]), line)
    return found


def choose(calls, most):
    """At most so many of each kind, the first and the last among them."""
    chosen = []
    for name in sorted({name for name, _ in calls}):
        own = [call for call in calls if call[0] == name]
        step = max(1, len(own) // most)
        chosen += sorted(set(own[::step]) | {own[-1]})
    return chosen


def files_of(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def same(label, folder, wanted):
    """Every file of both folders, byte by byte, with the times of plain files."""
    if not h.check(files_of(folder) == files_of(wanted), label, "other files:",
                   set(files_of(folder)) ^ set(files_of(wanted))):
        return
    for name in files_of(wanted):
        one, other = folder / name, wanted / name
        if other.is_file():
            h.check(filecmp.cmp(one, other, shallow=False), label, name, "differs")
        if "job-files/" in name and other.is_file():
            h.check(one.stat().st_mtime_ns == other.stat().st_mtime_ns, label, name, "has another time")


def resume(source, to, *more):
    return h.run("extract", "--quiet", "--resume", "--to", to, *more, source)


def goes_on(label, source, to, wanted):
    """The unfinished job TO/job becomes what an uninterrupted run makes. False: it has to begin again."""
    job = to / "job"
    done = resume(source, to)
    if "is none that can be gone on with" in done.stderr or "begin a new job" in done.stderr:
        # The journal's beginning was not there yet: nothing is lost by beginning again.
        h.check(not [path for path in job.iterdir() if not path.name.startswith("journal")], label, done.stderr)
        return False
    if h.check(done.returncode == 0, label, "resumed:", done.returncode, done.stderr):
        same(label, job, wanted)
    return True
