/*
 * Members of sets made by Intel Matrix Storage and Rapid Storage (RST); see sets.h.
 *
 * The description lies in the last sectors of every member: its first sector, with the signature,
 * is the last but one of the drive, and the sectors that follow stand in front of that one. All
 * numbers are little-endian; sizes count sectors of the drive.
 *
 * Source: the Linux md tools' description of the format (mdadm 4.2, "imsm": imsm_super, imsm_disk,
 * imsm_dev, imsm_vol, imsm_map); Intel has published no specification.
 */
#include "disk/sets.h"

#include "base/bytes.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SIGNATURE "Intel Raid ISM Cfg Sig. "
#define LARGEST (256u * 1024)

#define HEAD_SIZE 0xD8u /* then the disks */
#define DISK_SIZE 48u
#define DISK_IS_SPARE 0x01u
#define DISK_FAILED 0x04u

/* Within a volume's description: the map begins behind the volume and its state of change. */
#define VOLUME_NAME 16u
#define VOLUME_MAP 112u
#define MIGRATION_STATE 88u
#define MAP_HEAD 48u /* then four bytes for each member */
#define ORDER_DISK 0x00FFFFFFu
#define ORDER_REBUILDING 0x01000000u

#define LEVEL_STRIPE 0
#define LEVEL_MIRROR 1
#define LEVEL_PARITY 5

struct rst {
	const uint8_t *data;
	size_t length;
	uint32_t sector_size;
	unsigned disks, volumes;
	unsigned own; /* index among the disks; `disks`: not known */
};

static bool checksum_fits(const struct rst *rst)
{
	uint32_t sum = 0;

	for (size_t i = 0; i + 4 <= rst->length; i += 4)
		sum += get_u32(rst->data + i);
	return sum - get_u32(rst->data + 0x20) == get_u32(rst->data + 0x20);
}

/* Serial numbers are kept without spaces, and only their last 16 characters. */
static bool serial_fits(const char *serial, const uint8_t *kept)
{
	char plain[64];
	size_t length = 0, kept_length = 0;

	for (; *serial != '\0' && length < sizeof(plain); serial++)
		if (!isspace((unsigned char)*serial))
			plain[length++] = *serial;
	while (kept_length < 16 && kept[kept_length] != 0)
		kept_length++;
	while (kept_length > 0 && kept[kept_length - 1] == ' ')
		kept_length--;
	return length > 0 && kept_length > 0 && kept_length <= length &&
	       (kept_length == length || kept_length == 16) &&
	       memcmp(plain + length - kept_length, kept, kept_length) == 0;
}

static const uint8_t *disk_at(const struct rst *rst, unsigned index)
{
	return rst->data + HEAD_SIZE + (size_t)index * DISK_SIZE;
}

static unsigned find_own(const struct rst *rst, const char *serial)
{
	unsigned found = rst->disks;

	for (unsigned i = 0; i < rst->disks; i++) {
		if (!serial_fits(serial, disk_at(rst, i)))
			continue;
		if (found != rst->disks)
			return rst->disks; /* two with one serial number: neither can be told */
		found = i;
	}
	return found;
}

/* A volume's bytes, or NULL; *offset moves on to the next one. */
static const uint8_t *next_volume(const struct rst *rst, size_t *offset)
{
	const uint8_t *volume = rst->data + *offset;
	size_t size = VOLUME_MAP + MAP_HEAD, second;

	if (*offset > rst->length || size > rst->length - *offset)
		return NULL;
	size += 4u * volume[VOLUME_MAP + 16];
	if (size > rst->length - *offset)
		return NULL;
	/* While a set is changed into another, the map of what it was follows. */
	if (volume[MIGRATION_STATE] == 1) {
		second = size;
		size += MAP_HEAD;
		if (size > rst->length - *offset)
			return NULL;
		size += 4u * volume[second + 16];
		if (size > rst->length - *offset)
			return NULL;
	}
	*offset += size;
	return volume;
}

static enum set_level level_of(const uint8_t *map)
{
	switch (map[15]) {
	case LEVEL_STRIPE:
		/* Of one drive: a plain drive under the set's name. */
		return map[16] == 1 ? SET_SINGLE : SET_STRIPE;
	case LEVEL_MIRROR:
		return map[16] == 2 ? SET_MIRROR : SET_STRIPE;
	case LEVEL_PARITY:
		return SET_PARITY;
	default:
		return SET_UNKNOWN;
	}
}

