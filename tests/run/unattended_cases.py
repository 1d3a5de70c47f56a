#!/usr/bin/python3
"""What keeps an unattended job from beginning, how it ends, and what stands on the volume afterwards: with real volumes
(ext4 on loop devices), and a stand-in for the commands `extract` and `verify`, which ends as each case wants it. What the
real commands do is tested with the real stick. The project's own rules; no outside source applies."""

import concurrent.futures
import hashlib
import json
import os
import pathlib
import pty
import re
import select
import signal
import subprocess
import time
import zlib

from _harness import BUILD, ROOT, check, finish, skip, tool, work_folder

PROGRAM = BUILD / "tests/run/unattended_job"
FILE = "coldlift-job.txt"
IN_PRIVATE = "mount -t tmpfs run /run && mkdir /run/coldlift && exec \"$0\" \"$@\""


class Case:
    def __init__(self, folder, name):
        self.name = name
        self.folder = folder / name
        self.folder.mkdir()
        self.loops = []
        programs = self.folder / "programs"
        programs.mkdir()
        (programs / "poweroff").write_text(f"#!/bin/sh\ntouch {self.folder}/off\n")
        (programs / "poweroff").chmod(0o755)
        self.path = f"{programs}:{ROOT}/image/root/usr/lib/coldlift:{os.environ['PATH']}"

    def volume(self, name, job=None, more=""):
        """A loop device with a volume; the job file's text in it. `more` are commands for debugfs."""
        path = self.folder / f"{name}.img"
        with open(path, "wb") as file:
            file.truncate(8 << 20)
        tool("mkfs.ext4", "-q", path)
        if job is not None:
            (self.folder / "job").write_bytes(job if isinstance(job, bytes) else job.encode())
            more += f"write {self.folder}/job {FILE}\n"
        subprocess.run(["debugfs", "-w", "-f", "/dev/stdin", path], input=more, text=True, check=True,
                       capture_output=True)
        loop = tool("losetup", "--find", "--show", path).strip()
        tool("blockdev", "--setrw", loop)
        self.loops.append(loop)
        return loop, path

    def run(self, *drives, fake="", keys=None, wait_for=b""):
        """What it prints. `keys` are typed on a terminal as soon as `wait_for` is there."""
        command = ["unshare", "--mount", "sh", "-c", IN_PRIVATE, PROGRAM, *drives]
        environment = dict(os.environ, PATH=self.path, FAKE=fake)
        if keys is None:
            return tool(*command, env=environment, stdin=subprocess.DEVNULL)
        pid, terminal = pty.fork()
        if pid == 0:
            os.execvpe(command[0], [str(word) for word in command], environment)
        said = b""
        until = time.monotonic() + 60
        while time.monotonic() < until:
            if not select.select([terminal], [], [], 1)[0]:
                continue
            try:
                piece = os.read(terminal, 4096)
            except OSError:
                break
            if not piece:
                break
            said += piece
            if keys and wait_for in said:
                time.sleep(0.3)
                os.write(terminal, keys)
                keys = b""
        if time.monotonic() >= until:
            os.kill(pid, signal.SIGKILL)
        os.close(terminal)
        os.waitpid(pid, 0)
        return said.decode("utf-8", "replace").replace("\r\n", "\n")

    def close(self):
        for loop in self.loops:
            subprocess.run(["blockdev", "--setrw", loop], check=False)
            subprocess.run(["losetup", "--detach", loop], check=False)

    def files(self, path):
        """Names at the top of the volume, which must be sound."""
        tool("e2fsck", "-fn", path)
        listing = tool("debugfs", "-R", "ls -p /", path)
        return sorted(name for name in re.findall(r"^/\d+/\d+/\d+/\d+/([^/]+)/", listing, re.M)
                      if name not in (".", "..", "lost+found"))

    def text(self, path, name):
        return tool("debugfs", "-R", f"cat {name}", path)

    def expect(self, said, end, *words):
        flat = re.sub(r"\s+", " ", said)
        check(f"END {end} " in flat, f"{self.name}: it did not end as '{end}':", said)
        for word in words:
            check(word in flat, f"{self.name}: it did not say {word!r}:", said)


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


