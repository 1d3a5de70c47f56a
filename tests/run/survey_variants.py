#!/usr/bin/python3
"""Surveys of small drives that the demo does not have: XP, old copies, clones, damage, bad input.

Layouts of XP and Windows.old: common practice, no source. How the drives are made: _survey_bench.py.
"""

import json
import os
import shutil
import subprocess
import sys

sys.dont_write_bytecode = True
from _survey_bench import (COLDLIFT, FIRST, MACHINE, NT, SHELL, Volume, accounts_hive, check,
                           drives, finding, person, place, put_windows, run_cases, software_hive,
                           survey, system_hive)  # noqa: E402
from maker import connections  # noqa: E402
from maker.shortcut import shortcut  # noqa: E402


XP_PRINTERS = r"""
[ControlSet002\Control\Print\Printers\Old laser]
Port = text LPT1:
Printer Driver = text Old laser
"""


def _put_xp_devices(c, home):
    """A task in the form before Vista, and two that no person made; a pin; a network place; a font that came later."""
    c.file("WINNT/Tasks/Back up.job", connections.job("C:\\Tools\\back up.exe", "/all", "Mara", ""))
    c.file("WINNT/Tasks/Update.job", connections.job("C:\\Tools\\update.exe", "", "SYSTEM", ""))
    c.file("WINNT/Tasks/SA.DAT", b"\6\0\0\0")
    settings = home + "Application Data/Microsoft/Internet Explorer/Quick Launch/"
    c.file(settings + "Plots.lnk", shortcut("C:\\Tools\\plots.exe", "", ""))
    c.file(home + "NetHood/hut/target.lnk", shortcut("\\\\HUT-SERVER\\papers\\x", "", ""))


def _check_xp_devices(system):
    found = {(row["kind"], row["person"], row["name"]): row["details"] for row in system["devices"]}
    wanted = {("printer", None, "Old laser"): {"connection": "cable", "port": "LPT1:", "driver": "Old laser"},
              ("task", "mara", "Back up.job"): {"program": "C:\\Tools\\back up.exe", "arguments": "/all",
                                                "folder": "C:\\Tools", "author": "Mara",
                                                "when": "every week, from 2009-05-04 07:30"},
              ("pin", "mara", "Plots"): {"target": "C:\\Tools\\plots.exe", "where": "quick launch"},
              ("network-place", "mara", "hut"): {"target": "\\\\HUT-SERVER\\papers\\x"}}
    check(found == wanted, "devices of XP:", found)


def case_xp(bench):
    """Windows XP: other folder names, the list holds names instead of paths, D: on the same drive."""
    c, d = Volume("C:", "XP", "outside"), Volume("D:", "", "outside")
    software = f"""
[{NT}]
ProductName = text Microsoft Windows XP
CurrentVersion = text 5.1
CSDVersion = text Service Pack 3
CurrentBuildNumber = text 2600
SystemRoot = text C:\\WINNT
[{NT}\\ProfileList]
ProfilesDirectory = expand %SystemDrive%\\Documents and Settings
AllUsersProfile = text All Users
DefaultUserProfile = text Default User
[{NT}\\ProfileList\\{MACHINE}-1003]
ProfileImagePath = expand %SystemDrive%\\Documents and Settings\\Mara
[Microsoft\\Windows\\CurrentVersion\\Explorer\\User Shell Folders]
Common Documents = expand %ALLUSERSPROFILE%\\Documents
CommonPictures = expand %ALLUSERSPROFILE%\\Documents\\My Pictures
"""
    put_windows(bench, c, system_hive(mounted=f"""
\\DosDevices\\C: = mbr 0x5eed0010 {FIRST * 512}
\\DosDevices\\D: = mbr 0x5eed0010 {(FIRST + (12 << 11)) * 512}
""", more=XP_PRINTERS), software, accounts_hive({1003: ("mara", "Mara Quill")}), "WINNT")
    home = "Documents and Settings/Mara/"
    c.file(home + "NTUSER.DAT", bench.hive(f"""
[{SHELL}]
Desktop = expand %USERPROFILE%\\Desktop
Personal = expand %USERPROFILE%\\My Documents
My Pictures = expand D:\\Bilder
My Music = expand %USERPROFILE%\\My Documents\\My Music
"""))
    _put_xp_devices(c, home)
    c.file(home + "Desktop/a.txt", b"a")
    c.file(home + "My Documents/b.txt", b"b")
    c.file(home + "My Documents/My Music/c.txt", b"c")
    c.file("Documents and Settings/All Users/Documents/shared.txt", b"s")
    c.folder("Documents and Settings/Default User/Desktop")
    c.folder("Documents and Settings/NetworkService/Application Data")
    d.file("Bilder/x.jpg", b"x")
    document, _ = survey(bench.drive("xp.img", 0x5EED0010, [c, d]))
    system = document["systems"][0]
    mara = person(system, "mara")
    check(system["product"] == "Microsoft Windows XP", system["product"])
    check(system["version"] == "5.1 Service Pack 3", system["version"])
    check(system["computer"] == "HUT-PC", "control set:", system["computer"])
    check(len(system["persons"]) == 1, "persons", system["persons"])
    check(mara["full_name"] == "Mara Quill" and mara["folder"] == "Mara", mara)
    _check_xp_devices(system)
    check(place(mara, "documents")["status"] == "here", place(mara, "documents"))
    check(place(mara, "music")["files"] == 1, place(mara, "music"))
    check(place(mara, "pictures")["status"] == "other-volume", place(mara, "pictures"))
    check(not [p for p in mara["places"] if p["place"] == "downloads"], "XP has no downloads")
    shared = {p["place"]: p for p in system["shared"]}
    check(shared["documents"]["status"] == "here", shared["documents"])
    check(shared["documents"]["files"] == 1, shared["documents"])
    check(system["public_profile"]["path"].endswith("All Users"), system["public_profile"])


