#!/usr/bin/python3
"""Without a SOURCE: every drive but the stick, as on the live stick.

The live stick is imitated in a mount namespace of its own: the file /run/coldlift/stick is put
there, and /sys/block shows only loop devices over images. Needs root and loop devices; skipped
without. The ground truth of the demo PC's drives is build/demo/expected.json.
"""

import json
import os
import pathlib
import subprocess
import sys

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402
import _sets as sets  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
MIB = 1 << 20
loops = []


def attach(image):
    loops.append(h.attach_loop(image))
    return os.path.basename(loops[-1])


def on_stick(folder, names, stick, *command):
    """Runs a command where only these drives are there, and this one is the stick."""
    shown = pathlib.Path(folder, "block")
    shown.mkdir(exist_ok=True)
    for old in shown.iterdir():
        old.unlink()
    for name in names:
        (shown / name).symlink_to(os.path.realpath(f"/sys/block/{name}"))
    pathlib.Path(folder, "stick").write_text(f"{stick}\n")
    script = ("set -e; mount -t tmpfs none /run; mkdir /run/coldlift; "
              'cp "$1/stick" /run/coldlift/; mount --bind "$1/block" /sys/block; shift; exec "$@"')
    return subprocess.run(["unshare", "--mount", "sh", "-c", script, "sh", folder, h.COLDLIFT,
                           *command], capture_output=True, text=True, check=False)


def codes(findings, subject):
    return sorted(f["code"] for f in findings if f["subject"] == subject)


def copy(source, target, generation):
    """A copy of a mirror: the demo drive, and the set's description at its end."""
    h.tool("cp", "--sparse=always", source, target)
    with open(target, "r+b") as image:
        image.truncate(image.seek(0, 2) + 4 * MIB)
        size = image.seek(0, 2)
    sets.put_rst(target, sets.rst(["FERN-A", "FERN-B"],
                                  [("Fernhill", 1, 0, (size - 2 * MIB) // 512, 2)],
                                  generation=generation))


def check_choice(folder, names, stick, busy):
    """Persons of the demo PC; the stick, the older copy and a drive in use are not read."""
    expected = json.loads((h.DEMO / "expected.json").read_text())
    done = on_stick(folder, names, stick, "survey", "--json", "--quiet")
    h.check(done.returncode == 0, done.returncode, done.stderr)
    found = json.loads(done.stdout) if done.stdout else {"drives": [], "systems": [], "findings": []}
    read = [os.path.basename(d["path"]) for d in found["drives"]]
    h.check(stick not in read and busy not in read, read)
    h.check(len(found["systems"]) == 1, [s["computer"] for s in found["systems"]])
    accounts = {p["account"] for s in found["systems"] for p in s["persons"]}
    h.check({p["account"] for p in expected["persons"]} <= accounts, accounts)
    older, newer = f"/dev/{names[0]}", f"/dev/{names[1]}"
    h.check("set-copy-left" in codes(found["findings"], older), codes(found["findings"], older))
    h.check("set-mirror" in codes(found["findings"], newer), codes(found["findings"], newer))
    h.check(codes(found["findings"], f"/dev/{busy}") == ["drive-not-opened"], found["findings"])
    # With the newer one ruled out, the older one is read.
    done = on_stick(folder, names, stick, "survey", "--json", "--quiet", "--not", newer)
    found = json.loads(done.stdout)
    h.check("set-mirror" in codes(found["findings"], older), found["findings"])
    h.check(newer not in [d["path"] for d in found["drives"]], "ruled out, but read")


def main():
    if os.geteuid() != 0:
        h.skip("only root can attach loop devices")
    if not (h.DEMO / "old-system.img").exists():
        h.skip("the demo drives are not there")
    with h.work_folder() as folder:
        os.chdir(folder)
        try:
            copy(h.DEMO / "old-system.img", "one.img", 5)
            copy(h.DEMO / "old-system.img", "two.img", 6)
            for name in ("stick.img", "busy.img"):
                with open(name, "wb") as image:
                    image.truncate(8 * MIB)
            h.tool("mkfs.ext4", "-q", "-F", "busy.img")
            names = [attach(n) for n in ("one.img", "two.img", "stick.img", "busy.img")]
            try_out = on_stick(folder, names, names[2], "--version")
            if try_out.returncode != 0:
                h.skip("no mount namespace can be had: " + try_out.stderr.strip())
            os.mkdir("mounted")
            if subprocess.run(["mount", f"/dev/{names[3]}", "mounted"], check=False).returncode:
                h.skip("nothing can be mounted")
            check_choice(folder, names, names[2], names[3])
            listed = on_stick(folder, names, names[2], "drives", "--json", "--quiet")
            marks = {d["path"]: d["stick"] for d in json.loads(listed.stdout)["drives"]}
            h.check(marks == {f"/dev/{n}": n == names[2] for n in names}, marks)
            # The drive that is written to is not a source; and it must be an old drive's copy.
            done = on_stick(folder, names, names[2], "extract", "--dry-run", "--json", "--quiet",
                            "--to", os.path.join(folder, "mounted"))
            h.check(done.returncode in (0, 1), done.returncode, done.stderr[-500:])
            h.check("drive-not-opened" not in done.stdout, "the destination was tried as a source")
            done = on_stick(folder, names[2:3], names[2], "survey")
            h.check(done.returncode == 3, "only the stick:", done.returncode, done.stderr)
        finally:
            subprocess.run(["umount", "mounted"], capture_output=True, check=False)
            for loop in loops:
                subprocess.run(["losetup", "--detach", loop], check=False)
            os.chdir("/")
    h.finish()


main()
