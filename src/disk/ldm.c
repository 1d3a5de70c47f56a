/*
 * Dynamic disks; see ldm.h. Numbers are big-endian and count sectors.
 *
 * The way: PRIVHEAD names this drive and says where the database lies; its TOCBLOCK says where the
 * VMDB begins; from there on stand VBLKs, one record each (or several that make one record): disks,
 * volumes, components (a volume's copies) and partitions (the components' pieces on a disk).
 */
#include "disk/ldm.h"

#include "base/buf.h"
#include "base/bytes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <zlib.h>

#define DATABASE_MAX (4u << 20)
#define FRAGMENTS_MAX 8
/* Records in several parts, each of which is searched for: a sound database has a few. */
#define FRAGMENTED_MAX 512
#define RECORD_MAX 4096

enum record_type {
	RECORD_COMPONENT = 0x32,
	RECORD_PARTITION = 0x33,
	RECORD_DISK_3 = 0x34,
	RECORD_DISK_4 = 0x44,
	RECORD_VOLUME = 0x51,
};

/* How a component is made of its partitions. */
enum layout {
	LAYOUT_STRIPE = 1,
	LAYOUT_PIECES = 2, /* one after the other; only one: in one piece */
	LAYOUT_PARITY = 3,
};

struct component {
	uint32_t id, volume;
	unsigned layout, pieces;
};

struct piece {
	uint32_t component, disk;
	uint64_t start, size;
	const struct component *of; /* NULL: not there; known when all records are read */
};

struct database {
	struct arena *arena;
	uint32_t sector_size;
	uint64_t drive_size;    /* bytes */
	uint64_t data_start;    /* sectors; pieces count from here */
	const uint8_t *disk_id; /* 36 characters of PRIVHEAD */
	uint32_t own;           /* this drive's number, 0: not among the disks */
	unsigned disks;
	unsigned fragmented; /* records in several parts so far */
	struct component *components;
	size_t n_components, c_components;
	struct piece *pieces;
	size_t n_pieces, c_pieces;
	struct ldm_volume *volumes; /* all of the group */
	size_t n_volumes, c_volumes;
};

/* --- records ---------------------------------------------------------------------------------- */

/* Goes through one record: fields follow each other, some with a byte of length before them. */
struct reader {
	const uint8_t *at, *end;
	bool broken;
};

static const uint8_t *take(struct reader *reader, size_t length)
{
	const uint8_t *start = reader->at;

	if (reader->broken || length > (size_t)(reader->end - reader->at)) {
		reader->broken = true;
		return NULL;
	}
	reader->at += length;
	return start;
}

static const uint8_t *take_counted(struct reader *reader, size_t *length)
{
	const uint8_t *count = take(reader, 1);

	*length = count != NULL ? *count : 0;
	return take(reader, *length);
}

static uint64_t take_number(struct reader *reader)
{
	size_t length;
	const uint8_t *bytes = take_counted(reader, &length);
	uint64_t value = 0;

	if (bytes == NULL || length > 8) {
		reader->broken = true;
		return 0;
	}
	for (size_t i = 0; i < length; i++)
		value = value << 8 | bytes[i];
	return value;
}

static const char *take_name(struct reader *reader, struct arena *arena)
{
	char text[256];
	size_t length;
	const uint8_t *bytes = take_counted(reader, &length);

	if (bytes == NULL)
		return NULL;
	set_text(text, sizeof(text), bytes, length);
	return arena_strdup(arena, text);
}

static void skip_counted(struct reader *reader)
{
	size_t length;

	take_counted(reader, &length);
}

/* Is the disk's GUID, as text or as bytes in the text's order, the one of PRIVHEAD? */
static bool is_own_disk(
    const struct database *database, const uint8_t *id, size_t length, bool text)
{
	char plain[40];

	if (text)
		return length == 36 &&
		       strncasecmp((const char *)id, (const char *)database->disk_id, 36) == 0;
	snprintf(plain, sizeof(plain), "%08x-%04x-%04x-%04x-%04x%08x", get_u32_be(id),
	    get_u16_be(id + 4), get_u16_be(id + 6), get_u16_be(id + 8), get_u16_be(id + 10),
	    get_u32_be(id + 12));
	return strncasecmp(plain, (const char *)database->disk_id, 36) == 0;
}

