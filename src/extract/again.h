/*
 * Which files a job reads more than once, although each of its parts asks for them only once.
 *
 * A faulty drive is not asked twice for what it gave: the bytes of these files stay in its store
 * (rounds.h) until the job is complete. Those that are read once by their nature (larger than what
 * is read ahead, met by a hole, hashed before they are stored) are kept by whoever reads them.
 */
#ifndef EXTRACT_AGAIN_H
#define EXTRACT_AGAIN_H

#include "plan/plan.h"

#include <stdbool.h>

/*
 * Has the file several names, each of which may be stored by itself, or is it looked into once
 * more for bookmarks?
 */
bool item_is_read_again(const struct plan *plan, const struct item *item);

#endif
