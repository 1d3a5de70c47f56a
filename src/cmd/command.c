/* What the commands share: see command.h. */
#include "cmd/command.h"

#include "base/text.h"

#include <stdio.h>

#define LINE_WIDTH 79

void command_complain(const struct error *error)
{
	char sentence[sizeof(error->text) + 2];

	snprintf(sentence, sizeof(sentence), "%s.", error->text);
	fputs("coldlift: ", stderr);
	text_wrap(stderr, sentence, 10, LINE_WIDTH);
}
