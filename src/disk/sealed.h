/*
 * Does a drive on which nothing is recognised look encrypted or locked as a whole?
 *
 * Some enclosures encrypt all that is written through them: out of its enclosure, such a drive
 * shows nothing but what looks like chance from its first to its last sector. Others, and drives
 * with a password, answer every read at once with an error, where a failing drive tries hard for
 * seconds. Both are common practice, no source.
 */
#ifndef DISK_SEALED_H
#define DISK_SEALED_H

#include "disk/source.h"

enum sealed {
	SEALED_NOT,
	SEALED_RANDOM,  /* what is on it looks like chance everywhere; or it was wiped like that */
	SEALED_REFUSES, /* every read fails at once */
};

/*
 * Looks at a few places all over the drive. Stops at the first that speaks against it, so that a
 * failing drive is not worn out.
 */
enum sealed sealed_look(struct source *source);

/* Do these bytes look like chance? At least 4,096 are needed. */
bool sealed_is_random(const uint8_t *bytes, size_t length);

#endif
