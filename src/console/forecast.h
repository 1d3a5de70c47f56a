/*
 * What a job would take, asked of `extract --dry-run` before it begins: how much room it needs, and
 * what somebody has to decide.
 */
#ifndef CONSOLE_FORECAST_H
#define CONSOLE_FORECAST_H

#include "base/arena.h"
#include "base/error.h"
#include "console/look.h"
#include "console/order.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FORECAST_LARGEST 3

/* Files of one kind that are not taken unless somebody says so. */
struct forecast_decision {
	const char *reason;   /* "passwords", "offered" */
	const char *sentence; /* why they are left */
	uint64_t bytes;
	uint64_t largest[FORECAST_LARGEST]; /* sizes of the first files */
	struct order_list paths; /* old paths of the files, "C:\Users\mara\..."; largest first */
};

struct forecast {
	struct arena arena;
	uint64_t files, bytes; /* that would arrive */
	struct forecast_decision *decisions;
	size_t n_decisions;
};

/*
 * Reads every file table again; progress is on standard error. `target` is the drive that the job
 * goes to and is no source. False with *error. To be freed either way.
 */
bool forecast_make(struct forecast *forecast, const struct look *look,
    const struct look_drive *target, const struct order *order, struct error *error);

/*
 * The same from what the command said, for tests. Where persons were chosen (their keys), nothing
 * of other people's is to be decided.
 */
bool forecast_read(struct forecast *forecast, const char *json, size_t length,
    const struct order_list *persons, struct error *error);

void forecast_free(struct forecast *forecast);

/* Room that a job with so many bytes of files may need, lists and proof included. */
uint64_t forecast_room(uint64_t files, uint64_t bytes);

#endif
