/*
 * Writes one part from a list, for other programs to read.
 *
 * usage: write_part FORMAT PART WORKERS ZONE <LIST
 *
 * Lines of the list, fields separated by tabs: kind ("file", "compact", "read-only", "folder"),
 * path, content ("zeros:SIZE" or the path of a file; "-" for a folder), and three times as FILETIME
 * (modified, accessed, created). Prints the part's SHA-256, or says on standard error what failed
 * and exits with 4 for a failed destination.
 */
#include "base/locale.h"
#include "extract/interrupt.h"
#include "extract/writer.h"

#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FIELDS 6

static bool add_file(struct writer *writer, struct member *member, const char *content,
    struct error *error)
{
	static uint8_t buffer[300000];
	struct stat info;
	ssize_t got = 0;
	bool good;
	int fd;

	if (strncmp(content, "zeros:", 6) == 0) {
		member->size = strtoull(content + 6, NULL, 10);
		return writer_begin(writer, member, error) &&
		    writer_zeros(writer, member->size, error) && writer_end(writer, error);
	}
	fd = open(content, O_RDONLY | O_CLOEXEC);
	if (fd < 0 || fstat(fd, &info) != 0)
		return error_set(error, STATUS_OTHER, "'%s' cannot be read", content);
	member->size = (uint64_t)info.st_size;
	good = writer_begin(writer, member, error);
	while (good && (got = read(fd, buffer, sizeof(buffer))) > 0)
		good = writer_data(writer, buffer, (size_t)got, error);
	close(fd);
	return good && writer_end(writer, error);
}

static bool add_line(struct writer *writer, char *line, struct error *error)
{
	const char *fields[FIELDS];
	struct member member = {0};

	for (int i = 0; i < FIELDS; i++) {
		fields[i] = strsep(&line, "\t\n");
		if (fields[i] == NULL)
			return error_set(error, STATUS_USAGE, "a line has too few fields");
	}
	member.kind = strcmp(fields[0], "folder") == 0 ? MEMBER_FOLDER : MEMBER_FILE;
	member.is_compact = strcmp(fields[0], "compact") == 0;
	member.is_readonly = strcmp(fields[0], "read-only") == 0;
	member.path = fields[1];
	member.modified = strtoll(fields[3], NULL, 10);
	member.accessed = strtoll(fields[4], NULL, 10);
	member.created = strtoll(fields[5], NULL, 10);
	if (member.kind == MEMBER_FILE)
		return add_file(writer, &member, fields[2], error);
	return writer_begin(writer, &member, error) && writer_end(writer, error);
}

static int fail(const struct error *error)
{
	fprintf(stderr, "write_part: %s\n", error->text);
	return (int)error->status;
}

int main(int argc, char **argv)
{
	struct writer_options options = {0};
	struct writer *writer;
	struct digest digest;
	enum format format;
	struct error error;
	char *line = NULL;
	size_t room = 0;
	bool good = true;

	if (argc != 5 || !format_from_name(argv[1], &format) || !locale_use_utf8(&error))
		return STATUS_USAGE;
	interrupt_watch();
	options.workers = (unsigned)atoi(argv[3]);
	options.zone = argv[4];
	writer = writer_open(format, argv[2], &options, &error);
	if (writer == NULL)
		return fail(&error);
	while (good && getline(&line, &room, stdin) > 0)
		good = add_line(writer, line, &error);
	free(line);
	if (!good)
		writer_abandon(writer);
	else
		good = writer_finish(writer, &digest, &error);
	if (!good)
		return fail(&error);
	printf("%s\n", digest_to_text(&digest).text);
	return 0;
}
