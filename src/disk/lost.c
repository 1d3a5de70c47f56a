/*
 * Volumes whose partition table is lost, found by their own boot sectors.
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

#define TRACK 63 /* sectors */
#define STEP (1u << 20)
#define FIRST_STEPS 1024u /* from the start of the drive: 1 GiB, more than any small partition */
#define NEXT_STEPS 64u    /* behind each volume that was found */
#define FAILURES_MAX 8u   /* a failing drive is not worn out for this */
#define VOLUMES_MAX 128u  /* more than anybody makes; a limit for hostile drives */

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
};

/* The length of the volume that begins at `offset`, or 0. */
static uint64_t length_at(struct search *search, uint64_t offset)
{
	struct table_job *job = search->job;
	uint8_t sector[512];

	if (offset == 0 || offset > job->size || job->size - offset < sizeof(sector))
		return 0;
	if (!source_read(job->source, offset, sector, sizeof(sector), NULL)) {
		search->failures++;
		return 0;
	}
	return stated_length(sector, filesystem_of_boot_sector(job->source, offset));
}

/* Adds the volume that begins at `offset` and returns its end; 0 when there is none. */
static uint64_t take_volume(struct search *search, uint64_t offset)
{
	struct table_job *job = search->job;
	uint64_t length = length_at(search, offset);
	struct partition *partition;

	if (length < job->sector_size)
		return 0;
	partition =
	    table_add(job, search->table, &search->capacity, (unsigned)search->table->count + 1,
		offset / job->sector_size, length / job->sector_size);
	return partition != NULL ? partition->offset + partition->length : 0;
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

void lost_take(struct table_job *job, struct table *table)
{
	struct search search = {.job = job, .table = table};
	unsigned limit = FIRST_STEPS, number = 0;
	uint64_t last_end = 0;

	job->sector_size = 512; /* every place that is tried is a multiple of it */
	while (number <= limit && !job->no_memory && search.failures < FAILURES_MAX &&
	       table->count < VOLUMES_MAX) {
		uint64_t at = candidate(last_end, number), end;

		if (at >= job->size)
			break;
		end = take_volumes(&search, at);
		number++;
		if (end > at) {
			last_end = end;
			number = 0;
			limit = NEXT_STEPS;
		}
	}
	if (table->count > 0) {
		table->kind = TABLE_LOST;
		table->sector_size = job->sector_size;
	}
}
