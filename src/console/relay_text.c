/* Lines for a log: see relay_text.h. */
#include "console/relay_text.h"

#include <stdio.h>
#include <string.h>

#define COMPLAINT "coldlift: " /* what command_complain() puts in front */

void relay_text_start(struct relay_text *text, struct job_log *log, bool draws)
{
	*text = (struct relay_text){.log = log, .draws = draws};
}

/* A line that is about to be drawn over was progress. */
static void draw(struct relay_text *text)
{
	if (!text->draws || text->length == 0)
		return;
	fprintf(stderr, "\r\033[K%.*s", (int)text->length, text->line);
	fflush(stderr);
	text->line_open = true;
}

static void undraw(struct relay_text *text)
{
	if (text->line_open)
		fputs("\r\033[K", stderr);
	text->line_open = false;
}

static void add_to_complaint(struct relay_text *text, const char *line, size_t length)
{
	size_t room = sizeof(text->complaint) - 1 - text->complaint_length;

	if (text->complaint_length > 0 && room > 0) {
		text->complaint[text->complaint_length++] = ' ';
		room--;
	}
	if (length > room)
		length = room;
	memcpy(text->complaint + text->complaint_length, line, length);
	text->complaint_length += length;
	text->complaint[text->complaint_length] = '\0';
}

/* A complaint is wrapped: its further lines are indented. */
static void watch_for_complaint(struct relay_text *text)
{
	size_t intro = strlen(COMPLAINT);

	if (text->length > intro && memcmp(text->line, COMPLAINT, intro) == 0) {
		text->complaint_length = 0;
		add_to_complaint(text, text->line + intro, text->length - intro);
		text->complains = true;
	} else if (text->complains && text->length > intro && strspn(text->line, " ") >= intro) {
		add_to_complaint(text, text->line + intro, text->length - intro);
	} else {
		text->complains = false;
	}
}

static void end_line(struct relay_text *text)
{
	text->line[text->length] = '\0';
	undraw(text);
	watch_for_complaint(text);
	job_log_plain(text->log, text->line, text->length);
	text->length = 0;
}

/* True while the byte belongs to a control sequence. */
static bool is_escape(struct relay_text *text, char byte)
{
	switch (text->escape) {
	case 0:
		text->escape = byte == '\x1B';
		return text->escape != 0;
	case 1:
		text->escape = byte == '[' ? 2 : 0;
		return true;
	default:
		if (byte >= 0x40 && byte <= 0x7E)
			text->escape = 0;
		return true;
	}
}

void relay_text_add(struct relay_text *text, const char *piece, size_t length)
{
	for (size_t i = 0; i < length; i++) {
		char byte = piece[i];

		if (is_escape(text, byte))
			continue;
		if (byte == '\n') {
			end_line(text);
		} else if (byte == '\r') {
			draw(text);
			text->length = 0;
		} else if ((unsigned char)byte >= 0x20 && byte != 0x7F) {
			if (text->length == sizeof(text->line) - 1)
				end_line(text);
			text->line[text->length++] = byte;
		}
	}
}

void relay_text_end(struct relay_text *text, char *complaint, size_t size)
{
	size_t length = text->complaint_length;

	undraw(text);
	if (text->length > 0)
		end_line(text);
	length = text->complaint_length;
	while (length > 0 &&
	       (text->complaint[length - 1] == '.' || text->complaint[length - 1] == ' '))
		length--;
	snprintf(complaint, size, "%.*s", (int)length, text->complaint);
}
