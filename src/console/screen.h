/*
 * The terminal of the start screen: text page by page, and a person's answers.
 *
 * Plain lines only, no cursor movements: the same on a text console, a framebuffer and a serial
 * line, and what has scrolled away was read. A screen full of lines stops and waits for Enter.
 */
#ifndef CONSOLE_SCREEN_H
#define CONSOLE_SCREEN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

struct screen {
	FILE *in, *out;
	unsigned rows;  /* of a screen; 0: as the terminal says, endless where there is none */
	unsigned used;  /* lines that came since a person last pressed Enter */
	unsigned tries; /* how often the input came to its end in a row */
};

enum answer {
	ANSWER_LINE,
	ANSWER_INTERRUPTED, /* Ctrl-C */
	ANSWER_END,         /* nobody is there any more, and it is no terminal */
};

/* Both streams stay the caller's. */
void screen_start(struct screen *screen, FILE *in, FILE *out);

/* Columns that a line may have: 79 at most, fewer where the letters are large. */
unsigned screen_width(const struct screen *screen);

/*
 * Shows text that is fit for a terminal already (see base/text.h), as many lines at a time as there
 * is room for. False when the rest was cut short by Ctrl-C or the end of the input.
 */
bool screen_show(struct screen *screen, const char *text);

/* The same for what belongs together: on a screen of its own where it would be torn apart. */
bool screen_show_together(struct screen *screen, const char *text);

/* One sentence, escaped and wrapped. */
void screen_say(struct screen *screen, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/*
 * Shows the prompt and reads a line, without its end and the spaces around it. What does not fit
 * is dropped. On a terminal the end of the input (Ctrl-D, a line that hangs up) is waited out.
 */
enum answer screen_ask(struct screen *screen, const char *prompt, char *line, size_t size);

/* Forgets what was typed ahead: before a question whose answer has consequences. */
void screen_forget_typed(struct screen *screen);

/* Something else has written to the terminal: the next lines begin a screen of their own. */
void screen_fresh(struct screen *screen);

#endif
