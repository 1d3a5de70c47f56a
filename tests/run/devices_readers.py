#!/usr/bin/python3
"""What is learned of devices and connections is what independent readers find.

Sources: hivex, walking the open sample hives key by key; Python's XML parser and reader of INI files; .job files packed here from the layout
in [MS-TSCH] 2.4. Hives of the demo drives' builder stand in for what no sample has (there is no sample of SOFTWARE).
"""

import codecs
import configparser
import json
import os
import struct
import subprocess
import sys
import tempfile
import xml.etree.ElementTree

from _harness import BUILD, ROOT, check, finish, skip

try:
    import hivex
except ImportError as error:
    skip(str(error))

sys.path.insert(0, str(ROOT / "fixtures"))
sys.dont_write_bytecode = True
from maker import connections, hives  # noqa: E402

DATA = os.environ.get("COLDLIFT_DATA", str(ROOT / "../shared/data"))
WORK = tempfile.TemporaryDirectory(prefix="coldlift-devices-")
MONITORS = "Control/Print/Monitors"


def dump(*arguments):
    done = subprocess.run([BUILD / "tests/run/dump_devices", *arguments], capture_output=True, text=True,
                          check=False)
    check(done.returncode == 0, arguments, done.stderr[-500:])
    return json.loads(done.stdout) if done.returncode == 0 else []


def unpacked(name):
    """A sample hive, or None where the samples are not there."""
    packed = os.path.join(DATA, "hives/windows-hives", name + ".xz")
    path = os.path.join(WORK.name, name)
    if not os.path.exists(packed):
        return None
    with open(path, "wb") as out:
        subprocess.run(["xz", "-dc", packed], stdout=out, check=True)
    return path


# --- the other reader ---


class Reader:
    def __init__(self, path):
        self.hive = hivex.Hivex(path)

    def key(self, path, node=None):
        node = node or self.hive.root()
        for name in path.split("/") if path else []:
            node = node and next((child for child in self.hive.node_children(node)
                                  if self.hive.node_name(child).casefold() == name.casefold()), None)
        return node

    def names(self, node):
        return [self.hive.node_name(child) for child in self.hive.node_children(node)] if node else []

    def value(self, node, name):
        """Text or number; None when it is not there."""
        found = node and next((value for value in self.hive.node_values(node)
                               if self.hive.value_key(value).casefold() == name.casefold()), None)
        if not found:
            return None
        kind, data = self.hive.value_value(found)
        if kind == 4:
            return struct.unpack("<I", data)[0]
        if kind in (1, 2):
            return data.decode("utf-16le", "replace").split("\0")[0]
        return data

    def texts(self, node, name):
        data = self.value(node, name)
        return [text for text in data.decode("utf-16le").split("\0") if text] if data else []

    def control(self):
        current = self.value(self.key("Select"), "Current")
        return self.key(f"ControlSet{current:03}")


def of_kind(things, kind):
    return [thing for thing in things if thing["kind"] == kind]


def named(things, kind):
    return sorted(thing["name"] for thing in of_kind(things, kind))


# --- the machine's hive ---


def check_printers(reader, control, things, where):
    key = reader.key("Control/Print/Printers", control)
    check(named(things, "printer") == sorted(reader.names(key)), where, "printers", named(things, "printer"))
    for thing in of_kind(things, "printer"):
        printer = reader.key(thing["name"], key)
        mine = thing["details"]
        check(mine.get("port") == (reader.value(printer, "Port") or None), where, thing)
        check(mine.get("driver") == (reader.value(printer, "Printer Driver") or None), where, thing)
        monitors = reader.key(MONITORS, control)
        addresses = set()
        for monitor in reader.names(monitors):
            port = reader.key("Ports", reader.key(monitor, monitors))
            port = port and mine.get("port") and reader.key(mine["port"], port)
            addresses |= {reader.value(port, name) for name in ("HostName", "IPAddress")} if port else set()
        check(mine.get("address") in addresses or not addresses - {None, ""}, where, "address", thing)


def check_system(name):
    path = unpacked(name)
    if not path:
        return 0
    reader, things = Reader(path), dump("machine", path)
    control = reader.control()
    check_printers(reader, control, things, name)
    shares = reader.key("Services/LanmanServer/Shares", control)
    wanted = {reader.hive.value_key(value) for value in reader.hive.node_values(shares)} if shares else set()
    check(set(named(things, "share")) == wanted, name, "shares", wanted, named(things, "share"))
    for thing in of_kind(things, "share"):
        told = dict(text.split("=", 1) for text in reader.texts(shares, thing["name"]))
        check(told.get("Path") == thing["details"].get("path"), name, thing, told)
    paired = reader.key("Services/BTHPORT/Parameters/Devices", control)
    wanted = sorted(key for key in reader.names(paired) if reader.value(reader.key(key, paired), "Name"))
    found = sorted(thing["details"]["address"] for thing in of_kind(things, "paired-device"))
    check(found == wanted, name, "paired devices", found, wanted)
    schemes = reader.key("Control/Power/User/PowerSchemes", control)
    check(bool(reader.value(schemes, "ActivePowerScheme")) == bool(of_kind(things, "power")), name, "power")
    return 1 + len(of_kind(things, "printer"))