def case_xp_in_german(bench):
    """XP's folders are named in its language; what was never made there is no finding."""
    c = Volume("C:", "XP", "outside")
    home = "Dokumente und Einstellungen/Mara/"
    base = "Dokumente und Einstellungen"
    software = software_hive({f"{MACHINE}-1003": f"%SystemDrive%\\{base}\\Mara"}, "5.1").replace(
        "%SystemDrive%\\Users", f"%SystemDrive%\\{base}") + f"""
[Microsoft\\Windows\\CurrentVersion\\Explorer\\User Shell Folders]
Common Documents = expand %ALLUSERSPROFILE%\\Dokumente
"""
    put_windows(bench, c, system_hive(), software, accounts_hive({1003: ("mara", "")}), "WINDOWS")
    c.file(home + "NTUSER.DAT", bench.hive(f"""
[{SHELL}]
Personal = expand %USERPROFILE%\\Eigene Dateien
My Pictures = expand %USERPROFILE%\\Eigene Dateien\\Eigene Bilder
My Music = expand %USERPROFILE%\\Eigene Dateien\\Eigene Musik
Favorites = expand C:\\Lesezeichen
"""))
    c.file(home + "Eigene Dateien/Eigene Bilder/a.jpg", b"a")
    c.file("Lesezeichen/b.url", b"b")
    c.file("Dokumente und Einstellungen/All Users/Dokumente/s.txt", b"s")
    document, _ = survey(bench.drive("german.img", 0x5EED001C, [c]))
    system = document["systems"][0]
    mara = person(system, "mara")
    for name, status in (("documents", "here"), ("pictures", "here"), ("music", "missing"),
                         ("favorites", "redirected")):
        check(place(mara, name)["status"] == status, place(mara, name))
    check(not finding(document, "place-missing"), document["findings"])
    shared = {p["place"]: p for p in system["shared"]}
    check(shared["documents"]["status"] == "here", shared["documents"])
    # Without hives the folder of profiles is found by what is in it.
    c = Volume("C:", "XP", "outside")
    put_windows(bench, c, bytes(8192), bytes(8192), bytes(8192), "WINDOWS")
    c.file(home + "NTUSER.DAT", bench.hive(f"[{SHELL}]\nPersonal = expand "
                                           "%USERPROFILE%\\Eigene Dateien\n"))
    c.file(home + "Eigene Dateien/a.txt", b"a")
    document, _ = survey(bench.drive("german.img", 0x5EED001C, [c]))
    mara = person(document["systems"][0], "Mara")
    check(mara["path"] == f"C:\\{base}\\Mara", mara["path"])
    check(place(mara, "documents")["status"] == "here", place(mara, "documents"))


