/*
 * The record, line by line, into the table of claims: see verify_internal.h.
 *
 * The proof's lists were read before, so hashes are compared here and need no room of their own.
 */
#include "base/bytes.h"
#include "extract/verify_internal.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RECORD "record.jsonl"
#define MOST_PIECES 99999
#define ENCRYPTED_SECTOR 512 /* bytes */

enum record_kind { KIND_FILE, KIND_FOLDER, KIND_LINK, KIND_COUNT };
static const char *const kinds[KIND_COUNT] = {"file", "folder", "link"};

/* The states whose number is needed here; the order is that of record_state_name(). */
enum { TAKEN = 0, PARTIAL = 1, UNREADABLE = 2, INCOMPLETE = 4, LOCKED = 5, SAME = 7 };

struct record_line {
	const json_t *json;
	uint64_t number;
	const char *volume, *path, *stream, *as, *same_as;
	size_t state;
	enum record_kind kind;
	uint64_t size;
	uint64_t stored; /* bytes in the archive */
	const char *form; /* what they are, where they are not the file's own; "" */
	struct digest digest;
	bool has_digest;
};

/* A line that says "same as", to be looked up when all lines have been read. */
struct same_line {
	const char *path, *target;
	struct digest digest;
	bool has_digest;
};

struct record_work {
	struct verify *verify;
	struct same_line *sames;
	size_t n_sames, sames_capacity;
};

static bool bad_line(
    struct verify *verify, const struct record_line *line, const char *what, struct error *error)
{
	return differ(
	    verify, error, DIFFERS_FORM, RECORD, "Line %" PRIu64 ": %s.", line->number, what);
}

/* The text of a key; "" when it is not there; NULL when it is no text. */
static const char *text_of(const json_t *json, const char *key)
{
	const json_t *value = json_object_get(json, key);

	return value == NULL ? "" : json_string_value(value);
}

/* What is wrong with the line's own fields; NULL: nothing. */
static const char *parse_line(struct record_line *line)
{
	const json_t *json = line->json, *size = json_object_get(json, "size");
	const json_t *stored = json_object_get(json, "stored");
	const char *state = text_of(json, "state"), *kind = text_of(json, "kind");
	const char *reason = text_of(json, "reason"), *hash = text_of(json, "sha256");

	line->volume = text_of(json, "volume");
	line->path = text_of(json, "path");
	line->stream = text_of(json, "stream");
	line->as = text_of(json, "as");
	line->same_as = text_of(json, "same_as");
	if (state == NULL || kind == NULL || reason == NULL || hash == NULL ||
	    line->volume == NULL || line->path == NULL || line->stream == NULL ||
	    line->as == NULL || line->same_as == NULL)
		return "something that should be a text is none";
	if (line->volume[0] == '\0' || line->path[0] == '\0' || reason[0] == '\0')
		return "volume, path or reason is missing";
	for (line->state = 0; line->state < RECORD_STATES; line->state++)
		if (strcmp(state, record_state_name(line->state)) == 0)
			break;
	if (line->state == RECORD_STATES)
		return "the state is none of the eight";
	for (line->kind = KIND_FILE; line->kind < KIND_COUNT; line->kind++)
		if (strcmp(kind, kinds[line->kind]) == 0)
			break;
	if (line->kind == KIND_COUNT)
		return "the kind is neither file nor folder nor link";
	if (line->kind == KIND_FILE && (!json_is_integer(size) || json_integer_value(size) < 0))
		return "a file without a size";
	line->size = json_is_integer(size) ? (uint64_t)json_integer_value(size) : 0;
	line->form = text_of(line->json, "form");
	if (line->form == NULL || (line->form[0] != '\0') != (stored != NULL) ||
	    (stored != NULL && (!json_is_integer(stored) || json_integer_value(stored) < 0)))
		return "its form in the archive makes no sense";
	line->stored = stored != NULL ? (uint64_t)json_integer_value(stored) : line->size;
	line->has_digest = hash[0] != '\0';
	if (line->has_digest &&
	    (strlen(hash) != 2 * DIGEST_SIZE || !digest_from_hex(hash, &line->digest)))
		return "sha256 is no hash";
	return NULL;
}

