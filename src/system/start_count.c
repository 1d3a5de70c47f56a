/* Start counts: see start_count.h. */
#include "system/start_count.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

#define OLD_SIZE 16u
#define NEW_SIZE 72u
#define OLD_FIRST 5u /* in version 3 the first start is number 6 */

static char rot13(char letter)
{
	if ((letter >= 'a' && letter <= 'm') || (letter >= 'A' && letter <= 'M'))
		return (char)(letter + 13);
	if ((letter >= 'n' && letter <= 'z') || (letter >= 'N' && letter <= 'Z'))
		return (char)(letter - 13);
	return letter;
}

/* What version 3 puts before a program's path; other such marks are of menus and totals. */
static const char *without_mark(char *name)
{
	static const char *const marks[] = {"UEME_RUNPATH:", "UEME_RUNPIDL:"};

	if (!utf_starts_fold(name, "UEME_"))
		return name;
	for (size_t i = 0; i < sizeof(marks) / sizeof(marks[0]); i++)
		if (utf_starts_fold(name, marks[i]))
			return name + strlen(marks[i]);
	return "";
}

bool start_count_read(const char *name, const uint8_t *data, size_t length, unsigned version,
    struct arena *arena, struct start_count *count)
{
	char *plain = arena_strdup(arena, name);

	*count = (struct start_count){0};
	if (!plain)
		return false;
	for (char *c = plain; *c; c++)
		*c = rot13(*c);
	count->name = without_mark(plain);
	if (*count->name == '\0' || *count->name == '%')
		return false;
	if (length == OLD_SIZE && version != 5) {
		count->count = get_u32(data + 4);
		count->count = count->count > OLD_FIRST ? count->count - OLD_FIRST : 0;
		count->last = (int64_t)get_u64(data + 8);
	} else if (length == NEW_SIZE && version != 3) {
		count->count = get_u32(data + 4);
		count->in_focus = get_u32(data + 12);
		count->last = (int64_t)get_u64(data + 60);
	} else {
		return false;
	}
	if (count->last < 0)
		count->last = 0;
	return true;
}
