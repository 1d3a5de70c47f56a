#!/usr/bin/python3
"""The demo drives are what expected.json says, and making them again gives the same bytes.

Checked with programs that know nothing of coldlift: sfdisk (partition tables), ntfsfix, ntfsinfo,
ntfscat and libntfs-3g (volumes), hivexget (hives), mdir (the EFI partition). The transaction log
is applied here by hand, after the "Windows registry file format specification"; its Marvin32 hashes
are compared with those in logs that Windows wrote, where the sample files are at hand.
"""

import hashlib
import json
import lzma
import os
import shutil
import struct
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
FIXTURES = os.path.join(ROOT, "fixtures")
sys.path.insert(0, FIXTURES)

from maker import hivelog  # noqa: E402

SECTOR = 512
KEY_STREAM = "$EFS:$LOGGED_UTILITY_STREAM"
failures = []


def check(right, what):
    if not right:
        failures.append(what)
        print("FAILED:", what)


def output(*command, **more):
    return subprocess.run(command, check=True, capture_output=True, **more).stdout


def build_twice(work):
    """Once as we are, once from a copy elsewhere and, where we are root, as nobody."""
    first, second = os.path.join(work, "first"), os.path.join(work, "second")
    output(os.path.join(FIXTURES, "build"), first)
    copy = os.path.join(work, "copy")
    shutil.copytree(FIXTURES, copy, ignore=shutil.ignore_patterns("__pycache__"))
    os.mkdir(second)
    command = [os.path.join(copy, "build"), second]
    if os.getuid() == 0:
        os.chmod(work, 0o755)
        os.chown(second, 65534, 65534)
        command = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", *command]
    output(*command, env={"PATH": "/usr/bin:/bin", "LC_ALL": "C"})
    for name in ("old-system.img", "old-data.img", "expected.json"):
        same = subprocess.run(["cmp", "-s", os.path.join(first, name), os.path.join(second, name)])
        check(same.returncode == 0, f"two runs differ in {name}")
    check(sorted(os.listdir(first)) == ["expected.json", "old-data.img", "old-system.img"],
          "something was left behind in the folder")
    return first


def partitions(image):
    return json.loads(output("sfdisk", "--json", image))["partitiontable"]


def check_tables(folder):
    """The partition tables as sfdisk reads them; gives {volume: (image, start, size)}."""
    system, data = os.path.join(folder, "old-system.img"), os.path.join(folder, "old-data.img")
    table = partitions(system)
    check(table["label"] == "gpt" and len(table["partitions"]) == 4, "the system drive's table")
    types = [part["type"] for part in table["partitions"]]
    check(types == ["C12A7328-F81F-11D2-BA4B-00A0C93EC93B", "E3C9E316-0B5C-4DB8-817D-F92DF00215AE",
                    "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7", "DE94BBA4-06D1-4D40-A16A-BFD50179D6AC"],
          "the system drive's partition types")
    windows, recovery = table["partitions"][2], table["partitions"][3]
    second = partitions(data)
    check(second["label"] == "dos" and second["id"] == "0x5eed1a7d", "the data drive's signature")
    part = second["partitions"][0]
    check(part["type"] == "7", "the data drive's partition type")
    efi = table["partitions"][0]["start"] * SECTOR
    check(b"bootmgfw" in output("mdir", "-b", "-/", "-i", f"{system}@@{efi}").lower(),
          "the EFI partition's files")
    return {"C:": (system, windows["start"], windows["size"]),
            "recovery": (system, recovery["start"], recovery["size"]),
            "D:": (data, part["start"], part["size"])}


def cut_out(work, name, image, start, size):
    """A volume as a file of its own, for tools that take no offset."""
    path = os.path.join(work, name.strip(":") + ".ntfs")
    output("dd", f"if={image}", f"of={path}", f"bs={SECTOR}", f"skip={start}", f"count={size}",
           "conv=sparse")
    os.truncate(path, size * SECTOR)
    return path


def unescaped(text):
    """The form that look prints: \\uXXXX for every unit that is not printable ASCII."""
    units = bytearray()
    at = 0
    while at < len(text):
        if text[at] == "\\":
            units += struct.pack("<H", int(text[at + 2:at + 6], 16))
            at += 6
        else:
            units += struct.pack("<H", ord(text[at]))
            at += 1
    return units.decode("utf-16le", "replace")


def compile_look(work):
    sources = [os.path.join(FIXTURES, "fill", name) for name in ("look.c", "names.c")]
    program = os.path.join(work, "look")
    output("gcc", "-std=c17", "-D_GNU_SOURCE", "-D_FILE_OFFSET_BITS=64", "-O2", "-Wall", "-Wextra",
           "-Werror", "-o", program, *sources, "-lntfs-3g", "-lnettle")
    return program


