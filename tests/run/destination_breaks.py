#!/usr/bin/python3
"""A destination that breaks while a job is written: full, turned read-only, pulled out, a dead drive.

By real means: ext4 on a loop device that is filled up, told to meet a fault (sysfs, trigger_fs_error) or
shut down as if it were pulled out (ioctl EXT4_IOC_SHUTDOWN, linux/ext4.h); a loop device whose file cannot
grow any more; NTFS by ntfs-3g, whose process is ended. strace only holds extract back for a moment at a
chosen fsync(2), so that it is known where it stands; each format breaks in several of these ways. Afterwards,
and again after mounting anew where that is possible: exit status 4, a journal, no damaged part under a good name
(Python's zipfile and tarfile), `verify` never proves; then, where the drive works again, --resume makes the job that
an uninterrupted run makes, byte by byte. And NTFS that ntfs-3g opens only for reading, because of a sleeping old
system, is told as that.
Needs root, loop devices and FUSE; otherwise skipped.
"""

import fcntl
import os
import pathlib
import random
import signal
import subprocess
import sys
import tarfile
import time
import zipfile

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402
from _changes import same  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
os.environ["SOURCE_DATE_EPOCH"] = "1796000000"
MIB = 1 << 20
EXT4_IOC_SHUTDOWN = 0x8004587D
SHUTDOWN_WITHOUT_LOG = b"\2\0\0\0"


class Drive:
    """A mounted file system on a loop device."""

    def __init__(self, folder, name, size, make, mount):
        self.image, self.point = folder / f"{name}.img", folder / name
        self.mount = mount
        with open(self.image, "wb") as image:
            image.truncate(size)
        h.tool(*make, self.image)
        self.point.mkdir(exist_ok=True)
        self.loop = h.tool("losetup", "-f", "--show", self.image).strip()
        self.open()

    def open(self):
        h.tool(*self.mount, self.loop, self.point)

    def again(self):
        """Away and back, as when it is plugged in once more."""
        h.tool("umount", self.point)
        self.open()

    def close(self):
        subprocess.run(["umount", "-l", self.point], capture_output=True, check=False)
        subprocess.run(["losetup", "-d", self.loop], capture_output=True, check=False)
        self.image.unlink(missing_ok=True)


def ext4(folder, name, size=48 * MIB):
    return Drive(folder, name, size, ("mkfs.ext4", "-q", "-F", "-m", "0"),
                 ("mount", "-t", "ext4", "-o", "errors=remount-ro"))


def ntfs(folder, name):
    return Drive(folder, name, 32 * MIB, ("mkntfs", "-q", "-F"), ("ntfs-3g",))


def make_source(path):
    random.seed(9)
    with open(path, "wb") as image:
        image.truncate(16 * MIB)
    h.tool("mkntfs", "-q", "-F", "-L", "Fernhill", path)
    for name, size in (("plots.txt", 300), ("shed.jpg", 3000000), ("map.bin", 2500000)):
        local = path.parent / name
        local.write_bytes(random.randbytes(size))
        h.tool("ntfscp", "-f", path, local, name)


def read_part(part):
    if part.suffix == ".zip":
        with zipfile.ZipFile(part) as archive:
            return archive.testzip()
    with tarfile.open(part) as archive:
        for member in archive.getmembers():
            if member.isfile():
                archive.extractfile(member).read()
    return None


def damaged(job):
    found = []
    for part in [*job.glob("*.zip"), *job.glob("*.tar")]:
        try:
            broken = read_part(part)
        except (zipfile.BadZipFile, tarfile.TarError, OSError, EOFError) as error:
            broken = error
        if broken is not None:
            found.append((part.name, broken))
    return found


def command(source, to, form):
    return [h.COLDLIFT, "extract", "--quiet", "--to", to, "--name", "job", "--format", form, "--part-size", "1M",
            "--checkpoint", "1M", source]


def interrupt(label, source, drive, at, event, words, form="zip"):
    """Runs extract, held back behind its fsync number `at`; then the event; then on."""
    job = drive.point / "job"
    trace = source.parent / "reached"
    trace.unlink(missing_ok=True)
    child = subprocess.Popen(
        ["strace", "-f", "--seccomp-bpf", "-o", trace, "-e", "trace=fsync",
         "-e", f"inject=fsync:delay_exit=2000000:when={at}",
         *command(source, drive.point, form)], stderr=subprocess.PIPE, text=True)
    for _ in range(600):
        # The line of a held call is begun only when it is over, so the one before it is waited for.
        if trace.exists() and trace.read_text().count("fsync(") >= at - 1:
            break
        time.sleep(0.05)
    time.sleep(0.3)
    event()
    said = " ".join(child.communicate()[1].split())
    h.check(child.returncode == 4, label, "exit status", child.returncode, said)
    h.check(any(word in said for word in words), label, "says:", said)
    h.check("nothing was changed on the old drives" in said, label, "says:", said)
    return job


def judge(label, job):
    if not job.exists():
        return
    h.check((job / "journal").exists(), label, "no journal:", sorted(os.listdir(job)))
    h.check(damaged(job) == [], label, damaged(job))
    done = h.run("verify", "--quiet", job)
    h.check(done.returncode not in (0, -6, -11), label, "verify", done.returncode)


