/*
 * What stands at the beginning of a job's log: what was there when the job began.
 */
#ifndef CONSOLE_JOB_INTRO_H
#define CONSOLE_JOB_INTRO_H

#include "base/buf.h"
#include "console/job_log.h"
#include "console/look.h"
#include "console/order.h"

/*
 * Program, clock, drives with model and serial number, volumes, findings. `earlier`: the drive that
 * the job leaves; NULL: none.
 */
void job_intro_write(struct job_log *log, const struct look *look, const struct look_drive *drive,
    const struct look_drive *earlier, const struct look_volume *target);

/*
 * Appends what the order says as half a sentence: "the files of mara and Rowan Fern, as tar, in
 * parts of 700M at most, without D:\Survey\**".
 */
void job_intro_order(struct buf *out, const struct order *order);

#endif
