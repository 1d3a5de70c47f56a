#!/usr/bin/python3
"""The readers for traces of use say the same as independent ones.

Sources: libscca, liblnk and libolecf (their Python bindings), python3-pefile, hivex; open sample files; and files
that the demo drives' builder makes from the published formats. libscca does not know run traces of
version 31: for them the builder's own numbers stand in.
"""

import json
import os
import struct
import subprocess
import sys
import tempfile

from _harness import BUILD, ROOT, check, finish, skip

try:
    import hivex
    import pefile
    import pylnk
    import pyolecf
    import pyscca
except ImportError as error:
    skip(str(error))

sys.path.insert(0, str(ROOT / "fixtures"))
sys.dont_write_bytecode = True
from maker import jumplist, program, runtrace, shortcut, times  # noqa: E402

DATA = os.environ.get("COLDLIFT_DATA", str(ROOT / "../shared/data"))
WORK = tempfile.TemporaryDirectory(prefix="coldlift-traces-")
EPOCH = 116444736000000000


def dump(kind, path):
    done = subprocess.run([BUILD / "tests/run/dump_traces", kind, path], capture_output=True, text=True,
                          check=False)
    check(done.returncode in (0, 1), kind, path, done.stderr[-500:])
    return json.loads(done.stdout) if done.returncode == 0 else None


def made(name, data):
    path = os.path.join(WORK.name, name)
    with open(path, "wb") as out:
        out.write(data)
    return path


def samples(folder, ending):
    found = []
    for where, _, names in os.walk(os.path.join(DATA, folder)):
        found += [os.path.join(where, name) for name in names if name.endswith(ending)]
    return sorted(found)


# --- run traces ---


def compare_run(path):
    ours = dump("run", path)
    theirs = pyscca.open(path)
    check(ours is not None, path, "is not read")
    if ours is None:
        return
    check(ours["version"] == theirs.format_version, path, "version", ours["version"])
    check(ours["name"] == theirs.executable_filename, path, "name", ours["name"])
    check(ours["hash"] == theirs.prefetch_hash, path, "hash")
    check(ours["count"] == theirs.run_count, path, "count", ours["count"], theirs.run_count)
    n_times = 8 if ours["version"] >= 26 else 1
    wanted = [theirs.get_last_run_time_as_integer(i) for i in range(n_times)]
    check([t for t in ours["times"] if t] == [t for t in wanted if t], path, ours["times"], wanted)
    names = [theirs.get_filename(i) for i in range(theirs.number_of_filenames)]
    own = [n for n in names if n.rpartition("\\")[2].upper() == ours["name"].upper()]
    check(ours["path"] == (own[0] if own else ""), path, "path", ours["path"], own)
    if theirs.number_of_volumes:
        volume = theirs.get_volume_information(0)
        mine = ours["volumes"][0]
        check(mine["device"] == volume.device_path and mine["serial"] == volume.serial_number and
              mine["created"] == volume.get_creation_time_as_integer(), path, mine)


def check_runs():
    found = samples("prefetch", ".pf")
    for path in found:
        compare_run(path)
    files = ["\\WINDOWS\\SYSTEM32\\NTDLL.DLL", "\\PROGRAM FILES\\PLOT PLANNER\\PLANNER.EXE"]
    volume = ("\\VOLUME{01d1adc7f5c1a580-5eed0016}", 0x5EED0016, "2016-05-14T10:00:00")
    moments = ["2023-10-28T17:02:11", "2023-10-21T17:12:40"]
    for version in (17, 23, 26, 30, 31):
        for pack in (False, True):
            path = made(f"{version}-{pack}.pf", runtrace.trace("planner.exe", files, moments, 41, volume,
                                                               version, pack))
            if version != 31:
                compare_run(path)
            ours = dump("run", path)
            n_times = 2 if version >= 26 else 1
            check(ours and ours["count"] == 41 and ours["version"] == version and
                  [t for t in ours["times"] if t] == [times.filetime(m) for m in moments[:n_times]] and
                  ours["path"].endswith("\\PLOT PLANNER\\PLANNER.EXE"), path, ours)
    check(dump("run", made("bad.pf", b"MAM\x04" + bytes(400))) is None, "zeros are no trace")
    return len(found)


# --- shell links ---


def compare_link(path):
    ours = dump("link", path)
    theirs = pylnk.file()
    theirs.open(path)
    check(ours is not None, path, "is not read")
    if ours is None:
        return
    for mine, other in (("link_info", "local_path"), ("relative", "relative_path"),
                        ("folder", "working_directory"), ("name", "description"),
                        ("machine", "machine_identifier"), ("label", "volume_label"),
                        ("arguments", "command_line_arguments")):
        text = getattr(theirs, other) or ""
        if mine == "link_info" and not text:
            text = theirs.network_path or ""
        if "\ufffd" in ours[mine]:      # an unpaired surrogate: the other reader writes it out
            continue
        check(ours[mine] == text, path, mine, ours[mine], "not", text)
    for mine, other in (("created", "file_creation_time"), ("accessed", "file_access_time"),
                        ("modified", "file_modification_time")):
        wanted = getattr(theirs, f"get_{other}_as_integer")()
        check(ours[mine] == wanted, path, mine, ours[mine], wanted)
    check(ours["attributes"] == theirs.file_attribute_flags, path, "attributes")
    check(ours["size"] == theirs.file_size, path, "size")
    if ours["label"] or ours["serial"]:
        check(ours["drive"] == theirs.drive_type and ours["serial"] == theirs.drive_serial_number,
              path, "drive")
    check(ours["length"] == os.path.getsize(path), path, "length", ours["length"])


