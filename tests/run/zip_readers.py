#!/usr/bin/python3
"""Zip files that the writer makes, read by other programs.

References: unzip (Info-ZIP), bsdtar (libarchive), 7zz (7-Zip), Python's zipfile; PKWARE APPNOTE 6.3.9 through
_zip_check.py; [MS-DTYP] 2.3.3 for FILETIME.
"""

import hashlib
import os
import pathlib
import random
import shutil
import subprocess
import zipfile

import _zip_check
from _harness import BUILD, COLDLIFT, DEMO, check, finish, tool, work_folder

WRITE_PART = BUILD / "tests/run/write_part"
ZONE = "CET-1CEST,M3.5.0,M10.5.0/3"
LARGE = 0xFFFFFFFF
MIB = 1 << 20


def filetime(second, hundreds=0):
    return (second + 11644473600) * 10_000_000 + hundreds


TIMES = (filetime(1563099630, 2_500_001), filetime(1600000000, 7), filetime(1500000000, 9_999_999))


def write(work, name, lines, workers=2, expect=0):
    part = work / name
    text = "".join("\t".join(map(str, line)) + "\n" for line in lines)
    done = subprocess.run([WRITE_PART, "zip", part, str(workers), ZONE], input=text, capture_output=True,
                          text=True, check=False)
    check(done.returncode == expect, name, "status", done.returncode, done.stderr)
    if expect == 0:
        with open(part, "rb") as file:
            check(hashlib.file_digest(file, "sha256").hexdigest() == done.stdout.strip(), name, "digest")
    return part if expect == 0 else done.stderr


def read_strictly(part):
    try:
        return _zip_check.read_zip(part)
    except _zip_check.NotAsItShould as error:
        check(False, part.name, error)
        return []


def contents(work):
    """Files of all kinds and sizes: name, path of the content, kind."""
    rng = random.Random(5)
    folder = work / "source"
    folder.mkdir()
    words = [rng.randbytes(rng.randrange(2, 9)).hex() for _ in range(2000)]
    text = " ".join(rng.choices(words, k=1_400_000)).encode()
    noise = rng.randbytes(12 * MIB)
    made = []
    for name, data, kind in [
            ("data/empty", b"", "file"), ("data/one", b"1", "file"),
            ("data/plot 7.txt", text[:3000], "file"), ("data/rent.csv", text[:700_000], "read-only"),
            ("data/Zoë/Äpfel 🍎.txt", text[5:100_000], "file"),
            ("data/Zoë/Äpfel 🍎 (decomposed e\u0301).txt", text[7:90_000], "file"),
            ("data/" + "long" * 60 + "/" + "x" * 250, b"deep", "file"),
            ("data/CON%7E1", b"odd name", "file"), ("data/%2E%2E/safe", b"odd", "file"),
            ("data/minutes.doc", text[:5 * MIB] + noise[:2 * MIB], "file"),
            ("data/archive.pst", text[:10 * MIB], "file"), ("data/film.mp4", noise, "compact"),
            ("data/photo.jpg", noise[:3 * MIB], "compact"), ("data/sealed", noise[:5 * MIB], "file"),
            ("data/disk.vdi", noise + text[:MIB], "file"), ("data/exactly", text[:MIB], "file"),
            ("data/nearly", text[:MIB - 1], "file"), ("data/zeros", bytes(3 * MIB + 1), "file")]:
        source = folder / str(len(made))
        source.write_bytes(data)
        made.append((name, source, kind))
    return made


def check_unpacked(folder, made, what):
    for name, source, _ in made:
        path = folder / name
        check(path.is_file() and path.read_bytes() == source.read_bytes(), what, name)


