/* SHA-256: see digest.h. */
#include "extract/digest.h"

#include "base/text.h"

#include <string.h>

#define ZERO_BLOCK 65536

void digest_zeros(struct sha256_ctx *context, uint64_t length)
{
	static const uint8_t zeros[ZERO_BLOCK];

	while (length > 0) {
		size_t now = length < ZERO_BLOCK ? (size_t)length : ZERO_BLOCK;

		sha256_update(context, now, zeros);
		length -= now;
	}
}

struct digest digest_take(struct sha256_ctx *context)
{
	struct digest digest;

	sha256_digest(context, DIGEST_SIZE, digest.bytes);
	return digest;
}

struct digest digest_of(const void *data, size_t length)
{
	struct sha256_ctx context;

	sha256_init(&context);
	sha256_update(&context, length, data);
	return digest_take(&context);
}

struct digest_text digest_to_text(const struct digest *digest)
{
	static const char digits[] = "0123456789abcdef";
	struct digest_text result;

	for (size_t i = 0; i < DIGEST_SIZE; i++) {
		result.text[2 * i] = digits[digest->bytes[i] >> 4];
		result.text[2 * i + 1] = digits[digest->bytes[i] & 15];
	}
	result.text[DIGEST_HEX - 1] = '\0';
	return result;
}

bool digest_from_hex(const char *text, struct digest *digest)
{
	for (size_t i = 0; i < DIGEST_SIZE; i++) {
		int high = text_hex_value(text[2 * i]);
		int low = high < 0 ? -1 : text_hex_value(text[2 * i + 1]);

		if (low < 0)
			return false;
		digest->bytes[i] = (uint8_t)(high << 4 | low);
	}
	return true;
}

bool digest_equal(const struct digest *a, const struct digest *b)
{
	return memcmp(a->bytes, b->bytes, DIGEST_SIZE) == 0;
}
