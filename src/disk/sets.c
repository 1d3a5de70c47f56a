/* Drives that belong to a set: looking for the signs, and what may be read; see sets.h. */
#include "disk/sets.h"

#include "base/bytes.h"
#include "disk/ldm.h"

#include <stdio.h>
#include <string.h>

void set_text(char *out, size_t size, const void *bytes, size_t length)
{
	length = strnlen(bytes, length < size ? length : size - 1);
	memcpy(out, bytes, length);
	while (length > 0 && out[length - 1] == ' ')
		length--;
	out[length] = '\0';
}

static bool is_pool(const struct table *table)
{
	for (size_t i = 0; i < table->count; i++) {
		const char *kind = partition_type_name(table, &table->items[i]);

		if (kind != NULL && strcmp(kind, "storage space") == 0)
			return true;
	}
	return false;
}

/*
 * Does the volume end where its boot sector says, with the copy of that sector? On a member of a
 * striped set the beginning can be there, but what belongs at the end lies elsewhere.
 */
static bool is_whole(struct source *source, const struct partition *partition)
{
	uint8_t boot[512], copy[512];
	uint64_t sectors;
	uint32_t sector_size;

	if (!source_read(source, partition->offset, boot, sizeof(boot), NULL) ||
	    memcmp(boot + 3, "NTFS    ", 8) != 0)
		return false;
	sector_size = get_u16(boot + 11);
	sectors = get_u64(boot + 40);
	if (sector_size < 512 || sector_size > 4096 || sectors == 0 ||
	    sectors >= partition->length / sector_size ||
	    partition->offset + (sectors + 1) * sector_size > source_size(source))
		return false;
	return source_read(
		   source, partition->offset + sectors * sector_size, copy, sizeof(copy), NULL) &&
	       memcmp(boot, copy, sizeof(boot)) == 0;
}

/* Are there NTFS volumes, and all of them whole? Then the sign is left over from earlier times. */
static bool all_whole(struct source *source, const struct table *table)
{
	size_t found = 0;

	for (size_t i = 0; i < table->count; i++) {
		const struct partition *partition = &table->items[i];

		if (filesystem_recognise(source, partition->offset, partition->length) !=
		    FILESYSTEM_NTFS)
			continue;
		if (!is_whole(source, partition))
			return false;
		found++;
	}
	return found > 0;
}

static bool find_sign(
    struct source *source, const char *serial, const struct table *table, struct set *set)
{
	if (table->dynamic != NULL) {
		ldm_to_set(table->dynamic, set);
		return true;
	}
	if (is_pool(table)) {
		set->kind = SET_POOL;
		return true;
	}
	return set_read_rst(source, serial, set) || set_read_ddf(source, set) ||
	       set_read_marks(source, set);
}

void set_recognise(
    struct source *source, const char *serial, const struct table *table, struct set *set)
{
	uint8_t first[512];

	*set = (struct set){.kind = SET_NONE};
	/* A drive that cannot be read is not asked for thirty more places. */
	if (!source_read(source, 0, first, sizeof(first), NULL) ||
	    !find_sign(source, serial, table, set)) {
		*set = (struct set){.kind = SET_NONE};
		return;
	}
	if (set->readable_alone || set->kind == SET_DYNAMIC || set->kind == SET_POOL)
		return;
	set->leftover = all_whole(source, table);
	set->readable_alone = set->leftover;
}

void set_learn(struct source *source, const struct drive *drive, struct table *table,
    struct findings *findings, struct set *set)
{
	set_recognise(source, drive->serial, table, set);
	if (set->kind == SET_NONE)
		return;
	findings_drop(findings, "table-none", drive->path);
	findings_drop(findings, "drive-sealed", drive->path);
	table->sealed = SEALED_NOT;
}

bool set_shows_whole(
    const struct set *set, struct source *source, const struct partition *partition)
{
	/* What is listed of a dynamic disk whose own table could be read is whole. */
	return set->kind == SET_NONE || set->readable_alone ||
	       (set->kind == SET_DYNAMIC && set->level != SET_UNKNOWN) ||
	       is_whole(source, partition);
}
