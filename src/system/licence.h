/*
 * The licence of an old system: what kind it is and what it belongs to; and, only when asked for,
 * the key that the hive holds.
 *
 * Sources: Microsoft, "Windows product activation" pages (channels: Retail, OEM, Volume; digital
 * licences belong to the hardware); winreg-kb, "Windows product information" (ProductId,
 * DigitalProductId). The layout of DigitalProductId and DigitalProductId4, and how a key stands in
 * them (25 digits to base 24): common practice, no source.
 */
#ifndef SYSTEM_LICENCE_H
#define SYSTEM_LICENCE_H

#include "system/survey.h"

/* "firmware", "pc", "retail", "organisation", "trial", "unknown". */
const char *licence_kind_name(enum licence_kind kind);
/* What it belongs to and what becomes of it, for people: one sentence or two. */
const char *licence_kind_sentence(enum licence_kind kind);

/*
 * The kind by the channel that DigitalProductId4 names and by the ProductId; both may be "".
 */
enum licence_kind licence_kind_of(const char *channel, const char *product_id);

/* 25 digits, four hyphens. */
#define LICENCE_KEY_ROOM 30
#define LICENCE_KEY_BYTES 15

/*
 * A key from its 15 bytes; false when they are all zero (an erased key). A key of Windows 8 and
 * later has a letter N, whose place its first digit tells.
 */
bool licence_key_decode(const uint8_t bytes[LICENCE_KEY_BYTES], char key[LICENCE_KEY_ROOM]);

struct licence_key {
	const char
	    *from; /* what the hive has it for: "installed key", "backup of an earlier key" */
	char key[LICENCE_KEY_ROOM];
};
#define LICENCE_KEYS 2

/* Reads the system's hive once more. Returns how many keys it holds. */
size_t licence_keys_read(const struct survey *survey, const struct old_system *system,
    struct licence_key keys[LICENCE_KEYS]);

#endif
