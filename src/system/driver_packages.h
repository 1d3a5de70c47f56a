/*
 * Driver packages that came from others than the old system's maker, kept by the old system: those
 * of printers and scanners, which are hard to find again.
 *
 * Source: "INF Version Section" (Windows driver documentation). That each such set-up file stands
 * as \Windows\INF\oem<number>.inf and the whole package below DriverStore\FileRepository: common
 * practice, no source.
 */
#ifndef SYSTEM_DRIVER_PACKAGES_H
#define SYSTEM_DRIVER_PACKAGES_H

#include "system/survey.h"

/* What the [Version] section of a set-up file says. */
struct setup_info {
	char device_class[64], provider[128], version[64]; /* inner text, "" when not told */
};

/* Reads the bytes of a set-up file: UTF-16 with a mark, or 8-bit text. */
void setup_info_read(const uint8_t *data, size_t length, struct setup_info *info);

/* Fills system->drivers. False when memory runs out or a stop is asked for. */
bool driver_packages_find(struct survey *survey, struct old_system *system, struct error *error);

#endif
