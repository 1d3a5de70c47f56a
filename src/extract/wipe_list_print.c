/* The list of what to see to before the old PC is wiped, in words: see wipe_list.h. */
#include "extract/wipe_list.h"

#include "base/filetime.h"
#include "base/json.h"
#include "base/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#define WIDTH 79
#define INDENT 6

/* clang-format off */
static const struct {
	const char *code, *title, *why, *todo;
} words[WIPE_COUNT] = {
[WIPE_ORGANISATION] = {"organisation",
	"Ask the organisation that is behind this PC",
	"The PC belongs to an organisation, is managed by one, or has an account of one. It may not "
	"be yours to keep, wipe or give away, and some of the files may not be yours.",
	"Ask that employer or school first."},
[WIPE_SECOND_COPY] = {"second-copy",
	"Check what arrived, and make a second copy",
	"This job is one copy. Once the old PC is wiped it is the only one.",
	"Verify it (coldlift verify), open some files of each kind on the new computer, and copy the "
	"job to another drive that is kept somewhere else."},
[WIPE_LOSSES] = {"losses",
	"Look at what did not arrive whole",
	"Once the old drive is wiped, nobody can try again.",
	"findings.json names them, record.jsonl has every file. Look for better copies in backups, or "
	"have the drive read by a laboratory if they are worth it."},
[WIPE_CLOUD_ONLY] = {"cloud-only",
	"Fetch what is only in the cloud",
	"These files were not on the old drive, so they are not in the job, or not whole. They last "
	"as long as the account does.",
	"Sign in with that address on the new computer and let it fetch everything."},
[WIPE_NOT_UPLOADED] = {"not-uploaded",
	"See whether everything reached the cloud",
	"A client showed the cloud as a drive of its own. What was changed last may lie only in its "
	"cache, which is in the job, under numbers instead of names.",
	"Sign in to the service on the new computer and look for the newest files. If some are "
	"missing, do not wipe the old drive: the client itself may still upload them."},
[WIPE_SIGN_INS] = {"sign-ins",
	"Make sure that you can sign in elsewhere",
	"The old PC signed in with these addresses by itself. A new one asks for the password, and "
	"perhaps for a code that goes to a telephone, another address or the old PC.",
	"Sign in with each of them on the new computer, and bring the telephone number and the second "
	"address up to date. Then take the old PC off the account's list of devices."},
[WIPE_CODES] = {"one-time-codes",
	"Move the one-time codes",
	"A program on the old PC makes codes that accounts ask for. Without them, or without the "
	"recovery codes, those accounts stay shut. Copying its files is mostly not enough.",
	"Set the codes up on a telephone or on the new computer, account by account, or find the "
	"recovery codes."},
[WIPE_BOUND] = {"bound-to-the-pc",
	"Replace what is bound to this PC",
	"A PIN, a fingerprint, passkeys, and keys in the PC's security chip work on this PC only and "
	"cannot be copied.",
	"For each account that asked for one of them, set up another way to sign in."},
[WIPE_KEYS] = {"certificates-and-keys",
	"Keep certificates and key files",
	"Certificates sign, or open secret mail; key files open other computers. What was encrypted "
	"for a key that is lost stays shut.",
	"Certificates of a profile are in the part that ends in -sealed, locked with that person's old "
	"password: keep both, export them in the old system if it still starts, or have new ones "
	"issued. Key files are offered: take them with --take."},
[WIPE_PASSWORDS] = {"saved-passwords",
	"Bring saved passwords over",
	"Stores of saved passwords were not taken. They are locked to the old system, and a copy "
	"mostly opens nothing.",
	"If the old PC still starts: turn on the browser's own synchronisation there, or export the "
	"passwords. If not: sign in to that synchronisation on the new computer and see what is "
	"there; for the rest ask each service for a new password."},
[WIPE_CONVERSATIONS] = {"conversations",
	"See whether conversations arrive",
	"Programs for chats, calls, notes and the like often keep their contents, and the sign-in, for "
	"one PC. The files are in the job, but the program may not open them elsewhere.",
	"Link the new computer as another device, or make the program's own backup, and look for old "
	"conversations there."},
[WIPE_LICENCES] = {"licences",
	"Release licences",
	"Some programs count the PCs that they are activated on, and one that is gone still counts.",
	"Deactivate, or sign out, in each program that was bought, if the old PC still starts; if "
	"not, in the account at its maker. Keep keys and bills."},
[WIPE_ENCRYPTED_FILES] = {"encrypted-files",
	"Keep what opens encrypted files",
	"Files that the old file system encrypted are in the job unopened. Only that person's keys "
	"open them, with the old password.",
	"Keep the part that ends in -sealed, and write that person's old password down. If the old PC "
	"still starts, take the encryption off there and extract again."},
[WIPE_ENCRYPTED_DRIVES] = {"encrypted-drives",
	"Find the key of an encrypted or locked drive",
	"It is encrypted or locked as a whole; nothing that lies on it is in this job.",
	"A recovery key of 48 digits may be in the owner's account, on paper, or on a stick. Unlock it "
	"and extract again, or be sure that nothing on it is needed."},
[WIPE_PHONES] = {"phone-backups",
	"Look after backups of phones",
	"They open only in the program that made them, and with its password where one was set.",
	"Make a new backup with the new computer, or keep these and their password."},
[WIPE_MAIL] = {"mail",
	"See that mail is all there",
	"Some mail may be kept on this PC only: not every account keeps it on its server.",
	"Open the taken mail on the new computer and compare it with what the account shows."},
[WIPE_ELSEWHERE] = {"elsewhere",
	"Look for what lies elsewhere",
	"It was used on this PC but lies on drives that were not attached, or on servers.",
	"Find the drives, attach them and extract again; ask who keeps the servers."},
[WIPE_LAST] = {"wipe",
	"Only then wipe it",
	"Deleting and formatting leave most files readable. And deleting files in a folder that is "
	"kept in the cloud deletes them there, too.",
	"Sign clients of the cloud out first. Then have the whole drive overwritten, or erased by its "
	"own command, or destroyed."},
};
/* clang-format on */