# --- nothing to do: not a word, not a byte -----------------------------------------------------------------------------


def nothing(case):
    loop, path = case.volume("plain", "format = zip\n")
    empty, _ = case.volume("empty")
    before = digest(path)
    for drives in ([], [f"{loop}:Coldlift:r"], [f"{loop}:COLDLIFT2:r"], [f"{loop}:COLDLIFT:"], [f"{loop}::r"],
                   [f"{empty}:COLDLIFT:r"], [f"{loop}:COLDLIFT:e"]):
        said = case.run(*drives)
        check(said == "END none\n\n", f"nothing was to be done for {drives}:", said)
    check(digest(path) == before, "a volume that was not meant has changed")


# --- it stops ----------------------------------------------------------------------------------------------------------


def two_files(case):
    first, one = case.volume("one", "format = zip\n")
    second, two = case.volume("two", "format = zip\n")
    before = digest(one), digest(two)
    case.expect(case.run(f"{first}:COLDLIFT:r", f"{second}:COLDLIFT:r", "/dev/sdx:OLD:"), "stopped",
                f"2 volumes ({first}, {second})", "Nothing was begun and nothing was written")
    check((digest(one), digest(two)) == before, "one of two volumes has changed")


def refused(case, target_letters="r", source=":", job="format = zip\n", more="", words=(), note=True):
    loop, path = case.volume("target", job, more)
    before = digest(path)
    said = case.run(f"{loop}:COLDLIFT:{target_letters}", *([f"/dev/sdx:{source}"] if source else []))
    case.expect(said, "stopped", *words)
    check("The job begins" not in said, f"{case.name}: it counted down")
    if note:
        check("coldlift-stopped-log.txt" in case.files(path), f"{case.name}: no note was left:", case.files(path))
        log = case.text(path, "coldlift-stopped-log.txt")
        for word in words:
            check(word in log, f"{case.name}: the note does not say {word!r}:", log)
    else:
        check(digest(path) == before, f"{case.name}: the volume has changed")


REFUSED = {
    "bad_line": dict(job="format = zip\ncolor = green\n", words=("line 2 of the job file", "color")),
    "binary": dict(job=b"PK\x03\x04\0\0", words=("plain text",)),
    "too_large": dict(job="#" * 70000, words=("64 KiB",)),
    "failing": dict(source="OLD:f", words=("/dev/sdx (Garden) is failing",)),
    "locked": dict(source="OLD:l", words=("/dev/sdx (Garden) is locked",)),
    "encrypted": dict(source="OLD:e", words=("/dev/sdx (Garden) is locked or encrypted",)),
    "unreadable": dict(source="OLD:p", words=("could not be read",)),
    "not_surveyed": dict(source="OLD:n", words=("file tables",)),
    "no_source": dict(source=None, words=("no drive to read",)),
    "only_stick": dict(source="STICK:s", words=("no drive to read",)),
    "failing_target": dict(target_letters="rf", words=("that drive itself is failing",), note=False),
    "old_target": dict(target_letters="ro", words=("belongs to an old PC",), note=False),
    "windows_on_it": dict(more="mkdir WINDOWS\nmkdir WINDOWS/system32\nmkdir WINDOWS/system32/config\n"
                               "write /dev/null WINDOWS/system32/config/system\n",
                          words=("belongs to an old PC",), note=False),
}


def key_stops(case):
    loop, path = case.volume("target", "format = zip\n")
    before = digest(path)
    said = case.run(f"{loop}:COLDLIFT:r", "/dev/sdx:OLD:", keys=b"\n", wait_for=b"in 9 seconds")
    case.expect(said, "stopped", "was stopped before it began", "Press Enter to stop it")
    check(digest(path) == before, "stopped before it began, but changed")


# --- it runs -----------------------------------------------------------------------------------------------------------

ORDER = ("persons = mara, Rowan Fern\nformat = tar\nname = fernhill\ntake = *.vdi\nleave = D:\\Survey\\**\n"
         "part-size = 4GiB\nsame = each\nwhen-done = {}\n")


