#!/usr/bin/python3
"""Surveys and jobs of PCs that belong to an organisation, and of accounts in ways that the demo PC does not have.

How the drives are made: _survey_bench.py. Sources: Microsoft, "Integrate a Cloud Storage Provider"
(SyncRootManager) and "DMClient CSP" (UPN of an enrolment); [MS-FSCC] 2.1.2.1 (tags of cloud files). Where the state
of domains, joins and enrolments is kept: common practice, no source.
"""

import os
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
from _survey_bench import (COLDLIFT, MACHINE, SHELL, Volume, accounts_hive, check, finding,
                           put_windows, run_cases, software_hive, survey, system_hive)  # noqa: E402
from maker import reparse  # noqa: E402
from maker.tree import ARCHIVE, OFFLINE, RECALL_ON_DATA, Stream  # noqa: E402

_PROFILES = {f"{MACHINE}-1001": "C:\\Users\\mara"}
_NAMES = accounts_hive({1001: ("mara", "Mara Quill")})


def _pc(bench, name, software="", system="", hive="", sign=0x5EED0050, profiles=None):
    c = Volume("C:", "Disk", "outside")
    put_windows(bench, c, system_hive(more=system), software_hive(profiles or _PROFILES, "6.3", software),
                _NAMES)
    c.file("Users/mara/NTUSER.DAT",
           bench.hive(f"[{SHELL}]\nDesktop = expand %USERPROFILE%\\Desktop\n{hive}"))
    c.file("Users/mara/Desktop/a.txt", b"a")
    return c, lambda: bench.drive(name, sign, [c])


def _ways(document):
    return [(row["how"], row["name"], row["address"])
            for row in document["systems"][0]["accounts"]["managed_by"]]


def _check_managed(document, text, ways):
    check(_ways(document) == ways, _ways(document))
    found = finding(document, "managed-pc")
    check(len(found) == 1 and found[0]["weight"] == "caution" and found[0]["subject"] == "HUT-PC",
          document["findings"])
    check(text.startswith("Ask first: HUT-PC: This PC belongs to an organisation"), text[:300])


def case_domain(bench):
    """A member of a domain; a suffix of names alone, as anybody can set, makes none."""
    _, drive = _pc(bench, "domain.img", system="""
[ControlSet002\\Services\\Tcpip\\Parameters]
Domain = text school.fernhill.example
[ControlSet002\\Services\\Netlogon\\Parameters]
DynamicSiteName = text Default-First-Site-Name
""")
    document, text = survey(drive())
    _check_managed(document, text, [("domain", "school.fernhill.example", None)])
    _, drive = _pc(bench, "named.img", system="""
[ControlSet002\\Services\\Tcpip\\Parameters]
Domain = text home.fernhill.example
""")
    document, text = survey(drive())
    check(_ways(document) == [] and not finding(document, "managed-pc"), _ways(document))
    check("Ask first" not in text, text[:300])
    _, drive = _pc(bench, "policy.img", software="""
[Microsoft\\Windows\\CurrentVersion\\Group Policy\\State\\Machine]
Distinguished-Name = text CN=HUT-PC,OU=Rooms,DC=school,DC=example
[Policies\\Microsoft\\Windows\\CurrentVersion\\MDM]
AutoEnrollMDM = number 1
""")
    document, text = survey(drive())
    _check_managed(document, text, [("domain", None, None), ("policy", None, None)])


def case_enrolled(bench):
    """Joined to a directory and enrolled; an enrolment that ended, and one that every PC has, do not count."""
    _, drive = _pc(bench, "enrolled.img", software="""
[Microsoft\\Enrollments\\5EED0001-0000-0000-0000-000000000001]
UPN = text caretaker@school.example
EnrollmentType = number 6
EnrollmentState = number 1
[Microsoft\\Enrollments\\5EED0001-0000-0000-0000-000000000002]
UPN = text gone@school.example
EnrollmentState = number 3
[Microsoft\\Enrollments\\5EED0001-0000-0000-0000-000000000003]
ProviderID = text Local
EnrollmentState = number 1
""", system="""
[ControlSet002\\Control\\CloudDomainJoin\\JoinInfo\\5EEDF00D]
UserEmail = text caretaker@school.example
TenantId = text 5eed0000-0000-0000-0000-00000000000a
[ControlSet002\\Control\\CloudDomainJoin\\TenantInfo\\5eed0000-0000-0000-0000-00000000000a]
DisplayName = text Fernhill School
""")
    image = drive()
    document, text = survey(image)
    _check_managed(document, text, [("directory", "Fernhill School", "caretaker@school.example"),
                                    ("enrolled", None, "caretaker@school.example")])
    _check_job(image)
    # An account of a directory signs in only on a PC that was joined to it.
    _, drive = _pc(bench, "joined.img", profiles={"S-1-12-1-1-2-3-4": "C:\\Users\\mara"})
    document, text = survey(drive())
    _check_managed(document, text, [("directory", None, None)])


