"""Small source drives for the live stick's tests, and the checks that every boot test makes."""

import hashlib
import os
import pathlib
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "run"))
from _harness import check, finish, skip, tool  # noqa: E402,F401 (for the tests)
from _machine import IMAGE, Drive, Machine  # noqa: E402

MIB = 1 << 20

if not IMAGE.exists():
    skip("there is no build/coldlift.iso (make image)")


def work_folder():
    return tempfile.TemporaryDirectory(prefix="coldlift-image-")


def sha256(path):
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def make_drive(path, label, mib=30, kind="ntfs"):  # of an SD card: mib + 2 is a power of two
    """A drive with one volume, made and (NTFS) filled by the file systems' own tools."""
    volume = pathlib.Path(f"{path}.volume")
    with open(volume, "wb") as file:
        file.truncate(mib * MIB)
    if kind == "ntfs":
        tool("mkntfs", "-F", "-q", "-Q", "-s", "512", "-p", "2048", "-H", "255", "-S", "63",
             "-L", label, volume)
        minutes = pathlib.Path(f"{path}.txt")
        minutes.write_text("The water butts stay where they are.\n")
        tool("ntfscp", "-f", volume, minutes, "/minutes.txt")
        minutes.unlink()
    elif kind == "fat":
        tool("mkfs.vfat", "-F", "32", "-s", "1", "-n", label, volume)
    elif kind == "exfat":
        tool("mkfs.exfat", "-L", label, volume)
    elif kind == "ext4":
        tool("mkfs.ext4", "-q", "-L", label, volume)
    code = {"ntfs": "7", "fat": "c", "exfat": "7", "ext4": "83"}[kind]
    with open(path, "wb") as file:
        file.truncate((mib + 2) * MIB)
    subprocess.run(["sfdisk", "-q", str(path)], text=True, check=True,
                   input=f"label: dos\nlabel-id: 0x46686c6c\nstart=2048, size={mib * 2048}, type={code}\n")
    with open(path, "r+b") as file, open(volume, "rb") as source:
        file.seek(MIB)
        file.write(source.read())
    volume.unlink()
    return path


def copy_volume(path, target):
    """The first volume of a drive made by make_drive()."""
    with open(path, "rb") as source, open(target, "wb") as file:
        source.seek(MIB)
        file.write(source.read()[: os.path.getsize(path) - 2 * MIB])


def all_read_only(pc):
    """Every drive and volume that the kernel knows, as `name 1` where it is read-only."""
    text = pc.command("for e in /sys/class/block/*; do n=${e##*/}; "
                      "echo $n $(blockdev --getro /dev/$n) $(cat $e/ro); done")
    marks = [line.split() for line in text.splitlines() if line]
    check(marks, "the PC has no drives at all")
    for name, flag, kernel in marks:
        check((flag, kernel) == ("1", "1"), f"{name} is not read-only: {flag} {kernel}")
    return [mark[0] for mark in marks]


def look_around(pc):
    """In the shell, after a start: what must hold on every PC. Returns the kernel's messages."""
    names = all_read_only(pc)
    check(len(names) >= 2 * len(pc.drives), "drives are missing:", names)
    check(pc.command("grep -c . /proc/swaps") == "1\n", "swap is in use")
    mounts = pc.command("cat /proc/mounts")
    check("/dev/" not in [line.split()[0][:5] for line in mounts.splitlines()], "mounted:", mounts)
    check(" rootfs rw" not in mounts or "tmpfs" not in mounts.split("\n")[0], mounts)
    memory = pc.command("free -k | sed -n 2p").split()
    print(f"memory: {int(memory[1]) // 1024} MiB of {pc.memory} usable, {int(memory[6]) // 1024} MiB available")
    check(int(memory[6]) > 300 * 1024, "little memory is left:", memory)
    return pc.command("dmesg")


def start_with(pc, labels):
    """Starts the PC; the volumes with these labels must be on the start screen."""
    pc.start()
    print(f"{pc.firmware} from {pc.boot}: {pc.seconds:.0f} s from power-on to the start screen")
    for label in labels:
        check(re.search(rf"NTFS.*{label}", pc.screen), f"{label}: not on the start screen", pc.screen)
    check(pc.boot == "disc" or "This stick is sd" in pc.screen, "the stick is not known", pc.screen)


def boot_test(firmware, buses, boot="usb"):
    """Starts a PC, looks at the start screen and at what the kernel says, and proves that nothing was written.

    Returns the kernel's messages."""
    with work_folder() as name:
        folder = pathlib.Path(name)
        drives = [Drive(make_drive(folder / f"{bus}.img", f"FH-{bus.upper()}", 6), bus) for bus in buses]
        before = {drive.path: sha256(drive.path) for drive in drives}
        with Machine(folder, firmware=firmware, drives=drives, boot=boot) as pc:
            start_with(pc, [f"FH-{bus.upper()}" for bus in buses])
            pc.shell()
            log = look_around(pc)
            pc.send("exit\n")
            pc.menu()
            pc.send("p\n")
            pc.wait_off()
        for drive in drives:
            check(sha256(drive.path) == before[drive.path], f"{drive.bus}: the drive has changed")
        return log
