/* The volumes of all drives: recognised, opened where they are NTFS, and catalogued. */
#include "system/open_volumes.h"

#include "base/text.h"
#include "base/utf.h"
#include "system/inner.h"

#include <string.h>

const char *survey_volume_words(const struct survey *survey, size_t volume, struct arena *arena)
{
	const struct survey_volume *it;
	const struct survey_drive *drive;
	const char *words, *label;

	if (volume >= survey->n_volumes)
		return "no attached volume";
	it = &survey->volumes[volume];
	drive = &survey->drives[it->drive];
	label = it->volume ? it->volume->label : "";
	if (drive->table.kind == TABLE_NONE)
		words = arena_printf(arena, "%s%s%s%s", drive->about.path, *label ? " (" : "",
		    label, *label ? ")" : "");
	else
		words = arena_printf(arena, "partition %u of %s%s%s%s", it->partition->number,
		    drive->about.path, *label ? " (" : "", label, *label ? ")" : "");
	return words ? words : it->name;
}

/*
 * A volume with nothing but the start files of the old system: on drives with an MBR no type tells
 * it ("System Reserved"). Any other name may be somebody's.
 */
static bool holds_only_start_files(const struct catalogue *catalogue)
{
	static const char *const known[] = {"Boot", "bootmgr", "BOOTNXT", "BOOTSECT.BAK", "BOOTTGT",
	    "System Volume Information", "$RECYCLE.BIN", "Recovery", "bootmgr.efi", "$WinREAgent",
	    "$WINRE_BACKUP_PARTITION.MARKER"};
	const uint32_t *children;
	size_t n_children = catalogue_children(catalogue, NODE_ROOT, &children);

	if (catalogue_child(catalogue, NODE_ROOT, "bootmgr") == NONE)
		return false;
	for (size_t i = 0; i < n_children; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const char *name = catalogue_name(catalogue, entry->name);
		bool is_known = entry->node < NODE_FIRST_USER;

		for (size_t k = 0; k < sizeof(known) / sizeof(known[0]); k++)
			is_known = is_known || utf_equal_fold(name, known[k]);
		if (!is_known)
			return false;
	}
	return true;
}

static void report_unread(struct survey *survey, const struct survey_volume *volume, size_t index)
{
	const char *words = survey_volume_words(survey, index, &survey->arena);
	const char *kind = filesystem_name(volume->filesystem);
	struct size_text size = text_size(volume->partition->length);

	if (volume->is_system_partition)
		return;
	switch (volume->filesystem) {
	case FILESYSTEM_ENCRYPTED:
		findings_add(survey->findings, WEIGHT_LOSS, "volume-not-read", volume->name,
		    "The owner needs the recovery key of that encryption; the volume cannot be "
		    "opened "
		    "here yet.",
		    "The volume %s (%s) is locked by the old system's drive encryption.", words,
		    size.text);
		break;
	case FILESYSTEM_NONE:
		findings_add(survey->findings, WEIGHT_NOTE, "volume-not-read", volume->name,
		    "If files were kept there, the drive may be damaged.",
		    "No file system was recognised on %s (%s).", words, size.text);
		break;
	case FILESYSTEM_FAT:
	case FILESYSTEM_EXFAT:
		findings_add(survey->findings, WEIGHT_LOSS, "volume-not-read", volume->name,
		    "Any current computer can read it: copy its files by hand.",
		    "The volume %s (%s) has the file system %s, which is not read yet.", words,
		    size.text, kind);
		break;
	case FILESYSTEM_REFS:
		findings_add(survey->findings, WEIGHT_LOSS, "volume-not-read", volume->name,
		    "A Windows computer that knows this file system can read it: copy its files "
		    "by hand.",
		    "The volume %s (%s) has the file system %s, which is not read yet.", words,
		    size.text, kind);
		break;
	default:
		findings_add(survey->findings, WEIGHT_LOSS, "volume-not-read", volume->name,
		    "It was probably used by another operating system: its files can be copied "
		    "there.",
		    "The volume %s (%s) has a file system that Windows does not know, and it is "
		    "not read.",
		    words, size.text);
	}
}

static bool open_ntfs(struct survey *survey, struct survey_volume *volume, struct error *error)
{
	struct error trouble = {0};
	size_t index = (size_t)(volume - survey->volumes);

	volume->volume =
	    volume_open(survey->drives[volume->drive].source, volume->partition->offset,
		volume->partition->length, volume->name, survey->findings, &trouble);
	if (volume->volume)
		volume->volume->progress = survey->progress;
	if (volume->volume &&
	    !catalogue_read(volume->volume, volume->name, survey->findings, &trouble)) {
		volume_close(volume->volume);
		volume->volume = NULL;
	}
	if (volume->volume) {
		volume->is_system_partition = volume->is_system_partition ||
					      holds_only_start_files(volume->volume->catalogue);
		return true;
	}
	findings_add(survey->findings, WEIGHT_LOSS, "volume-not-read", volume->name,
	    "If the drive makes noises or drops out, leave it to a recovery laboratory.",
	    "The volume %s cannot be read: %s.", survey_volume_words(survey, index, &survey->arena),
	    trouble.text);
	/* Kept as the reason in case that no volume is left. */
	if (!*error->text)
		*error = trouble;
	return false;
}

static bool add_volume(struct survey *survey, size_t drive, const struct partition *partition)
{
	const struct survey_drive *on = &survey->drives[drive];
	struct survey_volume *volume = &survey->volumes[survey->n_volumes];
	const struct table *table = &on->table;

	/* The findings about the set tell why. */
	if (on->left_out || !set_shows_whole(&on->set, on->source, partition))
		return true;
	survey->n_volumes++;
	volume->drive = drive;
	volume->partition = partition;
	volume->is_system_partition =
	    table->kind != TABLE_NONE && partition_is_system(table, partition);
	volume->filesystem = filesystem_recognise(
	    survey->drives[drive].source, partition->offset, partition->length);
	if (table->kind == TABLE_NONE)
		volume->name = arena_printf(&survey->arena, "drive-%zu", drive + 1);
	else
		volume->name = arena_printf(
		    &survey->arena, "drive-%zu-partition-%u", drive + 1, partition->number);
	return volume->name != NULL;
}

bool open_volumes(struct survey *survey, struct error *error)
{
	size_t n_partitions = 0, n_read = 0;
	struct error trouble = {0};

	for (size_t d = 0; d < survey->n_drives; d++)
		n_partitions += survey->drives[d].table.count;
	survey->volumes = arena_array(&survey->arena, n_partitions + 1, sizeof(*survey->volumes));
	if (!survey->volumes)
		return error_no_memory(error);
	for (size_t d = 0; d < survey->n_drives; d++)
		for (size_t p = 0; p < survey->drives[d].table.count; p++)
			if (!add_volume(survey, d, &survey->drives[d].table.items[p]))
				return error_no_memory(error);
	for (size_t v = 0; v < survey->n_volumes; v++) {
		struct survey_volume *volume = &survey->volumes[v];

		if (survey_is_stopped(error))
			return false;
		if (volume->filesystem != FILESYSTEM_NTFS)
			report_unread(survey, volume, v);
		else if (open_ntfs(survey, volume, &trouble))
			n_read++;
	}
	if (n_read > 0)
		return true;
	if (*trouble.text)
		return error_set(
		    error, STATUS_NO_VOLUME, "no readable NTFS volume was found: %s", trouble.text);
	return error_set(error, STATUS_NO_VOLUME, "no NTFS volume was found on the named drives");
}