def _check_job(image):
    """It is said before anything is taken, and stands first in the list for before the PC is wiped."""
    with tempfile.TemporaryDirectory(prefix="coldlift-accounts-") as to:
        done = subprocess.run([COLDLIFT, "extract", "--to", to, "--name", "job", image],
                              capture_output=True, text=True, check=False)
        check(done.returncode == 0, done.returncode, done.stderr)
        check(done.stderr.startswith("Ask first: HUT-PC: This PC belongs"), done.stderr[:300])
        with open(os.path.join(to, "job", "before-you-wipe.txt"), encoding="utf-8") as file:
            text = file.read()
        check(text.index("[ ]   Ask the organisation") < text.index("[ ]   Check what arrived"), text[:500])
        done = subprocess.run([COLDLIFT, "verify", os.path.join(to, "job")], capture_output=True,
                              text=True, check=False)
        check(done.returncode == 0 and "no part of the job" not in done.stdout, done.stdout)


def case_work_account(bench):
    """A work account that a person added: a note, and no reason to ask for the whole PC."""
    _, drive = _pc(bench, "work.img", hive="""
[Software\\Microsoft\\Windows NT\\CurrentVersion\\WorkplaceJoin\\JoinInfo\\5EEDF00D]
UserEmail = text mara@school.example
TenantId = text 5eed0000-0000-0000-0000-00000000000a
""")
    document, text = survey(drive())
    check(_ways(document) == [("account", None, "mara@school.example")], _ways(document))
    check(document["systems"][0]["accounts"]["managed"] is False, "managed")
    check(not finding(document, "managed-pc") and "Ask first" not in text, text[:300])
    notes = finding(document, "work-account")
    check(len(notes) == 1 and "mara@school.example" in notes[0]["sentence"], notes)


def case_folder_tree(bench):
    """Folders that a client put into the desktop's tree: looked up only where one is not known already."""
    tree = "Software\\Microsoft\\Windows\\CurrentVersion\\Explorer\\Desktop\\NameSpace"
    bag = "Instance\\InitPropertyBag"
    account = """
[Software\\Hedgerow\\Box\\Accounts\\1]
UserFolder = text C:\\Users\\mara\\Box
UserEmail = text mara@fernhill.example
"""
    numbers = [f"{{5EED000{i}-0000-0000-0000-000000000000}}" for i in range(3)]
    classes = f"""
[CLSID\\{numbers[0]}]
@ = text Hedgerow Box
[CLSID\\{numbers[0]}\\{bag}]
TargetFolderPath = text %USERPROFILE%\\Box
[CLSID\\{numbers[1]}]
@ = text @box.dll,-1
[CLSID\\{numbers[1]}\\{bag}]
TargetFolderPath = text C:\\Shed
[CLSID\\{numbers[2]}\\{bag}]
TargetKnownFolder = text {{A52BBA46-E9E1-435F-B3D9-28DAA648C0F6}}
"""
    for known, wanted in ((1, [("C:\\Users\\mara\\Box", "account", "Box")]),
                          (3, [("C:\\Users\\mara\\Box", "account", "Box"),
                               ("C:\\Shed", "folder-tree", None)]),
                          (-3, [("C:\\Users\\mara\\Box", "folder-tree", "Hedgerow Box"),
                                ("C:\\Shed", "folder-tree", None)])):
        keys = "".join(f"[{tree}\\{number}]\n@ = text x\n" for number in numbers[:abs(known)])
        c, drive = _pc(bench, "tree.img", hive=keys + (account if known > 0 else ""))
        c.file("Users/mara/AppData/Local/Microsoft/Windows/UsrClass.dat", bench.hive(classes))
        c.file("Users/mara/Box/a.txt", b"a")
        c.file("Shed/b.txt", b"b")
        document, _ = survey(drive())
        rows = [(row["path"], row["known_by"], row["name"])
                for row in document["systems"][0]["accounts"]["cloud_folders"]]
        check(rows == wanted, known, rows)


