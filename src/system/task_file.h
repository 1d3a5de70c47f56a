/*
 * Definitions of scheduled tasks: XML files since Vista, .job files before.
 *
 * Sources: [MS-TSCH] 2.4 (FIXDLEN_DATA, the variable-length section, triggers of a .JOB file);
 * Microsoft, "Task Scheduler Schema".
 */
#ifndef SYSTEM_TASK_FILE_H
#define SYSTEM_TASK_FILE_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TASK_FILE_LIMIT ((size_t)1 << 20) /* bytes: usual ones have less than 8 KiB */

/* Texts are inner text, "" where the file does not have them. */
struct task_file {
	const char *author; /* "FERNHILL-PC\mara" */
	const char *program, *arguments, *folder;
	const char *comment;
	const char *when; /* in words: "every week, from 2023-01-06 18:00" */
	bool is_off;
};

/* Reads either kind, by what the file holds. False when it is neither, or memory runs out. */
bool task_file_read(
    const uint8_t *data, size_t length, struct arena *arena, struct task_file *task);

#endif