/* --- text --- */

static void paragraph(FILE *out, unsigned first, unsigned others, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void paragraph(FILE *out, unsigned first, unsigned others, const char *format, ...)
{
	va_list arguments;

	va_start(arguments, format);
	text_paragraph(out, first, others, WIDTH, format, arguments);
	va_end(arguments);
}

static void print_item(FILE *out, const struct wipe_item *item, enum wipe_code code)
{
	fprintf(out, "\n[ ]   %s\n\n", words[code].title);
	paragraph(out, INDENT, INDENT, "%s", words[code].why);
	paragraph(out, INDENT, INDENT, "What to do: %s", words[code].todo);
	for (size_t i = 0; i < item->n_facts; i++)
		paragraph(out, INDENT, INDENT + 2, "- %s", item->facts[i]);
	if (item->n_more > 0)
		paragraph(out, INDENT, INDENT + 2,
		    "- and %zu more, see " WIPE_JSON_FILE " and the other papers",
		    item->n_more);
}

/* "1.2 GB in 12 files, last changed 2023-10-02" */
static void print_forgotten(FILE *out, const struct wipe_list *list, const struct forgotten *row)
{
	struct filetime_text day = filetime_to_text(row->newest);
	struct buf path = {0};

	forgotten_shown(row, list->plan, &path);
	fputs("\n[ ]   ", out);
	text_wrap(out, buf_text(&path), INDENT, WIDTH);
	paragraph(out, INDENT, INDENT, "%s in %s %s%s%.10s; %s", text_size(row->bytes).text,
	    text_count(row->files).text, row->files == 1 ? "file" : "files",
	    *day.text ? ", last changed " : "", day.text, forgotten_words(row));
	buf_free(&path);
}

static void print(FILE *out, const struct wipe_list *list)
{
	size_t shown = list->forgotten.count < WIPE_FORGOTTEN ? list->forgotten.count : WIPE_FORGOTTEN;

	fputs("Before you wipe or give away the old PC\n"
	      "=======================================\n\n",
	    out);
	paragraph(out, 0, 0,
	    "Made from what was found on its drives. Tick off what is done or does not concern you.");
	for (unsigned code = 0; code < WIPE_COUNT; code++)
		if (list->items[code].is_wanted)
			print_item(out, &list->items[code], (enum wipe_code)code);
	fputs("\n\nWhat is likely forgotten\n========================\n\n", out);
	if (shown == 0)
		fputs("Nothing that was left on the old drives calls for a second thought.\n", out);
	else
		paragraph(out, 0, 0,
		    "Not taken, and worth a thought: the largest first, and of about the same size the "
		    "most recent first. Take what is wanted with --take and the path.");
	for (size_t i = 0; i < shown; i++)
		print_forgotten(out, list, &list->forgotten.items[i]);
	if (list->forgotten.count > shown)
		fprintf(out, "\nand %s more: see " WIPE_JSON_FILE ".\n",
		    text_count(list->forgotten.count - shown).text);
}

void wipe_list_to_text(const struct wipe_list *list, struct buf *text)
{
	char *data = NULL;
	size_t length = 0;
	FILE *out = open_memstream(&data, &length);

	if (out == NULL) {
		text->failed = true;
		return;
	}
	print(out, list);
	if (fclose(out) == 0)
		buf_add(text, data, length);
	else
		text->failed = true;
	free(data);
}

/* --- JSON --- */

static void item_to_json(struct json *json, const struct wipe_item *item, enum wipe_code code)
{
	json_begin_object(json);
	json_key_text(json, "code", words[code].code);
	json_key_text(json, "title", words[code].title);
	json_key_text(json, "why", words[code].why);
	json_key_text(json, "do", words[code].todo);
	json_key(json, "facts");
	json_begin_array(json);
	for (size_t i = 0; i < item->n_facts; i++)
		json_text(json, item->facts[i]);
	json_end(json);
	json_key_unsigned(json, "more_facts", item->n_more);
	json_end(json);
}

static void forgotten_to_json(
    struct json *json, const struct wipe_list *list, const struct forgotten *row)
{
	struct buf path = {0};

	forgotten_path(row, list->plan, &path);
	json_begin_object(json);
	json_key_text(json, "folder", buf_text(&path));
	json_key_text(json, "reason", reason_name(row->reason));
	json_key_text(json, "words", forgotten_words(row));
	json_key_bool(json, "whole", row->is_whole);
	json_key_unsigned(json, "files", row->files);
	json_key_unsigned(json, "bytes", row->bytes);
	json_key_time(json, "newest", row->newest);
	json_end(json);
	buf_free(&path);
}

void wipe_list_to_json(const struct wipe_list *list, struct json *json)
{
	size_t shown = list->forgotten.count < WIPE_FORGOTTEN_ALL ? list->forgotten.count :
								   WIPE_FORGOTTEN_ALL;

	json_begin_object(json);
	json_key_text(json, "job", list->job);
	json_key(json, "items");
	json_begin_array(json);
	for (unsigned code = 0; code < WIPE_COUNT; code++)
		if (list->items[code].is_wanted)
			item_to_json(json, &list->items[code], (enum wipe_code)code);
	json_end(json);
	json_key(json, "forgotten");
	json_begin_array(json);
	for (size_t i = 0; i < shown; i++)
		forgotten_to_json(json, list, &list->forgotten.items[i]);
	json_end(json);
	json_key_unsigned(json, "more_forgotten", list->forgotten.count - shown);
	json_end(json);
}
