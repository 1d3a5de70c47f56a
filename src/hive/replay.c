/*
 * Which logs a hive gets, and what they tell of a base block that is broken.
 *
 * A hive is dirty when its two sequence numbers differ or its base block is bad; only then are logs
 * applied. The new generation goes first, since an old-style log beside it is a leftover.
 *
 * Source: regf specification, sections "Dirty state of a hive", "Multiple transaction log files".
 */
#include "hive/internal.h"

#define LOGS_LIMIT 8

/* A log carries a copy of the base block: the newest valid copy replaces a bad one. */
static void base_from_logs(struct hive *hive, const struct log_file *logs, size_t n_logs)
{
	const struct base_block *best = NULL;

	for (size_t i = 0; i < n_logs; i++) {
		const struct base_block *base = &logs[i].base;

		if (base->valid &&
		    (best == NULL || base->written > best->written ||
			(base->written == best->written && base->primary > best->primary)))
			best = base;
	}
	if (best == NULL)
		return;
	hive->base.root = best->root;
	hive->base.minor = best->minor;
	hive->base.written = best->written;
	if (hive->health.logs_applied == 0)
		hive->base.bins_size = best->bins_size;
}

bool hive_replay(struct hive *hive, const struct hive_log *logs, size_t n_logs)
{
	struct log_file fresh[LOGS_LIMIT], old[LOGS_LIMIT], all[2 * LOGS_LIMIT];
	size_t n_new = 0, n_old = 0;

	if (hive->base.valid && hive->base.primary == hive->base.secondary)
		return true;
	hive->health.was_dirty = true;
	for (size_t i = 0; i < n_logs; i++) {
		struct log_file log = {
		    .data = logs[i].data,
		    .length = logs[i].data == NULL ? 0 : logs[i].length,
		    .holes = logs[i].holes,
		};

		if (log.length < PAGE_SIZE_DIRTY)
			continue;
		log.base = base_block_read(log.data, log.length);
		if (log_is_new(&log) && n_new < LOGS_LIMIT)
			fresh[n_new++] = log;
		else if (log_is_old(&log) && n_old < LOGS_LIMIT)
			old[n_old++] = log;
	}
	if (!logs_new_apply(hive, fresh, n_new))
		return false;
	if (hive->health.logs_applied == 0 && !logs_old_apply(hive, old, n_old))
		return false;
	hive->health.logs_missing = hive->health.logs_applied == 0;
	if (!hive->base.valid) {
		memcpy(all, fresh, n_new * sizeof(*all));
		memcpy(all + n_new, old, n_old * sizeof(*all));
		base_from_logs(hive, all, n_new + n_old);
	}
	return true;
}
