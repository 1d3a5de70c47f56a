/* Shell links: see shell_link.h. */
#include "system/shell_link.h"

#include "base/buf.h"
#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

#define HEADER 0x4Cu

/* LinkFlags, [MS-SHLLINK] 2.1.1. */
enum {
	HAS_ITEMS = 0x1,
	HAS_LINK_INFO = 0x2,
	HAS_NAME = 0x4,
	HAS_RELATIVE = 0x8,
	HAS_FOLDER = 0x10,
	HAS_ARGUMENTS = 0x20,
	HAS_ICON = 0x40,
	IS_UNICODE = 0x80,
	NO_LINK_INFO = 0x100,
};

#define BLOCK_VARIABLES 0xA0000001u
#define BLOCK_TRACKER 0xA0000003u
#define BLOCK_PROPERTIES 0xA0000009u
#define BLOCK_LIMIT 64u

static const uint8_t link_class[16] = {
    0x01, 0x14, 0x02, 0, 0, 0, 0, 0, 0xC0, 0, 0, 0, 0, 0, 0, 0x46};

/* A link being read. */
struct reading {
	const uint8_t *data;
	size_t length, at;
	struct arena *arena;
	struct shell_link *link;
};

static const char *or_empty(const char *text)
{
	return text ? text : "";
}

/* --- LinkInfo, 2.3 --- */

/* The text at an offset of LinkInfo, in either form; "" when the offset lies outside. */
static const char *info_text(
    struct reading *reading, const uint8_t *info, size_t size, uint32_t at, bool is_wide)
{
	size_t units = 0;

	if (at == 0 || at >= size)
		return "";
	if (!is_wide)
		return or_empty(shell_text_8bit(reading->arena, info + at, size - at));
	while (units < (size - at) / 2 && get_u16(info + at + 2 * units) != 0)
		units++;
	return or_empty(utf_arena_from_utf16(reading->arena, info + at, units, NULL));
}

/* An offset of LinkInfo's header; 0 where the header is shorter. */
static uint32_t info_offset(const uint8_t *info, uint32_t header, unsigned field)
{
	return field + 4 <= header ? get_u32(info + field) : 0;
}

static void read_volume(struct reading *reading, const uint8_t *info, size_t size)
{
	struct shell_link *link = reading->link;
	uint32_t at = get_u32(info + 12), label;

	if (at < 28 || at > size || size - at < 16)
		return;
	link->drive = get_u32(info + at + 4);
	link->volume_serial = get_u32(info + at + 8);
	label = get_u32(info + at + 12);
	if (label == 0x14 && size - at >= 20)
		link->volume_label =
		    info_text(reading, info + at, size - at, get_u32(info + at + 16), true);
	else
		link->volume_label = info_text(reading, info + at, size - at, label, false);
}

static const char *join(struct reading *reading, const char *base, const char *suffix)
{
	size_t length = strlen(base);
	bool closed = length > 0 && base[length - 1] == '\\';

	if (!*suffix)
		return base;
	return or_empty(arena_printf(reading->arena, "%s%s%s", base, closed ? "" : "\\", suffix));
}

/* CommonNetworkRelativeLink, 2.3.2: the share's name. */
static const char *read_share(struct reading *reading, const uint8_t *info, size_t size)
{
	uint32_t at = get_u32(info + 20), name, device;
	const uint8_t *share;
	bool is_wide;

	if (at < 28 || at > size || size - at < 20)
		return "";
	share = info + at;
	size -= at;
	name = get_u32(share + 8);
	device = get_u32(share + 12);
	is_wide = name > 0x14 && size >= 28;
	if (get_u32(share + 4) & 1)
		reading->link->device = info_text(
		    reading, share, size, is_wide ? get_u32(share + 24) : device, is_wide);
	return info_text(reading, share, size, is_wide ? get_u32(share + 20) : name, is_wide);
}

/* False when it is broken: what follows cannot be found then. */
static bool read_link_info(struct reading *reading)
{
	const uint8_t *info = reading->data + reading->at;
	struct shell_link *link = reading->link;
	uint32_t size, header, flags, wide_suffix;
	const char *base = "", *suffix;

	if (reading->length - reading->at < 28)
		return false;
	size = get_u32(info);
	header = get_u32(info + 4);
	if (size < 28 || size > reading->length - reading->at || header < 28 || header > size)
		return false;
	reading->at += size;
	flags = get_u32(info + 8);
	wide_suffix = info_offset(info, header, 32);
	suffix = wide_suffix ? info_text(reading, info, size, wide_suffix, true)
			     : info_text(reading, info, size, get_u32(info + 24), false);
	if (flags & 1) {
		uint32_t wide = info_offset(info, header, 28);

		read_volume(reading, info, size);
		base = wide ? info_text(reading, info, size, wide, true)
			    : info_text(reading, info, size, get_u32(info + 16), false);
	}
	if (!*base && flags & 2) {
		base = read_share(reading, info, size);
		link->is_on_share = *base != '\0';
	}
	if (*base)
		link->link_info = join(reading, base, suffix);
	return true;
}

