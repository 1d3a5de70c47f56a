/* A job at several destinations: see places.h. */
#include "extract/places.h"

#include "base/json.h"
#include "extract/carry.h"
#include "extract/folder_again.h"
#include "extract/handover.h"
#include "extract/leftovers.h"
#include "extract/stores.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

bool places_find(struct places *places, const struct unfinished_job *job)
{
	size_t count = job->read.n_earlier;

	*places = (struct places){.items = calloc(count + 1, sizeof(*places->items))};
	if (places->items == NULL)
		return false;
	places->count = count;
	for (size_t i = 0; i < count; i++) {
		const struct earlier *earlier = &job->read.earlier[i];
		const char *folder = i == count - 1 && job->came_from != NULL ? job->came_from :
										 earlier->place;

		places->items[i].mark = earlier->mark;
		if (!handover_matches(folder, earlier->mark))
			continue;
		places->items[i].folder = strdup(folder);
		if (places->items[i].folder == NULL)
			return false;
	}
	return true;
}

void places_free(struct places *places)
{
	for (size_t i = 0; i < places->count; i++)
		free(places->items[i].folder);
	free(places->items);
	*places = (struct places){0};
}

/* --- what is left over --- */

static void remove_store(const struct job *job)
{
	char *path = job_path(job, STORES_FOLDER);

	if (path != NULL)
		stores_remove(path);
	free(path);
}