def case_old_copy(bench):
    """Windows.old beside Windows: a second old system of the same name, "C:" means its folder."""
    c = Volume("C:", "Disk", "outside")
    accounts = accounts_hive({1001: ("mara", "Mara Quill")})
    profiles = {f"{MACHINE}-1001": "C:\\Users\\mara"}
    put_windows(bench, c, system_hive(), software_hive(profiles, "6.3"), accounts)
    put_windows(bench, c, system_hive(), software_hive(profiles), accounts, "Windows.old/Windows")
    c.file("Users/mara/NTUSER.DAT", bench.hive(f"[{SHELL}]\nPersonal = expand C:\\Users\\mara\\Loop\n"))
    c.file("Users/mara/Desktop/new.txt", b"new")
    c.link("Users/mara/Loop", "C:\\Users\\mara\\Loop 2")
    c.link("Users/mara/Loop 2", "C:\\Users\\mara\\Loop")
    c.file("Windows.old/Users/mara/NTUSER.DAT", bench.hive(f"[{SHELL}]\nDesktop = expand "
                                                         "%USERPROFILE%\\Desktop\n"))
    c.file("Windows.old/Users/mara/Desktop/old.txt", b"old!")
    document, _ = survey(bench.drive("copy.img", 0x5EED0011, [c]))
    systems = document["systems"]
    check([s["key"] for s in systems] == ["HUT-PC", "HUT-PC-2"], [s["key"] for s in systems])
    check([s["copy"] for s in systems] == [False, True], systems)
    new, old = (place(person(s, "mara"), "desktop") for s in systems)
    check(new["status"] == old["status"] == "here", new, old)
    check((new["bytes"], old["bytes"]) == (3, 4), new, old)
    check(old["at"]["path"] == "\\Windows.old\\Users\\mara\\Desktop", old["at"])
    loop = place(person(systems[0], "mara"), "documents")
    check(loop["status"] == "missing" and loop["at"] is None, loop)


def case_clones(bench):
    """A drive and its copy are both attached: the same signature twice."""
    c, d = Volume("C:", "Disk", "outside"), Volume("D:", "Data", "outside")
    put_windows(bench, c, system_hive(mounted=f"\\DosDevices\\D: = mbr 0x5eed0013 {FIRST * 512}"),
                software_hive({f"{MACHINE}-1001": "D:\\home\\mara",
                               f"{MACHINE}-1002": "Q:\\home\\zoe"}),
                accounts_hive({1001: ("mara", ""), 1002: ("zoe", "")}))
    d.file("home/mara/Desktop/x.txt", b"x")
    system = bench.drive("clone-c.img", 0x5EED0012, [c])
    data = bench.drive("clone-d.img", 0x5EED0013, [d])
    copy = shutil.copy(data, os.path.join(bench.folder, "clone-d2.img"))
    document, _ = survey(system, data, copy)
    letter = next(row for row in document["systems"][0]["letters"] if row["letter"] == "D:")
    check(letter["confidence"] == "doubtful", letter)
    check(finding(document, "letter-doubtful"), "no finding on the doubtful letter")
    mara, zoe = (person(document["systems"][0], key) for key in ("mara", "zoe"))
    check(mara["profile"] and mara["profile"]["path"] == "\\home\\mara", mara["profile"])
    check(zoe["profile"] is None and not zoe["places"], zoe)
    check(finding(document, "profile-drive-missing"), "no finding on the missing profile")
    check(len({v["name"] for v in document["volumes"]}) == 3, document["volumes"])
    document, _ = survey(system, data, data)
    check(finding(document, "source-named-twice"), "the same image twice")
    check(len(document["drives"]) == 2, document["drives"])


def case_label_like_a_letter(bench):
    """A volume without a letter whose label is a letter does not share a folder with that drive."""
    c, d, x = Volume("C:", "Disk", "outside"), Volume("D:", "Data", "outside"), Volume("X:", "d", "outside")
    put_windows(bench, c, system_hive(mounted=f"\\DosDevices\\D: = mbr 0x5eed0021 {FIRST * 512}"),
                software_hive({}), accounts_hive({}))
    d.file("a.txt", b"from D")
    x.file("a.txt", b"from nowhere")
    images = [bench.drive(name, number, [volume]) for name, number, volume in
              (("x.img", 0x5EED0022, x), ("c.img", 0x5EED0020, c), ("d.img", 0x5EED0021, d))]
    document, _ = survey(*images)
    names = [v["name"] for v in document["volumes"]]
    check(names == ["d-2", "C:", "D:"], names)


