/* Short unique names of persons and old systems, safe in any archive path and file name. */
#include "system/inner.h"

#include "base/utf.h"

#include <stdio.h>
#include <string.h>

#define NUMBER_LIMIT 1000000u
#define KEY_LIMIT 60 /* bytes: leaves room for the rest of a file name */

/* Device names of the old system: no file may be called so, whatever its extension. */
static bool is_device_name(const char *name)
{
	static const char *const devices[] = {
	    "CON", "PRN", "AUX", "NUL", "CLOCK$", "CONIN$", "CONOUT$"};
	size_t length = strcspn(name, ".");
	struct arena arena = {0};
	char *stem = arena_text(&arena, name, length);
	bool is = false;

	for (size_t i = 0; stem && i < sizeof(devices) / sizeof(devices[0]); i++)
		is = is || utf_equal_fold(stem, devices[i]);
	if (stem && length == 4 && stem[3] >= '0' && stem[3] <= '9')
		is = utf_starts_fold(stem, "COM") || utf_starts_fold(stem, "LPT");
	arena_free(&arena);
	return is;
}

/* Reserved, control, invisible and invalid characters are replaced. */
static bool can_stand(uint32_t point)
{
	if (point < 0x20 || (point >= 0x7F && point < 0xA0) || point == UTF_REPLACEMENT)
		return false;
	if (point < 0x80)
		return !strchr("<>:\"/\\|?*%", (int)point);
	return !(point >= 0xD800 && point < 0xE000) && !(point >= 0x200B && point <= 0x200F) &&
	       !(point >= 0x2028 && point <= 0x202E) && !(point >= 0x2060 && point <= 0x206F) &&
	       point != 0xFEFF;
}

const char *key_make(struct arena *arena, const char *name, const char *otherwise)
{
	const char *end = name + strlen(name);
	struct buf key = {0};
	char *text;

	while (name < end && (*name == ' ' || *name == '.' || *name == '-'))
		name++;
	while (name < end && key.length < KEY_LIMIT) {
		uint32_t point = utf_next(&name, end);

		utf_add(&key, can_stand(point) ? point : '_');
	}
	while (key.length > 0 && strchr(" .", key.data[key.length - 1]))
		key.length--;
	if (key.length == 0)
		buf_add_text(&key, otherwise);
	text = key.failed ? NULL : arena_text(arena, (char *)key.data, key.length);
	if (text && is_device_name(text))
		text = arena_printf(arena, "_%s", text);
	buf_free(&key);
	return text ? text : otherwise;
}

static bool number_taken(const char *key, unsigned number,
    bool (*taken)(const void *context, const char *key), const void *context)
{
	char text[4 * KEY_LIMIT];

	snprintf(text, sizeof(text), "%.200s-%u", key, number);
	return taken(context, text);
}

const char *key_unique(struct arena *arena, const char *key,
    bool (*taken)(const void *context, const char *key), const void *context)
{
	unsigned low = 1, high = 2; /* `low` is taken; the key itself stands for 1 */
	const char *unique;

	if (!taken(context, key))
		return key;
	/* Thousands may want the same: doubled until free, then halved down to the first free one.
	 */
	while (high < NUMBER_LIMIT && number_taken(key, high, taken, context)) {
		low = high;
		high *= 2;
	}
	while (high - low > 1) {
		unsigned middle = low + (high - low) / 2;

		if (number_taken(key, middle, taken, context))
			low = middle;
		else
			high = middle;
	}
	unique = arena_printf(arena, "%s-%u", key, high);
	return unique ? unique : key;
}
