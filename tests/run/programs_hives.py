#!/usr/bin/python3
"""What is told of programs from real hives, compared with walks of the same hives by hivex.

The hives are open sample files; the drive around them is made by _survey_bench.py. hivex does not apply logs, so the
drive has none.
"""

import os
import subprocess
import sys

sys.dont_write_bytecode = True
from _survey_bench import (MACHINE, Volume, accounts_hive, check, put_windows, run_cases, software_hive,
                           survey, system_hive)  # noqa: E402

import hivex

DATA = os.environ.get("COLDLIFT_DATA", "")
HIVES = os.path.join(DATA, "hives", "windows-hives")
APPS = "Local Settings\\Software\\Microsoft\\Windows\\CurrentVersion\\AppModel\\"


class Walked:
    """A hive as hivex reads it."""

    def __init__(self, path):
        self.hive = hivex.Hivex(path)

    def key(self, path):
        node = self.hive.root()
        for name in path.split("\\"):
            wanted = name.casefold()
            node = next((child for child in self.hive.node_children(node)
                         if self.hive.node_name(child).casefold() == wanted), None)
            if node is None:
                return None
        return node

    def subkeys(self, node):
        return {self.hive.node_name(child): child for child in self.hive.node_children(node)} if node else {}

    def texts(self, node):
        found = {}
        for value in self.hive.node_values(node) if node else []:
            kind, data = self.hive.value_value(value)
            if kind in (1, 2):
                text = data.decode("utf-16le", "surrogatepass").partition("\0")[0]
                found[self.hive.value_key(value).casefold()] = text
        return found

    def all_texts(self, node):
        found = dict(self.texts(node))
        for child in self.subkeys(node).values():
            for name, text in self.all_texts(child).items():
                found.setdefault(name, text)
        return found


def sample(folder, name):
    path = os.path.join(folder, name)
    with open(path, "wb") as out:
        subprocess.run(["xz", "-dc", os.path.join(HIVES, name + ".xz")], stdout=out, check=True)
    return path


def wanted_names(classes):
    """Package -> what the old system showed for it, where the hive has it in words."""
    cache = classes.all_texts(classes.key("Local Settings\\MrtCache"))

    def plain(text):
        text = cache.get(text.casefold(), "") if text.startswith("@") else text
        return "" if text.startswith(("@", "ms-resource:")) else text

    names = {}
    for package, node in classes.subkeys(classes.key(APPS + "Repository\\Packages")).items():
        family = package.partition("_")[0] + "_" + package.rpartition("_")[2]
        names[package] = plain(classes.texts(node).get("displayname", ""))
        starts = classes.subkeys(classes.key(APPS + f"SystemAppData\\{family}\\SplashScreen"))
        if not names[package] and starts:
            names[package] = plain(classes.texts(next(iter(starts.values()))).get("appname", ""))
    return names


def case_apps(bench):
    path = sample(bench.folder, "UsrClass.dat")
    names = wanted_names(Walked(path))
    listed = "".join(f"[Microsoft\\Windows\\CurrentVersion\\Appx\\AppxAllUserStore\\Applications\\{package}]\n"
                     f"Path = text C:\\nowhere\\{package}\\AppxManifest.xml\n" for package in names)
    c = Volume("C:", "Disk", "outside")
    put_windows(bench, c, bench.hive(system_hive()),
                bench.hive(software_hive({f"{MACHINE}-1001": "C:\\Users\\mara"}, more=listed)),
                bench.hive(accounts_hive({})))
    with open(path, "rb") as hive:
        c.file("Users/mara/AppData/Local/Microsoft/Windows/UsrClass.dat", hive.read())
    document, _ = survey(bench.drive("apps.img", 0x5EED0031, [c], mib=24))
    found = {row["key"]: row for row in document["systems"][0]["programs"]}
    told = 0
    for package, row in found.items():
        if row["component"]:
            continue
        if names[package]:
            told += 1
            check((row["name"], row["name_from"]) == (names[package], "registry"), package, row["name"],
                  row["name_from"], "not", names[package])
        else:
            check(row["name_from"] == "package" and row["name"], package, row["name"], row["name_from"])
    check(told >= 10, "only", told, "of", len(names), "packages have a name in words")
    print(f"{len(found)} store apps, {told} with the name that the hive has for them")


def case_persons(bench):
    """Each hive is a person's: records of programs; and real hives, which have no serial number, tell of none."""
    names = ["NTUSER-WIN7.DAT", "NTUSER.DAT", "NTUSER_BAGMRU.DAT", "transactions_NTUSER.DAT"]
    c = Volume("C:", "Disk", "outside")
    profiles = {f"{MACHINE}-{1001 + i}": f"C:\\Users\\p{i}" for i in range(len(names))}
    put_windows(bench, c, bench.hive(system_hive()), bench.hive(software_hive(profiles)),
                bench.hive(accounts_hive({})))
    wanted = []
    for number, name in enumerate(names):
        path = sample(bench.folder, name)
        with open(path, "rb") as hive:
            c.file(f"Users/p{number}/NTUSER.DAT", hive.read())
        walked = Walked(path)
        records = walked.key("Software\\Microsoft\\Windows\\CurrentVersion\\Uninstall")
        for key, node in walked.subkeys(records).items():
            texts = walked.texts(node)
            if texts.get("displayname"):
                wanted.append((f"p{number}", key, texts["displayname"], texts.get("publisher", ""),
                               texts.get("displayversion", "")))
    document, _ = survey(bench.drive("persons.img", 0x5EED0032, [c], mib=40))
    system = document["systems"][0]
    found = [(row["person"], row["key"], row["name"], row["publisher"], row["version"])
             for row in system["programs"] if row["origin"] == "record"]
    check(sorted(found) == sorted(wanted), "records", found, "not", wanted)
    check(len(wanted) > 5, "only", len(wanted), "records")
    check(not system["other_licences"] and not any(row["licence"] for row in system["programs"]),
          "serial numbers where there are none", system["other_licences"])
    print(f"{len(wanted)} records of persons' programs")


if not os.path.isdir(HIVES):
    print("the sample hives are not there")
    sys.exit(77)
run_cases(globals())
