/* Jump lists and documents as traces of programs: see use_traces.h. */
#include "system/use_traces.h"

#include "system/inner.h"
#include "system/program_index.h"

#include <string.h>

static void tell_lists(struct learn *learn, const struct program_index *index,
    const struct jump_use *uses, size_t n_uses)
{
	for (size_t i = 0; i < n_uses; i++) {
		const char *path = program_index_number(index, uses[i].number);

		if (path && uses[i].last > 0)
			learn_trace(learn, &(struct trace){.source = TRACE_JUMP_LIST,
					       .person = uses[i].person,
					       .path = path,
					       .count = uses[i].count,
					       .last = uses[i].last});
	}
}

static void tell_documents(struct learn *learn, const struct program_index *index)
{
	const struct old_system *system = learn->system;

	for (size_t i = 0; i < system->n_openers; i++) {
		const struct opener *opener = &system->openers[i];
		const char *path = opener->program;

		if (opener->documents == 0 || opener->last <= 0)
			continue;
		if (!strchr(path, '\\') && !strchr(path, '!'))
			path = program_index_name(index, path);
		if (path)
			learn_trace(learn, &(struct trace){.source = TRACE_DOCUMENTS,
					       .person = opener->person,
					       .path = path,
					       .count = opener->documents,
					       .last = opener->last});
	}
}

bool use_traces_find(struct learn *learn, const struct jump_use *uses, size_t n_uses)
{
	const struct old_system *system = learn->system;
	struct program_index index;
	size_t n_documents = 0;
	bool good = true;

	for (size_t i = 0; i < system->n_openers; i++)
		n_documents += system->openers[i].documents;
	if (n_uses + n_documents == 0)
		return true;
	good = program_index_make(&index, learn->survey, system);
	if (good) {
		tell_lists(learn, &index, uses, n_uses);
		tell_documents(learn, &index);
	}
	program_index_free(&index);
	return good && !learn->no_memory;
}
