/* Summaries of installer packages: see version_info.h. */
#include "system/version_info.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "system/compound.h"
#include "system/shell_link.h"

#include <string.h>

#define SUMMARY_LIMIT 65536u
#define PROPERTY_LIMIT 64u

/* [MS-OLEPS] 2.18: property numbers of the summary; in a package, "subject" is the product. */
enum { PROPERTY_TITLE = 2, PROPERTY_SUBJECT = 3, PROPERTY_AUTHOR = 4, PROPERTY_TEMPLATE = 7 };
enum { TYPE_TEXT_8BIT = 30, TYPE_TEXT_WIDE = 31 };

static const char *property_text(
    const uint8_t *set, size_t length, uint32_t at, struct arena *arena)
{
	uint32_t type, count;
	char *text = NULL;

	if (at > length || length - at < 8)
		return "";
	type = get_u32(set + at);
	count = get_u32(set + at + 4);
	if (type == TYPE_TEXT_8BIT && count <= length - at - 8) {
		text = shell_text_8bit(arena, set + at + 8, count);
	} else if (type == TYPE_TEXT_WIDE && count <= (length - at - 8) / 2) {
		size_t units = 0;

		while (units < count && get_u16(set + at + 8 + 2 * units) != 0)
			units++;
		text = utf_arena_from_utf16(arena, set + at + 8, units, NULL);
	}
	return text ? text : "";
}

static void read_set(
    const uint8_t *set, size_t length, struct arena *arena, struct version_info *info)
{
	uint32_t count = get_u32(set + 4);

	for (uint32_t i = 0; i < count && i < PROPERTY_LIMIT && 8 + 8 * (i + 1) <= length; i++) {
		uint32_t number = get_u32(set + 8 + 8 * i), at = get_u32(set + 12 + 8 * i);
		const char *text;

		if (number != PROPERTY_TITLE && number != PROPERTY_SUBJECT &&
		    number != PROPERTY_AUTHOR && number != PROPERTY_TEMPLATE)
			continue;
		text = property_text(set, length, at, arena);
		if (number == PROPERTY_TITLE)
			info->description = text;
		else if (number == PROPERTY_SUBJECT)
			info->product = text;
		else if (number == PROPERTY_AUTHOR)
			info->company = text;
		else /* "x64;1033" or "Intel;1033" */
			info->bits = utf_starts_fold(text, "x64")     ? 64
				     : utf_starts_fold(text, "Intel") ? 32
								      : 0;
	}
}

bool version_info_read_package(
    const uint8_t *data, size_t length, struct arena *arena, struct version_info *info)
{
	const struct compound_entry *stream = NULL;
	struct arena work = {0};
	struct compound file;
	uint8_t *bytes = NULL;
	size_t size = 0;
	bool good = false;

	*info = (struct version_info){.product = "",
	    .company = "",
	    .version = "",
	    .description = "",
	    .file_name = "",
	    .is_package = true};
	if (compound_open(data, length, &work, &file))
		stream = compound_find(&file, "\5SummaryInformation");
	if (stream)
		bytes = compound_load(&file, stream, SUMMARY_LIMIT, &work, &size);
	/* 2.21: one set of properties, whose place stands behind the header and its identity. */
	if (bytes && size >= 48 && get_u16(bytes) == 0xFFFE && get_u32(bytes + 24) >= 1) {
		uint32_t at = get_u32(bytes + 44);

		if (at <= size && size - at >= 8) {
			read_set(bytes + at, size - at, arena, info);
			good = *info->product || *info->description;
		}
	}
	arena_free(&work);
	return good;
}
