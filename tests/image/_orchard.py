"""A source whose files cannot be compressed, so that a job has something to do, and what must arrive of it."""

import hashlib
import random

from _sources import MIB, check, make_drive, sha256
from _volumes import ntfs_mounted, volume_of

FILE = 8 * MIB


def harvest(number):
    """What stands in a file."""
    return random.Random(f"plum {number}").randbytes(FILE)


def make_orchard(path, files, label="FH-OLD", first=0):
    """An NTFS volume with so many files of 8 MiB. Returns what they hold, as {name: sha256}."""
    make_drive(path, label, files * FILE // MIB + 24)
    digests = {}
    with volume_of(path, put_back=True) as volume, ntfs_mounted(volume, "rw") as folder:
        for number in range(first, first + files):
            data = harvest(number)
            name = f"harvest {number}.bin"
            (folder / name).write_bytes(data)
            digests[name] = hashlib.sha256(data).hexdigest()
    return digests


def compare_orchard(whole, digests, but=()):
    """`whole`: the folder into which a job was unpacked. Every file is there, whole but those in `but`. Returns their paths."""
    found = {path.name: path for path in whole.rglob("harvest *.bin")}
    check(sorted(found) == sorted(digests), "other files have arrived:", sorted(found))
    for name, path in found.items():
        check((sha256(path) == digests[name]) != (name in but), f"{name} has other bytes than on the old drive")
    return found


def into_job(pc, seconds=240):
    """From power-on to the beginning of an unattended job."""
    while "coldlift is starting" not in pc.text:
        pc.press("s")
        pc._receive(0.7)
    pc.expect("The job begins in 1 second", seconds)