def whole(case):
    """All of the order reaches the command; an earlier job stays; the PC goes off."""
    loop, path = case.volume("target", ORDER.format("switch-off"), "mkdir FernHill\nwrite /dev/null fernhill-2-log.txt\n")
    said = case.run(f"{loop}:COLDLIFT:r", "/dev/sdx:OLD:")
    case.expect(said, "off", "The job 'fernhill-3' is complete", "12 files", "mara and Rowan Fern, as tar",
                "The PC switches off now")
    check((case.folder / "off").exists(), "the PC was not switched off")
    check(case.files(path) == ["FernHill", FILE, "fernhill-2-log.txt", "fernhill-3", "fernhill-3-log.txt"],
          case.files(path))
    log = case.text(path, "fernhill-3-log.txt")
    arguments = re.findall(r"argument (.*?)\r?\n", log)
    check(arguments == ["coldlift", "extract", "--json", "--to", "/mnt", "--name", "fernhill-3", "--not", loop, "--format",
                        "tar", "--part-size", "4GiB", "--same", "each", "--person", "mara", "--person", "Rowan Fern",
                        "--take", "*.vdi", "--leave", "D:\\Survey\\**"], "other arguments:", arguments)
    check(case.text(path, "fernhill-2-log.txt") == "", "an earlier log was written to")


def ends(case, fake, when, end, words, folder, off=False, **options):
    loop, path = case.volume("target", f"name = fernhill\nwhen-done = {when}\n")
    said = case.run(f"{loop}:COLDLIFT:r", "/dev/sdx:OLD:", fake=fake, **options)
    case.expect(said, end, *words)
    names = case.files(path)
    check(("fernhill" in names) == folder and "fernhill-log.txt" in names, f"{case.name}: on the volume:", names)
    check(words[0] in case.text(path, "fernhill-log.txt"), f"{case.name}: the log does not say so")
    check((case.folder / "off").exists() == off, f"{case.name}: switched off:", off)


# --- it goes on --------------------------------------------------------------------------------------------------------

STARTED = 134169769200000000  # FILETIME


def journal(name, later=0, size=5000, **options):
    """A job's journal, as src/extract/journal.h and head.h tell."""
    shape = {"format": "zip", "same": "usual", "licence_keys": False, "careful": False, "part_size": 0, "limit": 0}
    lines = [{"journal": 1, "program": "coldlift 0.1.0", "job": name, "clock": STARTED + later, "fixed": False},
             {"options": {**shape, **options}},
             {"source": {"path": "/dev/sdx", "model": "", "serial": "", "size": size, "digest": "0" * 64}},
             {"plan": {"items": 3, "digest": "0" * 64}}, {"checkpoint": {"stored": 7000, "open": []}}]
    texts = [json.dumps(line) for line in lines]
    return "# not complete\n" + "".join(f"{text} {zlib.crc32(text.encode()):08x}\n" for text in texts)


def resumes(case, jobs, goes_on, end="waits", fake="", job="name = fernhill\n", words=(), names=None):
    """`jobs`: journals by folder. `goes_on`: the names for which `extract` was run, with --resume or not."""
    more = ""
    for name, text in jobs.items():
        (case.folder / f"{name}.journal").write_text(text)
        (case.folder / f"{name}.old").write_text("before\r\n")
        more += f"mkdir {name}\nwrite {case.folder}/{name}.journal {name}/journal\n"
        more += f"write {case.folder}/{name}.old {name}-log.txt\n"
    loop, path = case.volume("target", job, more)
    said = case.run(f"{loop}:COLDLIFT:r", "/dev/sdx:OLD:", fake=fake)
    case.expect(said, end, *words)
    last = goes_on[-1][0]
    found = []
    for name in dict.fromkeys(name for name, _ in goes_on):
        log = case.text(path, f"{name}-log.txt")
        arguments = re.findall(r"argument (.*?)\r?\n", log)
        check(log.startswith("before\n") == (name in jobs), f"{case.name}: the log has not gone on:", log)
        found.append((name, "--resume" in arguments))
        wanted = ["coldlift", "extract", "--json", *(["--resume"] if found[-1][1] else []), "--to", "/mnt", "--name", name,
                  "--not", loop]
        check(arguments[: len(wanted)] == wanted, f"{case.name}: other arguments:", arguments)
        check(not found[-1][1] or len(arguments) == len(wanted), f"{case.name}: it shapes the job anew:", arguments)
    check(found == goes_on, f"{case.name}: it went on with {found}, not {goes_on}")
    for name, text in jobs.items():
        if name != last:
            check(case.text(path, f"{name}/journal") == text, f"{case.name}: {name} has changed")
    check(f"The job '{last}' is complete" in case.text(path, f"{last}-log.txt"), f"{case.name}: the log has no end")
    check(len(case.files(path)) == 1 + 2 * len({*jobs, last}), f"{case.name}: on the volume:", case.files(path))


