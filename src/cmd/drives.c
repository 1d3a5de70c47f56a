/* The command `drives`: which drives and volumes there are, and what is wrong with them. */
#include "base/arena.h"
#include "base/json.h"
#include "base/stop.h"
#include "base/text.h"
#include "cmd/command.h"
#include "cmd/old_letters.h"
#include "cmd/sources.h"
#include "disk/controllers.h"
#include "disk/drives.h"
#include "disk/partition.h"
#include "disk/room.h"
#include "disk/source.h"
#include "ntfs/free.h"
#include "ntfs/volume.h"
#include "report/drives_text.h"
#include "report/survey_text.h"

#include <stdio.h>
#include <string.h>

/* A list should not wait minutes for a drive that hangs or answers far too slowly. */
#define PATIENCE 20000u
#define LOOK_LIMIT 60000u /* milliseconds for all that a drive is asked */

static const char help[] =
    "usage: coldlift drives [options] [SOURCE...]\n\n"
    "Lists drives and their volumes: model, serial number, bus, size, file system,\n"
    "label, free room, and what is wrong with them. A SOURCE is a drive (/dev/sdb) or\n"
    "an image file; without one, all drives of this computer are listed. The letters\n"
    "that volumes had on the old PC are shown when its drives are named, the one with\n"
    "the old system among them. Nothing is written to any drive.\n\n"
    "  --json    one JSON document on standard output, text for people on standard\n"
    "            error\n"
    "  --quiet   no text for people\n"
    "  --help    this text\n\n"
    "Exit status: 0 listed, 2 wrong command line, 3 a SOURCE cannot be opened or no\n"
    "file system is recognised on any, 5 anything else.\n";

/* What an NTFS volume's own records say. */
static void look_at_ntfs(
    struct source *source, struct arena *arena, struct drive_view *view, size_t index)
{
	const struct partition *partition = &view->table.items[index];
	struct volume_view *seen = &view->volumes[index];
	struct volume *volume;
	struct error error;
	const char *name = view->drive.path;

	if (partition->number != 0)
		name = arena_printf(arena, "%s, partition %u", name, partition->number);
	if (name == NULL)
		name = view->drive.path;
	volume = volume_open(
	    source, partition->offset, partition->length, name, &view->findings, &error);
	if (volume == NULL) {
		findings_add(&view->findings, WEIGHT_LOSS, "volume-unreadable", name, "",
		    "This volume cannot be read: %s.", error.text);
		return;
	}
	seen->label = arena_strdup(arena, volume->label);
	seen->dirty = volume->dirty;
	/* A drive that cannot read something is not asked for what is only good to know. */
	if (source_has_holes(source) || !volume_count_free(volume, &seen->free))
		seen->free = ROOM_UNKNOWN;
	volume_close(volume);
}

static void look_at_volume(
    struct source *source, struct arena *arena, struct drive_view *view, size_t index)
{
	const struct partition *partition = &view->table.items[index];
	const struct device *device = source_device(source);
	struct volume_view *seen = &view->volumes[index];
	struct room room;

	seen->filesystem = filesystem_recognise(source, partition->offset, partition->length);
	room = room_read(source, partition->offset, partition->length, seen->filesystem, arena);
	seen->label = room.label;
	seen->free = room.free;
	if (device->is_block)
		seen->device = drive_volume_device(arena, "", device->number, partition->offset,
		    view->table.kind == TABLE_NONE && partition->offset == 0);
	if (seen->filesystem == FILESYSTEM_NTFS && set_shows_whole(&view->set, source, partition))
		look_at_ntfs(source, arena, view, index);
}

/* What reading the table and the volumes' beginnings showed about the drive itself. */
static void look_at_health(struct source *source, struct drive_view *view)
{
	static const char advice[] = "Extract from it with --careful. If it clicks, smells or drops "
				     "out, switch it off: it belongs to a recovery laboratory.";
	struct holes holes = {0};

	view->faulty = source_is_lost(source);
	if (view->faulty) {
		findings_add(&view->findings, WEIGHT_LOSS, "drive-lost", view->drive.path, advice,
		    "The drive stopped answering, or answered far too slowly, while it was looked "
		    "at.");
		return;
	}
	source_holes(source, &holes);
	view->faulty = holes.count > 0 || view->faults.verdict == FAULTS_FAILING;
	/* A drive that refuses every read is locked: table_read() has said so. */
	if (holes.count > 0 && view->table.sealed != SEALED_REFUSES)
		findings_add(&view->findings, WEIGHT_CAUTION, "read-errors", view->drive.path,
		    advice, "The drive could not read %s of the little that was asked for.",
		    text_size(holes_total(&holes)).text);
	holes_free(&holes);
}

