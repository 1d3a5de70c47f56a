/*
 * In which order the files are read.
 *
 * A drive is read in one direction: small files that stand in the file table first, then by the
 * place of each file's first cluster. On a drive with moving parts, which may be a dying one, what
 * cannot be had again goes first, in sweeps of its own; elsewhere one sweep is enough.
 */
#ifndef EXTRACT_ORDER_H
#define EXTRACT_ORDER_H

#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * How dear the item is, 0 most of all: made by the person, like pictures, letters and mail; what
 * else lies in the person's places; everything else.
 */
unsigned order_tier(const struct plan *plan, const struct item *item);

/*
 * Puts items (files, by their index in the plan) in order; `careful`: as on a drive with moving
 * parts, whatever the drive is. False when memory runs out.
 */
bool order_sort(const struct plan *plan, uint32_t *list, size_t n_list, bool careful);

#endif