def go_on(label, source, job, whole):
    """What lasted is enough to go on from; the rest is taken again."""
    done = h.run("extract", "--quiet", "--resume", "--to", job.parent, source)
    if not h.check(done.returncode == 0, label, "could not go on:", done.returncode, done.stderr):
        return
    same(label, job, whole)
    h.check(h.run("verify", "--quiet", job).returncode == 0, label, "is not proven")


def fill(drive):
    def event():
        with open(drive.point / "other things", "wb") as other:
            free = os.statvfs(drive.point).f_bavail * os.statvfs(drive.point).f_frsize
            os.posix_fallocate(other.fileno(), 0, free - 600000)
    return event


def meet_fault(drive):
    name = os.path.basename(drive.loop)
    return lambda: pathlib.Path(f"/sys/fs/ext4/{name}/trigger_fs_error").write_text("a test\n")


def pull_out(drive):
    def event():
        handle = os.open(drive.point, os.O_RDONLY)
        fcntl.ioctl(handle, EXT4_IOC_SHUTDOWN, SHUTDOWN_WITHOUT_LOG)
        os.close(handle)
    return event


def end_process(drive):
    """The process that serves the mount: the one with the loop device on its command line."""
    def event():
        for entry in pathlib.Path("/proc").iterdir():
            if not entry.name.isdigit():
                continue
            try:
                words = (entry / "cmdline").read_bytes().split(b"\0")
            except OSError:
                continue
            if words[0].endswith(b"ntfs-3g") and str(drive.point).encode() in words:
                os.kill(int(entry.name), signal.SIGKILL)
    return event


def on_ext4(folder, source, wholes):
    gone, fault = ("takes nothing",), ("can only be read", "takes nothing")
    for number, (form, at, words, event) in enumerate((
            ("zip", 6, ("is full",), fill), ("tar", 6, ("is full",), fill), ("folder", 6, ("is full",), fill),
            ("zip", 6, fault, meet_fault), ("tar", 12, fault, meet_fault), ("zip", 6, gone, pull_out),
            ("zip", 19, gone, pull_out), ("zip", 35, gone, pull_out), ("folder", 7, gone, pull_out))):
        drive = ext4(folder, f"drive-{number}")
        label = f"{form}, {event.__name__} behind fsync {at}:"
        try:
            job = interrupt(label, source, drive, at, event(drive), words, form)
            if event is fill:
                judge(label, job)
            drive.again()
            judge(label + " after mounting it again:", job)
            (drive.point / "other things").unlink(missing_ok=True)
            if h.check((job / "journal").exists(), label, "no journal"):
                go_on(label, source, job, wholes[form])
        finally:
            drive.close()


def on_dead_drive(folder, source):
    """The device behind the file system fails: the file of the loop device cannot grow any more."""
    small = folder / "small"
    small.mkdir()
    h.tool("mount", "-t", "tmpfs", "-o", "size=4m", "none", small)
    try:
        drive = ext4(small, "drive")
        try:
            # Nothing to wait for: the first part is larger than what is left.
            job = interrupt("dead drive:", source, drive, 1, lambda: None,
                            ("takes nothing", "can only be read"))
            h.check((job / "journal").exists(), "dead drive: no journal")
        finally:
            drive.close()
    finally:
        subprocess.run(["umount", "-l", small], check=False)


def on_ntfs(folder, source, whole):
    drive = ntfs(folder, "ntfs")
    try:
        interrupt("ntfs-3g ends:", source, drive, 6, end_process(drive), ("takes nothing",))
        h.tool("umount", "-l", drive.point)
        drive.open()
        judge("ntfs-3g ended, mounted again:", drive.point / "job")
        go_on("ntfs-3g ended, mounted again:", source, drive.point / "job", whole)
    finally:
        drive.close()


def on_sleeping_ntfs(folder, source):
    drive = ntfs(folder, "sleeping")
    try:
        (drive.point / "hiberfil.sys").write_bytes(b"hibr" + bytes(8188))
        h.tool("umount", drive.point)
        subprocess.run(["ntfs-3g", drive.loop, drive.point], capture_output=True, check=False)
        h.check(os.statvfs(drive.point).f_flag & os.ST_RDONLY, "ntfs-3g does not refuse to write")
        done = h.run("extract", "--quiet", "--to", drive.point, source)
        said = " ".join(done.stderr.split())
        h.check(done.returncode == 4 and "Shift key" in said, "sleeping NTFS:", done.returncode, said)
        h.check(said.startswith("coldlift: ") and said.endswith("."), said)
    finally:
        drive.close()


def run():
    if os.geteuid() != 0 or subprocess.run(["unshare", "-m", "true"], check=False).returncode != 0:
        h.skip("mounting needs root")
    if len(sys.argv) < 2:
        os.execvp("unshare", ["unshare", "-m", sys.executable, __file__, "inside"])
    if subprocess.run(["strace", "-o", "/dev/null", "true"], check=False).returncode != 0:
        h.skip("strace is not permitted")
    if not os.path.exists("/dev/loop-control") or not os.path.exists("/dev/fuse"):
        h.skip("no loop devices, or no FUSE")
    with h.work_folder() as work:
        work = pathlib.Path(os.path.realpath(work))
        source = work / "fernhill.img"
        make_source(source)
        wholes = {}
        for form in ("zip", "tar", "folder"):
            (work / form).mkdir()
            h.tool(*command(source, work / form, form))
            wholes[form] = work / form / "job"
        on_ext4(work, source, wholes)
        on_dead_drive(work, source)
        on_ntfs(work, source, wholes["zip"])
        on_sleeping_ntfs(work, source)
    h.finish()


run()