def check_links():
    found = samples("shortcuts", ".lnk")
    for path in found:
        compare_link(path)
    targets = {"local": "C:\\Program Files\\Plot Planner\\planner.exe", "stick": "E:\\Music\\hut.mp3",
               "share": "\\\\HUT-SERVER\\papers\\rota\\spring.txt"}
    for name, target in targets.items():
        path = made(name + ".lnk", shortcut.shortcut(
            target, "words", "C:\\", kind=shortcut.REMOVABLE if name == "stick" else shortcut.FIXED))
        compare_link(path)
        ours = dump("link", path)
        check(ours["target"] == target and ours["share"] == (name == "share"), name, ours)
    target = "D:\\Zoë's beds\\A long name of a plan.plan"
    path = made("items.lnk", shortcut.shortcut(target, "", "", by_items=True))
    compare_link(path)
    ours = dump("link", path)
    check(ours["target"] == target and ours["from"] == "items", ours)
    return len(found)


# --- jump lists, compound files ---


def check_lists():
    long_link = shortcut.shortcut("D:\\Committee\\minutes 2.txt", "x" * 3000, "")
    entries = [("D:\\Committee\\minutes 1.txt", "2023-11-01T20:00:00", False,
                shortcut.shortcut("D:\\Committee\\minutes 1.txt", "", "")),
               ("D:\\Committee\\minutes 2.txt", "2023-10-01T20:00:00", True, long_link)]
    for version in (1, 3, 4):
        path = made(f"{version}.automaticDestinations-ms", jumplist.automatic(entries, version))
        ours = dump("automatic", path)
        check(ours and [(e["path"], e["last"], e["pinned"], e["link"]["target"]) for e in ours["entries"]]
              == [(p, times.filetime(m), pinned, p) for p, m, pinned, _ in entries], version, ours)
        # The streams as another reader of compound files gives them.
        with open(path, "rb") as opened:
            file = pyolecf.file()
            file.open_file_object(opened)
            streams = {item.name: item for item in file.root_item.sub_items}
            check(sorted(streams) == ["1", "2", "DestList"], "streams", sorted(streams))
            check(streams["2"].read(10000) == long_link, "a stream of large sectors")
            count = struct.unpack_from("<I", streams["DestList"].read(100000), 4)[0]
            check(count == len(ours["entries"]), "entries", count)
            file.close()
    path = made("c.customDestinations-ms", jumplist.custom([long_link, entries[0][3]]))
    ours = dump("custom", path)
    check(ours and [e["path"] for e in ours["entries"]] == [entries[1][0], entries[0][0]], ours)


# --- version resources, installer packages ---


def compare_program(path):
    ours = dump("program", path)
    theirs = pefile.PE(path)
    strings = {key.decode(): text.decode() for info in theirs.FileInfo for block in info
               if block.Key == b"StringFileInfo" for table in block.StringTable
               for key, text in table.entries.items()}
    check(ours is not None, path, "is not read")
    for mine, key in (("product", "ProductName"), ("company", "CompanyName"),
                      ("version", "ProductVersion"), ("description", "FileDescription")):
        check(ours and ours[mine] == strings[key], path, mine, ours and ours[mine], strings[key])
    check(ours and ours["bits"] == (64 if theirs.FILE_HEADER.Machine == 0x8664 else 32), path, "bits")


def check_programs():
    for wide in (True, False):
        compare_program(made(f"{wide}.exe", program.program(
            "setup", "Plot Planner", "Fernhill Allotment Society", "3.2.1", "Plot Planner Setup",
            wide=wide)))
    path = made("p.msi", program.package("p", "Plot Planner", "Fernhill Allotment Society"))
    ours = dump("package", path)
    file = pyolecf.file()
    file.open(path)
    item = next(i for i in file.root_item.sub_items if "SummaryInformation" in i.name)
    values = {v.identifier: v.data_as_string for s in item.set.sections for v in s.properties
              if v.identifier in (3, 4)}
    check(ours and ours["product"] == values[3] and ours["company"] == values[4] and
          ours["bits"] == 64, ours, values)
    file.close()


# --- start counts ---


def rot13(text):
    return "".join(chr((ord(c) - base + 13) % 26 + base) if c.isascii() and c.isalpha() else c
                   for c in text for base in [97 if c.islower() else 65])


def check_starts():
    """Every value of the Windows hives, taken apart here from hivex's bytes."""
    found = samples("hives/windows-hives", ".DAT.xz")
    for packed in found:
        path = os.path.join(WORK.name, "hive")
        with open(path, "wb") as out:
            subprocess.run(["xz", "-dc", packed], stdout=out, check=True)
        hive = hivex.Hivex(path)
        node = hive.root()
        for name in ("Software", "Microsoft", "Windows", "CurrentVersion", "Explorer", "UserAssist"):
            node = node and hive.node_get_child(node, name)
        wanted = set()
        for key in hive.node_children(node) if node else []:
            counts = hive.node_get_child(key, "Count")
            for value in hive.node_values(counts) if counts else []:
                name, (_, data) = rot13(hive.value_key(value)), hive.value_value(value)
                if len(data) == 72 and not name.startswith("UEME_"):
                    wanted.add((name, struct.unpack_from("<I", data, 4)[0],
                                struct.unpack_from("<Q", data, 60)[0]))
        ours = dump("starts", path)
        mine = {(row["name"], row["count"], row["last"]) for row in ours["starts"]}
        check(mine == wanted, packed, len(mine), len(wanted), sorted(mine ^ wanted)[:4])
    return len(found)


counts = [check_runs(), check_links(), check_starts()]
check_lists()
check_programs()
if not all(counts):
    print("some sample files are not there: only files made here were compared")
finish()
