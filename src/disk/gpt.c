/*
 * GUID Partition Table.
 *
 * Source: UEFI Specification 2.10, section 5.3.2 (header, table 5-5) and 5.3.3 (entries, table
 * 5-6).
 */
#include "disk/table.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#define HEADER_SIZE 92u /* the fields that the specification names */
#define ENTRY_SIZE 128u
#define ENTRY_SIZE_MAX 4096u
#define ENTRIES_BYTES_MAX (4u << 20)
#define ENTRIES_TAKEN 1024u /* more than anything makes; a limit for hostile tables */
#define NAME_UNITS 36u

static uint32_t crc_of(const uint8_t *data, size_t length)
{
	return (uint32_t)crc32(crc32(0, NULL, 0), data, (uInt)length);
}

/* One sector; false when it lies outside the drive or has a hole. */
static bool read_sector(struct table_job *job, uint64_t sector, uint8_t *out)
{
	if (sector >= job->size / job->sector_size)
		return false;
	return source_read(job->source, sector * job->sector_size, out, job->sector_size, NULL);
}

bool gpt_has_signature(struct table_job *job, uint64_t sector)
{
	uint8_t data[4096];

	return job->sector_size <= sizeof(data) && read_sector(job, sector, data) &&
	       memcmp(data, "EFI PART", 8) == 0;
}

/* The header's own checksum: over its length, with the field itself taken as zero. */
static bool header_is_sound(const uint8_t *data, uint32_t sector_size)
{
	static const uint8_t zero[4];
	uint32_t length = get_u32(data + 12);
	uLong crc;

	if (length < HEADER_SIZE || length > sector_size)
		return false;
	crc = crc32(crc32(0, NULL, 0), data, 16);
	crc = crc32(crc, zero, sizeof(zero));
	crc = crc32(crc, data + 20, length - 20);
	return (uint32_t)crc == get_u32(data + 16);
}

static bool is_plausible(const struct table_job *job, const struct gpt_header *header)
{
	uint64_t sectors = job->size / job->sector_size;

	return header->entry_size >= ENTRY_SIZE && header->entry_size <= ENTRY_SIZE_MAX &&
	       header->entry_size % 8 == 0 && header->entry_count > 0 &&
	       (uint64_t)header->entry_count * header->entry_size <= ENTRIES_BYTES_MAX &&
	       header->entries_sector > 0 && header->entries_sector < sectors;
}

/* The whole entry array, or NULL; *whole tells whether every byte could be read. */
static uint8_t *read_entries(struct table_job *job, const struct gpt_header *header, bool *whole)
{
	size_t length = (size_t)header->entry_count * header->entry_size;
	uint8_t *entries = malloc(length);

	if (entries == NULL) {
		job->no_memory = true;
		return NULL;
	}
	*whole = source_read(
	    job->source, header->entries_sector * job->sector_size, entries, length, NULL);
	return entries;
}

enum table_grade gpt_check(struct table_job *job, uint64_t sector, struct gpt_header *header)
{
	uint8_t data[4096], *entries;
	bool header_sound, entries_sound;

	if (job->sector_size > sizeof(data) || !read_sector(job, sector, data) ||
	    memcmp(data, "EFI PART", 8) != 0)
		return GRADE_NONE;
	header->own = get_u64(data + 24);
	header->other = get_u64(data + 32);
	memcpy(header->disk_id.bytes, data + 56, 16);
	header->entries_sector = get_u64(data + 72);
	header->entry_count = get_u32(data + 80);
	header->entry_size = get_u32(data + 84);
	header->entries_crc = get_u32(data + 88);
	if (!is_plausible(job, header))
		return GRADE_NONE;
	header_sound = header_is_sound(data, job->sector_size) && header->own == sector;
	entries = read_entries(job, header, &entries_sound);
	if (entries == NULL)
		return GRADE_NONE;
	entries_sound =
	    entries_sound && crc_of(entries, (size_t)header->entry_count * header->entry_size) ==
				 header->entries_crc;
	free(entries);
	if (header_sound)
		return entries_sound ? GRADE_SOUND : GRADE_ENTRIES;
	return entries_sound ? GRADE_HEADER : GRADE_NONE;
}

static const char *entry_name(struct table_job *job, const uint8_t *entry)
{
	size_t units = 0;
	const char *name;

	while (units < NAME_UNITS && get_u16(entry + 56 + 2 * units) != 0)
		units++;
	name = utf_arena_from_utf16(job->arena, entry + 56, units, NULL);
	if (name == NULL)
		job->no_memory = true;
	return name;
}

static void take_entry(struct table_job *job, struct table *table, size_t *capacity,
    unsigned number, const uint8_t *entry)
{
	uint64_t first = get_u64(entry + 32), last = get_u64(entry + 40);
	struct partition *partition;
	struct guid type;

	memcpy(type.bytes, entry, 16);
	if (guid_is_zero(&type))
		return;
	if (last < first || last == UINT64_MAX) {
		findings_add(job->findings, WEIGHT_CAUTION, "partition-range",
		    source_path(job->source), "",
		    "Partition %u ends before it begins, so its entry in the table is damaged; it "
		    "is left out.",
		    number);
		return;
	}
	partition = table_add(job, table, capacity, number, first, last - first + 1);
	if (partition == NULL)
		return;
	partition->type = type;
	memcpy(partition->id.bytes, entry + 16, 16);
	partition->name = entry_name(job, entry);
}

void gpt_take(struct table_job *job, const struct gpt_header *header, struct table *table)
{
	uint32_t count = header->entry_count;
	size_t capacity = 0;
	uint8_t *entries;
	bool whole;

	table->kind = TABLE_GPT;
	table->sector_size = job->sector_size;
	table->disk_id = header->disk_id;
	entries = read_entries(job, header, &whole);
	if (entries == NULL)
		return;
	if (count > ENTRIES_TAKEN) {
		findings_add(job->findings, WEIGHT_NOTE, "gpt-many-entries",
		    source_path(job->source), "",
		    "The partition table has room for %u partitions; only the first %u are looked "
		    "at.",
		    count, ENTRIES_TAKEN);
		count = ENTRIES_TAKEN;
	}
	for (uint32_t i = 0; i < count && !job->no_memory; i++)
		take_entry(job, table, &capacity, i + 1, entries + (size_t)i * header->entry_size);
	free(entries);
}
