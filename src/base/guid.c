/* GUIDs and SIDs as text: see guid.h. */
#include "base/guid.h"

#include "base/bytes.h"
#include "base/text.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

/* Where the n-th byte of the text form is stored. */
static const uint8_t text_order[16] = {3, 2, 1, 0, 5, 4, 7, 6, 8, 9, 10, 11, 12, 13, 14, 15};

struct guid_text guid_to_text(const struct guid *guid)
{
	struct guid_text result;
	char *out = result.text;

	*out++ = '{';
	for (unsigned i = 0; i < 16; i++) {
		if (i == 4 || i == 6 || i == 8 || i == 10)
			*out++ = '-';
		out += sprintf(out, "%02X", guid->bytes[text_order[i]]);
	}
	*out++ = '}';
	*out = '\0';
	return result;
}

bool guid_from_text(const char *text, struct guid *guid)
{
	bool braces = *text == '{';

	if (braces)
		text++;
	for (unsigned i = 0; i < 16; i++) {
		int high, low;

		if ((i == 4 || i == 6 || i == 8 || i == 10) && *text++ != '-')
			return false;
		high = text_hex_value(text[0]);
		low = high < 0 ? -1 : text_hex_value(text[1]);
		if (low < 0)
			return false;
		guid->bytes[text_order[i]] = (uint8_t)(high << 4 | low);
		text += 2;
	}
	if (braces && *text++ != '}')
		return false;
	return *text == '\0';
}

bool guid_equal(const struct guid *a, const struct guid *b)
{
	return memcmp(a->bytes, b->bytes, sizeof(a->bytes)) == 0;
}

bool guid_is_zero(const struct guid *guid)
{
	static const struct guid zero;

	return guid_equal(guid, &zero);
}

struct sid_text sid_to_text(const uint8_t *bytes, size_t length)
{
	struct sid_text result = {""};
	uint64_t authority = 0;
	size_t used;

	if (length < 8 || bytes[0] != 1 || bytes[1] > 15 || length < 8 + 4 * (size_t)bytes[1])
		return result;
	for (unsigned i = 2; i < 8; i++)
		authority = authority << 8 | bytes[i]; /* the one big-endian field */
	used = (size_t)snprintf(result.text, sizeof(result.text),
	    authority < UINT64_C(1) << 32 ? "S-1-%" PRIu64 : "S-1-0x%012" PRIX64, authority);
	for (unsigned i = 0; i < bytes[1]; i++)
		used += (size_t)snprintf(result.text + used, sizeof(result.text) - used,
		    "-%" PRIu32, get_u32(bytes + 8 + 4 * i));
	return result;
}
