#!/usr/bin/python3
"""What is in the image, seen by tools that did not make it: limits of size, package list and licences, the boot
files as Debian signed them, and nothing that could assemble or use a drive by itself."""

import pathlib
import re
import subprocess

from _sources import IMAGE, MIB, check, finish, sha256, tool, work_folder

ROOT = pathlib.Path(__file__).resolve().parents[2]

with work_folder() as work:
    folder = pathlib.Path(work)
    tool("xorriso", "-osirrox", "on", "-indev", IMAGE, "-extract", "/", folder / "iso")
    iso = folder / "iso"
    root = folder / "root"
    root.mkdir()
    subprocess.run(f"zstd -qdc '{iso}/boot/initramfs' | cpio -i --quiet", shell=True, check=True, cwd=root)

    # The limits that the project promises.
    unpacked = sum(path.lstat().st_size for path in root.rglob("*") if path.is_file() and not path.is_symlink())
    print(f"image {IMAGE.stat().st_size / MIB:.1f} MiB, unpacked {unpacked / MIB:.1f} MiB")
    check(IMAGE.stat().st_size <= 96 * MIB, "the image is larger than 96 MiB")
    check(unpacked <= 120 * MIB, "the image unpacks to more than 120 MiB")

    # Each package in the list has its licence, and the list beside the image is the one in it.
    listed = (iso / "packages.txt").read_text()
    check(listed == (ROOT / "build/coldlift.packages.txt").read_text(), "the package lists differ")
    packages = re.findall(r"^([a-z0-9.+-]+) [0-9]\S*(?: |$)", listed, re.M)
    check(len(packages) > 20, "too few packages:", packages)
    for package in packages:
        if package != "libc6-dev":  # the same source as libc6
            check((iso / f"licences/{package}.txt").stat().st_size > 200, f"no licence text of {package}")

    # The drives' enemies: mappers, RAID, swap, file systems that are not needed, the network.
    modules = {path.name.removesuffix(".ko") for path in root.rglob("*.ko")}
    check(len(modules) > 100, "too few kernel modules")
    for module in ("dm-mod", "md-mod", "raid1", "btrfs", "xfs", "bcache", "zram", "loop", "ntfs", "e1000e", "mac80211"):
        check(module not in modules, f"module {module} is in the image")
    for module in ("ahci", "ata_piix", "nvme", "vmd", "usb-storage", "uas", "xhci-pci", "ehci-pci", "ohci-pci",
                   "uhci-hcd", "sdhci-pci", "sdhci-acpi", "mmc_block", "mpt3sas", "megaraid_sas", "hpsa", "aacraid",
                   "virtio_blk", "virtio_scsi", "hv_storvsc", "usbhid", "hid-generic", "vfat", "exfat", "ext4", "fuse",
                   "battery", "ac", "sd_mod"):
        check(module in modules, f"module {module} is missing")
    for program in ("swapon", "mkswap", "mke2fs", "fdisk", "mdadm", "lvm", "kpartx"):
        check(not any((root / place / program).is_symlink() or (root / place / program).exists()
                      for place in ("usr/bin", "usr/sbin")), f"{program} is in the image")

    # No build folder shows in the program, and all libraries are there.
    check(str(ROOT).encode() not in (root / "usr/bin/coldlift").read_bytes(), "the program names its build folder")
    for program in ("usr/sbin/smartctl", "usr/bin/ntfs-3g", "usr/bin/setfont"):
        loader = root / "usr/lib64/ld-linux-x86-64.so.2"
        answer = subprocess.run([loader, "--inhibit-cache", "--library-path", root / "usr/lib/x86_64-linux-gnu",
                                 "--list", root / program], capture_output=True, text=True, check=False)
        check(answer.returncode == 0 and "not found" not in answer.stdout and
              all(str(root) in line or "vdso" in line for line in answer.stdout.splitlines()),
              f"{program}:", answer.stdout, answer.stderr)

    # The boot files are Debian's, byte by byte: a changed one would have lost its signature.
    efi = folder / "efi.img"
    table = tool("sfdisk", "-d", IMAGE)
    start, size = map(int, re.search(r"start=\s*(\d+), size=\s*(\d+), type=C12A7328", table).groups())
    efi.write_bytes(IMAGE.read_bytes()[start * 512:(start + size) * 512])
    tool("fsck.vfat", "-n", efi)
    for name, original in (("BOOTX64.EFI", "usr/lib/shim/shimx64.efi.signed"),
                           ("mmx64.efi", "usr/lib/shim/mmx64.efi.signed"),
                           ("grubx64.efi", "usr/lib/grub/x86_64-efi-signed/gcdx64.efi.signed")):
        tool("mcopy", "-n", "-i", efi, f"::/EFI/BOOT/{name}", folder / name)
        check(sha256(folder / name) == sha256(ROOT / "build/image/unpacked" / original), f"{name} is not Debian's")
    check("BOOTIA32 EFI" in tool("mdir", "-i", efi, "::/EFI/BOOT"), "nothing for 32-bit UEFI")

    # Every keyboard layout is in busybox's form (its magic word is "bkeymap").
    maps = list((root / "usr/share/keymaps").glob("*.bmap"))
    check(len(maps) >= 20, "too few keyboard layouts")
    for path in maps:
        check(path.read_bytes()[:7] == b"bkeymap" and path.stat().st_size > 1000, f"{path.name} is no keyboard layout")
finish()
