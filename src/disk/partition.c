/*
 * Which table a drive has, at which sector size, and what is wrong with it; see partition.h.
 *
 * The order: a sound main GPT (unless an ordinary MBR says that the drive was set up anew), the
 * boot sector of a file system in the first sector (unless an ordinary MBR in it leads to others),
 * an ordinary MBR, what is left of a broken GPT, and last other signs of a file system that covers
 * the whole drive.
 */
#include "disk/table.h"

#include "base/bytes.h"
#include "base/text.h"
#include "disk/ldm.h"

#include <stdlib.h>
#include <string.h>

#define SIZES 3
#define DYNAMIC_DATA "dynamic disk data"
#define DYNAMIC_TABLE "dynamic disk table"

struct partition *table_add(struct table_job *job, struct table *table, size_t *capacity,
    unsigned number, uint64_t start, uint64_t count)
{
	struct partition *partition, *larger;

	if (start == 0 || start >= job->size / job->sector_size) {
		findings_add(job->findings, WEIGHT_CAUTION, "partition-outside",
		    source_path(job->source),
		    "If this is an image, check that it was copied whole. If it is a drive, "
		    "another adapter may show all of it.",
		    start == 0 ? "Partition %u begins where the table itself lies; it is left out."
			       : "Partition %u begins behind the end of the drive; it is left out.",
		    number);
		return NULL;
	}
	if (count > INT64_MAX / job->sector_size)
		count = INT64_MAX / job->sector_size;
	if (table->count == *capacity) {
		/* The arena keeps what is outgrown; twice the size each time keeps that small. */
		*capacity = *capacity == 0 ? 8 : 2 * *capacity;
		larger = arena_array(job->arena, *capacity, sizeof(*larger));
		if (larger == NULL) {
			job->no_memory = true;
			return NULL;
		}
		if (table->count > 0)
			memcpy(larger, table->items, table->count * sizeof(*larger));
		table->items = larger;
	}
	partition = &table->items[table->count++];
	memset(partition, 0, sizeof(*partition));
	partition->number = number;
	partition->offset = start * job->sector_size;
	partition->length = count * job->sector_size;
	partition->name = "";
	return partition;
}

static int compare_partitions(const void *a, const void *b)
{
	const struct partition *left = a, *right = b;

	if (left->offset != right->offset)
		return left->offset < right->offset ? -1 : 1;
	return left->number < right->number ? -1 : left->number > right->number;
}

void table_sort(struct table *table)
{
	if (table->count > 1)
		qsort(table->items, table->count, sizeof(*table->items), compare_partitions);
}

/* Partitions that hold pieces of volumes, where the dynamic disk's own table cannot be read. */
static void check_pieces(struct table_job *job, const struct table *table)
{
	for (size_t i = 0; i < table->count; i++) {
		const char *kind = partition_type_name(table, &table->items[i]);

		if (kind == NULL || strcmp(kind, DYNAMIC_DATA) != 0)
			continue;
		findings_add(job->findings, WEIGHT_CAUTION, "partition-of-pieces",
		    source_path(job->source),
		    "Volumes that lie in one piece are found all the same; for others the files "
		    "have to be saved on the old system.",
		    "Partition %u (%s) can hold pieces of volumes that go over several places or "
		    "drives; such volumes are not put together.",
		    table->items[i].number, kind);
	}
}

/* Findings about the finished list: overlaps, and what a truncated image lacks. */
static void check_partitions(struct table_job *job, const struct table *table)
{
	uint64_t needed = 0;
	size_t longest = 0; /* the one that reaches furthest so far */
	bool is_lost = table->kind == TABLE_LOST;

	for (size_t i = 0; i < table->count; i++) {
		const struct partition *partition = &table->items[i];
		uint64_t end = partition->offset + partition->length;

		if (i > 0 && partition->offset < needed)
			findings_add(job->findings, WEIGHT_CAUTION, "partition-overlap",
			    source_path(job->source),
			    is_lost ? "Look into both: files in the wrong "
				      "one can be damaged."
				    : "",
			    is_lost
				? "Volumes %u and %u overlap, so one of them is a leftover of "
				  "what the drive held before."
				: "Partitions %u and %u overlap, so at least one of them is not "
				  "what the table says.",
			    table->items[longest].number, partition->number);
		if (end > needed) {
			needed = end;
			longest = i;
		}
	}
	if (needed > job->size)
		findings_add(job->findings, WEIGHT_CAUTION, "drive-truncated",
		    source_path(job->source),
		    "If this is an image, copy the drive again, whole. If it is a drive, another "
		    "adapter may show all of it.",
		    "Partition %u reaches over the end: %s are missing, and files there cannot be "
		    "read.",
		    table->items[longest].number, text_size(needed - job->size).text);
}