def check_times(work, part, made):
    for entry in read_strictly(part):
        check(entry.filetimes == list(TIMES), entry.name, "NTFS times", entry.filetimes)
        check(entry.unix == 1563099630, entry.name, "seconds", entry.unix)
    with zipfile.ZipFile(part) as archive:
        # The old PC's clock stood two hours before UTC that day; MS-DOS counts two seconds at a time.
        for info in archive.infolist():
            check(info.date_time == (2019, 7, 14, 12, 20, 30), info.filename, info.date_time)
    for zone in ("Asia/Tokyo", "America/New_York"):
        out = work / zone.replace("/", "-")
        tool("unzip", "-q", part, "-d", out, env={**os.environ, "TZ": zone})
        check_unpacked(out, made, "unzip")
        for name, _, kind in made:
            info = (out / name).stat()
            check(int(info.st_mtime) == 1563099630, "unzip: time of", name, info.st_mtime)
            check(info.st_mode & 0o777 == (0o400 if kind == "read-only" else 0o600), "mode of", name)
        shutil.rmtree(out)
    # 7-Zip shows the NTFS field, the time of creation as well.
    for block in tool("7zz", "l", "-slt", part, env={**os.environ, "TZ": "UTC"}).split("\n\n"):
        fields = dict(line.split(" = ", 1) for line in block.splitlines() if " = " in line)
        if "CRC" in fields:
            check(fields["Modified"].startswith("2019-07-14 10:20:30.2500001"), "7zz", fields)
            check(fields["Created"].startswith("2017-07-14 02:40:00.9999999"), "7zz", fields)
            check(fields["Accessed"].startswith("2020-09-13 12:26:40.0000007"), "7zz", fields)


def check_readers(work):
    made = contents(work)
    lines = [("folder", "data", "-", *TIMES), ("folder", "data/nothing in it", "-", *TIMES),
             ("folder", "data/Zoë", "-", *TIMES)]
    lines += [(kind, name, source, *TIMES) for name, source, kind in made]
    part = write(work, "all.zip", lines)
    names = [line[1] + ("/" if line[0] == "folder" else "") for line in lines]
    check([entry.name for entry in read_strictly(part)] == names, "names", names)
    tool("unzip", "-tqq", part)
    tool("7zz", "t", part)
    with zipfile.ZipFile(part) as archive:
        check(archive.testzip() is None, "zipfile")
        check(archive.namelist() == names, "zipfile", archive.namelist())
        for name, source, _ in made:
            check(archive.read(name) == source.read_bytes(), "zipfile", name)
    check(len(tool("bsdtar", "-tf", part).splitlines()) == len(lines), "bsdtar -t")
    for unpack in (("bsdtar", "-xf", part, "-C"), ("7zz", "x", "-y", part, "-o")):
        out = work / unpack[0]
        out.mkdir()
        if unpack[0] == "7zz":
            tool(*unpack[:-1], f"-o{out}")
        else:
            tool(*unpack, out)
            # libarchive writes names in Unicode form C.
            (out / "data/Zoë" / "Äpfel 🍎 (decomposed é).txt").rename(out / made[5][0])
        check_unpacked(out, made, unpack[0])
        check((out / "data/nothing in it").is_dir(), unpack[0], "folder")
    # Read from a pipe, where only the local headers can be known beforehand.
    piped = subprocess.run(f"cat '{part}' | bsdtar -tf - | wc -l", shell=True, check=True,
                           capture_output=True, text=True)
    check(int(piped.stdout) == len(lines), "bsdtar from a pipe", piped.stdout)
    check_times(work, part, made)
    for workers in (1, 5):
        tool("cmp", part, write(work, f"{workers}.zip", lines, workers))
    return lines


def check_numbers(work):
    """Entries up to and beyond what 16 bits count (4.4.21, 4.4.22)."""
    for count in (0, 65534, 65535, 65536):
        part = write(work, "many.zip", [("file", f"data/{i}", "zeros:0", 0, 0, 0) for i in range(count)])
        check(len(read_strictly(part)) == count, count, "entries")
        if count == 65534:  # as any other
            continue
        with zipfile.ZipFile(part) as archive:
            check(len(archive.infolist()) == count, count, "zipfile")
        if count:
            check(len(tool("unzip", "-Z1", part).splitlines()) == count, count, "unzip")
        if count > 65535:
            tool("unzip", "-tqq", part)
        tool("7zz", "t", part)
        check(len(tool("bsdtar", "-tf", part).splitlines()) == count, count, "bsdtar")


