/*
 * Storage controllers of this computer that hide drives: those that no driver of this system
 * drives, and those that keep drives behind them.
 *
 * Sources: PCI Code and ID Assignment Specification, section 1.2 (base class 01h, mass storage; 08h
 * with sub-class 05h, SD host controller); Linux kernel documentation,
 * Documentation/ABI/testing/sysfs-bus-pci (class, vendor, device, the link driver); the attribute
 * remapped_nvme is that of the kernel's driver ahci.
 */
#ifndef DISK_CONTROLLERS_H
#define DISK_CONTROLLERS_H

#include "base/finding.h"

/*
 * Adds a finding for every storage controller whose drives cannot be reached, or are reached in an
 * unusual way, with its address on the bus as subject. `root` as in sysfs.h; a computer without PCI
 * has nothing to say.
 */
void controllers_look(const char *root, struct findings *findings);

#endif
