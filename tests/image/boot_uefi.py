#!/usr/bin/python3
"""The stick starts under 64-bit UEFI (OVMF) and sees an AHCI and a virtio drive."""

from _sources import boot_test, check, finish

log = boot_test("uefi", ["ahci", "virtio"])
check("efi: EFI v" in log, "this was not UEFI")
finish()
