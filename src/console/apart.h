/*
 * Work that may hang in the kernel, done in a process of its own.
 *
 * Mounting, writing out and unmounting wait for a drive, and a drive that was pulled out or is
 * broken can keep them waiting for ever. The start screen waits as long as agreed, and leaves
 * behind what does not end. (For another program there is base/child.h.)
 */
#ifndef CONSOLE_APART_H
#define CONSOLE_APART_H

#include "base/buf.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

#define APART_ANSWER_LIMIT ((size_t)1 << 20) /* bytes */

/* What is done: fills *answer, or returns false with *error. It runs in the other process. */
typedef bool apart_work(const void *about, struct buf *answer, struct error *error);

/*
 * Runs `work` in a copy of this process and appends its answer to *answer. False with *error: the
 * work's own, or that it took longer than `seconds` (*late is true then; it was killed, or
 * left behind when it did not even die). `late` may be NULL.
 */
bool apart_run(apart_work *work, const void *about, unsigned seconds, struct buf *answer,
    bool *late, struct error *error);

#endif
