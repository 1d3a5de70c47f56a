/*
 * Patterns of names and paths: see pattern.h.
 *
 * A pattern is a row of tokens; matching keeps the set of tokens at which it may stand, so that no
 * pattern and no name can make it slow.
 */
#include "plan/pattern.h"

#include "base/utf.h"

#include <string.h>

enum {
	TOKEN_ONE = 0x110000, /* ? */
	TOKEN_MANY,           /* * */
	TOKEN_DEEP,           /* ** */
	TOKEN_FOLDERS,        /* ** as a whole folder part with its separator: none... */
	TOKEN_IN_FOLDERS,     /* ...or some, up to a separator */
	TOKEN_SEPARATOR,
};

static bool is_separator(char c)
{
	return c == '\\' || c == '/';
}

/* One token off the text, or the two of a folder part. Returns how many. */
static size_t take_token(const char **text, const char *end, bool at_start, uint32_t tokens[2])
{
	const char *at = *text;

	if (at[0] == '*' && at[1] == '*') {
		while (*at == '*')
			at++;
		if (at_start && is_separator(*at)) {
			*text = at + 1;
			tokens[0] = TOKEN_FOLDERS;
			tokens[1] = TOKEN_IN_FOLDERS;
			return 2;
		}
		*text = at;
		tokens[0] = TOKEN_DEEP;
		return 1;
	}
	if (*at == '*' || *at == '?' || is_separator(*at)) {
		tokens[0] = *at == '*' ? TOKEN_MANY : *at == '?' ? TOKEN_ONE : TOKEN_SEPARATOR;
		*text = at + 1;
		return 1;
	}
	tokens[0] = utf_upcase(utf_next(text, end));
	return 1;
}

bool pattern_compile(struct arena *arena, const char *text, struct pattern *pattern)
{
	size_t length = strlen(text);
	const char *end = text + length;
	bool at_start = true;

	*pattern = (struct pattern){.is_plain = true};
	if (length > PATTERN_LIMIT)
		return false;
	pattern->tokens = arena_array(arena, length + 1, sizeof(*pattern->tokens));
	if (!pattern->tokens)
		return false;
	/* No token takes more places than it has characters: `**\` has three, and two tokens. */
	while (text < end) {
		uint32_t *token = &pattern->tokens[pattern->count];

		pattern->count += take_token(&text, end, at_start, token);
		at_start = *token == TOKEN_SEPARATOR || *token == TOKEN_FOLDERS;
		if (*token >= TOKEN_ONE && *token != TOKEN_SEPARATOR)
			pattern->is_plain = false;
	}
	return true;
}

/* Adds to the set what can be reached without a character. */
static void add_skips(const struct pattern *pattern, uint8_t *set)
{
	for (size_t i = 0; i < pattern->count; i++) {
		if (!set[i])
			continue;
		if (pattern->tokens[i] == TOKEN_MANY || pattern->tokens[i] == TOKEN_DEEP)
			set[i + 1] = 1;
		if (pattern->tokens[i] == TOKEN_FOLDERS)
			set[i + 1] = set[i + 2] = 1;
	}
}

static bool step(const struct pattern *pattern, const uint8_t *set, uint32_t point, uint8_t *next)
{
	bool is_separator = point == TOKEN_SEPARATOR, any = false;

	memset(next, 0, pattern->count + 1);
	for (size_t i = 0; i < pattern->count; i++) {
		uint32_t token = pattern->tokens[i];

		if (!set[i])
			continue;
		if (token == TOKEN_DEEP || token == TOKEN_IN_FOLDERS ||
		    (token == TOKEN_MANY && !is_separator))
			next[i] = 1;
		else if (token == point || (token == TOKEN_ONE && !is_separator))
			next[i + 1] = 1;
		if (token == TOKEN_IN_FOLDERS && is_separator)
			next[i + 1] = 1;
		any = any || next[i] || next[i + 1];
	}
	return any;
}

bool pattern_match(const struct pattern *pattern, const char *text)
{
	const char *end = text + strlen(text);
	uint8_t sets[2][PATTERN_LIMIT + 2];
	unsigned now = 0;

	memset(sets[0], 0, pattern->count + 1);
	sets[0][0] = 1;
	add_skips(pattern, sets[0]);
	while (text < end) {
		uint32_t point;

		if (is_separator(*text)) {
			point = TOKEN_SEPARATOR;
			text++;
		} else {
			point = utf_upcase(utf_next(&text, end));
		}
		if (!step(pattern, sets[now], point, sets[now ^ 1]))
			return false;
		now ^= 1;
		add_skips(pattern, sets[now]);
	}
	return sets[now][pattern->count] != 0;
}