static void take_disk(struct database *database, struct reader *reader, unsigned type)
{
	uint32_t id = (uint32_t)take_number(reader);
	size_t length = 16;
	const uint8_t *guid;

	skip_counted(reader);
	guid = type == RECORD_DISK_3 ? take_counted(reader, &length) : take(reader, 16);
	if (guid == NULL)
		return;
	database->disks++;
	if (is_own_disk(database, guid, length, type == RECORD_DISK_3))
		database->own = id;
}

static bool take_component(struct database *database, struct reader *reader)
{
	struct component component = {0};
	const uint8_t *layout;

	component.id = (uint32_t)take_number(reader);
	skip_counted(reader); /* name */
	skip_counted(reader); /* state */
	layout = take(reader, 1);
	take(reader, 4);
	component.pieces = (unsigned)take_number(reader);
	take(reader, 16);
	component.volume = (uint32_t)take_number(reader);
	if (reader->broken || layout == NULL)
		return true;
	component.layout = *layout;
	if (!array_reserve(&database->components, &database->c_components,
		database->n_components + 1, sizeof(component)))
		return false;
	database->components[database->n_components++] = component;
	return true;
}

static bool take_piece(struct database *database, struct reader *reader)
{
	struct piece piece = {0};
	const uint8_t *start;

	take_number(reader);  /* own number */
	skip_counted(reader); /* name */
	take(reader, 12);
	start = take(reader, 8);
	take(reader, 8); /* where it lies in the volume */
	piece.size = take_number(reader);
	piece.component = (uint32_t)take_number(reader);
	piece.disk = (uint32_t)take_number(reader);
	if (reader->broken || start == NULL)
		return true;
	piece.start = get_u64_be(start);
	if (!array_reserve(
		&database->pieces, &database->c_pieces, database->n_pieces + 1, sizeof(piece)))
		return false;
	database->pieces[database->n_pieces++] = piece;
	return true;
}

static bool take_volume(struct database *database, struct reader *reader)
{
	struct ldm_volume volume = {0};
	const uint8_t *id;

	volume.object = (uint32_t)take_number(reader);
	volume.name = take_name(reader, database->arena);
	skip_counted(reader); /* kind: "gen", "raid5" */
	skip_counted(reader);
	take(reader, 21);    /* state, kind and numbers that are not needed */
	take_number(reader); /* how many components */
	take(reader, 16);
	volume.size = take_number(reader);
	take(reader, 5);
	id = take(reader, 16);
	if (reader->broken || volume.name == NULL)
		return volume.name != NULL || reader->broken;
	/* GUIDs stand in the text's order here; elsewhere the first three fields are turned. */
	static const uint8_t order[16] = {3, 2, 1, 0, 5, 4, 7, 6, 8, 9, 10, 11, 12, 13, 14, 15};
	for (int i = 0; id != NULL && i < 16; i++)
		volume.id.bytes[i] = id[order[i]];
	if (!array_reserve(
		&database->volumes, &database->c_volumes, database->n_volumes + 1, sizeof(volume)))
		return false;
	database->volumes[database->n_volumes++] = volume;
	return true;
}

/* One whole record, its eight bytes of head included. False when memory runs out. */
static bool take_record(struct database *database, const uint8_t *record, size_t length)
{
	struct reader reader = {record + 8, record + length, false};

	/* Just made, and not yet in use. */
	if (length < 8 || record[1] == 2)
		return true;
	switch (record[3]) {
	case RECORD_DISK_3:
	case RECORD_DISK_4:
		take_disk(database, &reader, record[3]);
		return true;
	case RECORD_COMPONENT:
		return take_component(database, &reader);
	case RECORD_PARTITION:
		return take_piece(database, &reader);
	case RECORD_VOLUME:
		return take_volume(database, &reader);
	default:
		return true;
	}
}

/* --- the database ----------------------------------------------------------------------------- */

struct blocks {
	const uint8_t *data;
	size_t count, size;
};

static const uint8_t *block_at(const struct blocks *blocks, size_t index)
{
	const uint8_t *block = blocks->data + index * blocks->size;

	return memcmp(block, "VBLK", 4) == 0 && get_u32_be(block + 8) != 0 ? block : NULL;
}

static unsigned part_of(const uint8_t *block)
{
	return get_u16_be(block + 12);
}

static unsigned parts_of(const uint8_t *block)
{
	return get_u16_be(block + 14);
}