/* A folder of files that no checkpoint knew. */
static void remove_folder(const struct parts *left)
{
	char *name = parts_next_folder(left), *path = NULL;
	const struct map none = {0};
	struct error ignored = {0};
	int root;

	if (name == NULL || asprintf(&path, "%s/%s" UNFINISHED, left->job->folder, name) < 0)
		path = NULL;
	root = path == NULL ? -1 : open(path, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
	if (root >= 0) {
		(void)folder_keep_only(root, &none, path, &ignored);
		close(root);
		(void)rmdir(path);
	}
	free(name);
	free(path);
}

/* The journal goes last: as long as it is there, this was not done to its end. */
static void tidy(const struct left_place *place, unsigned number, const struct parts *parts)
{
	struct job job = {.name = parts->job->name, .folder = place->folder};
	struct parts left = {.job = &job, .format = parts->format};
	struct error ignored = {0};
	char *journal = job_path(&job, JOB_JOURNAL);

	left.items = calloc(parts->count + 1, sizeof(*left.items));
	if (journal != NULL && left.items != NULL && access(journal, F_OK) == 0) {
		for (size_t i = 0; i < parts->count; i++)
			if (parts->items[i].destination == number)
				left.items[left.count++] = parts->items[i];
		if (leftovers_remove(&left, &ignored)) {
			remove_store(&job);
			if (parts->format == FORMAT_FOLDER)
				remove_folder(&left);
			if (unlink(journal) == 0)
				(void)durable_sync_folder(journal, &ignored);
		}
	}
	free(left.items);
	free(journal);
}

void places_tidy(const struct places *places, const struct parts *parts)
{
	for (size_t i = 0; i < places->count; i++)
		if (places->items[i].folder != NULL)
			tidy(&places->items[i], (unsigned)i + 1, parts);
}

/* --- what is said of it --- */

void places_tell(const struct places *places, struct findings *findings)
{
	if (places->count == 0)
		return;
	findings_add(findings, WEIGHT_NOTE, "several-destinations", "",
	    "Keep all of them, and prove them together: coldlift verify FOLDER FOLDER.",
	    "The job lies at %zu destinations, in a folder of the same name at each; "
	    PLACES_PAPER " says which archive is where.",
	    places->count + 1);
	for (size_t i = 0; i < places->count; i++)
		if (places->items[i].folder == NULL)
			findings_add(findings, WEIGHT_CAUTION, "destination-not-attached",
			    handover_ordinal((unsigned)i + 1).text,
			    "Keep that drive, and write on it what it belongs to.",
			    "The %s destination was not attached when the job was completed: the "
			    "papers that say what is in the job are not on it.",
			    handover_ordinal((unsigned)i + 1).text);
}

bool places_write(const struct places *places, const struct parts *parts, struct papers *papers,
    struct error *error)
{
	struct buf buf = {0};
	struct json json;
	bool good;

	if (places->count == 0)
		return true;
	json_start(&json, &buf, true);
	json_begin_object(&json);
	json_key_text(&json, "job", parts->job->name);
	json_key(&json, "destinations");
	json_begin_array(&json);
	for (size_t i = 0; i <= places->count; i++) {
		json_begin_object(&json);
		json_key_unsigned(&json, "destination", i + 1);
		if (i < places->count)
			json_key_text(&json, "mark", places->items[i].mark);
		json_key(&json, "parts");
		json_begin_array(&json);
		for (size_t p = 0; p < parts->count; p++)
			if (parts->items[p].destination == i + 1)
				json_text(&json, parts->items[p].name);
		json_end(&json);
		json_end(&json);
	}
	json_end(&json);
	json_end(&json);
	good = papers_add(papers, parts->job, PLACES_PAPER, &buf, error);
	buf_free(&buf);
	return good;
}

/* --- papers --- */

/* Replaces what has that name there. */
static bool copy_paper(const char *folder, const struct job *job, const char *name,
    struct error *error)
{
	struct carry carry = {.progress = {.quiet = true}};
	char *from = job_path(job, name), *to = NULL, *temporary = NULL;
	bool whole = false, good;

	if (asprintf(&to, "%s/%s", folder, name) < 0)
		to = NULL;
	if (asprintf(&temporary, "%s/%s" UNFINISHED, folder, name) < 0)
		temporary = NULL;
	if (from == NULL || to == NULL || temporary == NULL) {
		good = error_no_memory(error);
	} else {
		(void)unlink(temporary);
		good = carry_file(&carry, from, temporary, UINT64_MAX, &whole, error);
		if (good && whole && rename(temporary, to) != 0)
			good = durable_failed(error, errno, to);
		else if (good && whole)
			good = durable_sync_renamed(to, false, error);
		if (!good)
			(void)unlink(temporary);
	}
	free(from);
	free(to);
	free(temporary);
	return good;
}

/* Not what is private beyond that, such as bookmarks. The list of hashes of all papers comes last. */
static bool copy_papers(const char *folder, const struct job *job, struct error *error)
{
	static const char *const names[] = {"record.jsonl", "where.json", "account.json",
	    "programs.json", "findings.json", PLACES_PAPER, "manifest-sha256.txt", "SHA256SUMS",
	    "PARTS.SHA256SUMS", "bagit.txt", "bag-info.txt", "tagmanifest-sha256.txt"};
	char *proof;
	bool good = true;

	for (size_t i = 0; good && i < sizeof(names) / sizeof(names[0]); i++)
		good = copy_paper(folder, job, names[i], error);
	if (!good)
		return false;
	if (asprintf(&proof, "%s" PROOF_ARCHIVE_END, job->name) < 0)
		return error_no_memory(error);
	good = copy_paper(folder, job, proof, error);
	free(proof);
	return good;
}

void places_copy_papers(const struct places *places, const struct job *job,
    struct findings *findings)
{
	for (size_t i = 0; i < places->count; i++) {
		struct error error = {0};

		if (places->items[i].folder != NULL &&
		    !copy_papers(places->items[i].folder, job, &error))
			findings_add(findings, WEIGHT_CAUTION, "papers-not-copied",
			    places->items[i].folder,
			    "Keep that drive, and write on it what it belongs to.",
			    "The papers that say what is in the job could not be copied to the %s "
			    "destination: %s.",
			    handover_ordinal((unsigned)i + 1).text, error.text);
	}
}
