/*
 * Run traces: what the old system noted of a program's starts, so that it starts faster (the files
 * in \Windows\Prefetch). One file per program and folder; the old system keeps 128 of them, later
 * 1,024, and none where this is switched off.
 *
 * Source: libscca, "Windows Prefetch File (PF) format" (versions 17 to 30 and the packed form).
 * That version 31 is laid out as the shorter form of version 30, and that form: common practice, no
 * source.
 */
#ifndef SYSTEM_RUN_TRACE_H
#define SYSTEM_RUN_TRACE_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RUN_TRACE_TIMES 8
#define RUN_TRACE_LIMIT ((size_t)16 << 20) /* bytes, unpacked: far more than they have */

/* A volume that the program used files of. */
struct run_trace_volume {
	const char *device; /* "\VOLUME{01d4f...-5eed0016}", "\DEVICE\HARDDISKVOLUME2" */
	uint32_t serial;    /* the lower half of the NTFS serial number */
	int64_t created;    /* FILETIME */
};

struct run_trace {
	unsigned version;
	const char *name;               /* of the program's file, at most 29 characters */
	const char *path;               /* with its device in front; "" when not listed */
	uint32_t hash;                  /* of the path */
	uint32_t count;                 /* starts */
	int64_t times[RUN_TRACE_TIMES]; /* FILETIME, the last start first; 0: none */
	struct run_trace_volume *volumes;
	size_t n_volumes;
};

/*
 * Reads a whole file, packed or not; texts go into `arena`. False when it is no run trace of a
 * known version, or memory runs out. Broken lists of names and volumes are left out.
 */
bool run_trace_read(
    const uint8_t *data, size_t length, struct arena *arena, struct run_trace *trace);

#endif