def check_large_members(work):
    """Sizes up to and beyond what 32 bits hold (4.4.8, 4.4.9, 4.5.3); as zeros they are small files."""
    sizes = (LARGE - 1, LARGE, LARGE + 1)
    lines = [("file", f"data/{size}", f"zeros:{size}", *TIMES) for size in sizes]
    part = write(work, "large.zip", lines + [("file", "data/after", "zeros:5", *TIMES)])
    check(part.stat().st_size < 16 * MIB, "zeros are large:", part.stat().st_size)
    check([entry.size for entry in read_strictly(part)] == [*sizes, 5], "sizes")
    with zipfile.ZipFile(part) as archive:
        check([info.file_size for info in archive.infolist()] == [*sizes, 5], "zipfile")
    for tells in (["bsdtar", "-tvf", part], ["unzip", "-Z", part], ["7zz", "l", part]):
        told = tool(*tells)
        check(all(f" {size} " in told for size in sizes), tells[0], told)
    # To unpack 4 GiB takes its time: unzip and bsdtar do it with such a file of the demo drives.
    for reads in (["unzip", "-tqq", part, "data/after"], ["7zz", "t", part, "-i!data/after"]):
        tool(*reads)


def check_large_offsets(work):
    """A stored member that ends just beyond 4 GiB, and others before and behind it."""
    if shutil.disk_usage(work).free < 8 << 30:
        print("not enough room for a part of 4 GiB: left out")
        return
    # Local header 30, name 10, NTFS field 36, timestamp 17: APPNOTE 4.3.7, 4.5.5, extrafld.txt.
    fixed = 30 + 10 + 36 + 17
    lines = [("compact", "data/first", f"zeros:{LARGE - 2 * fixed - 1 - 1000}", *TIMES),
             ("compact", "data/small", "zeros:1000", *TIMES),
             ("file", "data/after", "zeros:70000", *TIMES), ("file", "data/later", "zeros:9", *TIMES)]
    part = write(work, "far.zip", lines)
    offsets = [entry.offset for entry in read_strictly(part)]
    check(offsets[2] == LARGE - 1 and offsets[3] > LARGE, "offsets", offsets)
    for name in ("data/small", "data/after", "data/later"):
        tool("unzip", "-tqq", part, name)
        tool("7zz", "t", part, f"-i!{name}")
        with zipfile.ZipFile(part) as archive:
            check(not archive.read(name).strip(b"\0"), name)
    check(len(tool("bsdtar", "-tf", part).splitlines()) == 4, "bsdtar")
    part.unlink()


def check_full(work, lines):
    """A file system that is really full; mounting one needs root."""
    room = work / "small"
    room.mkdir()
    if os.getuid() != 0 or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=9m", "none", room],
                                          capture_output=True, check=False).returncode != 0:
        print("a full file system is not tested: mounting needs root")
        return
    try:
        for workers in (1, 3):
            said = write(room, "part.zip", lines, workers, expect=4)
            check("is full" in said, "full:", said)
            check(not list(room.iterdir()), "full: something stays", list(room.iterdir()))
    finally:
        tool("umount", room)


def check_processors(work):
    """A whole job with one processor and with all: the same parts."""
    images = [DEMO / "old-system.img", DEMO / "old-data.img"]
    if not all(image.exists() for image in images):
        print("the demo drives are not there: make demo-drives")
        return
    for name, before in (("one", ["taskset", "-c", "0"]), ("all", [])):
        (work / name).mkdir()
        subprocess.run([*before, COLDLIFT, "extract", "--quiet", "--to", work / name, "--name", "job", *images],
                       capture_output=True, check=False)
    parts = [path.name for path in (work / "one/job").glob("*.zip") if "proof" not in path.name]
    check(len(parts) > 3, "parts", parts)
    for part in parts:
        tool("cmp", work / "one/job" / part, work / "all/job" / part)


def main():
    os.environ["LC_ALL"] = "C.UTF-8"
    with work_folder() as name:
        work = pathlib.Path(name)
        lines = check_readers(work)
        check_numbers(work)
        check_large_members(work)
        check_large_offsets(work)
        check_full(work, lines)
        check_processors(work)
    finish()


main()