/* The record that begins in this block; its other parts may stand anywhere. */
static bool take_from(struct database *database, const struct blocks *blocks, size_t index)
{
	const uint8_t *first = block_at(blocks, index), *block;
	uint8_t record[RECORD_MAX];
	size_t body = blocks->size - 16, length = body;
	unsigned parts;

	if (first == NULL || part_of(first) != 0)
		return true;
	parts = parts_of(first);
	if (parts <= 1)
		return take_record(database, first + 16, body);
	if (parts > FRAGMENTS_MAX || parts * body > sizeof(record) ||
	    database->fragmented++ >= FRAGMENTED_MAX)
		return true;
	memcpy(record, first + 16, body);
	for (unsigned part = 1; part < parts; part++) {
		bool found = false;

		for (size_t i = 0; i < blocks->count && !found; i++) {
			block = block_at(blocks, i);
			if (block == NULL || get_u32_be(block + 8) != get_u32_be(first + 8) ||
			    part_of(block) != part)
				continue;
			memcpy(record + length, block + 16, body);
			length += body;
			found = true;
		}
		if (!found)
			return true;
	}
	return take_record(database, record, length);
}

/* The VMDB and what follows it, in `data`. */
static bool take_database(
    struct database *database, const uint8_t *data, size_t length, struct ldm *ldm)
{
	struct blocks blocks = {0};
	uint32_t first;

	if (length < 512 || memcmp(data, "VMDB", 4) != 0)
		return false;
	blocks.size = get_u32_be(data + 8);
	first = get_u32_be(data + 12);
	if (blocks.size < 64 || blocks.size > 512 || first >= length)
		return false;
	ldm->generation = get_u64_be(data + 0x75);
	blocks.data = data + first;
	blocks.count = (length - first) / blocks.size;
	for (size_t i = 0; i < blocks.count; i++)
		if (!take_from(database, &blocks, i))
			return false;
	return true;
}

/* --- what is on this drive -------------------------------------------------------------------- */

static const struct component *find_component(const struct database *database, uint32_t id)
{
	for (size_t i = 0; i < database->n_components; i++)
		if (database->components[i].id == id)
			return &database->components[i];
	return NULL;
}

/* The level of a volume by one of its components, as if that were the only one. */
static enum set_level level_of(const struct component *component)
{
	switch (component->layout) {
	case LAYOUT_STRIPE:
		return SET_STRIPE;
	case LAYOUT_PARITY:
		return SET_PARITY;
	case LAYOUT_PIECES:
		return component->pieces <= 1 ? SET_SINGLE : SET_SPAN;
	default:
		return SET_UNKNOWN;
	}
}

/* Fills in level and drives; false when no piece of the volume lies on this drive. */
static bool look_at_volume(const struct database *database, struct ldm_volume *volume)
{
	uint32_t drives[32];
	unsigned copies = 0;
	bool here = false;

	for (size_t i = 0; i < database->n_components; i++) {
		if (database->components[i].volume != volume->object)
			continue;
		volume->level = level_of(&database->components[i]);
		copies++;
	}
	if (copies > 1)
		volume->level = SET_MIRROR;
	for (size_t i = 0; i < database->n_pieces; i++) {
		const struct piece *piece = &database->pieces[i];
		const struct component *component = piece->of;
		bool known = false;

		if (component == NULL || component->volume != volume->object)
			continue;
		for (unsigned d = 0; d < volume->drives; d++)
			known = known || drives[d] == piece->disk;
		if (!known && volume->drives < 32)
			drives[volume->drives++] = piece->disk;
		if (piece->disk != database->own)
			continue;
		here = true;
		if (level_of(component) != SET_SINGLE || volume->is_whole ||
		    piece->start > UINT64_MAX - database->data_start ||
		    piece->start + database->data_start >=
			database->drive_size / database->sector_size ||
		    piece->size == 0 || piece->size > INT64_MAX / database->sector_size)
			continue;
		volume->is_whole = true;
		volume->offset = (piece->start + database->data_start) * database->sector_size;
		volume->length = piece->size * database->sector_size;
	}
	volume->size = volume->size <= INT64_MAX / database->sector_size
			   ? volume->size * database->sector_size
			   : 0;
	return here;
}