/* --- GPT -------------------------------------------------------------------------------------- */

struct candidate {
	enum table_grade grade;
	bool backup;
	uint32_t sector_size;
	struct gpt_header header;
};

static void consider(struct table_job *job, uint32_t sector_size, uint64_t sector, bool backup,
    struct candidate *best)
{
	struct candidate candidate = {.backup = backup, .sector_size = sector_size};

	job->sector_size = sector_size;
	candidate.grade = gpt_check(job, sector, &candidate.header);
	if (candidate.grade > best->grade)
		*best = candidate;
}

static void consider_backup(
    struct table_job *job, uint32_t sector_size, uint64_t other, struct candidate *best)
{
	uint64_t sectors = job->size / sector_size;

	if (sectors > 1)
		consider(job, sector_size, sectors - 1, true, best);
	if (other > 1 && other < sectors)
		consider(job, sector_size, other, true, best);
}

/* Is the twin of a sound main table there and sound too? */
static void check_twin(struct table_job *job, const struct gpt_header *header)
{
	struct gpt_header twin;

	if (header->other >= job->size / job->sector_size) {
		findings_add(job->findings, WEIGHT_CAUTION, "drive-shorter-than-table",
		    source_path(job->source),
		    "If this is an image, check that it was copied whole. If it is a drive, "
		    "another adapter may show all of it.",
		    "The table was made for a drive that is larger than this one (%s).",
		    text_size(job->size).text);
	} else if (gpt_check(job, header->other, &twin) != GRADE_SOUND) {
		findings_add(job->findings, WEIGHT_NOTE, "gpt-backup-broken",
		    source_path(job->source), "",
		    "The backup of the partition table at the end of the drive is damaged; the "
		    "main table is sound and was used.");
	}
}

static void say_how(struct table_job *job, const struct candidate *best)
{
	const char *path = source_path(job->source);

	if (best->grade == GRADE_SOUND && !best->backup) {
		check_twin(job, &best->header);
		return;
	}
	if (best->backup)
		findings_add(job->findings, WEIGHT_CAUTION, "gpt-from-backup", path,
		    "Compare the list of partitions with what the owner remembers. A broken table "
		    "can be the first sign of a failing drive.",
		    "The partition table at the start of the drive is damaged; its backup at the "
		    "end was used.");
	if (best->grade != GRADE_SOUND)
		findings_add(job->findings, WEIGHT_CAUTION, "gpt-damaged", path,
		    "Compare the list of partitions with what the owner remembers.",
		    best->grade == GRADE_HEADER
			? "The header of the partition table is damaged, but its entries are sound."
			: "The entries of the partition table do not match their checksum: some "
			  "may be wrong or missing.");
}

static void take_gpt(struct table_job *job, const struct candidate *best, struct table *table)
{
	job->sector_size = best->sector_size;
	table->from_backup = best->backup;
	gpt_take(job, &best->header, table);
	say_how(job, best);
}

/* --- all together ----------------------------------------------------------------------------- */

struct first_sector {
	uint8_t data[512];
	enum mbr_kind mbr;
	bool readable;
};

/*
 * How many entries of an MBR lead to a file system. Its numbers fit every sector size: what lies
 * where they lead decides, and the best size is left in the job.
 */
static unsigned score_mbr(
    struct table_job *job, const uint32_t *sizes, const struct first_sector *first)
{
	uint32_t best_size = sizes[0];
	unsigned best = 0;