/* Do the ranges of a list lie below `limit`, in ascending order? *total: how long they are. */
static bool ranges_are_good(const json_t *list, uint64_t limit, uint64_t *total)
{
	uint64_t end = 0;

	*total = 0;
	if (!json_is_array(list))
		return false;
	for (size_t i = 0; i < json_array_size(list); i++) {
		const json_t *range = json_array_get(list, i);
		const json_t *from = json_array_get(range, 0), *length = json_array_get(range, 1);
		json_int_t a = json_integer_value(from), b = json_integer_value(length);

		if (json_array_size(range) != 2 || !json_is_integer(from) ||
		    !json_is_integer(length) || a < 0 || b <= 0 || (uint64_t)a < end ||
		    (uint64_t)a + (uint64_t)b > limit)
			return false;
		end = (uint64_t)a + (uint64_t)b;
		*total += (uint64_t)b;
	}
	return true;
}

/* Holes lie in the file; so do the ranges of data that alone were stored. What is wrong, or NULL.
 */
static const char *check_ranges(const struct record_line *line)
{
	const json_t *holes = json_object_get(line->json, "holes");
	const json_t *ranges = json_object_get(line->json, "ranges");
	uint64_t limit = line->size, total;

	/* Of an encrypted file the last sector is kept whole. */
	if (strcmp(line->form, "encrypted-data") == 0)
		limit = (limit + ENCRYPTED_SECTOR - 1) / ENCRYPTED_SECTOR * ENCRYPTED_SECTOR;
	if (holes == NULL && line->state == PARTIAL)
		return "a partial file without its holes";
	if (holes != NULL && !ranges_are_good(holes, limit, &total))
		return "a hole does not lie in its file";
	if (ranges == NULL)
		return strcmp(line->form, "data-ranges") == 0
			   ? "ranges of data without their places"
			   : NULL;
	if (!ranges_are_good(ranges, limit, &total))
		return "a range of data does not lie in its file";
	return line->form[0] != '\0' && total == line->stored
		   ? NULL
		   : "the ranges of data are not as long as what was stored of them";
}

/*
 * What a line is about, as a number that differs from every other line's. A damaged file table can
 * hold two files of one name in one folder, and folders whose names differ only in what JSON cannot
 * hold: such files are told apart by the number of their file record, their times, their size, and
 * where they lie now.
 */
static uint64_t line_key(const struct record_line *line)
{
	const char *parts[] = {line->volume, line->path, line->stream,
	    line->kind == KIND_FILE ? "" : "/", line->as, text_of(line->json, "name_utf16"),
	    text_of(line->json, "stream_utf16"), text_of(line->json, "created"),
	    text_of(line->json, "modified"), text_of(line->json, "changed")};
	uint64_t numbers[] = {line->size,
	    (uint64_t)json_integer_value(json_object_get(line->json, "file_record"))};
	struct sha256_ctx hash;
	struct digest digest;
	uint64_t key;

	sha256_init(&hash);
	for (size_t i = 0; i < sizeof(parts) / sizeof(parts[0]); i++)
		if (parts[i] != NULL)
			sha256_update(&hash, strlen(parts[i]) + 1, (const uint8_t *)parts[i]);
	sha256_update(&hash, sizeof(numbers), (const uint8_t *)numbers);
	digest = digest_take(&hash);
	key = get_u64(digest.bytes);
	return key == 0 ? 1 : key;
}

static void seen_insert(uint64_t *slots, size_t n_slots, uint64_t key, bool *known)
{
	size_t slot = (size_t)key & (n_slots - 1);

	while (slots[slot] != 0 && slots[slot] != key)
		slot = (slot + 1) & (n_slots - 1);
	*known = slots[slot] == key;
	slots[slot] = key;
}

/* Notes that there is a line for this; *known tells whether there was one already. */
static bool note_line(
    struct verify *verify, const struct record_line *line, bool *known, struct error *error)
{
	if ((verify->n_seen + 1) * 3 > verify->n_seen_slots * 2) {
		size_t n_slots = verify->n_seen_slots == 0 ? 1024 : verify->n_seen_slots * 2;
		uint64_t *slots = calloc(n_slots, sizeof(*slots));
		bool ignored;

		if (slots == NULL)
			return error_no_memory(error);
		for (size_t i = 0; i < verify->n_seen_slots; i++)
			if (verify->seen_lines[i] != 0)
				seen_insert(slots, n_slots, verify->seen_lines[i], &ignored);
		free(verify->seen_lines);
		verify->seen_lines = slots;
		verify->n_seen_slots = n_slots;
	}
	seen_insert(verify->seen_lines, verify->n_seen_slots, line_key(line), known);
	verify->n_seen += !*known;
	return true;
}