def case_key_files(bench):
    """Private keys are counted, what is public is not; a browser is no program that keeps to itself."""
    c, drive = _pc(bench, "keys.img")
    for name in ("id_fern", "id_fern.pub", "known_hosts", "known_hosts.old", "config", "hut.pem"):
        c.file("Users/mara/.ssh/" + name, b"x")
    c.file("Users/mara/AppData/Roaming/gnupg/private-keys-v1.d/5EED.key", b"x")
    c.file("Users/mara/AppData/Local/Browser/History", b"x")
    c.file("Users/mara/AppData/Local/Browser/IndexedDB/1.ldb", b"x")
    c.file("Users/mara/AppData/Local/Packages/Hut.Talk_5eed/LocalState/messages.db", b"x")
    c.file("Users/mara/AppData/Local/Packages/Hut.Talk_5eed/LocalState/old/chat2.db", b"x")
    document, _ = survey(drive())
    rows = sorted((row["kind"], row["path"], row["files"])
                  for row in document["systems"][0]["accounts"]["bound_to_pc"])
    local = "C:\\Users\\mara\\AppData\\Local\\"
    check(rows == [("keys", "C:\\Users\\mara\\.ssh", 2),
                   ("keys", "C:\\Users\\mara\\AppData\\Roaming\\gnupg\\private-keys-v1.d", 1),
                   ("session", local + "Packages\\Hut.Talk_5eed\\LocalState", 2)], rows)


def case_unknown_cloud(bench):
    """A folder in the cloud that no key names: its files tell. What is no address is none."""
    c, drive = _pc(bench, "cloud.img", hive="""
[Software\\Hedgerow\\Box\\Accounts\\1]
UserEmail = text not an address
UserFolder = text relative\\folder
[Software\\Microsoft\\IdentityCRL\\StoredIdentities\\mara@fernhill.example]
x = number 1
[Software\\Microsoft\\IdentityCRL\\StoredIdentities\\"<script>"@example]
x = number 1
[Software\\Microsoft\\Windows NT\\CurrentVersion\\Windows Messaging Subsystem\\Profiles\\P\\G\\00000001]
Email = wide old@fernhill.example
""")
    for path in ("Users/mara/Box", "Users/mara/Box/Plans"):
        c.folder(path, reparse_data=reparse.cloud(path[-20:]))
    away = ARCHIVE | OFFLINE | RECALL_ON_DATA
    c.file("Users/mara/Box/Plans/far.pdf", Stream(40000, []), attributes=away,
           reparse_data=reparse.cloud("far"))
    c.file("Users/mara/Box/Plans/here.txt", b"here", reparse_data=reparse.cloud("here"))
    c.file("Users/mara/Box/new.txt", b"new")
    c.file("Elsewhere/far too.pdf", Stream(50000, []), attributes=away,
           reparse_data=reparse.cloud("far too"))
    document, _ = survey(drive())
    accounts = document["systems"][0]["accounts"]
    rows = {row["path"]: (row["person"], row["known_by"], row["address"], row["here_files"],
                          row["cloud_only_files"], row["cloud_only_bytes"])
            for row in accounts["cloud_folders"]}
    check(rows == {"C:\\Users\\mara\\Box": ("mara", "cloud-files", None, 2, 1, 40000),
                   "C:\\Elsewhere": (None, "cloud-files", None, 0, 1, 50000)}, rows)
    told = finding(document, "cloud-files")
    check(len(told) == 2 and all("only in the cloud" in row["sentence"] for row in told), told)
    rows = [(row["address"], row["to"]) for row in accounts["sign_ins"]]
    check(rows == [("mara@fernhill.example", "apps"), ("old@fernhill.example", "mail")], rows)


run_cases(globals())
