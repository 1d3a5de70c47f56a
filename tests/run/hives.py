#!/usr/bin/python3
"""Reads every sample hive and compares with other readers and with published values.

References, beside each check:
- hivex (python3-hivex): keys, and values byte for byte, in the same order;
- libregf (regfexport): numbers of keys and values;
- the hives that Windows 7 and Windows 10 recovered themselves (sample data, edge cases);
- dirty-page counts as regipy's own tests state them (sample data's README).
"""

import collections
import hashlib
import lzma
import os
import random
import subprocess
import sys
import tempfile

SKIPPED = 77
data = os.path.join(os.environ.get("COLDLIFT_DATA", "../shared/data"), "hives")
dump_hive = os.path.join(os.environ.get("COLDLIFT_BUILD", "build"), "tests/run/dump_hive")

try:
    import hivex
except ImportError:
    print("skipped: python3-hivex is missing")
    sys.exit(SKIPPED)
if not os.path.isdir(data):
    print("skipped: no sample hives at", data)
    sys.exit(SKIPPED)

failures = []


def check(good, text):
    if not good:
        failures.append(text)
        print("FAILED:", text)


# --- coldlift ------------------------------------------------------------------------------------

Dump = collections.namedtuple("Dump", "health lines bins error status")


def dump(hive, logs=()):
    run = subprocess.run([dump_hive, hive, *logs], stdout=subprocess.PIPE, timeout=120)
    health, lines, bins, error = {}, [], None, None
    for line in run.stdout.decode("ascii").splitlines():
        kind, rest = line.split("\t", 1)
        if kind == "H":
            name, number = rest.split("\t")
            health[name] = int(number)
        elif kind == "B":
            bins = rest
        elif kind == "E":
            error = rest
        else:
            lines.append(line)
    return Dump(health, lines, bins, error, run.returncode)


def counts(lines):
    keys = sum(line.startswith("K") for line in lines)
    return keys, len(lines) - keys


# --- hivex ---------------------------------------------------------------------------------------

def escape(name):
    """As dump_hive writes names. U+0000 and unpaired surrogates are not text: U+FFFD."""
    name = name.replace("\0", "\ufffd").encode("utf-8", "replace")
    return "".join(chr(b) if 0x20 < b < 0x7F and chr(b) not in "%\\" else "%%%02X" % b
                   for b in name)


def attempt(function, *arguments):
    try:
        return function(*arguments)
    except (RuntimeError, OSError, ValueError):
        return None


def hivex_lines(path):
    """None when hivex refuses the hive. What it cannot read of it is left out."""
    # It refuses a bad base block; asking it all the same makes its Python module print a complaint.
    h = attempt(lambda: hivex.Hivex(path, unsafe=True)) if "Garbage" not in path else None
    if h is None or attempt(h.root) is None:
        return None
    lines = []

    def walk(node, name):
        lines.append("K\t" + name)
        for value in attempt(h.node_values, node) or ():
            key = attempt(h.value_key, value)
            content = attempt(h.value_value, value)
            if key is None:
                continue
            if content is None:
                lines.append("V\t%s\t%s\t-\t-\t-" % (name, escape(key)))
                continue
            kind, raw = content
            lines.append("V\t%s\t%s\t%d\t%d\t%s" % (name, escape(key), kind & 0xFFFFFFFF, len(raw),
                                                   hashlib.sha256(raw).hexdigest()))
        for child in attempt(h.node_children, node) or ():
            walk(child, name + "\\" + escape(attempt(h.node_name, child) or "?"))

    sys.setrecursionlimit(5000)
    walk(h.root(), "")
    return lines


# --- libregf -------------------------------------------------------------------------------------

def libregf_counts(path):
    run = subprocess.run(["regfexport", path], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                         timeout=120)
    if run.returncode != 0:
        return None
    # Data of a value can hold line breaks, but not these words at the start of a line.
    lines = run.stdout.split(b"\n")
    return (sum(line.startswith(b"Key path: ") for line in lines),
            sum(line.startswith(b"Value: ") for line in lines))


# --- the samples ---------------------------------------------------------------------------------

def unpack(folder):
    """All samples, unpacked flat: {short name: path}."""
    files = {}
    for where, _, names in os.walk(data):
        for name in sorted(names):
            source = os.path.join(where, name)
            short = os.path.relpath(source, data).replace("/", "_")
            content = open(source, "rb").read()
            if short.endswith(".xz"):
                short, content = short[:-3], lzma.decompress(content)
            files[short] = os.path.join(folder, short)
            with open(files[short], "wb") as out:
                out.write(content)
    return files


def is_log(name):
    return ".log" in name.lower()


# Where the readers differ, and why.
DIFFERENT = {
    # The checksum in the base block was overwritten: both others refuse, we use the root where
    # roots always are.
    "edge-cases_GarbageHive": (1, 0),
    # Cut off in the first bins, with the index root of 5,002 subkeys gone: hivex gives the two keys
    # that it still reaches, libregf refuses, the scan finds what stands in the part that is there.
    "edge-cases_TruncatedHive": (85, 0),
    # The damaged hive: libregf finds no root; hivex salvages 1,687 keys and 5,603 values; the scan
    # joins what hivex does not reach.
    "windows-hives_corrupted_system_hive": (2073, 6314),
}


