/*
 * An unattended job without a stick: for tests of what keeps it from beginning, and of how it ends.
 *
 * usage: unattended_job DRIVE...        where DRIVE is DEVICE:LABEL:LETTERS
 *
 * The drives are taken as they are told: one volume with ext on each. LETTERS: r it can be taken
 * out, o it is of an old PC, f failing, l locked, e its volume is encrypted, p it could not be
 * read, s coldlift was started from it, n (on any) the file tables were not read. Prints how it
 * ended and the sentence.
 *
 * The job runs this very program as `extract` and `verify`, which do what FAKE in the environment
 * says.
 */
#include "console/unattended.h"

#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* --- in place of the real commands --- */

static const char *value_of(int argc, char **argv, const char *option)
{
	for (int i = 1; i + 1 < argc; i++)
		if (strcmp(argv[i], option) == 0)
			return argv[i + 1];
	return "";
}

static void put(const char *folder, const char *name, const char *text)
{
	char path[600];
	FILE *file;

	snprintf(path, sizeof(path), "%s/%s", folder, name);
	file = fopen(path, "we");
	if (file == NULL)
		exit(4);
	fputs(text, file);
	fclose(file);
}

static void sleep_until_asked(void)
{
	sigset_t keys;
	int number;

	sigemptyset(&keys);
	sigaddset(&keys, SIGINT);
	sigprocmask(SIG_BLOCK, &keys, NULL);
	fputs("the job sleeps\r\r", stderr); /* as progress is drawn: only that is shown */
	sigwait(&keys, &number);
}

static bool has(int argc, char **argv, const char *option)
{
	for (int i = 1; i < argc; i++)
		if (strcmp(argv[i], option) == 0)
			return true;
	return false;
}

static int fake_extract(int argc, char **argv, const char *how)
{
	bool resume = has(argc, argv, "--resume");
	char folder[500];

	for (int i = 0; i < argc; i++)
		fprintf(stderr, "argument %s\n", argv[i]);
	if (strcmp(how, "person") == 0) {
		fputs("coldlift: there is no person called 'quince'.\n", stderr);
		return 2;
	}
	if (resume && strcmp(how, "refuse") == 0) {
		fputs("coldlift: the job was begun with another drive than this: it was Plum; "
		      "connect that one, or begin a new job without --resume.\n",
		    stderr);
		return 2;
	}
	snprintf(folder, sizeof(folder), "%s/%s", value_of(argc, argv, "--to"),
	    value_of(argc, argv, "--name"));
	if ((mkdir(folder, 0700) == 0) == resume)
		return 4;
	put(folder, "journal", "not complete\n");
	if (strcmp(how, "sleep") == 0)
		sleep_until_asked();
	if (strcmp(how, "die") == 0)
		abort();
	if (strcmp(how, "full") == 0 || strcmp(how, "sleep") == 0) {
		fputs("coldlift: there is no room left at the destination.\n", stderr);
		return strcmp(how, "full") == 0 ? 4 : 5;
	}
	snprintf(folder + strlen(folder), sizeof(folder) - strlen(folder), "/journal");
	unlink(folder);
	puts("{\"states\":{\"taken\":{\"files\":12,\"bytes\":3400}},\"findings\":[],\"decisions\":["
	     "]}");
	return 0;
}

static int fake_verify(const char *how)
{
	if (strcmp(how, "differs") != 0)
		return 0;
	fputs("coldlift: the job is not what was extracted: 3 differences.\n", stderr);
	return 5;
}

/* --- */

static bool read_drive(struct look_drive *drive, struct look_volume *volume, char *text)
{
	const char *device = strsep(&text, ":"), *label = strsep(&text, ":"), *letters = text;

	if (label == NULL || letters == NULL)
		return false;
	*volume = (struct look_volume){.device = device,
	    .label = label,
	    .letter = "",
	    .kind = "",
	    .filesystem = strchr(letters, 'e') != NULL ? "encrypted" : "ext",
	    .free = LOOK_FREE_UNKNOWN};
	*drive = (struct look_drive){.path = device,
	    .model = "Garden",
	    .serial = "",
	    .bus = "",
	    .faults = "",
	    .set = "",
	    .problem = "",
	    .size = 5000,
	    .set_readable = true,
	    .volumes = volume,
	    .n_volumes = 1,
	    .removable = strchr(letters, 'r') != NULL,
	    .is_old = strchr(letters, 'o') != NULL,
	    .stick = strchr(letters, 's') != NULL,
	    .readable = strchr(letters, 'p') == NULL,
	    .verdict = strchr(letters, 'f') != NULL   ? "failing"
		       : strchr(letters, 'l') != NULL ? "locked"
						      : "none-reported"};
	findings_init(&drive->findings);
	return true;
}

int main(int argc, char **argv)
{
	static const char *const ends[] = {"none", "stopped", "waits", "off"};
	const char *how = getenv("FAKE");
	struct unattended result;
	struct look look;
	sigset_t keys;

	if (argc > 1 && strcmp(argv[1], "extract") == 0)
		return fake_extract(argc, argv, how != NULL ? how : "");
	if (argc > 1 && strcmp(argv[1], "verify") == 0)
		return fake_verify(how != NULL ? how : "");
	look_init(&look);
	look.surveyed = true;
	look.drives = calloc((size_t)argc, sizeof(*look.drives) + sizeof(struct look_volume));
	if (look.drives == NULL)
		return 5;
	for (int i = 1; i < argc; i++) {
		struct look_volume *volumes = (struct look_volume *)(look.drives + argc);

		if (strchr(argv[i], 'n') != NULL && strrchr(argv[i], 'n') > strrchr(argv[i], ':'))
			look.surveyed = false;
		if (!read_drive(&look.drives[look.n_drives++], &volumes[i - 1], argv[i]))
			return 2;
	}
	sigemptyset(&keys);
	sigaddset(&keys, SIGINT);
	sigprocmask(SIG_BLOCK, &keys, NULL);
	unattended_run(&look, stdin, stdout, &result);
	printf("END %s\n%s\n", ends[result.end], result.sentence);
	return 0;
}