static bool look_into(
    struct source *source, struct arena *arena, struct drive_view *view, struct error *error)
{
	source_set_patience(source, PATIENCE);
	source_set_end(source, LOOK_LIMIT);
	if (!table_read(source, arena, &view->findings, &view->table, error))
		return false;
	view->volumes = arena_array(arena, view->table.count, sizeof(*view->volumes));
	if (view->volumes == NULL) {
		view->table.count = 0;
		return error_no_memory(error);
	}
	set_learn(source, &view->drive, &view->table, &view->findings, &view->set);
	faults_add_sealed(&view->faults, &view->drive, view->table.sealed);
	for (size_t i = 0; i < view->table.count; i++)
		look_at_volume(source, arena, view, i);
	look_at_health(source, view);
	return true;
}

/* Fills in what can be read of the drive. */
static bool look_at_drive(struct arena *arena, struct drive_view *view, struct error *error)
{
	struct source *source = NULL;
	struct device *device;
	sigset_t before;

	stop_hold(&before);
	device = faults_open_device(&view->faults, view->drive.path, error);
	if (device != NULL)
		source = source_open(device, error);
	if (source != NULL)
		view->readable = look_into(source, arena, view, error);
	source_close(source);
	stop_release(&before);
	if (view->readable)
		return true;
	view->problem = arena_strdup(arena, error->text);
	if (view->problem == NULL)
		view->problem = "memory ran out";
	return false;
}

static bool has_filesystem(const struct drive_view *view)
{
	for (size_t i = 0; i < view->table.count; i++)
		if (view->volumes[i].filesystem != FILESYSTEM_NONE)
			return true;
	return false;
}

struct output {
	const struct common_options *options;
	FILE *text;
	struct buf buf;
	struct json json;
	struct stick stick;
	bool any_filesystem;
	enum status status;
};

/* All at once, before any is read. The stick itself is nobody's old drive. */
static void ask_drives(
    struct output *output, struct arena *arena, struct drive_view *views, size_t count)
{
	struct faults_question *questions = arena_array(arena, count + 1, sizeof(*questions));

	for (size_t i = 0; i < count; i++) {
		findings_init(&views[i].findings);
		views[i].problem = "";
		views[i].stick = stick_has(&output->stick, &views[i].drive);
		if (questions != NULL && !views[i].stick)
			faults_question_make(arena, "", &views[i].drive, &questions[i]);
	}
	if (questions == NULL)
		return;
	faults_ask(FAULTS_PROGRAM, questions, count);
	for (size_t i = 0; i < count; i++) {
		views[i].faults = questions[i].answer;
		faults_find(&views[i].faults, views[i].drive.path, &views[i].findings);
		if (!views[i].stick)
			drive_find_slow_link(&views[i].drive, &views[i].findings);
	}
}

/* Looks at the drive; a drive that was asked for and cannot be read is complained of. */
static void look(
    struct output *output, struct arena *arena, struct drive_view *view, bool asked_for)
{
	struct error error;

	if (look_at_drive(arena, view, &error)) {
		output->any_filesystem = output->any_filesystem || has_filesystem(view);
	} else if (asked_for) {
		command_complain(&error);
		output->status = error.status;
	}
}

static void show(struct output *output, struct drive_view *view, bool asked_for)
{
	if (output->text != NULL && (view->readable || !asked_for || view->findings.count > 0))
		drive_view_print(view, output->text);
	if (output->options->json)
		drive_view_to_json(view, &output->json);
	findings_free(&view->findings);
}

