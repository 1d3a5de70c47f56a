#!/usr/bin/python3
"""The command drives on images: partition tables against sfdisk, refusals, and nothing written.

References: sfdisk writes the tables and `sfdisk --json` reads them (512-byte sectors); the layout
of a GPT is that of the UEFI Specification 2.10, section 5.3; strace tells how the image was opened.
"""

import hashlib
import json
import os
import pathlib
import random
import re
import shutil
import sys
import zlib

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
MIB = 1 << 20
BASIC_DATA = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"


def make_image(path, size, script):
    with open(path, "wb") as image:
        image.truncate(size)
    h.tool("sfdisk", "--quiet", "--no-reread", path, input=script)


def digest(path):
    return hashlib.sha256(pathlib.Path(path).read_bytes()).hexdigest()


def look(path, status):
    """The JSON of one image, which must not change by being looked at."""
    before = digest(path)
    done = h.run("drives", "--json", "--quiet", path)
    h.check(done.returncode == status, path, "status", done.returncode, done.stderr)
    h.check(done.stderr == "", "quiet, but:", done.stderr)
    h.check(digest(path) == before, path, "was changed")
    return json.loads(done.stdout)["drives"][0]


def reference(path):
    return json.loads(h.tool("sfdisk", "--json", path))["partitiontable"]


def compare(path, drive):
    """Every partition of sfdisk's list but extended ones, in the same place."""
    wanted = reference(path)
    extended = {"5", "f", "85"}
    partitions = {}
    for entry in wanted["partitions"]:
        if wanted["label"] == "gpt" or entry["type"] not in extended:
            number = int(re.search(r"(\d+)$", entry["node"]).group(1))
            partitions[number] = entry
    h.check({"gpt": "GPT", "dos": "MBR"}[wanted["label"]] == drive["table"]["kind"], path, "kind")
    h.check(sorted(partitions) == sorted(v["number"] for v in drive["volumes"]), path, "numbers",
            sorted(partitions), [v["number"] for v in drive["volumes"]])
    for volume in drive["volumes"]:
        entry = partitions.get(volume["number"])
        if entry is None:
            continue
        h.check(volume["offset"] == entry["start"] * 512, path, volume, entry)
        h.check(volume["size"] == entry["size"] * 512, path, volume, entry)
        if wanted["label"] == "gpt":
            h.check(volume["type"] == "{" + entry["type"] + "}", path, volume, entry)
            h.check(volume["id"] == "{" + entry["uuid"] + "}", path, volume, entry)
            h.check(volume["name"] == entry.get("name", ""), path, volume, entry)
        else:
            h.check(volume["type"] == int(entry["type"], 16), path, volume, entry)
    if wanted["label"] == "gpt":
        h.check(drive["table"]["disk_id"] == "{" + wanted["id"] + "}", path, "id")
    else:
        h.check(int(drive["table"]["disk_signature"], 16) == int(wanted["id"], 16), path, "id")


def random_tables(folder):
    """A dozen layouts of each kind; the seed is fixed so that a failure can be repeated."""
    random.seed(5)
    for number in range(24):
        path = folder / f"table-{number}.img"
        lines = ["label: " + ("gpt" if number % 2 else "dos")]
        count = random.randint(1, 12)
        for i in range(count):
            size = random.randint(1, 40) * 64
            if number % 2:
                name = random.choice(["", ', name="Beete & Äcker"', ', name="plot map"'])
                lines.append(f"size={size}, type={BASIC_DATA}{name}")
            elif i == 3:
                lines.append("type=f")
            else:
                lines.append(f"size={size}, type={random.choice(['7', 'b', '27', '83'])}")
        if number % 2 == 0 and count == 4:
            lines.append("size=64, type=7")
        make_image(path, 64 * MIB, "\n".join(lines) + "\n")
        compare(path, look(path, 3))
        path.unlink()


