#!/usr/bin/python3
"""The stick starts with Secure Boot enforced, by the keys that PCs are sold with, sees drives on every bus, and does a
job to an ext4 volume as the README tells it for the shell: a locked-down kernel is not in the way.

The kernel itself says whether the firmware had Secure Boot switched on, and that it is locked down."""

from _sources import check, finish
from _pairs import pair_test

log = pair_test("secure", "nvme", "ahci", "ext4", shell=True)
check("secureboot: Secure boot enabled" in log, "Secure Boot was not on")
check("Kernel is locked down from EFI Secure Boot" in log, "the kernel is not locked down")
finish()