	for (size_t i = 0; i < SIZES; i++) {
		unsigned score;

		job->sector_size = sizes[i];
		score = mbr_score(job, first->data);
		if (score > best) {
			best = score;
			best_size = sizes[i];
		}
	}
	job->sector_size = best_size;
	return best;
}

static void take_mbr(struct table_job *job, const uint32_t *sizes, const struct first_sector *first,
    struct table *table)
{
	if (score_mbr(job, sizes, first) > 0 || first->mbr == MBR_ORDINARY)
		mbr_take(job, first->data, table);
}

/* The whole drive as one volume; as far as a file system is recognised. */
static void take_whole(struct table_job *job, struct table *table)
{
	struct partition *whole;

	if (filesystem_recognise(job->source, 0, job->size) == FILESYSTEM_NONE)
		return;
	whole = arena_alloc(job->arena, sizeof(*whole));
	if (whole == NULL) {
		job->no_memory = true;
		return;
	}
	whole->length = job->size;
	whole->name = "";
	table->items = whole;
	table->count = 1;
}

/*
 * An ordinary MBR in front of a sound GPT says that the drive was set up anew, unless it leads to
 * nothing and the GPT does to something.
 */
static bool is_mbr_astray(struct table_job *job, const uint32_t *sizes,
    const struct first_sector *first, const struct candidate *best)
{
	struct table_job quiet = *job;
	struct table table = {0};
	bool leads;

	if (score_mbr(job, sizes, first) > 0)
		return false;
	quiet.findings = NULL;
	quiet.sector_size = best->sector_size;
	gpt_take(&quiet, &best->header, &table);
	leads = table_leads_anywhere(&quiet, &table);
	job->no_memory = job->no_memory || quiet.no_memory;
	return leads;
}

/* What stands in front of a GPT when it is not what belongs there. */
static void say_first_sector(struct table_job *job, const struct first_sector *first)
{
	const char *path = source_path(job->source);

	if (first->mbr == MBR_PROTECTIVE)
		return;
	if (first->mbr == MBR_ORDINARY)
		findings_add(job->findings, WEIGHT_CAUTION, "table-not-used", path,
		    "Compare the list of partitions with what the owner remembers.",
		    "The drive has two partition tables. The one in its first sector leads to "
		    "nothing, so the other (GPT) was used.");
	else
		findings_add(job->findings, WEIGHT_CAUTION, "protective-mbr-lost", path,
		    "Other systems may show the drive as empty and offer to set it up: do not do "
		    "that. A broken first sector can be the first sign of a failing drive.",
		    first->readable ? "The drive's first sector, which protects the partition "
				      "table behind it, was overwritten; the table is sound."
				    : "The drive's first sector, which protects the partition "
				      "table behind it, cannot be read; the table is sound.");
}

static void say_older_table(struct table_job *job)
{
	findings_add(job->findings, WEIGHT_NOTE, "table-not-used", source_path(job->source), "",
	    "Behind the partition table in use (MBR) stands an older one (GPT), from before the "
	    "drive was set up anew; it was not used.");
}

/* The drive is one volume, although its first sector could be taken for a partition table. */
static void say_whole(
    struct table_job *job, const struct first_sector *first, const struct table *table)
{
	if (first->mbr != MBR_NONE && table->count > 0)
		findings_add(job->findings, WEIGHT_NOTE, "drive-is-one-volume",
		    source_path(job->source), "",
		    "The drive has no partition table: it is one volume from its first sector on, "
		    "although that sector can be mistaken for a table.");
}

