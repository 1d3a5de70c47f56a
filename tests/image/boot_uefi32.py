#!/usr/bin/python3
"""The stick starts under 32-bit UEFI (Debian's OVMF for it), sees drives on every bus, a USB drive beside itself, and
does a job to a FAT32 volume."""

from _sources import check, finish
from _pairs import pair_test

log = pair_test("uefi32", "usb", "sd", "fat")
check("efi: EFI v" in log, "this was not UEFI")
# The kernel's word for a 64-bit kernel on 32-bit firmware (arch/x86/platform/efi).
check("32-bit" in log or "mixed mode" in log or "secureboot: Secure boot disabled" in log, log[:2000])
finish()
