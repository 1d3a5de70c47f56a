#!/usr/bin/python3
"""The stick starts under 32-bit UEFI (Debian's OVMF for it) and sees a USB drive beside itself."""

from _sources import boot_test, check, finish

log = boot_test("uefi32", ["usb"])
check("efi: EFI v" in log, "this was not UEFI")
# The kernel's word for a 64-bit kernel on 32-bit firmware (arch/x86/platform/efi).
check("32-bit" in log or "mixed mode" in log or "secureboot: Secure boot disabled" in log, log[:2000])
finish()
