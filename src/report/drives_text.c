/* A list of drives for people and as JSON; see drives_text.h. */
#include "report/drives_text.h"

#include "base/text.h"
#include "disk/room.h"
#include "report/survey_text.h"

#include <string.h>

#define WIDTH 79

/* Appends ", text" unless the text is empty. */
static void add_part(struct buf *line, const char *text)
{
	if (text != NULL && *text != '\0')
		buf_printf(line, ", %s", text);
}

static const char *kind_of_storage(const struct drive *drive)
{
	/* What a virtual drive says of itself is no knowledge. */
	if (drive->is_image || strcmp(drive->bus, "virtio") == 0 ||
	    strcmp(drive->bus, "loop device") == 0 || *drive->bus == '\0')
		return "";
	return drive->spinning ? "spinning" : "solid state";
}

static void print_heading(const struct drive_view *view, FILE *out)
{
	const struct drive *drive = &view->drive;
	struct buf line = {0};

	buf_printf(&line, "%s: %s", drive->path, text_size(drive->size).text);
	add_part(&line, drive->model);
	if (*drive->serial != '\0')
		buf_printf(&line, ", serial number %s", drive->serial);
	add_part(&line, drive->bus);
	if (drive->link_megabits != 0)
		buf_printf(&line, " at %u Mbit/s", drive->link_megabits);
	add_part(&line, kind_of_storage(drive));
	add_part(&line, view->stick ? "this stick" : "");
	if (view->readable && view->table.kind == TABLE_LOST)
		add_part(&line, "partition table lost");
	else if (view->readable && view->table.kind != TABLE_NONE)
		buf_printf(&line, ", %s table", table_kind_name(view->table.kind));
	else if (view->readable && view->table.count > 0)
		add_part(&line, "one volume without a table");
	text_wrap(out, buf_text(&line), 4, WIDTH);
	buf_free(&line);
}

/* Pads what was printed to `width` columns, with at least one space. */
static void pad(FILE *out, unsigned used, unsigned width)
{
	do
		fputc(' ', out);
	while (++used < width);
}

static void print_column(FILE *out, const char *text, unsigned width)
{
	text_print(out, text);
	pad(out, text_columns(text), width);
}

static bool has_letters(const struct drive_view *view)
{
	for (size_t i = 0; i < view->table.count; i++)
		if (view->volumes[i].letter != 0)
			return true;
	return false;
}

static void print_volume(const struct drive_view *view, size_t index, bool letters, FILE *out)
{
	const struct partition *partition = &view->table.items[index];
	const struct volume_view *volume = &view->volumes[index];
	const char *type = partition_type_name(&view->table, partition);
	const char letter[] = {volume->letter, volume->letter != 0 ? ':' : '\0', '\0'};
	struct buf label = {0};

	if (partition->number != 0)
		fprintf(out, "  %3u  ", partition->number);
	else
		fputs("    -  ", out);
	print_column(out, type != NULL ? type : "-", 19);
	print_column(out,
	    volume->filesystem == FILESYSTEM_NONE ? "-" : filesystem_name(volume->filesystem), 12);
	print_column(out, text_size(partition->length).text, 9);
	print_column(out, volume->free == ROOM_UNKNOWN ? "-" : text_size(volume->free).text, 9);
	if (letters)
		print_column(out, letter, 8);
	if (volume->label != NULL && *volume->label != '\0')
		buf_add_text(&label, volume->label);
	else if (*partition->name != '\0')
		buf_printf(&label, "(%s)", partition->name);
	text_wrap(out, buf_text(&label), letters ? 64 : 56, WIDTH);
	buf_free(&label);
}

/* What is wrong with the drive stands among the findings. */
static void print_faults(const struct faults *faults, FILE *out)
{
	struct buf line = {0};

	if (faults->verdict != FAULTS_NONE_REPORTED && faults->verdict != FAULTS_UNKNOWN)
		return;
	buf_add_text(&line, faults->sentence);
	if (*faults->why_unknown != '\0')
		buf_printf(&line, " %s", faults->why_unknown);
	fputs("    ", out);
	text_wrap(out, buf_text(&line), 4, WIDTH);
	buf_free(&line);
}

void drive_view_print(const struct drive_view *view, FILE *out)
{
	bool letters = has_letters(view);
	struct buf line = {0};

	print_heading(view, out);
	print_faults(&view->faults, out);
	if (*view->problem != '\0') {
		buf_printf(&line, "Not looked into: %s.", view->problem);
		fputs("    ", out);
		text_wrap(out, buf_text(&line), 4, WIDTH);
		buf_free(&line);
	}
	if (view->table.count > 0)
		fprintf(out, "  no.  kind               file system size     free     %slabel or (name)\n",
		    letters ? "letter  " : "");
	for (size_t i = 0; i < view->table.count; i++)
		print_volume(view, i, letters, out);
	findings_print(&view->findings, out);
}