# --- persons' hives ---


def check_keyboards(reader, things, name):
    preload, other = reader.key("Keyboard Layout/Preload"), reader.key("Keyboard Layout/Substitutes")
    wanted = []
    while preload and reader.value(preload, str(len(wanted) + 1)):
        language = reader.value(preload, str(len(wanted) + 1))
        wanted.append(reader.value(other, language) or language)
    found = [thing["details"]["layout"] for thing in of_kind(things, "keyboard")]
    check(found == wanted, name, "keyboards", found, wanted)


def check_choices(reader, things, name):
    wanted = {}
    for path in ("Software/Microsoft/Windows/CurrentVersion/Explorer/FileExts",
                 "Software/Microsoft/Windows/Shell/Associations/UrlAssociations"):
        key = reader.key(path)
        for kind in reader.names(key):
            choice = reader.value(reader.key(kind + "/UserChoice", key), "ProgId")
            if choice:
                wanted.setdefault(choice.rpartition("\\")[2].casefold(), set()).add(kind)
    found = {thing["name"].casefold(): set(thing["details"]["types"].split(" "))
             for thing in of_kind(things, "default-program")}
    check(found == wanted, name, "default programs", found, wanted)
    return len(wanted)


def check_person(name):
    path = unpacked(name)
    if not path:
        return 0
    reader, things = Reader(path), dump("person", path)
    drives = {key + ":": reader.value(reader.key("Network/" + key), "RemotePath")
              for key in reader.names(reader.key("Network"))}
    found = {thing["name"]: thing["details"].get("remote_path") for thing in of_kind(things, "mapped-drive")}
    check(found == drives, name, "mapped drives", found, drives)
    far = sorted(key.replace(",", "\\") for key in reader.names(reader.key("Printers/Connections")))
    check(named(things, "printer") == far, name, "printers", far)
    device = reader.value(reader.key("Software/Microsoft/Windows NT/CurrentVersion/Windows"), "Device")
    wanted = [device.split(",")[0]] if device else []
    check(named(things, "default-printer") == wanted, name, "default printer", wanted)
    check_keyboards(reader, things, name)
    international = reader.key("Control Panel/International")
    formats = of_kind(things, "formats")
    check([thing["name"] for thing in formats] ==
          ([reader.value(international, "LocaleName")] if international else []), name, formats)
    languages = reader.texts(reader.key("Control Panel/International/User Profile"), "Languages")
    check([thing["name"] for thing in of_kind(things, "language")] == languages, name, languages)
    wallpaper = [thing["details"].get("shown_from", thing["name"]) for thing in of_kind(things, "wallpaper")]
    told = reader.value(reader.key("Control Panel/Desktop"), "Wallpaper")
    check(not told or wallpaper == [told], name, "wallpaper", wallpaper, told)
    return 1 + check_choices(reader, things, name)


# --- hives made here ---

XP = r"""
[Select]
Current = number 1
[ControlSet001\Control\Print\Printers\Old laser]
Port = text LPT1:
Printer Driver = text Old laser
[ControlSet001\Control\Print\Printers\Pool]
Port = text USB001,USB002
[ControlSet001\Control\Print\Printers\Searched]
Port = text WSD-5eed
[ControlSet001\Control\Print\Printers\Fax]
Port = text FAX:
Printer Driver = text Fax
[ControlSet001\Control\Print\Printers\Wrong types]
Port = number 7
Attributes = text 8
Printer Driver = hex 00d8
Share Name = text x
[ControlSet001\Control\Print\Environments\Windows NT x86\Drivers\Version-3\Fax]
Manufacturer = text Microsoft
[ControlSet001\Services\lanmanserver\Shares]
print$ = texts Path=C:\WINDOWS\spool | Type=0
Fax = texts Path=Fax,LocalsplOnly | Type=1
broken = number 5
[ControlSet001\Control\Session Manager\Environment]
Path = expand %SystemRoot%\system32;C:\Tools;%SystemRoot%
"""
PERSON = r"""
[Network\Z]
RemotePath = number 3
[Network\Y]
UserName = number 0
RemotePath = text \\HUT-SERVER\y
[Control Panel\Desktop]
Wallpaper = number 2
TranscodedImageCache = hex 7ac3
[Control Panel\International]
sCountry = text United Kingdom
[Keyboard Layout\Preload]
1 = text 00000407
[Software\Microsoft\Windows\CurrentVersion\Explorer\FileExts\.x\UserChoice]
ProgId = number 1
[Environment]
Path = expand %USERPROFILE%\AppData\Local\Microsoft\WindowsApps;
API_KEY = text never shown
"""

