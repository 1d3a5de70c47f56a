#!/usr/bin/python3
"""Drives that belong to a set: what `drives` and `survey` make of them.

The descriptions are made by _sets.py after the published layouts. References: blkid(8) has to
recognise each; where they are installed, mdadm(8) and ldmtool(1) have to read the same out of them
(mdadm 4.2 and ldmtool 0.2.5 do). Neither is needed: on a PC with such drives they would put sets
together by themselves.
"""

import json
import os
import pathlib
import shutil
import subprocess
import sys

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402
import _sets as sets  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
MIB = 1 << 20
POOL = "E75CAF8F-F680-4CEE-AFA3-B001E56EFC2D"


def new(name, size=8 * MIB):
    with open(name, "wb") as image:
        image.truncate(size)
    return name


def put(name, from_end, data):
    with open(name, "r+b") as image:
        image.seek(-512 * from_end, 2)
        image.write(data)


def look(*names, status=None):
    done = h.run("drives", "--json", "--quiet", *names)
    if status is not None:
        h.check(done.returncode == status, names, "status", done.returncode, done.stderr)
    return json.loads(done.stdout)["drives"]


def survey(*names, status=0):
    done = h.run("survey", "--json", "--quiet", *names)
    h.check(done.returncode == status, names, "status", done.returncode, done.stderr)
    return json.loads(done.stdout) if done.stdout else {"findings": [], "systems": []}


def codes(findings, subject=None):
    return sorted((f["weight"], f["code"]) for f in findings if subject in (None, f["subject"]))


def blkid_type(name):
    done = subprocess.run(["blkid", "--probe", "--output", "value", "--match-tag", "TYPE", name],
                          capture_output=True, text=True, check=False)
    return done.stdout.strip()


def examined(name):
    """What mdadm says of the image, as {word: value}; empty where it cannot be asked."""
    if shutil.which("mdadm") is None or os.geteuid() != 0:
        return {}
    loop = subprocess.run(["losetup", "--find", "--show", "--read-only", name], capture_output=True,
                          text=True, check=False).stdout.strip()
    if not loop:
        return {}
    environment = dict(os.environ, IMSM_NO_PLATFORM="1", IMSM_DEVNAME_AS_SERIAL="1")
    said = subprocess.run(["mdadm", "--examine", loop], capture_output=True, text=True,
                          env=environment, check=False).stdout
    subprocess.run(["losetup", "--detach", loop], check=False)
    h.check(said != "", name, "mdadm does not know it")
    words = {}
    for line in said.splitlines():
        if " : " in line:
            word, value = line.split(" : ", 1)
            words.setdefault(word.strip(), value.strip())
    return words


def check_rst():
    """Levels by the number in the description: 0 stripe, 1 mirror (of two), 5 parity."""
    for level, members, wanted, alone in ((0, 2, "stripe", False), (1, 2, "mirror", True),
                                          (1, 4, "stripe", False), (5, 3, "parity", False),
                                          (0, 1, "single", True)):
        name = new(f"rst-{level}-{members}.img")
        serials = [f"FERN-{i:04}" for i in range(members)]
        sets.put_rst(name, sets.rst(serials, [("Fernhill", level, 0, 8192, members)]))
        h.check(blkid_type(name) == "isw_raid_member", name, blkid_type(name))
        mdadm = examined(name)
        if mdadm:
            h.check(mdadm["Members"] == str(members) and "correct" in mdadm["Checksum"], mdadm)
            raid = {("1", 4): "10"}.get((str(level), members), str(level))
            h.check(mdadm["RAID Level"] == raid, name, mdadm["RAID Level"])
        drive = look(name)[0]
        h.check(drive["set"] == {"kind": "rst", "level": wanted, "name": "Fernhill",
                                 "id": "1a2b3c4d", "member": None, "members": members,
                                 "readable_alone": alone}, name, drive["set"])
        expected = {"mirror": [("note", "set-mirror")], "single": []}
        h.check(codes(drive["findings"]) == expected.get(wanted, [("loss", "set-not-read")]),
                name, drive["findings"])