static void volume_to_json(const struct drive_view *view, size_t index, struct json *json)
{
	const struct partition *partition = &view->table.items[index];
	const struct volume_view *volume = &view->volumes[index];

	const char letter[] = {volume->letter, ':', '\0'};

	json_begin_object(json);
	json_key_unsigned(json, "number", partition->number);
	json_key_unsigned(json, "offset", partition->offset);
	json_key_unsigned(json, "size", partition->length);
	if (view->table.kind == TABLE_GPT) {
		json_key_text(json, "type", guid_to_text(&partition->type).text);
		json_key_text(json, "id", guid_to_text(&partition->id).text);
		json_key_text(json, "name", partition->name);
	} else if (view->table.kind == TABLE_MBR) {
		json_key_unsigned(json, "type", partition->mbr_type);
	}
	json_key_text(json, "kind", partition_type_name(&view->table, partition));
	json_key_bool(json, "system", partition_is_system(&view->table, partition));
	json_key_text(json, "filesystem",
	    volume->filesystem == FILESYSTEM_NONE ? NULL : filesystem_name(volume->filesystem));
	json_key_text(json, "label", volume->label);
	json_key(json, "free");
	if (volume->free == ROOM_UNKNOWN)
		json_put_null(json);
	else
		json_unsigned(json, volume->free);
	json_key_text(json, "device", volume->device);
	json_key_text(json, "letter", volume->letter != 0 ? letter : NULL);
	if (volume->filesystem == FILESYSTEM_NTFS)
		json_key_bool(json, "dirty", volume->dirty);
	json_end(json);
}

static void set_to_json(const struct set *set, struct json *json)
{
	if (set->kind == SET_NONE) {
		json_put_null(json);
		return;
	}
	json_begin_object(json);
	json_key_text(json, "kind", set_kind_name(set->kind));
	json_key_text(json, "level", set_level_name(set->level));
	json_key_text(json, "name", set->name);
	json_key_text(json, "id", set->id);
	json_key(json, "member");
	if (set->member != 0)
		json_unsigned(json, set->member);
	else
		json_put_null(json);
	json_key(json, "members");
	if (set->members != 0)
		json_unsigned(json, set->members);
	else
		json_put_null(json);
	json_key_bool(json, "readable_alone", set->readable_alone);
	json_end(json);
}

static void table_to_json(const struct drive_view *view, struct json *json)
{
	const struct table *table = &view->table;
	char signature[16];

	json_begin_object(json);
	json_key_text(json, "kind", table_kind_name(table->kind));
	json_key_unsigned(json, "sector_size", table->sector_size);
	if (table->kind == TABLE_GPT) {
		json_key_text(json, "disk_id", guid_to_text(&table->disk_id).text);
		json_key_bool(json, "from_backup", table->from_backup);
	} else if (table->kind == TABLE_MBR) {
		snprintf(signature, sizeof(signature), "%08X", table->disk_signature);
		json_key_text(json, "disk_signature", signature);
	}
	json_end(json);
}

void drive_view_to_json(const struct drive_view *view, struct json *json)
{
	const struct drive *drive = &view->drive;

	json_begin_object(json);
	drive_keys_to_json(drive, json);
	json_key_unsigned(json, "sector_size", drive->sector_size);
	json_key_unsigned(json, "physical_sector_size", drive->physical_sector_size);
	json_key_bool(json, "removable", drive->removable);
	json_key_bool(json, "spinning", drive->spinning);
	json_key_bool(json, "image", drive->is_image);
	json_key_bool(json, "stick", view->stick);
	json_key(json, "faults");
	faults_to_json(&view->faults, json);
	json_key(json, "link");
	drive_link_to_json(drive, json);
	json_key_bool(json, "readable", view->readable);
	json_key_text(json, "problem", *view->problem != '\0' ? view->problem : NULL);
	json_key(json, "table");
	if (view->readable)
		table_to_json(view, json);
	else
		json_put_null(json);
	json_key(json, "set");
	set_to_json(&view->set, json);
	json_key(json, "volumes");
	json_begin_array(json);
	for (size_t i = 0; i < view->table.count; i++)
		volume_to_json(view, i, json);
	json_end(json);
	json_key(json, "findings");
	findings_to_json(&view->findings, json);
	json_end(json);
}