def compare_all(files):
    for name, path in sorted(files.items()):
        if is_log(name):
            continue
        ours, theirs, regf = dump(path), hivex_lines(path), libregf_counts(path)
        check(ours.status == 0, "%s: %s" % (name, ours.error or "crashed"))
        n_ours = counts(ours.lines)
        if name in DIFFERENT:
            check(n_ours == DIFFERENT[name], "%s: %s keys and values" % (name, n_ours))
            continue
        n_theirs = counts(theirs) if theirs is not None else None
        check(n_theirs == regf, "%s: hivex has %s, libregf %s" % (name, n_theirs, regf))
        check(n_ours == n_theirs, "%s: %s, hivex %s" % (name, n_ours, n_theirs))
        check(collections.Counter(ours.lines) == collections.Counter(theirs or ()),
              "%s: content differs from hivex's" % name)
        # InvalidParentHive: the one key that names another parent comes last with us.
        if name != "edge-cases_InvalidParentHive":
            check(ours.lines == theirs, "%s: another order than hivex's" % name)
        print("%-50s %6d keys %6d values" % ((name,) + n_ours))


def damaged_hive(files):
    """Everything that hivex salvages is there, with the same bytes."""
    path = files["windows-hives_corrupted_system_hive"]
    ours, theirs = dump(path), hivex_lines(path)
    check(counts(theirs) == (1687, 5603), "hivex salvages %s" % (counts(theirs),))
    missing = collections.Counter(theirs) - collections.Counter(ours.lines)
    # One value whose data hivex cannot reach; we give what is there of it.
    allowed = {"V\t\\Setup\tCmdLine\t-\t-\t-"}
    check(set(missing) <= allowed, "missing of what hivex salvages: %s" % list(missing)[:5])
    check(not ours.health["root_lost"], "the damaged hive has a root")


def logs_of(files, *names):
    return [files[name] for name in names]


def published_pages(files):
    """regipy's own tests: 132 (first log only), 315 and 158 dirty pages."""
    w = "windows-hives_"
    for hive, logs, pages, applied in (
            (w + "transactions_NTUSER.DAT", [w + "transactions_ntuser.dat.log1"], 132, 1),
            # The second log is older than the hive: nothing of it is applied.
            (w + "transactions_NTUSER.DAT", [w + "transactions_ntuser.dat.log2",
                                            w + "transactions_ntuser.dat.log1"], 132, 1),
            (w + "SYSTEM_B", [w + "SYSTEM_B.LOG1", w + "SYSTEM_B.LOG2"], 315, 2),
            (w + "UsrClass.dat", [w + "UsrClass.dat.LOG1", w + "UsrClass.dat.LOG2"], 158, 2)):
        got = dump(files[hive], logs_of(files, *logs))
        check(got.health["pages_replaced"] == pages and got.health["logs_applied"] == applied,
              "%s: %s" % (hive, got.health))
        check(got.health["bad_keys"] == got.health["bad_values"] == 0,
              "%s: damaged after replay: %s" % (hive, got.health))
        # The order in which the logs are given does not matter.
        check(dump(files[hive], logs_of(files, *reversed(logs))) == got, "%s: order of logs" % hive)


def bins(path, without=()):
    """SHA-256 of the bins, with the given ranges zeroed."""
    content = bytearray(open(path, "rb").read())
    size = int.from_bytes(content[40:44], "little")
    content = content[4096:4096 + size]
    for start, length in without:
        content[start:start + length] = bytes(length)
    return hashlib.sha256(content).hexdigest()


def recovered(files):
    """What Windows itself made of the same hive and logs. In the base blocks the sequence numbers,
    the checksum, and with Windows 7 the time and file name differ: Windows loaded and wrote it.
    """
    e = "edge-cases_"
    for folder in "NewDirtyHive1_NewDirtyHive", "BadLogHive3_BadLogHive":
        # In BadLogHive3 only the checksums of the logs' base blocks are wrong; the entries prove
        # themselves by their hashes.
        got = dump(files[e + folder], logs_of(files, e + folder + ".LOG1", e + folder + ".LOG2"))
        want = files[e + "NewDirtyHive1_RecoveredHive_Windows10"]
        check(got.health["logs_applied"] == 2, "%s: %s" % (folder, got.health))
        check(got.bins == bins(want), "%s: not as Windows 10 recovered it" % folder)
        check(got.lines == dump(want).lines, "%s: other keys or values" % folder)
    for folder in "OldDirtyHive_OldDirtyHive", "BadLogHive1_BadLogHive":
        # In BadLogHive1 only the checksum of the log's base block is wrong; its time is the hive's.
        got = dump(files[e + folder], logs_of(files, e + folder + ".LOG1", e + folder + ".LOG2"))
        want = files[e + "OldDirtyHive_RecoveredHive_Windows7"]
        check(got.health["logs_applied"] == 1 and got.health["pages_replaced"] == 64,
              "%s: %s" % (folder, got.health))
        check(got.lines == dump(want).lines, "%s: not as Windows 7 recovered it" % folder)
        # Bytes: all but two fields that Windows 7 wrote anew when it loaded the hive: the time in
        # the first bin, and "largest value name length" of one key.
        check(replayed_old(files, e + folder) == bins(want, OLD_FIELDS),
              "%s: bins differ" % folder)


