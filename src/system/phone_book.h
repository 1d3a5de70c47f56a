/*
 * Phone books (.pbk): connections that somebody set up, to a private network through a tunnel, by modem or by a
 * broadband line, with the address that they lead to.
 *
 * Source: RASENTRY (Windows developer documentation: kinds of an entry); that a phone book is a list of sections with
 * Type and PhoneNumber: common practice, no source.
 */
#ifndef SYSTEM_PHONE_BOOK_H
#define SYSTEM_PHONE_BOOK_H

#include "base/arena.h"

#include <stddef.h>
#include <stdint.h>

#define PHONE_BOOK_LIMIT ((size_t)1 << 20) /* bytes of a file */
#define PHONE_BOOK_ENTRIES 64

struct phone_book_entry {
	const char *name;    /* of the connection */
	const char *address; /* server or number; "" when there is none */
	const char *kind;    /* "tunnel", "dial-up", "broadband"; "" for others */
};

/* Reads the entries, texts in `arena`. Returns their number, at most PHONE_BOOK_ENTRIES. */
size_t phone_book_read(const uint8_t *data, size_t length, struct arena *arena,
    struct phone_book_entry entries[PHONE_BOOK_ENTRIES]);

#endif