static bool take_volumes(struct database *database, struct ldm *ldm)
{
	ldm->volumes = arena_array(database->arena, database->n_volumes + 1, sizeof(*ldm->volumes));
	if (ldm->volumes == NULL)
		return false;
	for (size_t i = 0; i < database->n_pieces; i++)
		database->pieces[i].of = find_component(database, database->pieces[i].component);
	/* A drive that the database does not know has no volumes of it. */
	for (size_t i = 0; i < database->n_volumes && database->own != 0; i++)
		if (look_at_volume(database, &database->volumes[i]))
			ldm->volumes[ldm->count++] = database->volumes[i];
	ldm->drives = database->disks;
	return true;
}

/* Where the VMDB lies, counted from the database's start; by the first table of contents. */
static uint64_t find_vmdb(const uint8_t *data, size_t length, uint32_t sector_size)
{
	for (unsigned sector = 1; sector <= 2; sector++) {
		const uint8_t *toc = data + (size_t)sector * sector_size;

		if ((size_t)sector * sector_size + 512 > length || memcmp(toc, "TOCBLOCK", 8) != 0)
			continue;
		for (unsigned map = 0x24; map <= 0x46; map += 0x22)
			if (memcmp(toc + map, "config", 6) == 0 &&
			    get_u64_be(toc + map + 10) < length / sector_size)
				return get_u64_be(toc + map + 10) * sector_size;
	}
	return (uint64_t)17 * sector_size; /* where it always is */
}

static void read_database(struct source *source, struct database *database, uint64_t start,
    uint64_t sectors, struct ldm *ldm)
{
	uint64_t drive = source_size(source) / database->sector_size, at;
	size_t length;
	uint8_t *data;

	if (start >= drive || sectors == 0)
		return;
	if (sectors > drive - start)
		sectors = drive - start;
	if (sectors > DATABASE_MAX / database->sector_size)
		sectors = DATABASE_MAX / database->sector_size;
	length = (size_t)sectors * database->sector_size;
	data = calloc(1, length);
	if (data == NULL)
		return;
	/* What cannot be read is zeros, and what is described there stays unknown. */
	source_read(source, start * database->sector_size, data, length, NULL);
	at = find_vmdb(data, length, database->sector_size);
	if (at < length && take_database(database, data + at, length - (size_t)at, ldm))
		take_volumes(database, ldm);
	free(data);
}

struct ldm *ldm_read(
    struct source *source, struct arena *arena, uint32_t sector_size, uint64_t sector)
{
	struct database database = {
	    .arena = arena, .sector_size = sector_size, .drive_size = source_size(source)};
	uint8_t head[512];
	struct ldm *ldm;

	if (sector >= database.drive_size / sector_size ||
	    !source_read(source, sector * sector_size, head, sizeof(head), NULL) ||
	    memcmp(head, "PRIVHEAD", 8) != 0)
		return NULL;
	ldm = arena_alloc(arena, sizeof(*ldm));
	if (ldm == NULL)
		return NULL;
	database.disk_id = head + 0x30;
	set_text(ldm->group_id, sizeof(ldm->group_id), head + 0xB0, 36);
	set_text(ldm->group, sizeof(ldm->group), head + 0xF0, 31);
	database.data_start = get_u64_be(head + 0x11B);
	read_database(source, &database, get_u64_be(head + 0x12B), get_u64_be(head + 0x133), ldm);
	free(database.components);
	free(database.pieces);
	free(database.volumes);
	return ldm;
}

void ldm_to_set(const struct ldm *ldm, struct set *set)
{
	uint32_t sum = 0;
	bool mirrors = ldm->count > 0;

	set->kind = SET_DYNAMIC;
	set->level = SET_SINGLE;
	set->readable_alone = ldm->drives > 0;
	set->members = ldm->drives;
	set->generation = ldm->generation;
	snprintf(set->name, sizeof(set->name), "%s", ldm->group);
	for (size_t i = 0; i < ldm->count; i++) {
		const struct ldm_volume *volume = &ldm->volumes[i];
		uint8_t number[4];

		put_u32(number, volume->object);
		sum += (uint32_t)crc32(0, number, sizeof(number));
		mirrors = mirrors && volume->level == SET_MIRROR && volume->is_whole;
		if (!volume->is_whole) {
			set->level = volume->level;
			set->readable_alone = false;
		}
	}
	if (ldm->drives == 0)
		set->level = SET_UNKNOWN;
	/* Drives are copies of each other only when they hold the same volumes. */
	if (mirrors)
		set->level = SET_MIRROR;
	snprintf(set->id, sizeof(set->id), "%s-%08x", ldm->group_id, mirrors ? sum : 0);
}