/* Returns whether the first sector could be read. */
static bool choose(struct table_job *job, const uint32_t *sizes, struct table *table)
{
	struct candidate best = {0};
	struct first_sector first = {0};
	uint64_t other[SIZES] = {0};
	bool had_gpt = false;

	first.readable = source_read(job->source, 0, first.data, sizeof(first.data), NULL);
	first.mbr = first.readable ? mbr_check(first.data) : MBR_NONE;
	for (size_t i = 0; i < SIZES; i++) {
		job->sector_size = sizes[i];
		had_gpt = had_gpt || gpt_has_signature(job, 1);
		consider(job, sizes[i], 1, false, &best);
		if (best.grade != GRADE_NONE && best.sector_size == sizes[i])
			other[i] = best.header.other;
	}
	if (best.grade == GRADE_SOUND && (first.mbr != MBR_ORDINARY ||
					     is_mbr_astray(job, sizes, &first, &best))) {
		take_gpt(job, &best, table);
		say_first_sector(job, &first);
		return true;
	}
	/* A drive that was one volume before it got a table can still have that volume's mark. */
	if (filesystem_of_boot_sector(job->source, 0) != FILESYSTEM_NONE &&
	    (first.mbr != MBR_ORDINARY || score_mbr(job, sizes, &first) == 0)) {
		take_whole(job, table);
		say_whole(job, &first, table);
		return true;
	}
	if (first.mbr == MBR_ORDINARY && best.grade == GRADE_SOUND)
		say_older_table(job);
	if (first.mbr == MBR_ORDINARY || (first.mbr == MBR_DOUBTFUL && !had_gpt))
		take_mbr(job, sizes, &first, table);
	if (table->kind != TABLE_NONE || job->no_memory)
		return first.readable;
	for (size_t i = 0; i < SIZES; i++)
		consider_backup(job, sizes[i], other[i], &best);
	if (best.grade != GRADE_NONE)
		take_gpt(job, &best, table);
	else
		take_whole(job, table);
	return first.readable;
}

static void say_lost(struct table_job *job, const struct table *table)
{
	findings_add(job->findings, WEIGHT_CAUTION, "table-lost", source_path(job->source),
	    "Compare the volumes with what the owner remembers; others may lie elsewhere on the "
	    "drive. A lost table can be the first sign of a failing drive.",
	    "The partition table is lost or wrong; %zu %s found by what stands at their own beginning.",
	    table->count, table->count == 1 ? "volume was" : "volumes were");
}

/* A drive on which nothing is recognised can be locked or encrypted as a whole: no fault. */
static void say_sealed(struct table_job *job, enum sealed sealed)
{
	if (sealed == SEALED_REFUSES)
		findings_add(job->findings, WEIGHT_LOSS, "drive-sealed", source_path(job->source),
		    "A password is typed when its own PC starts; an enclosure that encrypts has "
		    "a program or keys of its own. Where the owner knows of neither, or the "
		    "drive makes odd noises, it is broken, and belongs to a recovery laboratory.",
		    "The drive looks locked or encrypted as a whole: it refuses every read at "
		    "once, where a failing drive would try for seconds.");
	else
		findings_add(job->findings, WEIGHT_CAUTION, "drive-sealed",
		    source_path(job->source),
		    "If it comes out of a USB enclosure, read it through that enclosure: many "
		    "encrypt all that is written, even without a password. Otherwise its owner "
		    "knows the program that encrypted it.",
		    "The drive looks encrypted as a whole, or wiped with random bytes: it can be "
		    "read, and nothing on it can be recognised.");
}

static void say_nothing_found(struct table_job *job, bool readable, enum sealed sealed)
{
	if (sealed != SEALED_NOT) {
		say_sealed(job, sealed);
		return;
	}
	if (!readable) {
		findings_add(job->findings, WEIGHT_LOSS, "drive-unreadable",
		    source_path(job->source),
		    "A drive that asks for a password when the PC starts is locked until its owner "
		    "types it there. One that clicks, smells or drops out belongs to a recovery "
		    "laboratory.",
		    "The drive's first sector cannot be read, and nothing was recognised on it.");
		return;
	}
	findings_add(job->findings, WEIGHT_CAUTION, "table-none", source_path(job->source),
	    "Check that this is the right drive or image. A drive that was wiped, or that uses "
	    "hardware encryption in its adapter, looks like this too.",
	    "No partition table and no file system was recognised.");
}

static void say_sector_size(struct table_job *job, const struct table *table)
{
	uint32_t shown = source_sector_size(job->source);

	if ((table->kind != TABLE_MBR && table->kind != TABLE_GPT) || table->sector_size == shown ||
	    !source_device(job->source)->is_block)
		return;
	findings_add(job->findings, WEIGHT_NOTE, "table-sector-size", source_path(job->source), "",
	    "The partition table counts in sectors of %u bytes, but the drive now shows sectors of "
	    "%u bytes: it was set up behind another adapter. This was taken into account.",
	    table->sector_size, shown);
}

