/*
 * Start counts: how often a person started a program from menu, desktop or task bar, and when last
 * (the values of UserAssist in the person's hive). Starts by opening a document are not counted.
 *
 * Source: winreg-kb, "User assist" (values of versions 3 and 5, names in ROT13).
 */
#ifndef SYSTEM_START_COUNT_H
#define SYSTEM_START_COUNT_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct start_count {
	const char *name;  /* path, "{GUID of a known folder}\x.exe", or a store app's identity */
	uint32_t count;    /* 0: not known, or only its window was used */
	int64_t last;      /* FILETIME, 0: never noted */
	uint64_t in_focus; /* milliseconds, 0: not known */
};

/*
 * Reads one value of a "Count" key: its name as the hive has it and its data. `version` is that of
 * the key, 0 when it has none. False when the value is none of a program (totals, menus), the data
 * have an unknown size, or memory runs out.
 */
bool start_count_read(const char *name, const uint8_t *data, size_t length, unsigned version,
    struct arena *arena, struct start_count *count);

#endif
