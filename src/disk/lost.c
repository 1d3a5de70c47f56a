/*
 * Volumes that no partition table lists, found by their own boot sectors: all of them where the
 * table is lost, or those between the partitions of a table from which one was deleted.
 *
 * One bad sector is enough to lose an MBR. Partitions begin at sector 63 (systems up to XP) or at a
 * multiple of 1 MiB (common practice, no source), and a boot sector states its volume's length,
 * behind which the next partition may begin. Looking only there costs about a thousand small reads.
 *
 * Sources of the lengths: linux-ntfs documentation, $Boot; Microsoft "exFAT file system
 * specification", 3.1.5 and 3.1.14; Microsoft "FAT: General Overview of On-Disk Format" 1.03.
 */
#include "disk/table.h"

#include "base/bytes.h"
#include "base/text.h"

#define TRACK 63 /* sectors */
#define STEP (1u << 20)
#define FIRST_STEPS 1024u    /* from the start of the drive: 1 GiB, more than any small partition */
#define NEXT_STEPS 64u       /* behind each volume that was found */
#define GPT_TAIL (33u * 512) /* bytes: the backup of a usual GPT */
#define FAILURES_MAX 8u      /* a failing drive is not worn out for this */
#define VOLUMES_MAX 128u     /* more than anybody makes; a limit for hostile drives */

/* What the boot sector says; 0 when it says nothing that can be used. */
static uint64_t stated_length(const uint8_t *sector, enum filesystem filesystem)
{
	uint64_t count = 0;
	uint32_t size = get_u16(sector + 11);

	if (filesystem == FILESYSTEM_NTFS) {
		count = get_u64(sector + 40);
		count += count < UINT64_MAX; /* the copy of the boot sector behind it */
	} else if (filesystem == FILESYSTEM_EXFAT && sector[108] >= 9 && sector[108] <= 12) {
		count = get_u64(sector + 72);
		size = 1u << sector[108];
	} else if (filesystem == FILESYSTEM_FAT) {
		count = get_u16(sector + 19) != 0 ? get_u16(sector + 19) : get_u32(sector + 32);
	}
	return size == 0 || count > INT64_MAX / size ? 0 : count * size;
}

struct search {
	struct table_job *job;
	struct table *table;
	size_t capacity;
	unsigned failures;
	unsigned number; /* of the next volume */
	uint64_t end;    /* of the range that is looked through */
	bool in_gap;     /* it lies between partitions of a table that holds */
};

bool lost_length(struct table_job *job, uint64_t offset, uint64_t *length)
{
	uint8_t sector[512];

	*length = 0;
	if (offset > job->size || job->size - offset < sizeof(sector))
		return true;
	if (!source_read(job->source, offset, sector, sizeof(sector), NULL))
		return false;
	*length = stated_length(sector, filesystem_of_boot_sector(job->source, offset));
	return true;
}

/*
 * A volume that would reach into a partition is left over from an earlier layout: what lies there
 * was written by somebody else since.
 */
static bool is_left_over(struct search *search, uint64_t offset, uint64_t length)
{
	if (!search->in_gap || search->end >= search->job->size || length <= search->end - offset)
		return false;
	findings_add(search->job->findings, WEIGHT_NOTE, "volume-left-over",
	    source_path(search->job->source), "",
	    "Between the partitions, %s from the start of the drive, stands the beginning of a "
	    "volume from an earlier layout; partitions of today lie over it, so it is not read.",
	    text_size(offset).text);
	return true;
}

/* Adds the volume that begins at `offset` and returns its end; 0 when there is none. */
static uint64_t take_volume(struct search *search, uint64_t offset)
{
	struct table_job *job = search->job;
	struct partition *partition;
	uint64_t length;

	if (offset == 0)
		return 0;
	if (!lost_length(job, offset, &length))
		search->failures++;
	if (length < job->sector_size || is_left_over(search, offset, length))
		return 0;
	partition = table_add(job, search->table, &search->capacity, search->number,
	    offset / job->sector_size, length / job->sector_size);
	if (partition == NULL)
		return 0;
	search->number++;
	return partition->offset + partition->length;
}

/* Where a partition can begin behind `end`: at once, a track later, then at each whole MiB. */
static uint64_t candidate(uint64_t end, unsigned number)
{
	if (number == 0)
		return end;
	if (number == 1)
		return end + (uint64_t)TRACK * 512;
	return end - end % STEP + (uint64_t)(number - 1) * STEP;
}