def case_single_volumes(bench):
    """Images of single volumes have no table: the only one left most likely is the only letter left."""
    c, d = Volume("C:", "Disk", "outside"), Volume("D:", "Data", "outside")
    put_windows(bench, c, system_hive(mounted="\\DosDevices\\D: = mbr 0x5eed0014 1048576"),
                software_hive({}), accounts_hive({}))
    d.file("note.txt", b"x")
    alone = bench.volume("c.ntfs", c, 12)
    document, _ = survey(alone, bench.volume("d.ntfs", d, 12))
    letter = next(row for row in document["systems"][0]["letters"] if row["letter"] == "D:")
    check(letter["attached"] and letter["confidence"] == "likely", letter)
    # The system drive of another PC is not the only drive left, it is somebody else's.
    put_windows(bench, d, system_hive("SHED-PC"), software_hive({}), accounts_hive({}))
    document, _ = survey(alone, bench.volume("other.ntfs", d, 12))
    first = next(row for row in document["systems"] if row["computer"] == "HUT-PC")
    letter = next(row for row in first["letters"] if row["letter"] == "D:")
    check(not letter["attached"], letter)
    document, _ = survey(os.path.join(bench.folder, "d.ntfs"))
    check(finding(document, "no-old-system"), "no finding that there is no old system")
    check(document["volumes"][0]["name"] == "Data", document["volumes"])


def case_own_letter(bench):
    """An old system that ran as D: and whose SOFTWARE is lost: its letter is that of its volume."""
    c, d = Volume("C:", "Start", "outside"), Volume("D:", "Disk", "outside")
    put_windows(bench, d, system_hive(mounted=f"""
\\DosDevices\\C: = mbr 0x5eed001d {FIRST * 512}
\\DosDevices\\D: = mbr 0x5eed001d {(FIRST + (12 << 11)) * 512}
"""), None, None)
    d.file("Users/mara/Documents/a.txt", b"a")
    c.file("bootmgr", b"start")
    c.file("$letters/b.txt", b"no start file")
    document, _ = survey(bench.drive("own.img", 0x5EED001D, [c, d]))
    system = document["systems"][0]
    check(system["letter"] == "D:" and system["volume"] == "D:", system["letter"], system["volume"])
    check(person(system, "mara")["path"] == "D:\\Users\\mara", system["persons"])
    start = next(v for v in document["volumes"] if v["name"] == "C:")
    check(not start["system"], "a folder that is no start file:", start)


def case_names(bench):
    """Names that would harm a terminal or climb out of a folder, twins, domains, variables."""
    c = Volume("C:", "a\u202eb", "outside")
    c.label = "La\u202ebel"
    profiles = {f"{MACHINE}-1001": "C:\\Users\\one", f"{MACHINE}-1002": "C:\\Users\\two",
                "S-1-5-21-7-7-7-1104": "C:\\Users\\rowan", "S-1-12-1-1-2-3-4": "C:\\Users\\sky"}
    sign_in = f"""
[Microsoft\\Windows\\CurrentVersion\\Authentication\\LogonUI]
LastLoggedOnUserSID = text S-1-5-21-7-7-7-1104
LastLoggedOnSAMUser = text FERNHILL\\rowan.t
LastLoggedOnDisplayName = text Rowan Teasel
"""
    put_windows(bench, c, system_hive("../\x1b[31mPC", more=f"""
[ControlSet002\\Control\\Session Manager\\Environment]
Store = text C:\\Store
"""), software_hive(profiles, more=sign_in), accounts_hive(
        {1001: ("MARA", "\x1b[2JM"), 1002: ("mara", "")}))
    for name in ("one", "two", "rowan", "sky"):
        c.folder(f"Users/{name}/Documents")
    c.file("Store/Deep/x.txt", b"x")
    c.file("Users/one/NTUSER.DAT", bench.hive(f"""
[Environment]
Mine = expand %STORE%\\Deep
[{SHELL}]
Personal = expand %mine%
My Music = expand %UNKNOWN%\\Music
My Pictures = expand Z:\\Pictures
My Video = text C:/Store/Deep/
[Network\\Z]
RemotePath = text \\\\hut\\pictures
"""))
    document, text = survey(bench.drive("names.img", 0x5EED0016, [c]))
    system = document["systems"][0]
    check("/" not in system["key"] and not system["key"].startswith("."), system["key"])
    keys = sorted(p["key"] for p in system["persons"])
    check(keys == ["MARA", "mara-2", "rowan.t", "sky"], keys)
    one = person(system, "MARA")
    check(place(one, "documents")["at"]["path"] == "\\Store\\Deep", place(one, "documents"))
    check(place(one, "videos")["status"] == "redirected", place(one, "videos"))
    check(place(one, "pictures")["path"] == "\\\\hut\\pictures\\Pictures", place(one, "pictures"))
    check(place(one, "pictures")["status"] == "share", place(one, "pictures"))
    check(place(one, "music")["status"] == "missing", place(one, "music"))
    check(len(finding(document, "variable-unknown")) == 1, document["findings"])
    check(not finding(document, "place-missing"), "reported twice:", document["findings"])
    rowan = person(system, "rowan.t")
    check((rowan["domain"], rowan["full_name"]) == ("FERNHILL", "Rowan Teasel"), rowan)
    check(person(system, "sky")["domain"] == "AzureAD", person(system, "sky"))
    check("<U+001B>" in text, "the escape character is not shown")


