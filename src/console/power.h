/*
 * Mains or battery: a PC that switches itself off in the middle of a job has done half of one.
 *
 * Source: Linux kernel documentation, Documentation/ABI/testing/sysfs-class-power (type, scope,
 * present, online, status, capacity).
 */
#ifndef CONSOLE_POWER_H
#define CONSOLE_POWER_H

#include <stdbool.h>

#define POWER_UNKNOWN (-1)

struct power {
	bool on_battery; /* it runs on its battery right now */
	int percent;     /* how full the fullest battery is, POWER_UNKNOWN */
};

/* `root` is "" for the running system; tests give a folder with a copy of sys/ in it. */
struct power power_look(const char *root);

#endif