SOFTWARE = r"""
[Classes\Plain.Text\shell\open\command]
@ = expand %SystemRoot%\system32\NOTEPAD.EXE %1
[Classes\AppX5eed\Application]
ApplicationName = text @{Hedgerow.Photos_1.2.0.0_x64__8wekyb3d8bbwe?ms-resource://Hedgerow.Photos/Name}
[Classes\AppX5eef\Application]
ApplicationName = text @{Hedgerow.Maps_1.2.0.0_x64__5eed0fern1a7d?ms-resource://Hedgerow.Maps/Name}
[Classes\Planner.Plan\shell\open\command]
@ = text "C:\Program Files\Plot Planner\planner.exe" "%1"
[Classes\Worded]
@ = text A kind of file
[Microsoft\Windows NT\CurrentVersion\Print\Printers\New laser]
Port = text USB003
"""
CHOICES = "".join(f"""
[Software\\Microsoft\\Windows\\CurrentVersion\\Explorer\\FileExts\\{ending}\\UserChoice]
ProgId = text {program}
""" for ending, program in ((".a", "Plain.Text"), (".b", "AppX5eed"), (".c", "AppX5eef"), (".d", "Planner.Plan"),
                            (".e", "Worded"), (".f", "Nowhere"), (".g", "Applications\\x.exe"), (".h", "Planner.Plan")))


def made(name, text):
    with open(os.path.join(WORK.name, name + ".txt"), "w", encoding="utf-8") as out:
        out.write(text)
    path = os.path.join(WORK.name, name)
    hive = hives.HiveMaker(WORK.name, WORK.name, {}).make([name + ".txt"], name)
    with open(path, "wb") as out:
        out.write(hive)
    return path


def check_made():
    things = dump("machine", made("xp", XP))
    printers = {thing["name"]: thing for thing in of_kind(things, "printer")}
    kinds = {name: thing["details"].get("connection") for name, thing in printers.items()}
    check(kinds == {"Old laser": "cable", "Pool": "usb", "Searched": "network-searched", "Fax": "program",
                    "Wrong types": "other"}, kinds)
    check([name for name in printers if printers[name]["comes_with_windows"]] == ["Fax"], "usual printers")
    check("shared_as" not in printers["Wrong types"]["details"], printers["Wrong types"])
    shares = {thing["name"]: thing["details"]["what"] for thing in of_kind(things, "share")}
    check(shares == {"print$": "folder", "Fax": "printer"}, shares)
    check([thing["details"] for thing in of_kind(things, "variable")] == [{"value": "C:\\Tools"}], things)
    things = dump("person", made("person", PERSON))
    check(named(things, "mapped-drive") == ["Y:", "Z:"], things)
    check(named(things, "variable") == ["API_KEY"] and "never shown" not in json.dumps(things), things)
    check(named(things, "formats") == ["United Kingdom"] and named(things, "keyboard") == ["00000407"], things)
    check(not of_kind(things, "wallpaper") and not of_kind(things, "default-program"), things)
    path = "D:\\Pictures\\hills.jpg"
    shown = "C:\\x\\TranscodedWallpaper"
    things = dump("person", made("wall", "[Control Panel\\Desktop]\nWallpaper = text " + shown +
                                 "\nTranscodedImageCache = hex " + "5e" * 24 + path.encode("utf-16le").hex() + "0000"))
    check([(thing["name"], thing["details"].get("shown_from")) for thing in things] == [(path, shown)], things)
    software = made("software", SOFTWARE)
    things = dump("person", made("choices", CHOICES), made("xp", XP), software)
    found = {thing["name"]: (thing["details"]["types"], thing["comes_with_windows"])
             for thing in of_kind(things, "default-program")}
    check(found == {"NOTEPAD.EXE": (".a", True), "Hedgerow.Photos": (".b", True), "Hedgerow.Maps": (".c", False),
                    "planner.exe": (".d .h", False), "A kind of file": (".e", False), "Nowhere": (".f", False),
                    "x.exe": (".g", False)}, found)
    check("New laser" in named(dump("machine", made("xp", XP), software), "printer"), "printers of newer systems")


# --- tasks and XML ---


