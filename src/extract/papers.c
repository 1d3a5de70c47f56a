/* Papers of a job: see papers.h. */
#include "extract/papers.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

void papers_free(struct papers *papers)
{
	free(papers->items);
	arena_free(&papers->arena);
	*papers = (struct papers){0};
}

static bool make_folder(const struct job *job, const char *name, struct error *error)
{
	const char *slash = strchr(name, '/');
	char *folder, *path;
	bool good = true;

	if (slash == NULL)
		return true;
	folder = strndup(name, (size_t)(slash - name));
	path = folder != NULL ? job_path(job, folder) : NULL;
	if (path == NULL)
		good = error_no_memory(error);
	else if (mkdir(path, 0700) == 0)
		good = durable_sync_folder(path, error);
	else if (errno != EEXIST)
		good = durable_failed(error, errno, path);
	free(folder);
	free(path);
	return good;
}

bool papers_add(struct papers *papers, const struct job *job, const char *name, struct buf *content,
    struct error *error)
{
	struct tag_file tag = {.name = arena_strdup(&papers->arena, name)};
	char *path = job_path(job, name);
	bool good;

	if (path == NULL || tag.name == NULL ||
	    !array_reserve(
		&papers->items, &papers->capacity, papers->count + 1, sizeof(*papers->items)))
		good = error_no_memory(error);
	else
		good = make_folder(job, name, error) &&
		       durable_save(path, content, &tag.digest, error);
	if (good)
		papers->items[papers->count++] = tag;
	free(path);
	buf_clear(content);
	return good;
}
