/* Accounts, the cloud and organisations: see accounts_text.h. */
#include "report/accounts_text.h"

#include "base/filetime.h"
#include "base/text.h"
#include "system/ties.h"

#include <stdarg.h>
#include <string.h>

#define WIDTH 79

static void line(FILE *out, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void line(FILE *out, const char *format, ...)
{
	va_list arguments;

	va_start(arguments, format);
	text_paragraph(out, 2, 6, WIDTH, format, arguments);
	va_end(arguments);
}

static const char *key_of(const struct old_system *system, size_t person)
{
	return person < system->n_persons ? system->persons[person].key : "this PC";
}

static void print_organisation(const struct old_system *system, FILE *out)
{
	struct buf text = {0};

	for (size_t i = 0; i < system->ties->n_managed; i++) {
		buf_clear(&text);
		managed_to_text(&system->ties->managed[i], &text);
		line(out, "%s is %s", system->key, buf_text(&text));
	}
	buf_free(&text);
}

static void print_sign_ins(const struct old_system *system, FILE *out)
{
	for (size_t i = 0; i < system->ties->n_sign_ins; i++) {
		struct buf text = {0};

		if (sign_ins_to_text(system->ties, i, &text))
			line(out, "%s: %s", key_of(system, system->ties->sign_ins[i].person),
			    buf_text(&text));
		buf_free(&text);
	}
}

static void add_count(struct buf *text, uint64_t files, uint64_t bytes, const char *where)
{
	if (files > 0)
		buf_printf(text, ", %s %s (%s) %s", text_count(files).text,
		    files == 1 ? "file" : "files", text_size(bytes).text, where);
}

static void print_cloud(const struct old_system *system, FILE *out)
{
	const struct ties *ties = system->ties;

	for (size_t i = 0; i < ties->n_sync_roots; i++) {
		const struct sync_root *root = &ties->sync_roots[i];
		const struct sum *sum = &root->sum;
		struct buf text = {0};

		buf_printf(&text, "%s: %s, kept in the cloud%s%s", key_of(system, root->person),
		    root->path, *root->address ? ", account " : "", root->address);
		add_count(&text, sum->files - sum->cloud_files, sum->bytes - sum->cloud_bytes, "here");
		add_count(&text, sum->cloud_files - sum->part_files,
		    sum->cloud_bytes - sum->part_bytes, "only in the cloud");
		add_count(&text, sum->part_files, sum->part_bytes, "partly here");
		if (root->at.node == NONE)
			buf_add_text(&text, ", not on these drives");
		line(out, "%s", buf_text(&text));
		buf_free(&text);
	}
	for (size_t i = 0; i < ties->n_cloud_drives; i++) {
		const struct cloud_drive *drive = &ties->cloud_drives[i];
		struct buf text = {0};

		add_count(&text, drive->sum.files, drive->sum.bytes,
		    "in its cache, perhaps not all uploaded");
		line(out, "%s: %s, of a client that showed the cloud as a drive%s",
		    key_of(system, drive->person), drive->path, buf_text(&text));
		buf_free(&text);
	}
}

static void print_bound(const struct old_system *system, FILE *out)
{
	const struct ties *ties = system->ties;

	for (size_t i = 0; i < ties->n_bound; i++)
		line(out, "%s: %s, in %s", key_of(system, ties->bound[i].person),
		    bound_words(ties->bound[i].kind), ties->bound[i].path);
}

void accounts_print(const struct old_system *system, FILE *out)
{
	const struct ties *ties = system->ties;

	if (!ties)
		return;
	if (ties->n_managed + ties->n_sign_ins + ties->n_sync_roots + ties->n_cloud_drives > 0)
		fputs("\nAccounts\n", out);
	print_organisation(system, out);
	print_sign_ins(system, out);
	print_cloud(system, out);
	if (ties->n_bound > 0)
		fputs("\nBound to this PC, and not simply carried over\n", out);
	print_bound(system, out);
}

void organisations_print(const struct survey *survey, FILE *out)
{
	const struct findings *findings = survey->findings;

	for (size_t i = 0; findings && i < findings->count; i++) {
		struct buf text = {0};

		if (strcmp(findings->items[i].code, "managed-pc") != 0)
			continue;
		finding_to_text(&findings->items[i], &text);
		fputs("Ask first: ", out);
		text_wrap(out, buf_text(&text), 2, WIDTH);
		buf_free(&text);
	}
}
