#!/usr/bin/python3
"""What the catalogue says of a file besides its bytes: owner, times, and where it is when its folder is not.

Sources: ntfssecaudit and ntfsinfo of ntfs-3g are the independent readers of owners and times; descriptors are laid
out as in [MS-DTYP] 2.4.6. Volumes are made by mkntfs and libntfs-3g, which keeps descriptors in $Secure when they
are set and in the file's own record otherwise; damage is written as in the linux-ntfs documentation: "File
record", "$STANDARD_INFORMATION", "$FILE_NAME", "$Secure" (every 256 KiB of $SDS has a copy behind it).
"""

import json
import os
import re
import struct
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "ntfs"))
sys.path.insert(0, os.path.join(HERE, "..", "..", "fixtures"))
from bench import Bench, Listing, codes, noise, streams  # noqa: E402
from maker import security  # noqa: E402

COLDLIFT = os.environ["COLDLIFT"]
CLUSTER, RECORD, BLOCK = 4096, 1024, 256 << 10
MEMBERS = 1900  # their descriptors fill more than one block of $SDS
NODE_LOST, NODE_NO_TIMES = 16, 32
DEFAULT = "S-1-5-32-544"  # of what libntfs-3g makes without being told an owner


def sid(number):
    return f"S-1-5-21-2718281828-3141592653-1618033988-{1000 + number}"


def make_listing():
    listing = Listing()
    truth = {}
    listing.add("folder", "/Members")
    for i in range(MEMBERS):
        name = f"card {i:04}.txt"
        listing.file(f"/Members/{name}", b"card %d" % i)
        listing.add("security", f"/Members/{name}", listing.store(security.owned_by(sid(i))))
        truth["\\Members\\" + name] = sid(i)
    listing.file("/Members/untold.txt", b"nobody set an owner")
    truth["\\Members\\untold.txt"] = DEFAULT
    listing.file("/Members/many streams.txt", b"attributes in several records")
    for i in range(60):
        listing.write("/Members/many streams.txt", f"stream {i:02}", 0, noise(600, i))
    truth["\\Members\\many streams.txt"] = DEFAULT
    listing.add("folder", "/Minutes")
    listing.add("folder", "/Minutes/1998")
    listing.file("/Minutes/spring.txt", b"in a folder that goes")
    listing.file("/Minutes/1998/autumn.txt", b"deeper")
    listing.file("/rota.txt", b"times")
    listing.add("times", "/rota.txt", *(131000000000000000 + i * 864000000000 for i in range(4)))
    return listing, truth


class Volume:
    def __init__(self, bench, path):
        self.bench = bench
        self.path = path
        with open(path, "rb") as file:
            self.bytes = file.read()
        self.sound = bench.dump(path)
        self.runs = streams(self.sound, True)["\\$MFT", ""]["runs"]

    def node(self, path):
        return next(entry["node"] for entry in self.sound["entries"] if entry["path"] == path)

    def record(self, path):
        """Offset of its record on the volume."""
        at = self.node(path) * RECORD
        return next((lcn - vcn) * CLUSTER + at for vcn, lcn, length in self.runs
                    if vcn * CLUSTER <= at < (vcn + length) * CLUSTER)

    def attribute(self, path, kind):
        """Offset of the value of its first attribute of a kind."""
        record = self.record(path)
        at = record + struct.unpack_from("<H", self.bytes, record + 0x14)[0]
        while struct.unpack_from("<I", self.bytes, at)[0] != kind:
            at += struct.unpack_from("<I", self.bytes, at + 4)[0]
        return at, at + struct.unpack_from("<H", self.bytes, at + 0x14)[0]

    def patched(self, *patches):
        data = bytearray(self.bytes)
        for offset, new in patches:
            data[offset:offset + len(new)] = new
        path = self.bench.path("patched.img")
        with open(path, "wb") as file:
            file.write(data)
        return path


def owners(dump):
    return {entry["path"]: entry["owner"] for entry in dump["entries"] if not entry["flags"] & 8}


def audited(image, path):
    done = subprocess.run(["ntfssecaudit", "-v", image, path.replace("\\", "/")], capture_output=True)
    return re.search(rb"^Windows owner (\S+)", done.stdout, re.M).group(1).decode()