/* The part that a line names; VERIFY_NONE, told, when there is none like that. */
static bool find_part(
    struct verify *verify, const char *name, const char *path, uint32_t *part, struct error *error)
{
	size_t length = strlen(name);

	*part = part_find(verify, name);
	/* The folder may be written with its slash. */
	for (uint32_t i = 0; *part == VERIFY_NONE && length > 0 && name[length - 1] == '/' &&
	     i < verify->n_parts; i++)
		if (verify->parts[i].is_folder && strlen(verify->parts[i].name) == length - 1 &&
		    strncmp(name, verify->parts[i].name, length - 1) == 0)
			*part = i;
	if (*part != VERIFY_NONE)
		return true;
	return differ(verify, error, DIFFERS_RECORD, path,
	    "The record says that it lies in '%.200s', and there is no such part.", name);
}

static bool claim_folder(struct verify *verify, const char *path, struct error *error)
{
	struct claim *claim = table_put(verify, path, error);

	if (claim == NULL)
		return false;
	claim->flags |= CLAIM_FOLDER | CLAIM_RECORD | CLAIM_EXPECTED;
	return table_mark_above(verify, path, CLAIM_EXPECTED, error);
}

/* One file that the record says to lie in a part. *claim is NULL when another line said so too. */
static bool claim_file(struct verify *verify, const char *path, const char *part,
    struct claim **claim, struct error *error)
{
	uint32_t index;

	*claim = NULL;
	if (!find_part(verify, part, path, &index, error) ||
	    !table_mark_above(verify, path, CLAIM_EXPECTED, error))
		return false;
	*claim = table_put(verify, path, error);
	if (*claim == NULL)
		return false;
	if (((*claim)->flags & CLAIM_RECORD) != 0) {
		*claim = NULL;
		return differ(
		    verify, error, DIFFERS_RECORD, path, "Two lines of the record name it.");
	}
	(*claim)->flags |= CLAIM_RECORD;
	(*claim)->part = index;
	return true;
}

static bool claim_whole_file(
    struct verify *verify, const struct record_line *line, const char *part, struct error *error)
{
	struct claim *claim;

	if (!claim_file(verify, line->as, part, &claim, error))
		return false;
	if (claim == NULL)
		return true;
	claim->size = line->stored;
	claim->flags |= CLAIM_SIZE;
	if ((claim->flags & CLAIM_DIGEST) != 0 && !digest_equal(&claim->digest, &line->digest))
		return differ(verify, error, DIFFERS_RECORD, line->as,
		    "The record gives it another hash than the proof does.");
	if ((claim->flags & CLAIM_DIGEST) == 0) {
		claim->digest = line->digest; /* its bytes can be checked all the same */
		claim->flags |= CLAIM_DIGEST;
	}
	return true;
}

static bool claim_pieces(
    struct verify *verify, const struct record_line *line, const json_t *parts, struct error *error)
{
	size_t n = json_array_size(parts);
	int width = n < 100 ? 2 : n < 1000 ? 3 : 5;
	struct whole *whole;
	bool good = true;

	if (!array_reserve(
		&verify->wholes, &verify->wholes_capacity, verify->n_wholes + 1, sizeof(*whole)))
		return error_no_memory(error);
	whole = &verify->wholes[verify->n_wholes];
	*whole = (struct whole){.path = arena_strdup(&verify->result->arena, line->as),
	    .digest = line->digest,
	    .size = line->stored,
	    .n_pieces = (uint32_t)n,
	    .next = 1,
	    .claims = calloc(n, sizeof(*whole->claims))};
	if (whole->path == NULL || whole->claims == NULL) {
		free(whole->claims);
		return error_no_memory(error);
	}
	sha256_init(&whole->hash);
	verify->n_wholes++;
	for (size_t i = 0; good && i < n; i++) {
		const char *part = json_string_value(json_array_get(parts, i));
		struct buf path = {0};
		struct claim *claim;

		buf_printf(&path, "%s.piece-%0*zu-of-%0*zu", line->as, width, i + 1, width, n);
		if (path.failed)
			good = error_no_memory(error);
		good = good &&
		       claim_file(verify, buf_text(&path), part == NULL ? "" : part, &claim, error);
		whole->claims[i] = VERIFY_NONE;
		if (good && claim != NULL) {
			claim->whole = (uint32_t)verify->n_wholes - 1;
			claim->piece = (uint32_t)i + 1;
			whole->claims[i] = (uint32_t)(claim - verify->table.items);
		}
		buf_free(&path);
	}
	return good;
}

