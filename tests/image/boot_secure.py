#!/usr/bin/python3
"""The stick starts with Secure Boot enforced, by the keys that PCs are sold with, and sees an NVMe drive.

The kernel itself says whether the firmware had Secure Boot switched on, and that it is locked down."""

from _sources import boot_test, check, finish

log = boot_test("secure", ["nvme"])
check("secureboot: Secure boot enabled" in log, "Secure Boot was not on")
check("Kernel is locked down from EFI Secure Boot" in log, "the kernel is not locked down")
finish()