def check_rst_more():
    """Two volumes on the same drives, more than a sector, drives of 4,096-byte sectors, damage."""
    name = new("rst-two.img")
    block = sets.rst(["FERN-A", "FERN-B", "FERN-C"],
                     [("Fast", 0, 0, 4096, 3), ("Safe", 5, 4096, 4096, 3)])
    h.check(len(block[0]) > 512, "the description is meant to need two sectors")
    sets.put_rst(name, block)
    mdadm = examined(name)
    h.check(not mdadm or mdadm["RAID Devices"] == "2", mdadm)
    drive = look(name)[0]
    h.check(drive["set"]["name"] == "Fast" and drive["set"]["members"] == 3, drive["set"])
    h.check(any("'Safe' (parity)" in f["sentence"] for f in drive["findings"]), drive["findings"])
    # A broken checksum: nothing in it is believed.
    with open(name, "r+b") as image:
        image.seek(-2 * 512 + 0x50, 2)
        image.write(b"\x01")
    h.check(look(name)[0]["set"]["level"] == "unknown", "broken checksum")
    wide = new("rst-4096.img")
    sets.put_rst(wide, sets.rst(["FERN-A", "FERN-B"], [("Fernhill", 1, 0, 1024, 2)], sector=4096))
    h.check(look(wide)[0]["set"]["level"] == "mirror", "4,096-byte sectors")


def check_ddf():
    for level, members, wanted, alone in ((0, 2, "stripe", False), (1, 2, "mirror", True),
                                          (5, 3, "parity", False), (0, 1, "single", True),
                                          (0x1F, 2, "span", False)):
        name = new(f"ddf-{level}-{members}.img", 40 * MIB)
        sets.put_ddf(name, "Fernhill", level, members, members - 1)
        h.check(blkid_type(name) == "ddf_raid_member", name, blkid_type(name))
        mdadm = examined(name)
        if mdadm and level < 0x10:
            h.check(mdadm["Raid Level[0]"] == f"RAID{level}", mdadm)
            h.check(mdadm["Name[0]"] == "Fernhill", mdadm)
        found = look(name)[0]["set"]
        h.check((found["kind"], found["level"], found["name"], found["member"], found["members"],
                 found["readable_alone"]) == ("ddf", wanted, "Fernhill", members, members, alone),
                name, found)


def check_marks():
    last = {"silicon-raid": ("silicon_medley_raid_member", 1, sets.silicon()),
            "via-raid": ("via_raid_member", 1, sets.via())}
    for kind, (known_as, from_end, data) in {**sets.MARKS, **last}.items():
        name = new(kind + ".img")
        put(name, from_end, data)
        h.check(blkid_type(name) == known_as, name, blkid_type(name))
        drive = look(name)[0]
        h.check(drive["set"] is not None and drive["set"]["kind"] == kind, name, drive["set"])
        h.check(codes(drive["findings"]) == [("loss", "set-not-read")], name, drive["findings"])
    for level, wanted in ((0, "stripe"), (1, "mirror"), (5, "parity"), (-1, "span")):
        name = new(f"linux{level}.img")
        sets.put_linux_raid(name, level, 2, "fernhill")
        h.check(blkid_type(name) == "linux_raid_member", name, blkid_type(name))
        found = look(name)[0]["set"]
        h.check((found["kind"], found["level"], found["name"]) ==
                ("linux-raid", wanted, "fernhill"), name, found)
    # Two letters alone are no mark.
    name = new("letters.img")
    put(name, 1, b"JMANUARY")
    h.check(look(name)[0]["set"] is None, "two letters")


def check_pool():
    name = new("pool.img", 16 * MIB)
    h.tool("sfdisk", "--quiet", name,
           input=f"label: gpt\nstart=2048, size=20480, type={POOL}\n")
    drive = look(name)[0]
    h.check(drive["set"]["kind"] == "storage-pool", drive["set"])
    h.check(codes(drive["findings"]) == [("loss", "set-not-read")], drive["findings"])