static void place_own(const struct rst *rst, const uint8_t *map, struct set *set)
{
	set->members = map[16];
	for (unsigned i = 0; i < set->members; i++) {
		uint32_t order = get_u32(map + MAP_HEAD + 4u * i);

		if ((order & ORDER_DISK) != rst->own || rst->own == rst->disks)
			continue;
		set->member = i + 1;
		set->behind = (order & ORDER_REBUILDING) != 0 ||
			      (get_u32(disk_at(rst, rst->own) + 24) & DISK_FAILED) != 0;
	}
}

/* The volume at the drive's start is what can be read; others are named. */
static void take_volumes(const struct rst *rst, struct set *set)
{
	size_t offset = HEAD_SIZE + (size_t)rst->disks * DISK_SIZE;
	bool found = false;

	for (unsigned i = 0; i < rst->volumes; i++) {
		const uint8_t *volume = next_volume(rst, &offset), *map;
		char name[VOLUME_NAME + 1];
		size_t used = strlen(set->others);

		if (volume == NULL)
			return;
		map = volume + VOLUME_MAP;
		set_text(name, sizeof(name), volume, VOLUME_NAME);
		if (found || get_u32(map) != 0 || get_u32(map + 20) != 0) {
			snprintf(set->others + used, sizeof(set->others) - used, "%s'%s' (%s)",
			    used > 0 ? ", " : "", name, set_level_name(level_of(map)));
			continue;
		}
		found = true;
		snprintf(set->name, sizeof(set->name), "%s", name);
		set->level = level_of(map);
		set->readable_alone = set->level == SET_MIRROR || set->level == SET_SINGLE;
		if (set->readable_alone && get_u32(volume + 20) < UINT32_MAX / rst->sector_size)
			set->data_size =
			    ((uint64_t)get_u32(volume + 20) << 32 | get_u32(volume + 16)) *
			    rst->sector_size;
		place_own(rst, map, set);
	}
}

static void take(struct rst *rst, const char *serial, struct set *set)
{
	uint32_t family = get_u32(rst->data + 0x40);

	set->kind = SET_RST;
	set->level = SET_UNKNOWN;
	set->generation = get_u32(rst->data + 0x2C);
	if (!checksum_fits(rst))
		return;
	rst->disks = rst->data[0x38];
	rst->volumes = rst->data[0x39];
	if (HEAD_SIZE + (size_t)rst->disks * DISK_SIZE > rst->length)
		return;
	if (family == 0)
		family = get_u32(rst->data + 0x28);
	snprintf(set->id, sizeof(set->id), "%08x", family);
	rst->own = find_own(rst, serial);
	take_volumes(rst, set);
	if (rst->own < rst->disks && (get_u32(disk_at(rst, rst->own) + 24) & DISK_IS_SPARE) != 0) {
		set->level = SET_SPARE;
		set->readable_alone = false;
	}
}

/* Puts the description together; false when there is none at this sector size. */
static bool read_at(
    struct source *source, uint32_t sector_size, const char *serial, struct set *set)
{
	uint64_t sectors = source_size(source) / sector_size, anchor;
	struct rst rst = {.sector_size = sector_size};
	uint32_t size, more;
	uint8_t *data, head[512];

	if (sectors < 16)
		return false;
	anchor = (sectors - 2) * sector_size;
	if (!source_read(source, anchor, head, sizeof(head), NULL) ||
	    memcmp(head, SIGNATURE, strlen(SIGNATURE)) != 0)
		return false;
	size = get_u32(head + 0x24);
	if (size < HEAD_SIZE || size > LARGEST)
		size = HEAD_SIZE;
	more = size <= sector_size ? 0 : (size - 1) / sector_size * sector_size;
	if (more > anchor)
		return false;
	data = calloc(1, (size_t)sector_size + more);
	if (data == NULL)
		return false;
	/* What cannot be read is zeros and fails the checksum. */
	source_read(source, anchor, data, sector_size, NULL);
	if (more > 0)
		source_read(source, anchor - more, data + sector_size, more, NULL);
	rst.data = data;
	rst.length = size;
	take(&rst, serial, set);
	free(data);
	return true;
}

bool set_read_rst(struct source *source, const char *serial, struct set *set)
{
	const uint32_t sizes[] = {source_sector_size(source), 512, 4096};

	for (size_t i = 0; i < sizeof(sizes) / sizeof(sizes[0]); i++)
		if (read_at(source, sizes[i], serial, set))
			return true;
	return false;
}
