/* What the commands share: see command.h. */
#include "cmd/command.h"

#include "base/text.h"

#include <getopt.h>
#include <stdio.h>

#define LINE_WIDTH 79

void command_complain(const struct error *error)
{
	char sentence[sizeof(error->text) + 2];

	snprintf(sentence, sizeof(sentence), "%s.", error->text);
	fputs("coldlift: ", stderr);
	text_wrap(stderr, sentence, 10, LINE_WIDTH);
}

int command_options(int argc, char **argv, const char *help, struct common_options *options,
    enum status *status)
{
	static const struct option known[] = {
	    {"json", no_argument, NULL, 'j'},
	    {"quiet", no_argument, NULL, 'q'},
	    {"no-text", no_argument, NULL, 't'},
	    {"help", no_argument, NULL, 'h'},
	    {"not", required_argument, NULL, 'x'},
	    {NULL, 0, NULL, 0},
	};
	/* The others are not for every command. */
	static const struct option fewer[] = {
	    {"json", no_argument, NULL, 'j'},
	    {"quiet", no_argument, NULL, 'q'},
	    {"help", no_argument, NULL, 'h'},
	    {NULL, 0, NULL, 0},
	};
	const struct option *understood = options->ruled_out != NULL ? known : fewer;
	struct error error;
	int option;

	opterr = 0;
	optind = 1;
	while ((option = getopt_long(argc, argv, ":", understood, NULL)) != -1) {
		switch (option) {
		case 'j':
			options->json = true;
			break;
		case 'q':
			options->quiet = true;
			break;
		case 'x':
			options->ruled_out[options->n_ruled_out++] = optarg;
			break;
		case 't':
			options->no_text = true;
			break;
		case 'h':
			fputs(help, stdout);
			*status = STATUS_COMPLETE;
			return -1;
		default:
			*status = STATUS_USAGE;
			error_set(&error, *status,
			    option == ':' ? "the option '%s' needs a value (coldlift %s --help)"
					  : "the option '%s' is not understood (coldlift %s --help "
					    "lists them)",
			    argv[optind - 1], argv[0]);
			command_complain(&error);
			return -1;
		}
	}
	return optind;
}