static bool keep_same(struct record_work *work, const struct record_line *line, struct error *error)
{
	struct arena *arena = &work->verify->result->arena;
	struct same_line *same;

	if (!array_reserve(&work->sames, &work->sames_capacity, work->n_sames + 1, sizeof(*same)))
		return error_no_memory(error);
	same = &work->sames[work->n_sames];
	*same = (struct same_line){.path = arena_strdup(arena, line->path),
	    .target = arena_strdup(arena, line->same_as),
	    .digest = line->digest,
	    .has_digest = line->has_digest};
	if (same->path == NULL || same->target == NULL)
		return error_no_memory(error);
	work->n_sames++;
	return true;
}

/* A file whose bytes arrived: where they lie. */
static bool take_file(struct record_work *work, const struct record_line *line, struct error *error)
{
	struct verify *verify = work->verify;
	const json_t *parts = json_object_get(line->json, "parts");
	const char *part = text_of(line->json, "part");
	size_t n = json_array_size(parts);

	if (line->same_as[0] != '\0' && !keep_same(work, line, error))
		return false;
	if (parts == NULL && (part == NULL || part[0] == '\0')) {
		if (line->state == SAME && line->same_as[0] != '\0')
			return true; /* stored once, under the other name */
		return bad_line(verify, line, "bytes arrived, and no part is named", error);
	}
	if (!line->has_digest)
		return bad_line(verify, line, "bytes arrived, and there is no sha256", error);
	if (!path_is_payload(line->as))
		return differ(verify, error, DIFFERS_UNSAFE_NAME, line->as,
		    "Line %" PRIu64 " of the record names a file that cannot lie below data/.",
		    line->number);
	verify->progress.total += line->stored;
	if (parts == NULL)
		return claim_whole_file(verify, line, part, error);
	if (n < 2 || n > MOST_PIECES || line->stored == 0)
		return bad_line(verify, line, "a file cannot be cut into that many pieces", error);
	return claim_pieces(verify, line, parts, error);
}

static bool take_line(struct record_work *work, struct record_line *line, struct error *error)
{
	struct verify *verify = work->verify;
	struct verify_result *result = verify->result;
	const char *wrong = parse_line(line);
	bool known = false;

	if (wrong == NULL)
		wrong = check_ranges(line);
	if (wrong != NULL)
		return bad_line(verify, line, wrong, error);
	result->n_lines++;
	if (line->kind == KIND_FILE) {
		result->state_count[line->state]++;
		result->state_bytes[line->state] += line->size;
	}
	result->n_not_whole +=
	    line->state == PARTIAL || line->state == UNREADABLE || line->state == LOCKED;
	if (!note_line(verify, line, &known, error))
		return false;
	if (known && !bad_line(verify, line, "an earlier line is about the same thing", error))
		return false;
	if (line->as[0] != '\0' && !path_is_payload(line->as))
		return differ(verify, error, DIFFERS_UNSAFE_NAME, line->as,
		    "Line %" PRIu64 " of the record names a file that cannot lie below data/.",
		    line->number);
	if (line->kind == KIND_FOLDER)
		return line->as[0] == '\0' || claim_folder(verify, line->as, error);
	if (line->kind == KIND_LINK)
		return true;
	if (line->state == TAKEN || line->state == PARTIAL || line->state == SAME ||
	    ((line->state == INCOMPLETE || line->state == LOCKED) && line->as[0] != '\0'))
		return take_file(work, line, error);
	if (line->as[0] != '\0')
		return bad_line(verify, line, "it is in the archive, but its state says no", error);
	return true;
}