def check_volume(look, image, name, expected):
    """Every name and stream is listed, and nothing else; hashes as libntfs-3g reads them."""
    found = {}
    for line in output(look, image).decode("ascii").splitlines():
        kind, path, stream, size, digest = line.split("\t")
        key = (kind, unescaped(path[1:].replace("/", "\\u005c")), unescaped(stream))
        found[("\\" + key[1], key[0], key[2])] = (int(size), digest)
    listed = {(row["path"], row["kind"], row["stream"]): row
              for row in expected["streams"]
              if row["volume"] == name and row["stream"] != KEY_STREAM}
    # libntfs-3g knows nothing of system compression: it sees a hole, and the stream that fills it.
    for path, kind, stream in [key for key, row in listed.items() if row.get("overlay")]:
        check(found.pop((path, kind, "WofCompressedData"), (0, ""))[0] > 0, f"{path}: no carrier")
        del listed[path, kind, stream], found[path, kind, stream]
    for key in sorted(set(found) ^ set(listed)):
        check(False, f"{name}{key}: only {'on the volume' if key in found else 'listed'}")
    for key in set(found) & set(listed):
        size, digest = found[key]
        row = listed[key]
        check(size == row["size"], f"{name}{key}: size {size}, not {row['size']}")
        if "sha256" in row and row["state"] != "locked":
            check(digest == row["sha256"], f"{name}{key}: other bytes")
    check(output("ntfsfix", "-n", image).count(b"processed successfully") == 1, f"{name}: ntfsfix")


def cat(image, path, stream=""):
    command = ["ntfscat"] + (["-n", stream] if stream else []) + [image, path]
    return output(*command)


def check_with_ntfscat(volumes, expected):
    """A sample of files, and every alternate stream, once more with ntfscat."""
    for at, row in enumerate(expected["streams"]):
        if ("sha256" not in row or row["size"] >= 1 << 24 or "name_utf16" in row or
                "overlay" in row or "stored" in row):
            continue
        special = row["stream"] or "Archive" in row["path"]
        # ntfscat takes the backslash in a name for the end of a folder's name.
        if (at % 9 and not special) or "back\\slash" in row["path"]:
            continue
        data = cat(volumes[row["volume"]], row["path"].replace("\\", "/"), row["stream"])
        check(hashlib.sha256(data).hexdigest() == row["sha256"], f"ntfscat: {row['path']}")


def about(image, path):
    return output("ntfsinfo", "-v", "-F", path, image, stderr=None).decode("utf-8", "replace")


def check_encrypted(volumes, expected):
    """Key streams as ntfscat reads them; the encrypted clusters where ntfscluster says they are."""
    seen = 0
    for row in expected["streams"]:
        if "stored" not in row:
            continue
        image, path = volumes[row["volume"]], row["path"].replace("\\", "/")
        if row["stream"]:
            data = output("ntfscat", "-a", "256", "-n", "$EFS", image, path)
        else:
            runs = output("ntfscluster", "-F", path, image).decode().partition("0x80")[2]
            numbers = [line.split() for line in runs.splitlines()[2:]]
            first = int(next(fields for fields in numbers if len(fields) == 3)[1])
            with open(image, "rb") as volume:
                volume.seek(first * 4096)
                data = volume.read(row["stored"])
        check(hashlib.sha256(data).hexdigest() == row["sha256"], f"sealed: {path} {row['stream']}")
        seen += 1
    check(seen == 4, f"{seen} sealed streams")


def check_storage(volumes):
    """The kinds of storage are really there, as ntfsinfo shows them."""
    c, d = volumes["C:"], volumes["D:"]
    packed = about(d, "Archive/packed 1.csv")
    check("COMPRESSED" in packed and "Compressed size" in packed, "compressed file")
    check("$ATTRIBUTE_LIST" in about(d, "Survey/height map.tif"), "attribute list")
    check("SPARSE_FILE" in about(d, "Survey/aerial scan.raw"), "sparse file")
    check("ENCRYPTED" in about(c, "Users/Rowan.OLD-PC/Documents/Private/alarm.txt"),
          "encrypted file")
    check("REPARSE_POINT" in about(c, "Users/mara/Seed Swap/packed list.csv"), "packed file")
    only = about(c, "Users/mara/Fernhill Cloud/Documents/Accounts/audit 2013.pdf")
    check("OFFLINE" in only and "REPARSE_POINT" in only, "cloud-only file")
    owner = output("ntfssecaudit", "-v", c, "/Users/mara/Desktop/to do.txt")
    check(b"owner S-1-5-21-2718281828-3141592653-1618033988-1001" in owner, "owner")
    check("total runs: 24 " in about(c, "Users/Rowan.OLD-PC/Documents/Plots/drainage.bin").lower(),
          "file in pieces")
    times = about(d, "Pictures/2016 season/IMG_20160002.JPG")
    check("Thu May 12 12:31:02 2016 UTC" in times, "time of a picture")
    check("Dos" in about(c, "Program Files") or "DOS" in about(c, "Program Files"), "8.3 names")


