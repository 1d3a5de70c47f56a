#!/usr/bin/python3
"""Surveys of old systems whose hives are damaged, missing, or another person's: what is used instead.

How the drives and hives are made: _survey_bench.py. Where copies of hives lie: Microsoft, articles on RegBack,
restore points of XP (307545) and Windows.old; "Shell Folders": winreg-kb, "User shell folders".
"""

import os
import sys

sys.dont_write_bytecode = True
from _survey_bench import (MACHINE, SHELL, Volume, accounts_hive, check, finding, person, place,
                           put_windows, run_cases, software_hive, survey, system_hive)  # noqa: E402


def hole_in(image, data, at, length):
    """Lists bytes of a file that lies in one piece on the image as unreadable."""
    with open(image, "rb") as file:
        start = file.read().find(data)
    check(start >= 0, "the file is not on the image in one piece")
    with open(image + ".holes", "w", encoding="ascii") as file:
        file.write(f"{start + at} {length}\n")


def key_place(hive, name):
    """Where in the hive the key node called `name` lies: regf, section "Key node"."""
    at = hive.find(name.encode("ascii"), 4096)
    while hive[at - 76:at - 74] != b"nk":
        at = hive.find(name.encode("ascii"), at + 1)
        check(at > 0, "no key", name)
    return at - 76


def case_without_hives(bench):
    """Hives of zeros: the folders alone tell; the old system's own copy of one hive is used."""
    c = Volume("C:", "Disk", "outside")
    zeros = bytes(8192)
    put_windows(bench, c, zeros, zeros, zeros)
    c.file("Users/mara/NTUSER.DAT", zeros)
    c.file("Users/mara/Documents/a.txt", b"a")
    c.file("Users/Public/Documents/b.txt", b"b")
    c.file("Users/tools/setup.txt", b"no profile")
    image = bench.drive("zeros.img", 0x5EED0015, [c])
    document, _ = survey(image)
    system = document["systems"][0]
    check(system["key"] == "PC", system["key"])
    check([p["key"] for p in system["persons"]] == ["mara"], system["persons"])
    check(place(person(system, "mara"), "documents")["status"] == "here", system["persons"])
    check(len(finding(document, "hive-missing")) >= 3, document["findings"])
    c.file("Windows/System32/config/RegBack/SYSTEM", bench.hive(system_hive("BACKUP-PC")))
    document, _ = survey(bench.drive("backup.img", 0x5EED0015, [c]))
    check(document["systems"][0]["key"] == "BACKUP-PC", document["systems"][0]["key"])
    check(finding(document, "hive-from-backup"), document["findings"])