RESUMES = {
    "goes_on": dict(jobs={"fernhill": journal("fernhill")}, goes_on=[("fernhill", True)],
                    words=("The job 'fernhill', begun 2026-", "is there and not finished: it goes on", "7.0 kB of it had arrived",
                           "The job 'fernhill' is complete")),
    "newest": dict(jobs={"fernhill": journal("fernhill"), "fernhill-2": journal("fernhill-2", 9)},
                   goes_on=[("fernhill-2", True)]),
    "refused_all": dict(jobs={"fernhill": journal("fernhill"), "fernhill-2": journal("fernhill-2", 9)}, fake="refuse",
                        goes_on=[("fernhill-2", True), ("fernhill", True), ("fernhill-3", False)],
                        words=("'fernhill-2' on", "cannot go on: the job was begun with another drive than this: it was Plum. It",
                               "The job 'fernhill-3' is complete")),
    "resume_no": dict(jobs={"fernhill": journal("fernhill")}, job="name = fernhill\nresume = no\n",
                      goes_on=[("fernhill-2", False)]),
    "other_order": dict(jobs={"fernhill": journal("fernhill", format="tar")}, goes_on=[("fernhill-2", False)]),
    "other_drive": dict(jobs={"fernhill": journal("fernhill", size=6000)}, goes_on=[("fernhill-2", False)]),
    "other_name": dict(jobs={"hut": journal("hut")}, goes_on=[("fernhill", False)]),
    "any_name": dict(jobs={"hut": journal("hut")}, job="format = zip\n", goes_on=[("hut", True)]),
    "torn": dict(jobs={"fernhill": journal("fernhill")[:300]}, goes_on=[("fernhill-2", False)]),
}


ENDS = {
    "waits": dict(fake="", when="wait", end="waits", words=("The job 'fernhill' is complete",), folder=True),
    "full": dict(fake="full", when="switch-off", end="off", words=("is not finished: there is no room left",),
                 folder=True, off=True),
    "person": dict(fake="person", when="wait", end="waits", folder=False,
                   words=("No job was made: there is no person called 'quince'",)),
    "dies": dict(fake="die", when="wait", end="waits", words=("is not finished: it ended in the middle",), folder=True),
    "differs": dict(fake="differs", when="wait", end="waits", folder=True,
                    words=("it could not be proven: the job is not what was extracted",)),
    # Somebody is there, so the PC stays on.
    "ctrl_c": dict(fake="sleep", when="switch-off", end="waits", words=("is not finished: it was stopped",), folder=True,
                   keys=b"\x03", wait_for=b"the job sleeps"),
}


if os.geteuid() != 0 or subprocess.run(["losetup", "--find"], capture_output=True, check=False).returncode != 0:
    skip("needs root and loop devices")


def one(work_in, name, test, options):
    case = Case(work_in, name)
    try:
        test(case, **options)
    finally:
        case.close()


with work_folder() as work, concurrent.futures.ThreadPoolExecutor(12) as pool:
    here = pathlib.Path(work)
    todo = [(test.__name__, test, {}) for test in (nothing, two_files, key_stops, whole)]
    todo += [(name, refused, options) for name, options in REFUSED.items()]
    todo += [(name, ends, options) for name, options in ENDS.items()]
    todo += [(name, resumes, options) for name, options in RESUMES.items()]
    for done in [pool.submit(one, here, name, test, options) for name, test, options in todo]:
        done.result()
finish()