/*
 * The same, but where a drive was set up anew, the boot sector of the old layout can still stand in
 * the first track, and states a volume over everything: then both are taken, and the search goes on
 * behind the newer one. Which of them is real shows when they are read.
 */
static uint64_t take_volumes(struct search *search, uint64_t offset)
{
	uint64_t end = take_volume(search, offset), newer;

	if (end == 0 || offset != (uint64_t)TRACK * 512)
		return end;
	newer = take_volume(search, STEP);
	return newer != 0 ? newer : end;
}

/*
 * The volume that ends at `end`, by the copy of its boot sector in its last sector: where table and
 * boot sector are both gone, as when a drive fails at its beginning. It must begin behind `from`.
 * Returns where it begins, 0 when there is none.
 */
static uint64_t take_last(struct search *search, uint64_t from, uint64_t end)
{
	struct table_job *job = search->job;
	uint64_t length, start;

	if (end < from + 1024 || end > job->size || search->table->count >= VOLUMES_MAX ||
	    job->no_memory ||
	    filesystem_of_boot_sector(job->source, end - 512) != FILESYSTEM_NTFS ||
	    !lost_length(job, end - 512, &length) || length < 1024 || length > end - from)
		return 0;
	start = end - length;
	if (start == 0 || start % 512 != 0 ||
	    table_add(job, search->table, &search->capacity, search->number, start / 512,
		length / 512) == NULL)
		return 0;
	search->number++;
	return start;
}

/* And those in front of it, each where the next one begins. */
static bool take_before(struct search *search, uint64_t from, uint64_t end)
{
	size_t before = search->table->count;

	while (end != 0)
		end = take_last(search, from, end);
	return search->table->count > before;
}

/*
 * Looks through the range from `from` on; `limit`: how many places in a row may be tried. Returns
 * the end of the last volume that was found, or `from`.
 */
static uint64_t look_through(struct search *search, uint64_t from, unsigned limit)
{
	struct table_job *job = search->job;
	unsigned number = 0;

	while (number <= limit && !job->no_memory && search->failures < FAILURES_MAX &&
	       search->table->count < VOLUMES_MAX) {
		uint64_t at = candidate(from, number), end;

		if (at >= search->end)
			break;
		end = at < from ? 0 : take_volumes(search, at);
		number++;
		if (end > at) {
			if (!search->in_gap && at > from)
				take_before(search, from, at);
			from = end;
			number = 0;
			limit = NEXT_STEPS;
		}
	}
	return from;
}

void lost_take(struct table_job *job, struct table *table)
{
	struct search search = {.job = job, .table = table, .number = 1, .end = job->size};
	uint64_t whole = job->size - job->size % STEP, from;
	const uint64_t ends[] = {whole, whole > STEP ? whole - STEP : 0,
	    job->size - job->size % 512, job->size > GPT_TAIL ? job->size - GPT_TAIL : 0};
	bool found = false;

	job->sector_size = 512; /* every place that is tried is a multiple of it */
	from = look_through(&search, 0, FIRST_STEPS);
	/* Where the last volume ends: with the last MiB or the one before, or as far as can be. */
	for (size_t i = 0; i < sizeof(ends) / sizeof(ends[0]) && !found; i++)
		found = take_before(&search, from, ends[i]);
	table_sort(table);
	for (size_t i = 0; i < table->count; i++)
		table->items[i].number = (unsigned)i + 1;
	if (table->count > 0) {
		table->kind = TABLE_LOST;
		table->sector_size = job->sector_size;
	}
}

void lost_take_between(struct table_job *job, struct table *table)
{
	struct search search = {
	    .job = job, .table = table, .capacity = table->count, .number = 1, .in_gap = true};
	size_t listed = table->count;
	uint64_t from = 0;

	for (size_t i = 0; i < listed; i++)
		if (table->items[i].number >= search.number)
			search.number = table->items[i].number + 1;
	job->sector_size = 512;
	for (size_t i = 0; i <= listed; i++) {
		search.end = i < listed ? table->items[i].offset : job->size;
		/* In front of the first partition there is a table, and seldom anything else. */
		if (search.end > from && search.end - from > STEP)
			look_through(&search, from, listed == 0 ? FIRST_STEPS : NEXT_STEPS);
		if (i < listed && table->items[i].offset + table->items[i].length > from)
			from = table->items[i].offset + table->items[i].length;
	}
	job->sector_size = table->sector_size;
}