VOLUMES = [
    # name, size, components: (layout, [(disk, start, sectors)])
    ("Volume1", 6144, [(2, [(0, 1985, 6144)])]),
    ("Volume2", 6000, [(2, [(0, 8200, 2000), (1, 1985, 4000)])]),
    ("Mirror1", 4096, [(2, [(0, 10240, 4096)]), (2, [(1, 6144, 4096)])]),
    ("Stripe1", 4000, [(1, [(0, 14400, 2000), (1, 10400, 2000)])]),
    ("Volume3", 3000, [(3, [(0, 16400, 1500), (1, 12400, 1500), (2, 2000, 1500)])]),
]


def make_ntfs(name, start, sectors, label):
    part = new("part.img", sectors * 512)
    h.tool("mkntfs", "--quick", "--force", "--quiet", "--sector-size", "512", "--label", label, part)
    with open(name, "r+b") as image:
        image.seek(start * 512)
        image.write(pathlib.Path(part).read_bytes())


def check_ldmtool(names):
    if shutil.which("ldmtool") is None:
        return
    wanted = dict(zip((v[0] for v in VOLUMES),
                      ("simple", "spanned", "mirrored", "striped", "RAID5")))
    script = "".join(f"show volume {sets.GROUP_ID} {name}\n" for name in wanted)
    said = subprocess.run(["ldmtool"], input=f"scan {' '.join(names)}\n{script}",
                          capture_output=True, text=True, check=False).stdout
    for name, kind in wanted.items():
        at = said.find(f'"name" : "{name}"')
        h.check(f'"type" : "{kind}"' in said[at:at + 200], name, "for ldmtool is no", kind)


def check_dynamic():
    """Volumes in one piece are read, the others named, by MBR and by GPT."""
    names = [new(f"dynamic-{i}.img", 12 * MIB) for i in range(3)]
    for index, name in enumerate(names):
        h.tool("sfdisk", "--quiet", name, input="63,20000,42\n")
        sets.put_dynamic(name, index, 3, VOLUMES)
    make_ntfs(names[0], 63 + 1985, 6144, "Minutes")
    make_ntfs(names[0], 63 + 10240, 4096, "Ledger")
    make_ntfs(names[1], 63 + 6144, 4096, "Ledger")
    check_ldmtool(names)
    first, second, third = look(*names)
    h.check([(v["offset"], v["size"], v["filesystem"], v["label"]) for v in first["volumes"]] ==
            [((63 + 1985) * 512, 6144 * 512, "NTFS", "Minutes"),
             ((63 + 10240) * 512, 4096 * 512, "NTFS", "Ledger")], first["volumes"])
    h.check([v["label"] for v in second["volumes"]] == ["Ledger"], second["volumes"])
    h.check(third["volumes"] == [], third["volumes"])
    h.check(first["set"]["kind"] == "dynamic-disk" and first["set"]["members"] == 3, first["set"])
    said = " ".join(f["sentence"] for f in first["findings"])
    for words in ("'Volume2' (3.1 MB) is a spanned set over 2", "'Stripe1' (2.0 MB) is a striped set",
                  "'Volume3' (1.5 MB) is a set with parity over 3", "'Mirror1' is one copy"):
        h.check(words in said, words, "is missing:", said)
    both = survey(*names)
    h.check(("caution", "set-copies-both") in codes(both["findings"], names[1]), both["findings"])
    only = survey(names[0])
    h.check(("caution", "set-copies-both") not in codes(only["findings"]), only["findings"])
    # Under a GPT the description begins in the last sector of a partition of its own.
    name = new("dynamic-gpt.img", 12 * MIB)
    h.tool("sfdisk", "--quiet", name, input="label: gpt\nfirst-lba: 34\n"
           "start=34, size=2014, type=5808C8AA-7E8F-42E0-85D2-E1E90434CFB3\n"
           "start=2048, size=20000, type=AF9B60A0-1431-4F62-BC68-3311714A69AD\n")
    sets.put_dynamic(name, 0, 3, VOLUMES, privhead_sector=2047, data_start=2048)
    make_ntfs(name, 2048 + 1985, 6144, "Minutes")
    labels = [v["label"] for v in look(name)[0]["volumes"]]
    h.check(labels.count("Minutes") == 1, labels)
    # A broken database: what the partition holds whole is looked for all the same.
    with open(names[0], "r+b") as image:
        image.seek(-(2048 - 17) * 512, 2)
        image.write(b"XXXX")
    h.check(look(names[0])[0]["set"]["level"] == "unknown", "broken database")



