/* Proving a job, from its first file to its last: see verify.h. */
#include "extract/verify.h"

#include "base/utf.h"
#include "extract/paper_names.h"
#include "extract/verify_internal.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool ends_with(const char *text, const char *end)
{
	size_t length = strlen(text), end_length = strlen(end);

	return length >= end_length && strcmp(text + length - end_length, end) == 0;
}

/* Files that belong to a job beside its parts. */
static bool is_known_file(const char *name)
{
	return paper_is_known(name) || strcmp(name, "goes-on-elsewhere.txt") == 0 ||
	       strcmp(name, "report.html") == 0 || strcmp(name, "bookmarks") == 0;
}

/* A part in the folder with the papers, also one that was brought there from another destination. */
static struct part *part_here(struct verify *verify, const char *name, struct error *error)
{
	struct part *part = part_put(verify, name, error);

	if (part != NULL && part->is_elsewhere) {
		part->is_elsewhere = false;
		part->folder = verify->folder;
		verify->n_elsewhere--;
	}
	return part;
}

/* Where a job was left there may be more than it knows of: that does not count. */
static bool sort_left(struct verify *verify, const char *name, struct error *error)
{
	if (part_find(verify, name) != VERIFY_NONE)
		return part_here(verify, name, error) != NULL;
	verify->result->n_others +=
	    !is_known_file(name) && strcmp(name, verify->proof_name) != 0;
	return true;
}

/* One name in the job's folder: a part, a mark of an unfinished job, or nothing of ours. */
static bool sort_name(struct verify *verify, const char *name, struct error *error)
{
	struct verify_result *result = verify->result;
	struct stat info;
	struct part *part;

	if (verify->places[verify->main].is_left)
		return sort_left(verify, name, error);
	if (strcmp(name, "journal") == 0 || strcmp(name, "salvage") == 0)
		return differ(verify, error, DIFFERS_UNFINISHED, name,
		    "It says that the extraction was not finished: files are missing or unproven.");
	if (ends_with(name, ".unfinished"))
		return differ(verify, error, DIFFERS_UNFINISHED, name,
		    "This file is cut off: the extraction was not finished.");
	if (is_known_file(name) || strcmp(name, verify->proof_name) == 0)
		return true;
	if (fstatat(verify->folder, name, &info, AT_SYMLINK_NOFOLLOW) != 0)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "'%s' in the job cannot be read", name);
	if (S_ISLNK(info.st_mode))
		return differ(verify, error, DIFFERS_STRANGE_FILE, name,
		    "It is a symbolic link; no job has one, and it was not followed.");
	if (name_is_of_files(verify, name) && S_ISDIR(info.st_mode)) {
		part = part_here(verify, name, error);
		if (part == NULL)
			return false;
		part->is_folder = verify->has_folders = true;
		return true;
	}
	if (S_ISREG(info.st_mode) && (ends_with(name, ".zip") || ends_with(name, ".tar")) &&
	    utf_is_clean(name))
		return part_here(verify, name, error) != NULL;
	result->n_others++;
	return true;
}

static int compare_names(const void *a, const void *b)
{
	return strcmp(*(char *const *)a, *(char *const *)b);
}

/* The folder's names in a fixed order, so that nothing depends on the file system. */
static bool read_names(struct verify *verify, char ***names, size_t *count, struct error *error)
{
	int fd = open_folder(verify->folder, "", 0);
	DIR *folder = fd < 0 ? NULL : fdopendir(fd);
	struct dirent *entry;
	size_t capacity = 0;

	if (folder == NULL) {
		if (fd >= 0)
			close(fd);
		return error_set_errno(error, STATUS_DESTINATION, errno, "the job cannot be read");
	}
	rewinddir(folder);
	while ((errno = 0, entry = readdir(folder)) != NULL) {
		if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
			continue;
		if (!array_reserve(names, &capacity, *count + 1, sizeof(**names)) ||
		    ((*names)[*count] = strdup(entry->d_name)) == NULL) {
			closedir(folder);
			return error_no_memory(error);
		}
		++*count;
	}
	if (errno != 0)
		error_set_errno(error, STATUS_DESTINATION, errno, "the job cannot be read");
	else if (*count > 0)
		qsort(*names, *count, sizeof(**names), compare_names);
	fd = errno;
	closedir(folder);
	return fd == 0;
}

static bool look_around(struct verify *verify, struct error *error)
{
	char **names = NULL;
	size_t count = 0;
	bool good = read_names(verify, &names, &count, error);

	for (size_t i = 0; i < count; i++) {
		good = good && sort_name(verify, names[i], error);
		free(names[i]);
	}
	free(names);
	return good;
}

static int compare_differences(const void *a, const void *b)
{
	const struct difference *one = a, *other = b;
	int order;

	if (one->kind != other->kind)
		return one->kind < other->kind ? -1 : 1;
	order = strcmp(one->subject, other->subject);
	if (order != 0)
		return order;
	return one->number < other->number ? -1 : 1;
}

static void free_work(struct verify *verify)
{
	for (size_t i = 0; i < verify->n_wholes; i++)
		free(verify->wholes[i].claims);
	free(verify->wholes);
	free(verify->parts);
	free(verify->seen_lines);
	free(verify->buffer);
	table_free(&verify->table);
	verify_close(verify);
}

static bool note_absent_parts(struct verify *verify, struct error *error)
{
	bool good = true;

	for (size_t i = 0; good && i < verify->n_parts; i++)
		if (verify->parts[i].is_elsewhere)
			good = note_absent(verify, verify->parts[i].name,
			    verify->parts[i].destination, error);
	return good;
}

bool verify_job(struct verify_result *result, const char *const *folders, size_t count, bool quiet,
    struct error *error)
{
	struct verify verify = {.result = result,
	    .folder = -1,
	    .n_destinations = 1,
	    .files_name = "",
	    .proof_name = "",
	    .buffer = malloc(VERIFY_BUFFER)};
	bool good;

	*result = (struct verify_result){.job = "", .program = "", .started = ""};
	progress_start(&verify.progress, "Checking", 0, quiet);
	good = verify.buffer != NULL || error_no_memory(error);
	/* Lists and record first: parts are checked against them. */
	good = good && verify_open(&verify, folders, count, error) &&
	    verify_header(&verify, error) && verify_places(&verify, error) &&
	    look_around(&verify, error) && verify_part_list(&verify, error) &&
	    verify_bag(&verify, error) && verify_manifest(&verify, error) &&
	    verify_sums(&verify, error) && verify_tag_manifest(&verify, error) &&
	    verify_record(&verify, error) && verify_account(&verify, error) &&
	    verify_findings(&verify, error) && verify_parts(&verify, error) &&
	    verify_rest(&verify, error) && verify_oxum(&verify, error) &&
	    verify_proof(&verify, error) && note_absent_parts(&verify, error);
	progress_end(&verify.progress);
	free_work(&verify);
	if (result->n_kept > 0)
		qsort(result->differences, result->n_kept, sizeof(*result->differences),
		    compare_differences);
	return good;
}