def broken_tables(folder):
    script = f"label: gpt\nsize=2048, type={BASIC_DATA}\nsize=8192, type={BASIC_DATA}, name=plots\n"
    whole, path = folder / "whole.img", folder / "broken.img"
    make_image(whole, 16 * MIB, script)
    wanted = look(whole, 3)
    h.check(wanted["findings"] == [], wanted["findings"])
    for offset, length, backup in ((0, 512, False), (512, 512, True), (0, 34 * 512, True),
                                   (1024, 128, True), (16 * MIB - 512, 512, False)):
        shutil.copy(whole, path)
        with open(path, "r+b") as image:
            image.seek(offset)
            image.write(b"\xee" * length if offset else bytes(length))
        drive = look(path, 3)
        h.check(drive["table"]["from_backup"] == backup, offset, drive["table"])
        h.check(drive["volumes"] == wanted["volumes"], offset, drive["volumes"])
        codes = [finding["code"] for finding in drive["findings"]]
        h.check(("gpt-from-backup" in codes) == backup, offset, codes)
    # The published value of the checksum in use: CRC-32 of "123456789" (common check value).
    h.check(zlib.crc32(b"123456789") == 0xCBF43926, "zlib's CRC-32")
    with open(whole, "r+b") as image:
        image.truncate(3 * MIB)
    codes = [finding["code"] for finding in look(whole, 3)["findings"]]
    h.check("drive-truncated" in codes, codes)


def refusals(folder):
    (folder / "empty").touch()
    (folder / "text").write_text("Minutes of the society.\n" * 40)
    os.mkfifo(folder / "pipe")
    for name, status, words in (("empty", 3, "is empty"), ("nowhere", 3, "does not exist"),
                                ("", 3, "is a folder"), ("pipe", 3, "special file")):
        done = h.run("drives", folder / name, timeout=120)
        h.check(done.returncode == status, name, done.returncode)
        h.check(words in " ".join(done.stderr.split()), name, done.stderr)
        h.check(done.stderr.startswith("coldlift: ") and done.stderr.count(". ") == 0, done.stderr)
    done = h.run("drives", folder / "text")
    h.check(done.returncode == 3, "text", done.returncode)
    h.check("No partition table" in done.stdout, done.stdout)
    for arguments in (["--wrong"], ["-x"], ["--json=1"]):
        done = h.run("drives", *arguments)
        h.check(done.returncode == 2 and done.stdout == "", arguments, done.returncode)
    done = h.run("drives", "--help")
    h.check(done.returncode == 0 and "usage:" in done.stdout, "help", done.returncode)


def output_form(folder):
    """Text for people fits in 80 columns and does no harm; JSON stays one document."""
    path = folder / "a very long name of an image, with an \x1b[31mescape and more \u202e.img"
    name = "Wheelbarrow\u202e and \u0007 spades, rakes"
    make_image(path, 8 * MIB, f'label: gpt\nsize=2048, type={BASIC_DATA}, name="{name}"\n')
    done = h.run("drives", path)
    for line in done.stdout.splitlines():
        h.check(len(line) <= 79, "too long:", line)
    h.check(not re.search("[\x00-\x09\x0b-\x1f\x7f\u202e]", done.stdout), repr(done.stdout))
    done = h.run("drives", "--json", path, folder / "nowhere")
    h.check(len(json.loads(done.stdout)["drives"]) == 1, done.stdout)
    h.check("no.  kind" in done.stderr and "does not exist" in done.stderr, done.stderr)
    h.check(done.returncode == 3, done.returncode)
    done = h.run("drives")
    h.check(done.returncode == 0, "list", done.returncode, done.stderr)


def opened_read_only(folder):
    path, trace = folder / "traced.img", folder / "trace"
    make_image(path, 8 * MIB, f"label: gpt\nsize=2048, type={BASIC_DATA}\n")
    h.tool("sh", "-c", 'strace -f -e trace=file,desc -o "$1" "$2" drives --quiet "$3" || '
           "[ $? = 3 ]", "sh", trace, h.COLDLIFT, path)
    opened = [line for line in trace.read_text().splitlines() if "open" in line]
    on_image = [line for line in opened if f'{path}"' in line]
    h.check(len(on_image) == 1, on_image)
    h.check(all("O_RDONLY" in line for line in on_image), on_image)
    writing = [line for line in opened if re.search("O_WRONLY|O_RDWR|O_CREAT|O_TRUNC", line)]
    h.check(writing == [], writing)


def demo_drives():
    """The tables of the demo drives, if they have been made."""
    for name in ("old-system.img", "old-data.img"):
        path = h.DEMO / name
        if path.exists():
            drive = look(path, 0)
            compare(path, drive)
            h.check(drive["findings"] == [], drive["findings"])
            h.check(any(v["filesystem"] == "NTFS" and v["label"] for v in drive["volumes"]), drive)


with h.work_folder() as name:
    work = pathlib.Path(name)
    random_tables(work)
    broken_tables(work)
    refusals(work)
    output_form(work)
    opened_read_only(work)
    demo_drives()
h.finish()