/* --- item list, StringData, extra blocks: 2.2, 2.4, 2.5 --- */

static bool skip_items(struct reading *reading)
{
	size_t size;
	char *path;

	if (reading->length - reading->at < 2)
		return false;
	size = get_u16(reading->data + reading->at);
	reading->at += 2;
	if (size > reading->length - reading->at)
		return false;
	path = shell_items_path(reading->data + reading->at, size, reading->arena);
	reading->link->items = or_empty(path);
	reading->at += size;
	return true;
}

/* A counted string. False when the link ends before it does. */
static bool read_string(struct reading *reading, bool is_wide, const char **text)
{
	size_t count, bytes;
	const uint8_t *from;

	if (reading->length - reading->at < 2)
		return false;
	count = get_u16(reading->data + reading->at);
	bytes = is_wide ? 2 * count : count;
	if (bytes > reading->length - reading->at - 2)
		return false;
	from = reading->data + reading->at + 2;
	*text = or_empty(is_wide ? utf_arena_from_utf16(reading->arena, from, count, NULL)
				 : shell_text_8bit(reading->arena, from, count));
	reading->at += 2 + bytes;
	return true;
}

static bool read_strings(struct reading *reading, uint32_t flags)
{
	struct shell_link *link = reading->link;
	const struct {
		uint32_t flag;
		const char **text;
	} strings[] = {{HAS_NAME, &link->name}, {HAS_RELATIVE, &link->relative},
	    {HAS_FOLDER, &link->folder}, {HAS_ARGUMENTS, &link->arguments},
	    {HAS_ICON, &link->icon}};

	for (size_t i = 0; i < sizeof(strings) / sizeof(strings[0]); i++)
		if (flags & strings[i].flag &&
		    !read_string(reading, flags & IS_UNICODE, strings[i].text))
			return false;
	return true;
}

static void read_block(struct reading *reading, const uint8_t *block, uint32_t size)
{
	struct shell_link *link = reading->link;
	size_t units = 0;

	switch (get_u32(block + 4)) {
	case BLOCK_VARIABLES:
		if (size < 0x314)
			break;
		while (units < 260 && get_u16(block + 268 + 2 * units) != 0)
			units++;
		link->variables =
		    or_empty(units ? utf_arena_from_utf16(reading->arena, block + 268, units, NULL)
				   : shell_text_8bit(reading->arena, block + 8, 260));
		break;
	case BLOCK_TRACKER:
		if (size >= 0x60)
			link->machine = or_empty(shell_text_8bit(reading->arena, block + 16, 16));
		break;
	case BLOCK_PROPERTIES:
		link->identity = or_empty(shell_link_identity(block + 8, size - 8, reading->arena));
		break;
	default:
		break;
	}
}

static void read_blocks(struct reading *reading)
{
	for (unsigned i = 0; i < BLOCK_LIMIT && reading->length - reading->at >= 4; i++) {
		uint32_t size = get_u32(reading->data + reading->at);

		if (size < 4) {
			reading->at += 4; /* the end mark */
			return;
		}
		if (size < 8 || size > reading->length - reading->at)
			return;
		read_block(reading, reading->data + reading->at, size);
		reading->at += size;
	}
}

/* --- all of it --- */

static void choose_target(struct shell_link *link)
{
	if (*link->link_info) {
		link->target = link->link_info;
		link->from = "LinkInfo";
	} else if (*link->items) {
		link->target = link->items;
		link->from = "items";
		link->is_on_share = strncmp(link->items, "\\\\", 2) == 0;
	} else if (*link->variables) {
		link->target = link->variables;
		link->from = "variables";
	}
}

static void read_header(const uint8_t *data, struct shell_link *link)
{
	link->attributes = get_u32(data + 24);
	link->created = (int64_t)get_u64(data + 28);
	link->accessed = (int64_t)get_u64(data + 36);
	link->modified = (int64_t)get_u64(data + 44);
	link->size = get_u32(data + 52);
}

bool shell_link_read(
    const uint8_t *data, size_t length, struct arena *arena, struct shell_link *link)
{
	struct reading reading = {data, length, HEADER, arena, link};
	uint32_t flags;
	bool good = true;

	*link = (struct shell_link){.target = "",
	    .from = "",
	    .link_info = "",
	    .items = "",
	    .variables = "",
	    .device = "",
	    .name = "",
	    .relative = "",
	    .folder = "",
	    .arguments = "",
	    .icon = "",
	    .machine = "",
	    .volume_label = "",
	    .identity = ""};
	if (length < HEADER || get_u32(data) != HEADER || memcmp(data + 4, link_class, 16) != 0)
		return false;
	flags = get_u32(data + 20);
	read_header(data, link);
	if (flags & HAS_ITEMS)
		good = skip_items(&reading);
	if (good && flags & HAS_LINK_INFO)
		good = read_link_info(&reading);
	if (flags & NO_LINK_INFO)
		link->link_info = "";
	if (good && read_strings(&reading, flags))
		read_blocks(&reading);
	link->length = reading.at;
	choose_target(link);
	return true;
}