/* Which drives belong together shows only when all have been looked at. */
static void look_at_sets(struct arena *arena, struct drive_view *views, size_t count)
{
	struct set_member *members = arena_array(arena, count + 1, sizeof(*members));
	struct findings findings;

	if (members == NULL)
		return;
	for (size_t i = 0; i < count; i++)
		members[i] = (struct set_member){.path = views[i].drive.path,
		    .set = &views[i].set,
		    .table = &views[i].table};
	findings_init(&findings);
	sets_say(members, count, SETS_LISTED, &findings);
	for (size_t f = 0; f < findings.count; f++)
		for (size_t i = 0; i < count; i++) {
			const struct finding *finding = &findings.items[f];

			if (strcmp(finding->subject, views[i].drive.path) == 0)
				findings_add(&views[i].findings, finding->weight, finding->code,
				    finding->subject, finding->advice, "%s", finding->sentence);
		}
	findings_free(&findings);
}

static void list_sources(struct output *output, struct arena *arena, char **paths, int count)
{
	struct drive_view *views = arena_array(arena, (size_t)count, sizeof(*views));
	struct error error;
	size_t n = 0;

	if (views == NULL) {
		error_no_memory(&error);
		command_complain(&error);
		output->status = error.status;
		return;
	}
	for (int i = 0; i < count; i++) {
		if (drive_describe(arena, "", paths[i], &views[n].drive, &error)) {
			n++;
			continue;
		}
		command_complain(&error);
		output->status = error.status;
	}
	ask_drives(output, arena, views, n);
	for (size_t i = 0; i < n; i++)
		look(output, arena, &views[i], true);
	old_letters_find(views, n);
	look_at_sets(arena, views, n);
	for (size_t i = 0; i < n; i++)
		show(output, &views[i], true);
	if (output->status == STATUS_COMPLETE && !output->any_filesystem)
		output->status = STATUS_NO_VOLUME;
}

/* Without letters: the list should not wait until every file table of this computer is read. */
static void list_all(struct output *output, struct arena *arena)
{
	struct drive_view *views = NULL;
	struct drive *drives;
	struct error error;
	size_t count;
	bool fine = drives_list(arena, "", &drives, &count, &error);

	if (fine) {
		views = arena_array(arena, count + 1, sizeof(*views));
		fine = views != NULL || error_no_memory(&error);
	}
	if (!fine) {
		command_complain(&error);
		output->status = error.status;
		return;
	}
	for (size_t i = 0; i < count; i++)
		views[i].drive = drives[i];
	ask_drives(output, arena, views, count);
	for (size_t i = 0; i < count; i++)
		look(output, arena, &views[i], false);
	look_at_sets(arena, views, count);
	for (size_t i = 0; i < count; i++)
		show(output, &views[i], false);
	if (count == 0 && output->text != NULL)
		fputs("This computer shows no drives.\n", output->text);
}

/* What concerns no single drive; known only where this computer itself is looked at. */
static void show_general(struct output *output, bool of_computer)
{
	struct findings findings;

	findings_init(&findings);
	if (of_computer)
		controllers_look("", &findings);
	findings_sort(&findings);
	if (output->text != NULL && findings.count > 0) {
		fputs("Controllers of this computer\n", output->text);
		findings_print(&findings, output->text);
	}
	json_key(&output->json, "findings");
	findings_to_json(&findings, &output->json);
	findings_free(&findings);
}

enum status command_drives(int argc, char **argv)
{
	struct common_options options = {0};
	struct output output = {.options = &options, .status = STATUS_COMPLETE};
	struct arena arena = {0};
	enum status status;
	int first = command_options(argc, argv, help, &options, &status);

	if (first < 0)
		return status;
	if (!options.quiet)
		output.text = options.json ? stderr : stdout;
	stick_find("", &output.stick);
	json_start(&output.json, &output.buf, true);
	json_begin_object(&output.json);
	json_key(&output.json, "drives");
	json_begin_array(&output.json);
	if (first < argc)
		list_sources(&output, &arena, argv + first, argc - first);
	else
		list_all(&output, &arena);
	json_end(&output.json);
	show_general(&output, first == argc);
	json_end(&output.json);
	if (options.json && !output.buf.failed)
		printf("%s\n", buf_text(&output.buf));
	if (output.buf.failed)
		output.status = STATUS_OTHER;
	if (fflush(stdout) != 0 || ferror(stdout))
		output.status = STATUS_OTHER;
	buf_free(&output.buf);
	arena_free(&arena);
	return output.status;
}
