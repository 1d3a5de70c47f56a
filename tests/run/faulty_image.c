/*
 * Saves an image of a drive that fails as a script says: the source is the test device.
 *
 * usage: faulty_image IMAGE SCRIPT FILE [patience=MILLISECONDS] [checkpoint=BYTES]
 *
 * SCRIPT: a file, see disk/device.h. Saves IMAGE as FILE, or goes on with that, and prints a line of
 * JSON: what the device counted. Linked so that the program's own device_open() and source_close()
 * are replaced by those below (ld --wrap).
 */
#include "base/stop.h"
#include "disk/source.h"
#include "extract/drive_image.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct device *__wrap_device_open(const char *path, struct error *error);
void __wrap_source_close(struct source *source);
void __real_source_close(struct source *source);

static char script[65536];

struct device *__wrap_device_open(const char *path, struct error *error)
{
	return device_open_test(path, script, error);
}

void __wrap_source_close(struct source *source)
{
	if (source != NULL) {
		struct device_counts counts = device_test_counts(source_device(source));

		printf("{\"reads\":%" PRIu64 ",\"failures\":%" PRIu64 ",\"most_asked\":%" PRIu64
		       ",\"again\":%" PRIu64 ",\"again_since\":%" PRIu64 "}\n",
		    counts.reads, counts.failures, counts.most_asked, counts.again,
		    counts.again_since);
		fflush(stdout);
	}
	__real_source_close(source);
}

int main(int argc, char **argv)
{
	struct image_order order = {.quiet = true};
	struct findings findings;
	struct error error = {0};
	sigset_t before;
	FILE *file;
	bool good;

	if (argc < 4 || (file = fopen(argv[2], "r")) == NULL)
		return 2;
	script[fread(script, 1, sizeof(script) - 1, file)] = '\0';
	fclose(file);
	order.drive = argv[1];
	order.file = argv[3];
	order.to = "/tmp";
	for (int i = 4; i < argc; i++) {
		if (strncmp(argv[i], "patience=", 9) == 0)
			order.patience = strtoull(argv[i] + 9, NULL, 10);
		else if (strncmp(argv[i], "checkpoint=", 11) == 0)
			order.checkpoint = strtoull(argv[i] + 11, NULL, 10);
	}
	stop_hold(&before);
	findings_init(&findings);
	good = drive_image_save(&order, &findings, &error);
	if (!good)
		fprintf(stderr, "faulty_image: %s\n", error.text);
	for (size_t i = 0; i < findings.count; i++)
		fprintf(stderr, "%s\n", findings.items[i].code);
	findings_free(&findings);
	return good ? 0 : (int)error.status;
}
