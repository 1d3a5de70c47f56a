/*
 * The master boot record and the chain of extended partitions behind it.
 *
 * Sources: UEFI Specification 2.10, section 5.2.1 (table 5-1 and 5-2) for the record itself;
 * extended partitions are common practice since MS-DOS 3.3, no standard: each link of the chain is
 * a sector with the same layout, whose first data entry counts from the link itself and whose link
 * entry counts from the start of the outermost extended partition.
 */
#include "disk/table.h"

#include "base/bytes.h"

#include <string.h>

#define ENTRIES 446
#define ENTRY_SIZE 16
#define CHAIN_MAX 256 /* links; a limit for hostile tables */

struct entry {
	uint8_t flag, type;
	uint32_t start, count; /* sectors */
};

static struct entry entry_at(const uint8_t *sector, unsigned index)
{
	const uint8_t *raw = sector + ENTRIES + ENTRY_SIZE * index;
	struct entry entry = {raw[0], raw[4], get_u32(raw + 8), get_u32(raw + 12)};

	return entry;
}

static bool is_used(const struct entry *entry)
{
	return entry->type != 0 && entry->count != 0;
}

static bool is_extended(const struct entry *entry)
{
	return entry->type == 0x05 || entry->type == 0x0F || entry->type == 0x85;
}

static bool has_signature(const uint8_t *sector)
{
	return sector[510] == 0x55 && sector[511] == 0xAA;
}

enum mbr_kind mbr_check(const uint8_t *sector)
{
	bool odd = false, used = false;

	if (!has_signature(sector))
		return MBR_NONE;
	for (unsigned i = 0; i < 4; i++) {
		struct entry entry = entry_at(sector, i);

		/* The flag is 80 for the partition that is started and 00 for the others. */
		odd = odd || (entry.flag & 0x7F) != 0;
		if (entry.type == 0xEE)
			return MBR_PROTECTIVE;
		used = used || is_used(&entry);
	}
	if (!used)
		return MBR_NONE;
	return odd ? MBR_DOUBTFUL : MBR_ORDINARY;
}

unsigned mbr_score(struct table_job *job, const uint8_t *sector)
{
	unsigned score = 0;

	for (unsigned i = 0; i < 4; i++) {
		struct entry entry = entry_at(sector, i);
		uint64_t start = (uint64_t)entry.start * job->sector_size;
		uint8_t link[512];

		if (!is_used(&entry) || start == 0 || start >= job->size)
			continue;
		if (is_extended(&entry))
			score += source_read(job->source, start, link, sizeof(link), NULL) &&
				 mbr_check(link) != MBR_NONE;
		else
			score += filesystem_recognise(job->source, start,
				     (uint64_t)entry.count * job->sector_size) != FILESYSTEM_NONE;
	}
	return score;
}

static void add_entry(struct table_job *job, struct table *table, size_t *capacity, unsigned number,
    uint64_t start, const struct entry *entry)
{
	struct partition *partition = table_add(job, table, capacity, number, start, entry->count);

	if (partition != NULL)
		partition->mbr_type = entry->type;
}

struct chain {
	uint64_t first; /* sector of the extended partition */
	uint64_t seen[CHAIN_MAX];
	unsigned links;
};

/* May the chain go on at this link? Says why not. */
static bool may_follow(struct table_job *job, const struct chain *chain, uint64_t at)
{
	const char *why = NULL;

	for (unsigned i = 0; i < chain->links; i++)
		if (chain->seen[i] == at)
			why = "runs in a circle";
	if (why == NULL && chain->links == CHAIN_MAX)
		why = "is longer than any real one";
	if (why == NULL && at >= job->size / job->sector_size)
		why = "leads over the end of the drive";
	if (why == NULL)
		return true;
	findings_add(job->findings, WEIGHT_CAUTION, "mbr-chain-broken", source_path(job->source),
	    "Partitions further along the chain are not found.",
	    "The chain of logical partitions %s, so it is followed only up to there.", why);
	return false;
}

/* Reads a link; a finding when it is none. */
static bool read_link(struct table_job *job, uint64_t at, uint8_t *sector)
{
	bool whole = source_read(job->source, at * job->sector_size, sector, 512, NULL);

	if (whole && has_signature(sector))
		return true;
	findings_add(job->findings, WEIGHT_CAUTION, "mbr-chain-broken", source_path(job->source),
	    "Partitions further along the chain are not found.",
	    whole ? "The chain of logical partitions leads to a place where there is no table."
		  : "A part of the chain of logical partitions cannot be read.");
	return false;
}

/* Follows one extended partition; logical partitions count from 5 over all of them. */
static void take_chain(
    struct table_job *job, uint64_t first, struct table *table, size_t *capacity, unsigned *number)
{
	struct chain chain = {.first = first};
	uint64_t at = first;
	uint8_t sector[512];
	bool more = true;

	while (
	    more && !job->no_memory && may_follow(job, &chain, at) && read_link(job, at, sector)) {
		uint64_t link = at;

		chain.seen[chain.links++] = at;
		more = false;
		for (unsigned i = 0; i < 4; i++) {
			struct entry entry = entry_at(sector, i);

			if (!is_used(&entry))
				continue;
			if (!is_extended(&entry)) {
				add_entry(
				    job, table, capacity, (*number)++, link + entry.start, &entry);
			} else if (!more) {
				at = chain.first + entry.start;
				more = true;
			}
		}
	}
}

void mbr_take(struct table_job *job, const uint8_t *sector, struct table *table)
{
	unsigned number = 5;
	size_t capacity = 0;

	table->kind = TABLE_MBR;
	table->sector_size = job->sector_size;
	table->disk_signature = get_u32(sector + 440);
	for (unsigned i = 0; i < 4; i++) {
		struct entry entry = entry_at(sector, i);

		if (is_used(&entry) && !is_extended(&entry))
			add_entry(job, table, &capacity, i + 1, entry.start, &entry);
	}
	for (unsigned i = 0; i < 4; i++) {
		struct entry entry = entry_at(sector, i);

		if (is_used(&entry) && is_extended(&entry))
			take_chain(job, entry.start, table, &capacity, &number);
	}
}
