#!/usr/bin/python3
"""The stick starts under 64-bit UEFI (OVMF) and sees drives on every bus that a PC with it has."""

from _machine import BUSES
from _sources import boot_test, check, finish

log = boot_test("uefi", [bus for bus in BUSES if bus != "ide"])
check("efi: EFI v" in log, "this was not UEFI")
finish()