def file_of(name, data):
    path = os.path.join(WORK.name, name)
    with open(path, "wb") as out:
        out.write(data)
    return path


def check_tasks():
    data = connections.job("C:\\Tools\\back up.exe", "/all", "mara", "Für den Garten")
    wanted = {"author": "mara", "program": "C:\\Tools\\back up.exe", "arguments": "/all", "folder": "C:\\Tools",
              "comment": "Für den Garten", "when": "every week, from 2009-05-04 07:30", "off": False}
    check(dump("task", file_of("a.job", data)) == wanted, dump("task", file_of("a.job", data)))
    check(dump("task", file_of("b.job", connections.job("x", "", "", "", 4)))["off"], "a task that is off")
    for cut in (0, 60, 69, 90, 130):
        check(dump("task", file_of("c.job", data[:cut])) is None, "a .job file cut at", cut)
    data = connections.task("FERNHILL-PC\\mara", "C:\\a &amp; b.exe", "&lt;x&gt;",
                            connections.weekly("2023-01-06T18:00:00"), "Ein Gruß &#x1F331;")
    root = xml.etree.ElementTree.fromstring(data.decode("utf-16").replace('encoding="UTF-16"', ""))
    space = "{http://schemas.microsoft.com/windows/2004/02/mit/task}"
    found = dump("task", file_of("task", data))
    for key, path in (("author", "RegistrationInfo/Author"), ("program", "Actions/Exec/Command"),
                      ("arguments", "Actions/Exec/Arguments"), ("comment", "RegistrationInfo/Description")):
        text = root.findtext("/".join(space + part for part in path.split("/")))
        check(found[key] == text, key, found, text)
    check(found["when"] == "every week, from 2023-01-06 18:00", found)


ODD = """<?xml version="1.0"?><!-- <a><b>no</b></a> --><n:a x="1 > 0" y='b>"'><c><b>deeper</b></c><b/><d>
  two  <e>inner</e></d><b2>no</b2><f><![CDATA[<b>no</b>]]></f><g>&#65;&amp;&bad;</g><g>second</g></n:a>"""


def check_xml():
    path = file_of("odd.xml", ODD.encode())
    root = xml.etree.ElementTree.fromstring(ODD.replace("n:", "").replace("&bad;", "&amp;bad;"))
    for name in ("c/b", "b", "d", "d/e", "g", "b2", "nothing", "c/nothing"):
        text = root.findtext(name)
        ours = dump("xml", path, "a/" + name)
        check(ours == (text.strip() if text is not None else None), name, ours, text)
    for broken in ("<a><b>x", "<a", "<a b='", "<!--", "</a></a><a><b>x</b>", "<a>" * 3000, ""):
        ours = dump("xml", file_of("broken.xml", broken.encode()), "a/b")
        check(ours == ("x" if "<b>x" in broken else None), "broken:", broken[:30], ours)
    wide = codecs.BOM_UTF16_LE + ODD.encode("utf-16le")
    check(dump("xml", file_of("wide.xml", wide), "a/c/b") == "deeper", "UTF-16")


BOOK = """[Büro]\r\nType=2\r\nPhoneNumber=\r\nPhoneNumber=vpn.fernhill.example\r\n\r\n[Modem]\r\nType=1\r
PhoneNumber=0123 456\r\n[Empty]\r\n[Line]\r\nType=5\r\nPhoneNumber=\r\n"""


def check_phone_book():
    book = configparser.RawConfigParser(strict=False)
    book.optionxform = str
    book.read_string(BOOK.replace("PhoneNumber=\r\nPhoneNumber", "PhoneNumber"))
    kinds = {"2": "tunnel", "1": "dial-up", "5": "broadband", None: ""}
    wanted = [[name, book[name].get("PhoneNumber", ""), kinds[book[name].get("Type")]] for name in book.sections()]
    for data in (BOOK.encode(), codecs.BOM_UTF16_LE + BOOK.encode("utf-16le")):
        found = dump("phone-book", file_of("a.pbk", data))
        check(found == wanted, "phone book:", found, wanted)
    for broken in (b"", b"[", b"[]", b"PhoneNumber=x", b"\xff[a]", bytes(100)):
        check(dump("phone-book", file_of("b.pbk", broken)) == [], "broken phone book:", broken)


counts = [check_system(name) for name in ("SYSTEM", "SYSTEM_B")]
counts += [check_person(name) for name in ("NTUSER-WIN7.DAT", "NTUSER.DAT", "NTUSER_BAGMRU.DAT",
                                           "transactions_NTUSER.DAT")]
check_made()
check_tasks()
check_xml()
check_phone_book()
if not all(counts):
    print("some sample files are not there: only files made here were compared")
finish()