OLD_FIELDS = ((20, 8), (0x6AD8C + 60, 4))


def replayed_old(files, name):
    """dump_hive's bins written out by its option, with the two fields zeroed."""
    run = subprocess.run([dump_hive, "--bins", files[name], files[name + ".LOG1"]],
                         stdout=subprocess.PIPE, check=True)
    content = bytearray(run.stdout)
    for start, length in OLD_FIELDS:
        content[start:start + length] = bytes(length)
    return hashlib.sha256(content).hexdigest()


def broken_entry(files):
    """A broken entry ends the replay there; the entries before it stay."""
    name = "windows-hives_transactions_NTUSER.DAT"
    log = bytearray(open(files["windows-hives_transactions_ntuser.dat.log1"], "rb").read())
    log[348160 + 5000] ^= 0x40  # in the third entry
    path = files[name] + ".broken.log1"
    open(path, "wb").write(log)
    got = dump(files[name], [path])
    # The first two entries hold 24 and 16 pages (fields "Dirty pages count").
    check(got.health["pages_replaced"] == 24 + 16, "broken third entry: %s" % got.health)


def zeros(folder):
    path = os.path.join(folder, "zeros")
    open(path, "wb").write(bytes(1 << 20))
    got = dump(path)
    check(got.status == 1 and got.error is not None, "a hive of zeros: %s" % (got,))


def no_base_block(files):
    """Without its base block a whole hive still gives everything."""
    path = files["windows-hives_NTUSER.DAT"]
    content = bytearray(open(path, "rb").read())
    content[:4096] = bytes(4096)
    open(path + ".headless", "wb").write(content)
    check(dump(path + ".headless").lines == dump(path).lines, "without a base block")
    # And without the first bin, and so without a root: what is left stands below a made-up root.
    content[:8192] = bytes(8192)
    open(path + ".headless", "wb").write(content)
    got = dump(path + ".headless")
    check(got.health["root_lost"] == 1, "without the first bin: %s" % got.health)
    # Microsoft, Windows and CurrentVersion were in that bin too: the places are found all the same.
    wanted = "Software\\Microsoft\\Windows\\CurrentVersion\\Explorer\\User Shell Folders"
    find = [dump_hive, "--find=" + wanted]
    whole = subprocess.run(find + [path], stdout=subprocess.PIPE).stdout
    rest = subprocess.run(find + [path + ".headless"], stdout=subprocess.PIPE).stdout
    check(whole.count(b"\n") > 5 and whole == rest, "User Shell Folders without the first bin")
    # More than the whole hive has: leftovers of the old system cannot be told from data any more.
    print("without the first bin: %d keys, %d values" % counts(got.lines))
    check(counts(got.lines)[0] > 1700, "without the first bin: %s" % (counts(got.lines),))


def careful_dump():
    """The helper with sanitizers, where it was built."""
    careful = os.path.join(os.path.dirname(dump_hive), "../../sanitize/tests/run/dump_hive")
    return careful if os.access(careful, os.X_OK) else dump_hive


def damage(files):
    """Cut at every sector, and bytes changed at random places: never a crash, always soon done."""
    program = careful_dump()
    for name in ("edge-cases_CompHive", "edge-cases_RemnantData", "edge-cases_BigDataHive",
                 "windows-hives_NTUSER.DAT"):
        content = open(files[name], "rb").read()
        used = 4096 + int.from_bytes(content[40:44], "little")
        step = 512 if used < 65536 else used // 60 // 512 * 512 + 512
        for length in range(0, used + 1, step):
            survives(program, files[name] + ".cut", content[:length])
        for seed in range(40):
            chance = random.Random("%s %d" % (name, seed))
            broken = bytearray(content)
            for _ in range(1 << seed % 10):
                broken[chance.randrange(used)] = chance.randrange(256)
            survives(program, files[name] + ".flipped", broken)


def survives(program, path, content):
    open(path, "wb").write(content)
    run = subprocess.run([program, path], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                         timeout=60)
    good = run.returncode in (0, 1) and not run.stderr
    if not good:
        check(False, "%s: %d %s" % (path, run.returncode, run.stderr[:2000]))


def main():
    with tempfile.TemporaryDirectory() as folder:
        files = unpack(folder)
        compare_all(files)
        damaged_hive(files)
        published_pages(files)
        recovered(files)
        broken_entry(files)
        zeros(folder)
        no_base_block(files)
        damage(files)
    print("%d failed" % len(failures))
    return 1 if failures else 0


sys.exit(main())