static bool same_matches(struct verify *verify, const struct same_line *same)
{
	const struct claim *claim = table_find(verify, same->target);

	const struct digest *digest = NULL;

	if (claim != NULL && (claim->flags & CLAIM_DIGEST) != 0)
		digest = &claim->digest;
	for (size_t i = 0; digest == NULL && i < verify->n_wholes; i++)
		if (strcmp(verify->wholes[i].path, same->target) == 0)
			digest = &verify->wholes[i].digest;
	return digest != NULL && (!same->has_digest || digest_equal(digest, &same->digest));
}

static bool check_sames(struct record_work *work, struct error *error)
{
	for (size_t i = 0; i < work->n_sames; i++)
		if (!same_matches(work->verify, &work->sames[i]) &&
		    !differ(work->verify, error, DIFFERS_RECORD, work->sames[i].path,
			"The record says it is the same as %.300s, but that has other bytes or is "
			"not there.",
			work->sames[i].target))
			return false;
	return true;
}

static bool take_text(struct record_work *work, const struct lines *lines, struct error *error)
{
	struct record_line line = {.number = lines->number};
	char why[240], sentence[280];
	json_t *json;
	bool good;

	if (lines->is_open_ended &&
	    !bad_line(work->verify, &line, "the last line is cut off", error))
		return false;
	json = json_from_text(lines->line, lines->length, why, sizeof(why));
	if (json == NULL) {
		snprintf(sentence, sizeof(sentence), "it is no JSON (%s)", why);
		return bad_line(work->verify, &line, sentence, error);
	}
	line.json = json;
	if (lines->number == 1)
		good = true; /* verify_header() has read it */
	else if (!json_is_object(json))
		good = bad_line(work->verify, &line, "it is no object", error);
	else
		good = take_line(work, &line, error);
	json_decref(json);
	return good;
}

bool verify_record(struct verify *verify, struct error *error)
{
	struct record_work work = {.verify = verify};
	struct lines lines;
	uint64_t size;
	bool more, good;
	int fd;

	if (!job_open(verify, RECORD, true, &fd, &size, error))
		return false;
	if (fd < 0)
		return true;
	lines_start(&lines, fd, RECORD, RECORD_LINE_LIMIT);
	while ((good = lines_next(&lines, &more, error)) && more)
		if (!(good = take_text(&work, &lines, error)))
			break;
	if (good && lines.is_too_long)
		good = differ(verify, error, DIFFERS_FORM, RECORD,
		    "Line %" PRIu64 " is too long; it was not read on.", lines.number);
	lines_free(&lines);
	good = good && check_sames(&work, error);
	free(work.sames);
	return good;
}

static bool take_header(struct verify *verify, const json_t *json, struct error *error)
{
	struct verify_result *result = verify->result;
	struct arena *arena = &result->arena;
	const char *job = text_of(json, "job"), *program = text_of(json, "program");
	const char *started = text_of(json, "started");

	if (json_integer_value(json_object_get(json, "record")) != 1)
		return differ(verify, error, DIFFERS_FORM, RECORD,
		    "Line 1 is not the head of a record of the kind 1.");
	if (job == NULL || program == NULL || started == NULL || !name_is_plain(job) ||
	    strlen(job) > 200)
		return differ(verify, error, DIFFERS_UNSAFE_NAME, RECORD,
		    "Line 1 gives the job a name that is none.");
	result->job = arena_strdup(arena, job);
	result->program = arena_strdup(arena, program);
	result->started = arena_strdup(arena, started);
	verify->files_name = arena_printf(arena, "%s-files", job);
	verify->proof_name = arena_printf(arena, "%s-proof.zip", job);
	if (result->job == NULL || result->program == NULL || result->started == NULL ||
	    verify->files_name == NULL || verify->proof_name == NULL) {
		verify->files_name = verify->proof_name = "";
		return error_no_memory(error);
	}
	return true;
}

bool verify_header(struct verify *verify, struct error *error)
{
	struct lines lines;
	uint64_t size;
	bool more, good;
	char why[240];
	json_t *json;
	int fd;

	if (!job_open(verify, RECORD, true, &fd, &size, error))
		return false;
	if (fd < 0)
		return true;
	lines_start(&lines, fd, RECORD, RECORD_LINE_LIMIT);
	good = lines_next(&lines, &more, error);
	if (good) {
		json = more ? json_from_text(lines.line, lines.length, why, sizeof(why)) : NULL;
		good = take_header(verify, json, error);
		json_decref(json);
	}
	lines_free(&lines);
	return good;
}