def case_copies_of_hives(bench):
    """What is used instead when the machine's hives are gone or cannot tell: each place of copies."""
    profiles = {f"{MACHINE}-1001": "C:\\Users\\mara"}
    point = "System Volume Information/_restore{4C1F}/RP{}/snapshot/_REGISTRY_MACHINE_"

    def look(put, damage=None):
        c = Volume("C:", "Disk", "outside")
        c.file("Users/mara/Documents/a.txt", b"a")
        put(c)
        image = bench.drive("copies.img", 0x5EED0030, [c])
        if damage:
            damage(image)
        document, _ = survey(image)
        if os.path.exists(image + ".holes"):
            os.remove(image + ".holes")
        return document, document["systems"][0]

    def used(document):
        return " ".join(row["sentence"] for row in finding(document, "hive-from-backup"))

    # A restore point of XP: the newest that can be used; missing hives, and all three of them.
    def restore_points(c):
        for number, name in ((2, "OLDER-PC"), (10, "NEWER-PC"), (9, "MIDDLE-PC")):
            c.file(point.replace("{}", str(number)) + "SYSTEM", bench.hive(system_hive(name)))
        c.file(point.replace("{}", "11") + "SYSTEM", bytes(8192))
        c.file(point.replace("{}", "9") + "SOFTWARE", bench.hive(software_hive(profiles)))
        c.file(point.replace("{}", "9") + "SAM", bench.hive(accounts_hive({1001: ("mara", "Mara Quill")})))
        c.file("System Volume Information/_restore{4C1F}/RPx/snapshot/_REGISTRY_MACHINE_SYSTEM", b"x")
        c.folder("Windows/System32/config")
        c.file("Windows/System32/ntoskrnl.exe", b"MZ")

    document, system = look(restore_points)
    check(system["computer"] == "NEWER-PC", "restore points:", system["computer"])
    check(person(system, "mara")["full_name"] == "Mara Quill", system["persons"])
    check("RP10\\snapshot" in used(document) and "RP9\\snapshot" in used(document), used(document))
    check("last written on 2" in used(document), used(document))

    # The system before a feature update.
    def before(c):
        put_windows(bench, c, system_hive("BEFORE-PC"), software_hive(profiles),
                    accounts_hive({1001: ("mara", "Mara Quill")}), "Windows.old/Windows")
        c.folder("Windows/System32/config")
        c.file("Windows/System32/ntoskrnl.exe", b"MZ")

    document, system = look(before)
    system = next(row for row in document["systems"] if not row["copy"])
    check(system["computer"].startswith("BEFORE-PC"), "Windows.old:", system["computer"])
    check(person(system, "mara")["full_name"] == "Mara Quill", system["persons"])
    check("Windows.old" in used(document), used(document))

    # Unreadable sectors that take the very keys that are asked for; RegBack has them.
    hive = bench.hive(software_hive(profiles))
    sam = bench.hive(accounts_hive({1001: ("mara", "Mara Quill")}))

    def with_backup(c):
        put_windows(bench, c, system_hive(), hive, sam)
        c.file("Windows/System32/config/RegBack/SOFTWARE", bench.hive(software_hive(profiles, "6.0")))

    at = key_place(hive, "ProfileList")
    document, system = look(with_backup, lambda image: hole_in(image, hive, at // 512 * 512, 512))
    check("RegBack\\SOFTWARE" in used(document), used(document), document["findings"])
    check(person(system, "mara")["sid"] == f"{MACHINE}-1001", system["persons"])
    check(finding(document, "hive-damaged"), "unreadable sector: no finding")

    # And sectors that take something else: the hive itself is still the best there is.
    document, system = look(with_backup, lambda image: hole_in(image, hive, len(hive) - 512, 512))
    check(not used(document) and person(system, "mara")["sid"], used(document))

    # Nothing but the folders.
    document, system = look(lambda c: put_windows(bench, c, None, None, None) or
                            c.folder("Windows/System32/config"))
    check([row["key"] for row in system["persons"]] == ["mara"], system["persons"])
    check(len(finding(document, "hive-missing")) >= 3 and not used(document), document["findings"])


def case_hives_of_persons(bench):
    """A person's hive that is gone, mandatory, or another person's."""
    folders = SHELL.replace("User Shell Folders", "Shell Folders")
    profiles = {f"{MACHINE}-{1001 + i}": f"C:\\Users\\{name}"
                for i, name in enumerate(("mara", "zoe", "finn", "rowan", "sky"))}

    def own(name, documents):
        text = f"[{SHELL}]\nPersonal = expand C:\\{documents}\n[{folders}]\n"
        for value in ("Desktop", "Favorites", "Cookies"):
            text += f"{value} = text C:\\Users\\{name}\\{value}\n"
        return bench.hive(text)

    c = Volume("C:", "Disk", "outside")
    put_windows(bench, c, system_hive(), software_hive(profiles), accounts_hive(
        {1001 + i: (name, "") for i, name in enumerate(("mara", "zoe", "finn", "rowan", "sky"))}))
    for name in ("Mara", "Zoe", "Finn", "Rowan", "Sky"):
        c.file(f"{name} papers/a.txt", b"a")
        c.folder(f"Users/{name.lower()}/Documents")
    c.file("Users/mara/NTUSER.DAT", own("mara", "Mara papers"))
    c.file("Users/zoe/NTUSER.DAT", own("mara", "Mara papers"))       # another person's
    c.file("Users/finn/NTUSER.MAN", own("finn", "Finn papers"))      # a mandatory profile
    c.file("System Volume Information/_restore{1}/RP3/snapshot/"     # gone, in a restore point
           f"_REGISTRY_USER_NTUSER_{MACHINE}-1004", own("rowan", "Rowan papers"))
    c.file("Windows.old/Users/sky/NTUSER.DAT", own("sky", "Sky papers"))
    c.file("Users/sky/NTUSER.DAT", own("finn", "Finn papers"))
    document, _ = survey(bench.drive("persons.img", 0x5EED0031, [c]))
    system = document["systems"][0]
    for name in ("mara", "finn", "rowan", "sky"):
        where = place(person(system, name), "documents")
        check(where["status"] == "redirected" and where["at"]["path"] == f"\\{name.title()} papers",
              name, where)
    where = place(person(system, "zoe"), "documents")
    check(where["status"] == "here" and where["at"]["path"] == "\\Users\\zoe\\Documents", where)
    others = sorted(row["sentence"] for row in finding(document, "hive-of-another-person"))
    check(len(others) == 2 and "are those of finn" in others[0] and "are those of mara" in others[1],
          others)
    copies = " ".join(row["sentence"] for row in finding(document, "hive-from-backup"))
    for words in ("NTUSER.MAN", "RP3\\snapshot", "Windows.old\\Users\\sky"):
        check(words in copies, words, "is not in", copies)


run_cases(globals())