/* --- dynamic disks ---------------------------------------------------------------------------- */

static bool is_kind(const struct table *table, const struct partition *partition, const char *kind)
{
	const char *name = partition_type_name(table, partition);

	return name != NULL && strcmp(name, kind) == 0;
}

/* Where a dynamic disk's own description begins, in sectors; 0: this is none. */
static uint64_t dynamic_sector(const struct table *table)
{
	bool has_data = false;

	for (size_t i = 0; i < table->count; i++) {
		const struct partition *partition = &table->items[i];

		/* On GPT drives it is the last sector of a partition of its own. */
		if (is_kind(table, partition, DYNAMIC_TABLE) &&
		    partition->length >= table->sector_size)
			return (partition->offset + partition->length) / table->sector_size - 1;
		has_data = has_data || is_kind(table, partition, DYNAMIC_DATA);
	}
	return table->kind == TABLE_MBR && has_data ? 6 : 0;
}

/* Puts the volumes in the place of the partitions that hold them. */
static bool list_volumes(struct table_job *job, struct table *table)
{
	const struct ldm *ldm = table->dynamic;
	struct partition *items = arena_array(
	    job->arena, table->count + ldm->count + 1, sizeof(*items)), data = {.name = ""};
	unsigned number = 0;
	size_t count = 0;

	if (items == NULL)
		return false;
	for (size_t i = 0; i < table->count; i++) {
		if (is_kind(table, &table->items[i], DYNAMIC_DATA)) {
			data = table->items[i];
			continue;
		}
		items[count++] = table->items[i];
		if (table->items[i].number > number)
			number = table->items[i].number;
	}
	for (size_t i = 0; i < ldm->count; i++) {
		struct partition *item = &items[count];

		if (!ldm->volumes[i].is_whole)
			continue;
		*item = data;
		item->number = ++number;
		item->offset = ldm->volumes[i].offset;
		item->length = ldm->volumes[i].length;
		item->id = ldm->volumes[i].id;
		count++;
	}
	table->items = items;
	table->count = count;
	return true;
}

static void take_dynamic(struct table_job *job, struct table *table)
{
	uint64_t sector = dynamic_sector(table);

	if (sector == 0)
		return;
	table->dynamic = ldm_read(job->source, job->arena, table->sector_size, sector);
	if (table->dynamic != NULL && table->dynamic->drives > 0 && !list_volumes(job, table))
		job->no_memory = true;
}

bool table_read(struct source *source, struct arena *arena, struct findings *findings,
    struct table *table, struct error *error)
{
	struct table_job job = {
	    source, arena, findings, source_sector_size(source), source_size(source), false};
	uint32_t sizes[SIZES] = {job.sector_size, 512, 4096};
	bool readable;

	/* A size that is tried already is tried again in vain, which does no harm. */
	memset(table, 0, sizeof(*table));
	table->sector_size = sizes[0];
	readable = choose(&job, sizes, table);
	if (!job.no_memory)
		take_dynamic(&job, table);
	if (job.no_memory)
		return error_no_memory(error);
	if (table->count == 0 && table->kind == TABLE_NONE)
		lost_take(&job, table);
	else if (table->kind != TABLE_NONE && table->dynamic == NULL)
		table_mend(&job, table);
	if (job.no_memory)
		return error_no_memory(error);
	job.sector_size = table->sector_size;
	table_sort(table);
	if (table->kind == TABLE_NONE && table->count == 0) {
		table->sealed = sealed_look(source);
		say_nothing_found(&job, readable, table->sealed);
	}
	if (table->kind == TABLE_LOST)
		say_lost(&job, table);
	if (table->kind != TABLE_NONE) {
		check_partitions(&job, table);
		if (table->dynamic == NULL)
			check_pieces(&job, table);
	}
	say_sector_size(&job, table);
	return true;
}
