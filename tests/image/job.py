#!/usr/bin/python3
"""A whole job from the stick, as the README tells it: the demo drives in the PC, a destination plugged in later.

The job is read back on the host with the file system's own tool, proven there by `coldlift verify`, and its record is
compared with the demo drives' ground truth. Secure Boot is on: a locked-down kernel must not be in the way."""

import pathlib
import shutil

from _sources import Drive, Machine, check, copy_volume, finish, make_drive, sha256, skip, tool, work_folder
from _harness import DEMO, run  # _sources says where it is
from _truth import compare

LEFT = "D:\\Survey\\**"  # 4 GiB of zeros: too slow to hash on an emulated processor

if not (DEMO / "expected.json").exists():
    skip("there are no demo drives (make demo-drives)")


def run_job(pc):
    target = pc.command("findfs LABEL=NEWHOME").strip().removeprefix("/dev/")
    others = {target.rstrip("0123456789"), *pc.command("cat /run/coldlift/stick").split()}
    sources = [f"/dev/{name}" for name in pc.command("ls /sys/class/block").split()
               if name.startswith("sd") and len(name) == 3 and name not in others]
    check(len(sources) == 2, "the PC has other drives than expected:", sources)
    pc.command(f"read-write {target} && mount -t ext4 /dev/{target} /mnt")
    said = pc.command(f"coldlift extract --quiet --to /mnt --name fernhill --leave '{LEFT}' {' '.join(sources)}; "
                      "echo ended $?", 400)
    check("ended 1" in said, "extract should end with listed losses:", said)
    pc.command("umount /mnt")


with work_folder() as work:
    folder = pathlib.Path(work)
    sources = [Drive(folder / "system.img", "ahci"), Drive(folder / "data.img", "usb", serial="FERNHILL-DATA")]
    for drive, name in zip(sources, ("old-system.img", "old-data.img")):
        shutil.copyfile(DEMO / name, drive.path)
    before = {drive.path: sha256(drive.path) for drive in sources}
    target = make_drive(folder / "target.img", "NEWHOME", 60, "ext4")
    with Machine(folder, firmware="secure", drives=sources) as pc:
        pc.start()
        pc.shell()
        pc.plug_in(Drive(target, "usb", serial="NEW-HOME"), "target")
        pc.command("for i in $(seq 60); do findfs LABEL=NEWHOME >/dev/null 2>&1 && break; sleep 1; done", 90)
        run_job(pc)
        pc.send("poweroff\n")
        pc.wait_off()
    for path, digest in before.items():
        check(sha256(path) == digest, f"{path.name} has changed")
    copy_volume(target, folder / "target.volume")
    tool("debugfs", "-R", f"rdump /fernhill {folder}", folder / "target.volume")
    done = run("verify", folder / "fernhill")
    check(done.returncode == 1 and "Proven" in done.stdout, "the job is not proven:", done.stdout, done.stderr)
    compare(folder / "fernhill")
finish()
