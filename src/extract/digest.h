/*
 * SHA-256 (FIPS 180-4, through nettle) as the job uses it: of runs of bytes, and of zeros.
 */
#ifndef EXTRACT_DIGEST_H
#define EXTRACT_DIGEST_H

#include <nettle/sha2.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DIGEST_SIZE 32
#define DIGEST_HEX 65 /* with the NUL */

struct digest {
	uint8_t bytes[DIGEST_SIZE];
};

struct digest_text {
	char text[DIGEST_HEX];
};

/* Feeds `length` zero bytes. */
void digest_zeros(struct sha256_ctx *context, uint64_t length);
struct digest digest_take(struct sha256_ctx *context);
struct digest digest_of(const void *data, size_t length);

/* 64 lower-case hex digits. */
struct digest_text digest_to_text(const struct digest *digest);
/* The first 64 characters as such, in either case. False when they are something else. */
bool digest_from_hex(const char *text, struct digest *digest);
bool digest_equal(const struct digest *a, const struct digest *b);

#endif