def case_twins(bench):
    """A set-aside profile beside a temporary one that has files, and two accounts with one folder."""
    c = Volume("C:", "Disk", "outside")
    sid = f"{MACHINE}-1001"
    put_windows(bench, c, system_hive(), software_hive(
        {sid: "C:\\Users\\TEMP", sid + ".bak": "C:\\Users\\mara",
         "S-1-5-21-7-7-7-1104": "C:\\Users\\mara"}), accounts_hive({1001: ("mara", "Mara Quill")}))
    c.file("Users/mara/Desktop/a.txt", b"a")
    c.file("Users/TEMP/Desktop/b.txt", b"b")
    document, _ = survey(bench.drive("twins.img", 0x5EED001A, [c]))
    system = document["systems"][0]
    keys = {p["key"]: p for p in system["persons"]}
    check(sorted(keys) == ["mara", "mara-2"], sorted(keys))
    check(keys["mara"]["folder"] == "mara" and keys["mara"]["backup_twin"], keys["mara"])
    check(keys["mara-2"]["folder"] == "TEMP" and keys["mara-2"]["temporary"], keys["mara-2"])
    for code in ("profile-backup-twin", "profile-temporary", "profile-two-accounts"):
        check(finding(document, code), "no finding", code)


def case_misleading_list(bench):
    """An account called temp is no temporary profile; a service account never owns a person's folder."""
    c = Volume("C:", "Disk", "outside")
    put_windows(bench, c, system_hive(), software_hive(
        {"S-1-5-18": "C:\\Users\\mara", f"{MACHINE}-1001": "C:\\Users\\mara",
         f"{MACHINE}-1002": "C:\\Users\\Temp"}),
        accounts_hive({1001: ("mara", ""), 1002: ("temp", "")}))
    c.file("Users/mara/Desktop/a.txt", b"a")
    c.file("Users/Temp/Desktop/b.txt", b"b")
    document, _ = survey(bench.drive("list.img", 0x5EED001B, [c]))
    keys = {p["key"]: p for p in document["systems"][0]["persons"]}
    check(sorted(keys) == ["mara", "temp"], sorted(keys))
    check(not keys["mara"]["service"], keys["mara"])
    check(not keys["temp"]["temporary"] and not finding(document, "profile-temporary"), keys["temp"])


