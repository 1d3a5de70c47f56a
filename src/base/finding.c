/* Findings: see finding.h. */
#include "base/finding.h"

#include "base/buf.h"
#include "base/json.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void findings_init(struct findings *findings)
{
	*findings = (struct findings){0};
	pthread_mutex_init(&findings->lock, NULL);
}

void findings_free(struct findings *findings)
{
	free(findings->items);
	arena_free(&findings->arena);
	pthread_mutex_destroy(&findings->lock);
	*findings = (struct findings){0};
}

static bool is_known(
    const struct findings *findings, const char *code, const char *subject, const char *sentence)
{
	for (size_t i = 0; i < findings->count; i++) {
		const struct finding *old = &findings->items[i];

		if (strcmp(old->code, code) == 0 && strcmp(old->subject, subject) == 0 &&
		    strcmp(old->sentence, sentence) == 0)
			return true;
	}
	return false;
}

static void add_locked(struct findings *findings, const struct finding *new)
{
	struct arena *arena = &findings->arena;
	struct finding copy = *new;

	if (is_known(findings, new->code, new->subject, new->sentence))
		return;
	copy.code = arena_strdup(arena, new->code);
	copy.subject = arena_strdup(arena, new->subject);
	copy.sentence = arena_strdup(arena, new->sentence);
	copy.advice = arena_strdup(arena, new->advice);
	if (copy.code == NULL || copy.subject == NULL || copy.sentence == NULL ||
	    copy.advice == NULL ||
	    !array_reserve(
		&findings->items, &findings->capacity, findings->count + 1, sizeof(copy))) {
		findings->incomplete = true;
		return;
	}
	findings->items[findings->count++] = copy;
}

void findings_add(struct findings *findings, enum weight weight, const char *code,
    const char *subject, const char *advice, const char *format, ...)
{
	char sentence[1000];
	struct finding new = {
	    .weight = weight,
	    .code = code,
	    .subject = subject,
	    .sentence = sentence,
	    .advice = advice,
	};
	va_list args;

	if (findings == NULL)
		return;
	va_start(args, format);
	vsnprintf(sentence, sizeof(sentence), format, args);
	va_end(args);
	pthread_mutex_lock(&findings->lock);
	add_locked(findings, &new);
	pthread_mutex_unlock(&findings->lock);
}

size_t findings_count(const struct findings *findings, enum weight weight)
{
	size_t count = 0;

	for (size_t i = 0; i < findings->count; i++)
		count += findings->items[i].weight == weight;
	return count;
}

bool findings_have(const struct findings *findings, const char *code)
{
	for (size_t i = 0; i < findings->count; i++)
		if (strcmp(findings->items[i].code, code) == 0)
			return true;
	return false;
}

const char *weight_name(enum weight weight)
{
	static const char *const names[] = {"note", "caution", "loss"};

	return names[weight];
}

void findings_sort(struct findings *findings)
{
	/* Insertion sort: stable, and there are few findings. */
	for (size_t i = 1; i < findings->count; i++) {
		struct finding moved = findings->items[i];
		size_t j = i;

		for (; j > 0 && findings->items[j - 1].weight < moved.weight; j--)
			findings->items[j] = findings->items[j - 1];
		findings->items[j] = moved;
	}
}

void findings_to_json(const struct findings *findings, struct json *json)
{
	json_begin_array(json);
	for (size_t i = 0; i < findings->count; i++) {
		const struct finding *finding = &findings->items[i];

		json_begin_object(json);
		json_key_text(json, "code", finding->code);
		json_key_text(json, "weight", weight_name(finding->weight));
		json_key_text(json, "subject", finding->subject);
		json_key_text(json, "sentence", finding->sentence);
		json_key_text(json, "advice", finding->advice);
		json_end(json);
	}
	json_end(json);
}

void finding_to_text(const struct finding *finding, struct buf *out)
{
	size_t length = strlen(finding->subject);

	/* A drive letter brings its colon along. */
	if (length > 0)
		buf_printf(
		    out, "%s%s ", finding->subject, finding->subject[length - 1] == ':' ? "" : ":");
	buf_add_text(out, finding->sentence);
	if (*finding->advice != '\0')
		buf_printf(out, " %s", finding->advice);
}

void findings_drop(struct findings *findings, const char *code, const char *subject)
{
	size_t kept = 0;

	if (!findings)
		return;
	pthread_mutex_lock(&findings->lock);
	for (size_t i = 0; i < findings->count; i++)
		if (strcmp(findings->items[i].code, code) != 0 ||
		    strcmp(findings->items[i].subject, subject) != 0)
			findings->items[kept++] = findings->items[i];
	findings->count = kept;
	pthread_mutex_unlock(&findings->lock);
}
