/* Opening a volume: see volume.h. */
#include "ntfs/volume.h"

#include "base/text.h"
#include "ntfs/boot.h"
#include "ntfs/catalogue.h"
#include "ntfs/state.h"
#include "ntfs/table.h"

#include <stdlib.h>
#include <string.h>

/*
 * The part of a hole of the drive that lies in [offset, offset + length) of the volume. The drive's
 * holes are whole sectors, which may stick out on both sides.
 */
static void add_hole(const struct volume *volume, const struct hole *hole, uint64_t offset,
    uint64_t length, struct holes *holes)
{
	uint64_t start = volume->offset + offset, first = hole->offset;
	uint64_t end = hole->offset + hole->length;

	if (first < start)
		first = start;
	if (end > start + length)
		end = start + length;
	if (first < end)
		holes_add(holes, first - volume->offset, end - first);
}

bool volume_read(
    const struct volume *volume, uint64_t offset, void *buffer, size_t length, struct holes *holes)
{
	struct holes met = {0};
	size_t inside = length;
	bool good;

	if (offset >= volume->length)
		inside = 0;
	else if (length > volume->length - offset)
		inside = (size_t)(volume->length - offset);
	if (inside < length) {
		memset((uint8_t *)buffer + inside, 0, length - inside);
		if (holes != NULL)
			holes_add(holes, offset + inside, length - inside);
	}
	if (inside == 0)
		return length == 0;
	good = source_read(volume->source, volume->offset + offset, buffer, inside, &met);
	for (size_t i = 0; holes != NULL && i < met.count; i++)
		add_hole(volume, &met.items[i], offset, inside, holes);
	if (holes != NULL && met.failed)
		holes->failed = true;
	holes_free(&met);
	return good && inside == length;
}

static void set_geometry(struct volume *volume, const struct boot *boot)
{
	volume->sector_size = boot->sector_size;
	volume->cluster_size = boot->cluster_size;
	volume->record_size = boot->record_size;
	volume->clusters = boot->clusters;
	volume->table_lcn = boot->table_lcn;
	volume->mirror_lcn = boot->mirror_lcn;
	volume->serial = boot->serial;
}

static bool read_boot(const struct volume *volume, uint64_t offset, struct boot *boot)
{
	uint8_t bytes[BOOT_SIZE];

	return offset < volume->length && volume_read(volume, offset, bytes, sizeof(bytes), NULL) &&
	       boot_parse(boot, bytes);
}

/* The table by one copy of the boot sector. */
static bool try_boot(
    struct volume *volume, const struct boot *boot, const char *name, struct findings *findings)
{
	set_geometry(volume, boot);
	table_window_close(volume);
	return table_window_open(volume) && table_open(volume, name, findings);
}

/* Another copy of the boot sector by which the table is found. */
static bool try_backups(struct volume *volume, struct boot *boot, bool *any, const char *name,
    struct findings *findings)
{
	struct boot copy;

	for (unsigned i = 0; i < 8; i++) {
		if (!read_boot(volume, boot_backup_offset(volume->length, i), &copy))
			continue;
		if (!*any)
			*boot = copy;
		*any = true;
		if (try_boot(volume, &copy, name, findings)) {
			*boot = copy;
			return true;
		}
	}
	return false;
}

static void report_backup(const char *name, struct findings *findings)
{
	findings_add(findings, WEIGHT_CAUTION, "boot-sector-from-backup", name,
	    "Nothing is lost by this alone, but the drive may be failing: do not use it for "
	    "anything "
	    "else.",
	    "The volume's first sector is broken; the copy at its end was used instead.");
}

/* Finds the boot sector and the file table, in all the ways there are. */
static bool find_table(
    struct volume *volume, const char *name, struct findings *findings, struct error *error)
{
	struct boot boot;
	bool first = read_boot(volume, 0, &boot), any = first;

	if (first && try_boot(volume, &boot, name, findings))
		return true;
	if (try_backups(volume, &boot, &any, name, findings)) {
		volume->boot_from_backup = true;
		report_backup(name, findings);
		return true;
	}
	if (!any)
		return error_set(error, STATUS_NO_VOLUME,
		    "%s has no NTFS boot sector that can be read, neither the first nor the copy "
		    "at "
		    "the end",
		    name);
	set_geometry(volume, &boot);
	table_window_close(volume);
	if (!table_window_open(volume))
		return error_no_memory(error);
	if (!table_guess(volume, name, findings))
		return error_set(error, STATUS_NO_VOLUME,
		    "the file table of %s cannot be found, neither the first record nor its copy "
		    "can "
		    "be read",
		    name);
	if (!first) {
		volume->boot_from_backup = true;
		report_backup(name, findings);
	}
	return true;
}

static void report_length(const struct volume *volume, const char *name, struct findings *findings)
{
	uint64_t size = volume->clusters * volume->cluster_size;

	if (size <= volume->length)
		return;
	findings_add(findings, WEIGHT_CAUTION, "volume-cut-off", name,
	    "If this is an image file, copy it again in full. If it is a drive, look whether the "
	    "adapter "
	    "shows its whole size.",
	    "The volume should be %s long, but only %s of it are there; what lies beyond is "
	    "missing.",
	    text_size(size).text, text_size(volume->length).text);
}

struct volume *volume_open(struct source *source, uint64_t offset, uint64_t length,
    const char *name, struct findings *findings, struct error *error)
{
	uint64_t size = source_size(source);
	struct volume *volume;

	if (offset >= size) {
		error_set(error, STATUS_NO_VOLUME, "%s begins beyond the end of the drive", name);
		return NULL;
	}
	volume = calloc(1, sizeof(*volume));
	if (volume == NULL) {
		error_no_memory(error);
		return NULL;
	}
	volume->source = source;
	volume->offset = offset;
	volume->length = length < size - offset ? length : size - offset;
	if (!find_table(volume, name, findings, error)) {
		volume_close(volume);
		return NULL;
	}
	report_length(volume, name, findings);
	table_compare_mirror(volume, name, findings);
	state_read(volume, name, findings);
	return volume;
}

void volume_close(struct volume *volume)
{
	if (volume == NULL)
		return;
	catalogue_free(volume->catalogue);
	table_window_close(volume);
	arena_free(&volume->arena);
	free(volume);
}