def case_moved_settings(bench):
    """Folders of settings (AppData) on another drive, and values that go through their variable."""
    c, d = Volume("C:", "Disk", "outside"), Volume("D:", "Data", "outside")
    put_windows(bench, c, system_hive(mounted=f"\\DosDevices\\D: = mbr 0x5eed001e {FIRST * 512}"),
                software_hive({f"{MACHINE}-1001": "C:\\Users\\mara"}),
                accounts_hive({1001: ("mara", "")}))
    c.file("Users/mara/NTUSER.DAT", bench.hive(f"""
[{SHELL}]
AppData = expand D:\\Settings
Local AppData = expand %USERPROFILE%\\AppData\\Local
Templates = expand %APPDATA%\\Patterns
"""))
    c.file("Users/mara/AppData/Local/Prog/a.ini", b"a")
    d.file("Settings/Prog/b.ini", b"b")
    d.file("Settings/Patterns/c.txt", b"c")
    images = bench.drive("c.img", 0x5EED001F, [c]), bench.drive("d.img", 0x5EED001E, [d])
    document, _ = survey(*images)
    mara = person(document["systems"][0], "mara")
    check([p["place"] for p in mara["settings"]] == ["settings-roaming"], mara["settings"])
    check(mara["settings"][0]["at"] == {"volume": "D:", "path": "\\Settings"}, mara["settings"])
    check(place(mara, "templates")["at"]["path"] == "\\Settings\\Patterns", place(mara, "templates"))
    target = os.path.join(bench.folder, "jobs")
    os.mkdir(target)
    done = subprocess.run([COLDLIFT, "extract", "--to", target, "--name", "job", "--format", "folder",
                           *images], capture_output=True, check=False)
    check(done.returncode == 0, done.stderr)
    with open(os.path.join(target, "job", "record.jsonl"), encoding="utf-8") as record:
        rows = {(r.get("volume"), r.get("path")): r for r in map(json.loads, record)}
    moved = rows["D:", "\\Settings\\Prog\\b.ini"]
    check((moved["state"], moved["reason"], moved["person"]) == ("taken", "settings", "mara"), moved)


def case_session(bench):
    """The memory file of a hibernated PC, and of one that was shut down with fast start-up."""
    for fast, code in ((1, "fast-start-up"), (0, "hibernated")):
        c = Volume("C:", "Disk", "outside")
        put_windows(bench, c, system_hive(more="[ControlSet002\\Control\\Session Manager\\Power]\n"
                                               f"HiberbootEnabled = number {fast}\n"),
                    software_hive({}), accounts_hive({}))
        c.file("hiberfil.sys", b"HIBR" + bytes(9000))
        document, _ = survey(bench.drive("session.img", 0x5EED0017, [c]))
        codes = [row["code"] for row in document["findings"]
                 if row["code"] in ("fast-start-up", "hibernated")]
        check(codes == [code], "session:", codes, "not", code)


def case_other_file_systems(bench):
    """A FAT volume that was D: is named, and so is the place that lies there."""
    c = Volume("C:", "Disk", "outside")
    put_windows(bench, c, system_hive(mounted=f"\\DosDevices\\D: = mbr 0x5eed0018 {FIRST * 512}"),
                software_hive({f"{MACHINE}-1001": "C:\\Users\\mara"}),
                accounts_hive({1001: ("mara", "")}))
    c.file("Users/mara/NTUSER.DAT", bench.hive(f"[{SHELL}]\nPersonal = expand D:\\Papers\n"))
    system = bench.drive("fat-c.img", 0x5EED0019, [c])
    image = os.path.join(bench.folder, "fat-d.img")
    drives.new_image(image, 14 << 20)
    drives.partition(bench.tools, image, f"label: dos\nlabel-id: 0x5eed0018\nstart={FIRST}, type=6\n")
    part = os.path.join(bench.folder, "part")
    drives.make_fat(bench.tools, part, 12 << 20, "PAPERS", "5EED0018", {"x.txt": b"x"}, bench.folder)
    drives.copy_into(image, part, FIRST * 512)
    document, _ = survey(system, image)
    check(finding(document, "volume-not-read"), document["findings"])
    check(finding(document, "place-not-read"), document["findings"])
    fat = next(v for v in document["volumes"] if v["file_system"] != "NTFS")
    check(fat["name"] == "D:" and not fat["readable"], fat)


def case_bad_input(bench):
    """One clear sentence and the right exit status."""
    empty, text, zeros = (os.path.join(bench.folder, name) for name in ("empty", "words", "zeros"))
    with open(empty, "wb"):
        pass
    with open(text, "wb") as out:
        out.write(b"not a drive\n" * 5000)
    drives.new_image(zeros, 1 << 20)
    for path in (empty, text, zeros, bench.folder, os.path.join(bench.folder, "nowhere")):
        status, said = survey(path)
        check(status == 3, path, "exit status", status)
        check("coldlift: " in said, path, said)
    for arguments in ([], ["--nonsense", zeros]):
        done = subprocess.run([COLDLIFT, "survey", *arguments], capture_output=True, check=False)
        check(done.returncode == 2 and not done.stdout and done.stderr, arguments, done)


run_cases(globals())
