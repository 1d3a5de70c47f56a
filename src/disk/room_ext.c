/*
 * Label and free room of ext2, ext3 and ext4, from the superblock.
 *
 * The count there is written when the volume is unmounted, and now and then while it is mounted.
 *
 * Source: Linux kernel documentation, filesystems/ext4, "Super Block" (s_volume_name,
 * s_free_blocks_count, s_r_blocks_count, the incompatible features 64BIT and JOURNAL_DEV).
 */
#include "disk/room_inner.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

#define SUPERBLOCK 1024u
#define LABEL 16u

enum { FEATURE_JOURNAL_DEVICE = 0x8, FEATURE_64BIT = 0x80 };

static const char *read_label(const struct room_volume *volume, const uint8_t *super)
{
	const char *name = (const char *)super + 0x78;
	struct buf text = {0};
	const char *label;

	/* UTF-8 by common practice, any bytes by the format. */
	utf_clean(&text, name, strnlen(name, LABEL));
	label = room_label(volume, &text);
	buf_free(&text);
	return label;
}

static uint64_t count(const uint8_t *super, size_t low, size_t high, bool is_64bit)
{
	return get_u32(super + low) | (is_64bit ? (uint64_t)get_u32(super + high) << 32 : 0);
}

void room_read_ext(const struct room_volume *volume, struct room *room)
{
	uint8_t super[1024];
	uint64_t blocks, unused, kept;
	uint32_t shift, features;
	bool is_64bit;

	if (!room_bytes(volume, SUPERBLOCK, super, sizeof(super)) ||
	    get_u16(super + 0x38) != 0xEF53)
		return;
	room->label = read_label(volume, super);
	shift = get_u32(super + 0x18);
	features = get_u32(super + 0x4C) == 0 ? 0 : get_u32(super + 0x60);
	is_64bit = (features & FEATURE_64BIT) != 0;
	blocks = count(super, 0x4, 0x150, is_64bit);
	kept = count(super, 0x8, 0x154, is_64bit); /* for the administrator */
	unused = count(super, 0xC, 0x158, is_64bit);
	if (shift > 6 || unused > blocks || blocks > volume->length >> (10 + shift) ||
	    (features & FEATURE_JOURNAL_DEVICE) != 0)
		return;
	room->free = unused > kept ? (unused - kept) << (10 + shift) : 0;
}