def enlarge(source, target, more=4 * MIB):
    """A copy with room behind the volumes."""
    h.tool("cp", "--sparse=always", source, target)
    with open(target, "r+b") as image:
        image.truncate(image.seek(0, 2) + more)
        return image.seek(0, 2)


def check_demo():
    """The demo PC's drive as a member of sets."""
    source = h.DEMO / "old-system.img"
    if not source.exists():
        print("skipped: the demo drives are not there")
        return
    plain = survey(source)
    serials, names = ["FERN-A", "FERN-B"], ["copy-1.img", "copy-2.img"]
    for generation, name in enumerate(names):
        size = enlarge(source, name)
        sets.put_rst(name, sets.rst(serials, [("Fernhill", 1, 0, (size - 2 * MIB) // 512, 2)],
                                    generation=5 + generation))
    one = survey(names[0])
    h.check([p["account"] for s in one["systems"] for p in s["persons"]] ==
            [p["account"] for s in plain["systems"] for p in s["persons"]], "persons of a copy")
    h.check(("note", "set-mirror") in codes(one["findings"]), one["findings"])
    two = survey(*names)
    h.check(codes(two["findings"]).count(("caution", "set-copies-both")) == 1, two["findings"])
    # A volume that reaches over what the set uses.
    enlarge(source, "short.img")
    sets.put_rst("short.img", sets.rst(serials, [("Fernhill", 1, 0, 4096, 2)]))
    h.check(("caution", "set-outside") in codes(look("short.img")[0]["findings"]), "set-outside")
    # The mark of a striped set, but everything lies whole on the drive.
    enlarge(source, "leftover.img")
    sets.put_rst("leftover.img", sets.rst(serials, [("Old", 0, 0, 8192, 2)]))
    left = survey("leftover.img")
    h.check(("caution", "set-leftover") in codes(left["findings"]), left["findings"])
    h.check(len(left["systems"]) == len(plain["systems"]), "systems beside a leftover mark")
    # Really striped, 64 KiB each: the table is on the first, but no volume is whole.
    size = enlarge(source, "whole.img")
    data = pathlib.Path("whole.img").read_bytes()
    for index in (0, 1):
        half = b"".join(data[at:at + 65536] for at in range(index * 65536, size, 131072))
        new(f"stripe-{index}.img", len(half) + MIB)
        with open(f"stripe-{index}.img", "r+b") as image:
            image.write(half)
        sets.put_rst(f"stripe-{index}.img", sets.rst(serials, [("Fast", 0, 0, size // 512, 2)]))
    for chosen in (["stripe-0.img"], ["stripe-0.img", "stripe-1.img"]):
        found = survey(*chosen, status=3)
        h.check(found["systems"] == [], chosen, "systems of a stripe")
        for name in chosen:
            h.check(("loss", "set-not-read") in codes(found["findings"], name), found["findings"])
        said = " ".join(f["sentence"] for f in found["findings"])
        h.check(("only this one is here" in said) == (len(chosen) == 1), said)
    done = h.run("extract", "--to", ".", "stripe-0.img")
    h.check(done.returncode == 3 and "striped set 'Fast'" in " ".join(done.stderr.split()),
            done.stderr)


def main():
    with h.work_folder() as folder:
        os.chdir(folder)
        for check in (check_rst, check_rst_more, check_ddf, check_marks, check_pool, check_dynamic,
                      check_demo):
            check()
        os.chdir("/")
    h.finish()


main()
