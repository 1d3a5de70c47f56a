/* The state of a volume: see state.h. */
#include "ntfs/state.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "ntfs/attrlist.h"
#include "ntfs/data.h"
#include "ntfs/table.h"

#include <stdlib.h>
#include <string.h>

#define RECORD_LOG 2u
#define RECORD_VOLUME 3u
#define RECORD_UPCASE 10u
#define UPCASE_SIZE 131072u /* two bytes for each of 65,536 letters */
#define FLAG_DIRTY 1u
#define RESTART_AREA_CLEAN 2u
#define NO_CLIENT 0xFFFFu

static bool read_volume_record(struct volume *volume)
{
	struct buf label = {0}, information = {0};
	bool known;

	if (attribute_load(volume, RECORD_VOLUME, ATTR_VOLUME_NAME, "", 1024, &label)) {
		char *text =
		    utf_arena_from_utf16(&volume->arena, label.data, label.length / 2, NULL);

		if (text != NULL)
			volume->label = text;
	}
	known =
	    attribute_load(volume, RECORD_VOLUME, ATTR_VOLUME_INFORMATION, "", 64, &information) &&
	    information.length >= 12;
	if (known) {
		volume->version_major = information.data[8];
		volume->version_minor = information.data[9];
		volume->dirty = (get_u16(information.data + 10) & FLAG_DIRTY) != 0;
	}
	buf_free(&label);
	buf_free(&information);
	return known;
}

enum log_state { LOG_CLOSED, LOG_PENDING, LOG_UNKNOWN };

/* One restart page: was the log closed when it was written? */
static enum log_state read_restart(uint8_t *page, size_t size, uint64_t *lsn)
{
	size_t area;

	if (!record_fixup(page, size, SIGNATURE_RSTR))
		return LOG_UNKNOWN;
	area = get_u16(page + 0x18);
	if (area < 0x1E || area + 0x30 > size)
		return LOG_UNKNOWN;
	*lsn = get_u64(page + area);
	if (get_u16(page + area + 12) == NO_CLIENT ||
	    (get_u16(page + area + 14) & RESTART_AREA_CLEAN) != 0)
		return LOG_CLOSED;
	return LOG_PENDING;
}

/* The first two pages of the log are restart pages; the younger one counts. */
static enum log_state read_log(const struct buf *log)
{
	enum log_state state = LOG_UNKNOWN;
	uint8_t page[4096];
	uint64_t best = 0;
	bool empty = log->length > 0;

	for (size_t i = 0; empty && i < log->length; i++)
		empty = log->data[i] == 0xFF;
	if (empty)
		return LOG_CLOSED; /* wiped: nothing is to be applied */
	for (size_t at = 0; at + sizeof(page) <= log->length; at += sizeof(page)) {
		enum log_state here;
		uint64_t lsn = 0;

		memcpy(page, log->data + at, sizeof(page));
		here = read_restart(page, sizeof(page), &lsn);
		if (here != LOG_UNKNOWN && (state == LOG_UNKNOWN || lsn > best)) {
			state = here;
			best = lsn;
		}
	}
	return state;
}

static enum log_state read_log_record(const struct volume *volume)
{
	uint8_t *bytes = malloc(volume->record_size);
	enum log_state state = LOG_UNKNOWN;
	struct run_list list = {0};
	struct attribute attribute;
	struct record record;
	struct buf log = {0};
	uint8_t *room;

	if (bytes != NULL && table_load(volume, RECORD_LOG, bytes, &record) == RECORD_GOOD &&
	    record_find(&record, ATTR_DATA, &attribute) != NULL && !attribute.is_resident &&
	    attribute.lowest == 0) {
		runs_decode(&list, attribute.pairs, attribute.pairs_length, attribute.end,
		    volume->clusters);
		room = buf_reserve(&log, 2 * 4096);
		if (room != NULL && !list.failed) {
			/* A page that cannot be read is zero then, and no restart page. */
			table_read_runs(volume, list.items, list.count, 0, room, 2 * 4096, NULL);
			buf_added(&log, 2 * 4096);
			state = read_log(&log);
		}
	}
	buf_free(&log);
	run_list_free(&list);
	free(bytes);
	return state;
}

/*
 * The table of upper-case letters, by which the old system compares names. Names are compared with
 * our own table, so its damage costs nothing; but a drive that has holes already is not asked.
 */
static bool is_upper_case_sound(const struct volume *volume)
{
	struct buf table = {0};
	bool sound;

	if (source_has_holes(volume->source))
		return true;
	sound = attribute_load(volume, RECORD_UPCASE, ATTR_DATA, "", UPCASE_SIZE, &table) &&
		table.length == UPCASE_SIZE;
	for (unsigned letter = 0; sound && letter < 128; letter++)
		sound = get_u16(table.data + 2 * letter) ==
			(letter >= 'a' && letter <= 'z' ? letter - 'a' + 'A' : letter);
	buf_free(&table);
	return sound;
}

void state_read(struct volume *volume, const char *name, struct findings *findings)
{
	enum log_state log;

	volume->label = "";
	if (!read_volume_record(volume))
		findings_add(findings, WEIGHT_NOTE, "volume-state-unknown", name, "",
		    "The record with the volume's name and state could not be read.");
	if (!is_upper_case_sound(volume))
		findings_add(findings, WEIGHT_NOTE, "upper-case-damaged", name, "",
		    "The file system's table of upper-case letters is damaged; nothing is lost, since "
		    "it is not needed here.");
	log = read_log_record(volume);
	volume->log_pending = log == LOG_PENDING;
	if (log == LOG_UNKNOWN)
		findings_add(findings, WEIGHT_NOTE, "log-unreadable", name, "",
		    "The file system's log could not be read, so it is not known whether changes "
		    "were "
		    "still waiting in it.");
	if (volume->dirty)
		findings_add(findings, WEIGHT_NOTE, "volume-dirty", name, "",
		    "The old system marked this volume as not put away properly.");
	if (volume->log_pending)
		findings_add(findings, WEIGHT_NOTE, "log-pending", name,
		    "Check that the files the person worked on last are as expected.",
		    "The old system did not finish its last writing: the newest changes to names "
		    "and "
		    "folders, from its last seconds, may be missing.");
}

void state_read_session(struct volume *volume, const char *name, struct findings *findings)
{
	const struct catalogue *catalogue = volume->catalogue;
	uint32_t node = catalogue_lookup(catalogue, NODE_ROOT, "hiberfil.sys");
	const struct stream *stream;
	struct data_reader *reader;
	struct holes holes = {0};
	char signature[4] = "";

	stream = node == NONE ? NULL : catalogue_stream(catalogue, node, "");
	reader = stream == NULL ? NULL : data_open(catalogue, stream);
	if (reader == NULL)
		return;
	if (data_read(reader, signature, 4, &holes) == 4 && holes.count == 0)
		volume->hibernated = memcmp(signature, "hibr", 4) == 0 ||
				     memcmp(signature, "HIBR", 4) == 0 ||
				     memcmp(signature, "RSTR", 4) == 0;
	data_close(reader);
	holes_free(&holes);
	if (volume->hibernated)
		findings_add(findings, WEIGHT_CAUTION, "hibernated", name,
		    "If the owner remembers unsaved work, start the old PC once more, if it still "
		    "can, save the work, shut down with the Shift key held, and read the drive "
		    "again.",
		    "The old system was put to sleep or shut down for a fast start, not fully: "
		    "what "
		    "was open and not saved is only in its saved memory and is not taken.");
}
