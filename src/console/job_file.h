/*
 * The job file: what an unattended job shall be, written by a person in any editor.
 *
 * One `key = value` a line; empty lines and lines that begin with # do not count; the words of the
 * file may be in capitals. UTF-8, also with a byte order mark, or UTF-16 with one. The keys:
 *
 *   persons    everybody (usual), or names joined by commas: account, full or folder names
 *   format     zip (usual), tar, folder
 *   name       of the job; usual is the old PC's name and the date
 *   take       a pattern to be taken though it would be left; can be repeated
 *   leave      a pattern to be left though it would be taken; can be repeated
 *   part-size  such as 700M or 4GiB: a new archive begins before one becomes larger
 *   same       identical files: once or each
 *   resume     yes (usual): goes on with an unfinished job of the same order; no: begins a new one
 *   when-done  wait (usual) or switch-off
 *
 * Nothing in it is guessed: whatever is not understood is an error, since nobody is there to see
 * what became of a guess.
 */
#ifndef CONSOLE_JOB_FILE_H
#define CONSOLE_JOB_FILE_H

#include "base/arena.h"
#include "base/error.h"
#include "console/order.h"

#include <stdbool.h>
#include <stddef.h>

#define JOB_FILE_LIMIT ((size_t)64 << 10) /* bytes */

/*
 * Reads the file's bytes into *order, whose texts live in the arena. False with *error
 * (STATUS_USAGE): one sentence that names the line and what could stand there.
 */
bool job_file_read(struct arena *arena, const void *bytes, size_t length, struct order *order,
    struct error *error);

#endif