def check_owners(bench, volume, truth):
    found = owners(volume.sound)
    for path, owner in truth.items():
        bench.check(found.get(path) == owner, f"{path}: owner {found.get(path)}, not {owner}")
    bench.check(volume.sound["findings"] == [], f"findings {volume.sound['findings']}")
    for path in ["\\", "\\Members", "\\Minutes", *list(truth)[::60], *list(truth)[-2:]]:
        bench.check(found.get(path, "S-1-5-18") == audited(volume.path, path),
                    f"{path}: {found.get(path)}, but {audited(volume.path, path)} by ntfssecaudit")


def check_lost_descriptors(bench, volume, truth):
    sds = streams(volume.sound, True)["\\$Secure", "$SDS"]
    bench.check(sds["size"] > 2 * BLOCK, f"$SDS has {sds['size']} bytes")

    def fail(*ranges):
        script = ""
        for at, length in ranges:
            for vcn, lcn, count in sds["runs"]:
                low, high = max(at, vcn * CLUSTER), min(at + length, (vcn + count) * CLUSTER)
                if low < high:
                    script += f"fail {(lcn - vcn) * CLUSTER + low} {high - low}\n"
        return script

    for at in (0, 60 * CLUSTER, BLOCK - CLUSTER):
        dump = bench.dump(volume.path, fail((at, CLUSTER)))
        bench.check(owners(dump) == owners(volume.sound), f"$SDS unreadable at {at}")
    # A whole block: everything is still in its copy.
    dump = bench.dump(volume.path, fail((0, BLOCK)))
    bench.check(owners(dump) == owners(volume.sound), "first block of $SDS unreadable")
    # Both copies of a cluster: some owners are not known, none is wrong, and no file is missing.
    dump = bench.dump(volume.path, fail((20 * CLUSTER, CLUSTER), (BLOCK + 20 * CLUSTER, CLUSTER)))
    found = owners(dump)
    gone = [path for path in truth if found.get(path) == ""]
    wrong = [path for path in truth if found.get(path) not in ("", truth[path])]
    bench.check(10 < len(gone) < 60 and not wrong, f"{len(gone)} owners unknown, wrong: {wrong}")
    # A changed byte in one copy: in the descriptor, and in the id, where it cannot be told which copy is right.
    cluster = next((lcn - vcn + 30) * CLUSTER for vcn, lcn, count in sds["runs"] if vcn <= 30 < vcn + count)
    entry = cluster + next(at for at in range(0, CLUSTER, 16)
                           if struct.unpack_from("<Q", volume.bytes, cluster + at + 8)[0] == 30 * CLUSTER + at)
    dump = bench.dump(volume.path, f"flip {entry + 0x14 + 21} 1\n")
    bench.check(owners(dump) == owners(volume.sound), "changed descriptor")
    found = owners(bench.dump(volume.path, f"flip {entry + 4} 1\n"))
    other = {owner for path, owner in found.items() if owner != owners(volume.sound)[path]}
    bench.check(other == {""}, f"changed id: {other}")


STAMPS = ("created", "modified", "changed", "accessed")


def by_ntfsinfo(image, node):
    """The four times of $STANDARD_INFORMATION, in the order of STAMPS."""
    text = subprocess.run(["ntfsinfo", "-f", "-v", "-i", str(node), image], capture_output=True, text=True,
                          env=dict(os.environ, TZ="UTC", LC_ALL="C")).stdout
    text = text.split("$STANDARD_INFORMATION (0x10)")[1].split("Dumping attribute")[0]
    found = dict(re.findall(r"(Creation|Altered|Changed|Accessed) Time:\s+(.*?) UTC", text))
    return [found[word] for word in ("Creation", "Altered", "Changed", "Accessed")]


def as_printed(stamp):
    import datetime
    moment = datetime.datetime.strptime(stamp[:19], "%Y-%m-%dT%H:%M:%S")
    return moment.strftime("%a %b %e %H:%M:%S %Y")