def hive_value(path, key, value):
    return output("hivexget", path, key, value).decode("utf-8").strip()


def save(work, name, data):
    path = os.path.join(work, name)
    with open(path, "wb") as out:
        out.write(data)
    return path


def apply_log(hive, log, first_sequence):
    """What recovery does with a log of the new format; entries that were written are passed by."""
    hive = bytearray(hive)
    at = SECTOR
    while log[at:at + 4] == b"HvLE":
        size, _, sequence, bins, count = struct.unpack_from("<5I", log, at + 4)
        check(hivelog.marvin32(log[at + 40:at + size]) == log[at + 24:at + 32],
              "first hash of an entry")
        check(hivelog.marvin32(log[at:at + 32]) == log[at + 32:at + 40], "second hash of an entry")
        page = at + 40 + 8 * count
        if sequence >= first_sequence:
            hive += bytes(max(0, 4096 + bins - len(hive)))
            for number in range(count):
                offset, length = struct.unpack_from("<II", log, at + 40 + 8 * number)
                hive[4096 + offset:4096 + offset + length] = log[page:page + length]
                page += length
            struct.pack_into("<II", hive, 4, sequence, sequence)
            struct.pack_into("<I", hive, 40, bins)
        at += size
    total = 0
    for (word,) in struct.iter_unpack("<I", hive[:508]):
        total ^= word
    struct.pack_into("<I", hive, 508, total)
    return bytes(hive)


def check_hives(work, volumes):
    c, d = volumes["C:"], volumes["D:"]
    software = save(work, "SOFTWARE", cat(c, "Windows/System32/config/SOFTWARE"))
    system = save(work, "SYSTEM", cat(c, "Windows/System32/config/SYSTEM"))
    save(work, "SAM", cat(c, "Windows/System32/config/SAM"))
    check(hive_value(software, "Microsoft\\Windows NT\\CurrentVersion",
                     "ProductName") == "Windows 10 Pro",
          "ProductName")
    check(hive_value(system, "ControlSet001\\Control\\ComputerName\\ComputerName",
                     "ComputerName") ==
          "FERNHILL-PC", "ComputerName")
    places = "Software\\Microsoft\\Windows\\CurrentVersion\\Explorer\\User Shell Folders"
    mara = save(work, "mara", cat(c, "Users/mara/NTUSER.DAT"))
    check(hive_value(mara, places, "My Pictures") == "D:\\Pictures", "Mara's pictures")
    zoe = save(work, "zoe", cat(d, "Profiles/Zoë/NTUSER.DAT"))
    check(hive_value(zoe, places, "Personal") == "%USERPROFILE%\\Documents", "Zoë's documents")
    profile = "Users/Rowan.OLD-PC/"
    dirty = cat(c, profile + "NTUSER.DAT")
    check(dirty[4:8] != dirty[8:12], "Rowan's hive is dirty")
    rowan = save(work, "rowan", dirty)
    check(hive_value(rowan, places, "Desktop") == "%USERPROFILE%\\Desktop",
          "Rowan's desktop, file only")
    (first,) = struct.unpack_from("<I", dirty, 4)
    whole = apply_log(dirty, cat(c, profile + "ntuser.dat.LOG1"), first)
    whole = apply_log(whole, cat(c, profile + "ntuser.dat.LOG2"), first)
    rowan = save(work, "rowan", whole)
    check(hive_value(rowan, places, "Desktop") == "D:\\Rowan\\Desktop",
          "Rowan's desktop, with the log")


def check_marvin():
    """Our hash against those that Windows wrote."""
    data = os.environ.get("COLDLIFT_DATA", os.path.join(ROOT, "..", "shared", "data"))
    path = os.path.join(data, "hives/edge-cases/NewDirtyHive1/NewDirtyHive.LOG2.xz")
    if not os.path.exists(path):
        print("skipped: no sample logs to compare the hash with")
        return
    with lzma.open(path) as packed:
        log = packed.read()
    (size,) = struct.unpack_from("<I", log, SECTOR + 4)
    entry = log[SECTOR:SECTOR + size]
    check(hivelog.marvin32(entry[40:]) == entry[24:32], "Marvin32 of a log that Windows wrote")
    check(hivelog.marvin32(entry[:32]) == entry[32:40], "Marvin32 of its entry's head")


def main():
    with tempfile.TemporaryDirectory() as work:
        folder = build_twice(work)
        with open(os.path.join(folder, "expected.json"), encoding="utf-8") as text:
            expected = json.load(text)
        look = compile_look(work)
        volumes = {name: cut_out(work, name, *extent) for name,
                   extent in check_tables(folder).items()}
        for name, image in volumes.items():
            check_volume(look, image, name, expected)
        check_with_ntfscat(volumes, expected)
        check_encrypted(volumes, expected)
        check_storage(volumes)
        check_hives(work, volumes)
        check_marvin()
    print(f"{len(failures)} failures" if failures else "the demo drives are as expected")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
