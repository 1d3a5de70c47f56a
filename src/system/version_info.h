/*
 * What a program's file says of itself: the version resource of a PE file, and the summary of an
 * installer package (.msi).
 *
 * Sources: "PE Format" (Microsoft): headers, section table, resource section; VS_VERSIONINFO,
 * StringFileInfo, StringTable, String, VS_FIXEDFILEINFO (Windows developer documentation);
 * [MS-OLEPS] 2.18 to 2.21 for the summary.
 */
#ifndef SYSTEM_VERSION_INFO_H
#define SYSTEM_VERSION_INFO_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct version_info {
	const char *product, *company, *version, *description, *file_name; /* "" when not told */
	unsigned bits; /* 32, 64; 0: not known */
	bool is_package;
};

/* How bytes of the file are had: fewer than asked for only at its end or where it is unreadable. */
struct version_reader {
	size_t (*read)(void *context, uint64_t offset, uint8_t *buffer, size_t length);
	void *context;
};

/* False when it is no PE file with a version resource, or memory runs out. */
bool version_info_read_program(
    const struct version_reader *reader, struct arena *arena, struct version_info *info);

/* The same for an installer package, from its whole bytes. */
bool version_info_read_package(
    const uint8_t *data, size_t length, struct arena *arena, struct version_info *info);

#endif