def check_times(bench, volume):
    def stamps(dump):
        entry = next(entry for entry in dump["entries"] if entry["path"] == "\\rota.txt")
        return [entry[stamp] for stamp in STAMPS], entry

    ours, entry = stamps(volume.sound)
    theirs = by_ntfsinfo(volume.path, volume.node("\\rota.txt"))
    bench.check([as_printed(stamp) for stamp in ours] == theirs, f"times {ours}, by ntfsinfo {theirs}")
    bench.check(len(set(ours)) == 4 and not entry["flags"] & NODE_NO_TIMES, f"times {ours}")
    # Other times in $FILE_NAME, which count only where the usual ones are damaged.
    header, value = volume.attribute("\\rota.txt", 0x10)
    _, name = volume.attribute("\\rota.txt", 0x30)
    other = struct.pack("<4Q", *(128000000000000000 + i * 864000000000 for i in range(4)))
    expected = ["2006-08-14T03:33:20", "2006-08-15T03:33:20", "2006-08-16T03:33:20", "2006-08-17T03:33:20"]
    dump = bench.dump(volume.patched((name + 8, other)))
    bench.check(stamps(dump)[0] == ours, "$FILE_NAME counts though nothing is damaged")
    for title, patch in (("too short", (header + 0x10, struct.pack("<I", 0x20))),
                         ("nonsense", (value, b"\xff" * 8)),
                         ("beyond the year 9999", (value + 16, struct.pack("<Q", 1 << 62)))):
        found, entry = stamps(bench.dump(volume.patched((name + 8, other), patch)))
        bench.check([stamp[:19] for stamp in found] == expected and entry["flags"] & NODE_NO_TIMES,
                    f"$STANDARD_INFORMATION {title}: {found}")


def check_folders(bench, volume):
    """A folder that is gone, or whose record is another folder, or a file, by now."""
    record = volume.record("\\Minutes")
    sequence = struct.unpack_from("<H", volume.bytes, record + 0x10)[0]
    later = (record + 0x10, struct.pack("<H", sequence + 1))
    before = {key: value["sha256"] for key, value in streams(volume.sound).items()}
    for title, patches in (("gone", [(record + 0x16, b"\2\0")]), ("reused", [later]),
                           ("reused by a file", [later, (record + 0x16, b"\1\0")])):
        image = volume.patched(*patches)
        dump = bench.dump(image)
        found = streams(dump)
        entries = {entry["path"]: entry for entry in dump["entries"]}
        for (path, stream), value in before.items():
            now = path.replace("\\Minutes\\", "\\[no folder]\\")
            bench.check(found.get((now, stream), {}).get("sha256") == value, f"{title}: {now} differs")
        lost = {path for path, entry in entries.items() if entry["flags"] & NODE_LOST}
        bench.check(lost == {"\\[no folder]\\spring.txt", "\\[no folder]\\1998"}, f"{title}: lost {lost}")
        bench.check(("\\Minutes" in entries) == (title != "gone"), f"{title}: \\Minutes")
        bench.check("folders-missing" in codes(dump), f"{title}: {codes(dump)}")
    # `image` is the last of them: also in a whole job.
    out = bench.path("out")
    os.mkdir(out)
    done = subprocess.run([COLDLIFT, "extract", "--quiet", "--format", "folder", "--to", out, "--name", "job", image],
                          capture_output=True, text=True)
    bench.check(done.returncode in (0, 1), f"extract: {done.returncode} {done.stderr}")
    with open(os.path.join(out, "job", "record.jsonl")) as file:
        rows = {row["path"]: row for row in map(json.loads, list(file)[1:])}
    for path, content in (("\\[no folder]\\spring.txt", b"in a folder that goes"),
                          ("\\[no folder]\\1998\\autumn.txt", b"deeper")):
        row = rows.get(path)
        bench.check(row is not None and row["state"] == "taken", f"record: {path}: {row}")
        with open(os.path.join(out, "job", "job-files", row["as"]), "rb") as file:
            bench.check(file.read() == content, f"{path} differs in the job")
    bench.check(rows["\\Members\\card 0007.txt"]["owner"] == sid(7), "record: owner")


def main():
    bench = Bench()
    listing, truth = make_listing()
    volume = Volume(bench, bench.make("sound.img", 32 << 20, CLUSTER, 512, listing))
    check_owners(bench, volume, truth)
    check_lost_descriptors(bench, volume, truth)
    check_times(bench, volume)
    check_folders(bench, volume)
    bench.close()


main()
