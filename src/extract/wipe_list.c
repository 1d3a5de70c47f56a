/* What to see to before the old PC is wiped, from plan and sums: see wipe_list.h. */
#include "extract/wipe_list.h"

#include "base/json.h"
#include "base/text.h"
#include "extract/items.h"
#include "extract/losses.h"
#include "extract/papers.h"
#include "plan/belongings.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

void wipe_fact(struct wipe_list *list, enum wipe_code code, const char *format, ...)
{
	struct wipe_item *item = &list->items[code];
	char line[3000];
	va_list arguments;

	va_start(arguments, format);
	vsnprintf(line, sizeof(line), format, arguments);
	va_end(arguments);
	item->is_wanted = true;
	for (size_t i = 0; i < item->n_facts; i++)
		if (strcmp(item->facts[i], line) == 0)
			return;
	if (item->n_facts == WIPE_FACTS) {
		item->n_more++;
		return;
	}
	item->facts[item->n_facts] = arena_strdup(&list->arena, line);
	if (item->facts[item->n_facts] == NULL)
		list->no_memory = true;
	else
		item->n_facts++;
}

/* --- what the plan says of single files --- */

/* One line for each owner: "Mara Quill: 3 files, 12 kB, such as C:\..." */
struct owner_sum {
	struct tally tally;
	size_t first; /* item */
};

static bool concerns(const struct item *item, enum wipe_code code)
{
	if (item->kind != ITEM_FILE || item->stream == NONE)
		return false;
	if (code == WIPE_PASSWORDS)
		return item->state == STATE_LEFT && item->reason == REASON_PASSWORDS;
	return item->state == STATE_LOCKED;
}

static void add_full_path(const struct plan *plan, const struct item *item, struct buf *path)
{
	buf_add_text(path, plan->survey->volumes[item->volume].name);
	plan_old_path(plan, item, path);
}

static bool is_same_owner(const struct group *one, const struct group *other)
{
	return one->system == other->system && one->person == other->person;
}

static void owner_fact(
    struct wipe_list *list, enum wipe_code code, const char *owner, const struct owner_sum *sum)
{
	struct buf path = {0};

	add_full_path(list->plan, &list->plan->items[sum->first], &path);
	wipe_fact(list, code, "%s: %s %s, %s, such as %s", owner, text_count(sum->tally.count).text,
	    sum->tally.count == 1 ? "file" : "files", text_size(sum->tally.bytes).text,
	    buf_text(&path));
	buf_free(&path);
}

static void add_files(struct wipe_list *list, enum wipe_code code)
{
	const struct plan *plan = list->plan;
	struct owner_sum *sums = calloc(plan->n_groups + 1, sizeof(*sums));

	if (sums == NULL) {
		list->no_memory = true;
		return;
	}
	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		size_t row = item->group == NONE ? plan->n_groups : item->group;

		if (!concerns(item, code))
			continue;
		/* The owner's first group stands for all of them. */
		for (size_t g = 0; row < plan->n_groups && g < row; g++)
			if (is_same_owner(&plan->groups[g], &plan->groups[row]))
				row = g;
		if (sums[row].tally.count++ == 0)
			sums[row].first = i;
		sums[row].tally.bytes += item_size(plan, item);
	}
	for (size_t g = 0; g <= plan->n_groups; g++)
		if (sums[g].tally.count > 0)
			owner_fact(list, code,
			    g < plan->n_groups ? group_owner_name(plan, &plan->groups[g]) :
						 "nobody's profile",
			    &sums[g]);
	free(sums);
}

/* --- belongings --- */

static void add_belongings(struct wipe_list *list)
{
	static const struct {
		enum belonging_kind kind;
		enum wipe_code code;
	} rows[] = {{BELONGING_PHONE_BACKUPS, WIPE_PHONES}, {BELONGING_MAIL, WIPE_MAIL},
	    {BELONGING_CONVERSATIONS, WIPE_CONVERSATIONS}, {BELONGING_CERTIFICATES, WIPE_KEYS}};
	const struct plan *plan = list->plan;
	struct belongings belongings;

	list->no_memory = !belongings_find(&belongings, plan) || list->no_memory;
	for (size_t i = 0; i < belongings.count; i++) {
		const struct belonging *belonging = &belongings.items[i];
		const struct group owner = {
		    .system = belonging->system, .person = belonging->person};
		struct buf path = {0};

		if (belonging->n_folders == 0)
			continue;
		buf_add_text(&path, plan->survey->volumes[belonging->folders[0].volume].name);
		catalogue_node_path(
		    plan->survey->volumes[belonging->folders[0].volume].volume->catalogue,
		    belonging->folders[0].node, &path);
		for (size_t k = 0; k < sizeof(rows) / sizeof(rows[0]); k++)
			if (rows[k].kind == belonging->kind)
				wipe_fact(list, rows[k].code, "%s: %s, %s, most of it in %s",
				    group_owner_name(plan, &owner),
				    belonging_words((enum belonging_kind)belonging->kind),
				    text_size(belonging->bytes + belonging->left_bytes).text,
				    buf_text(&path));
		buf_free(&path);
	}
	belongings_free(&belongings);
}

/* --- what did not arrive whole --- */

static void add_losses(struct wipe_list *list, const struct sums *sums)
{
	static const struct {
		enum state state;
		const char *words;
	} rows[] = {{STATE_PARTIAL, "in the job with parts that could not be read"},
	    {STATE_UNREADABLE, "could not be read or decoded"}};

	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		const struct tally *tally = &sums->states[rows[i].state];

		if (tally->count > 0)
			wipe_fact(list, WIPE_LOSSES, "%s %s, %s: %s", text_count(tally->count).text,
			    tally->count == 1 ? "file" : "files", text_size(tally->bytes).text,
			    rows[i].words);
	}
}

bool wipe_list_make(struct wipe_list *list, const struct plan *plan, const struct sums *sums,
    const struct findings *findings, const struct job *job)
{
	*list = (struct wipe_list){.plan = plan, .job = job->name};
	list->items[WIPE_SECOND_COPY].is_wanted = list->items[WIPE_LAST].is_wanted = true;
	wipe_fact(list, WIPE_SECOND_COPY, "The job: %s", job->name);
	wipe_list_survey(list, findings);
	add_losses(list, sums);
	add_files(list, WIPE_PASSWORDS);
	add_files(list, WIPE_ENCRYPTED_FILES);
	add_belongings(list);
	return forgotten_find(&list->forgotten, plan) && !list->no_memory;
}

void wipe_list_free(struct wipe_list *list)
{
	forgotten_free(&list->forgotten);
	arena_free(&list->arena);
}

bool wipe_list_write(const struct plan *plan, const struct sums *sums,
    const struct findings *findings, const struct job *job, struct papers *papers,
    struct error *error)
{
	struct wipe_list list;
	struct buf text = {0};
	struct json json;
	bool good = wipe_list_make(&list, plan, sums, findings, job);

	if (good) {
		wipe_list_to_text(&list, &text);
		good = papers_add(papers, job, WIPE_TEXT_FILE, &text, error);
		json_start(&json, &text, true);
		wipe_list_to_json(&list, &json);
		good = good && papers_add(papers, job, WIPE_JSON_FILE, &text, error);
	} else {
		error_no_memory(error);
	}
	buf_free(&text);
	wipe_list_free(&list);
	return good;
}
