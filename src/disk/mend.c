/*
 * Where a partition table and the volumes disagree, the volumes are right: they say themselves
 * where they end, and stand where they stand.
 *
 * An MBR has no checksum, a GPT can be one from before the drive was set up anew, and a partition
 * can have been deleted by mistake. So a table that leads to nothing is replaced by what is found,
 * a partition that is shorter than its volume is made longer, and what stands between the
 * partitions is added. A healthy drive costs one read for each partition.
 */
#include "disk/table.h"

#include "base/text.h"

bool table_leads_anywhere(struct table_job *job, const struct table *table)
{
	for (size_t i = 0; i < table->count; i++) {
		const struct partition *partition = &table->items[i];

		if (filesystem_recognise(job->source, partition->offset, partition->length) !=
		    FILESYSTEM_NONE)
			return true;
	}
	return false;
}

/*
 * A table whose entries lead to no file system, while volumes stand elsewhere, is as good as lost.
 * Where none stands, it may be right. True when it was replaced.
 */
static bool replace_astray(struct table_job *job, struct table *table)
{
	struct table found = {.sector_size = table->sector_size};
	uint32_t sector_size = job->sector_size;

	lost_take(job, &found);
	if (found.count == 0) {
		job->sector_size = sector_size;
		return false;
	}
	found.disk_signature = table->disk_signature;
	found.disk_id = table->disk_id;
	*table = found;
	return true;
}

/*
 * No system uses a volume that is longer than its partition, so the entry is damaged, or from an
 * older layout that began at the same place. The copy of an NTFS boot sector behind the volume may
 * be missing: a sector less is no reason.
 */
static void lengthen(struct table_job *job, struct partition *partition)
{
	uint64_t length, slack = 4096;

	if (!lost_length(job, partition->offset, &length) || length <= slack ||
	    length - slack <= partition->length)
		return;
	findings_add(job->findings, WEIGHT_CAUTION, "partition-too-short", source_path(job->source),
	    "Compare the list of partitions with what the owner remembers.",
	    "The volume in partition %u is longer (%s) than the partition table says (%s), so that "
	    "entry is wrong; the volume is read in full.",
	    partition->number, text_size(length).text, text_size(partition->length).text);
	partition->length = length;
}

static void say_unlisted(struct table_job *job, const struct partition *partition)
{
	findings_add(job->findings, WEIGHT_CAUTION, "volume-unlisted", source_path(job->source),
	    "Ask the owner whether a partition was deleted, and whether its files are still "
	    "wanted.",
	    "A volume of %s, %s from the start of the drive, stands in no partition table: its "
	    "partition was deleted. It is read as number %u.",
	    text_size(partition->length).text, text_size(partition->offset).text,
	    partition->number);
}

void table_mend(struct table_job *job, struct table *table)
{
	size_t listed = table->count;

	if (listed > 0 && !table_leads_anywhere(job, table) && replace_astray(job, table))
		return;
	for (size_t i = 0; i < listed; i++)
		lengthen(job, &table->items[i]);
	table_sort(table);
	lost_take_between(job, table);
	for (size_t i = listed; i < table->count; i++)
		say_unlisted(job, &table->items[i]);
}
