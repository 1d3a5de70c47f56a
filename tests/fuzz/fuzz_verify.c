/*
 * Fuzz target: verifying a job that was made to do harm.
 *
 * The first byte of the input chooses the file of a small job that the rest of the input replaces.
 * Nothing may crash, leak or hang, and none of these jobs, whose parts are always broken, may pass.
 */
#include "base/json.h"
#include "base/locale.h"
#include "extract/verify.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int LLVMFuzzerInitialize(int *argc, char ***argv);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define HASH                                                                                       \
	"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" /* of "abc", FIPS 180-4 \
									    */

static const struct job_file {
	const char *name, *content;
} files[] = {
    {"record.jsonl",
	"{\"record\":1,\"program\":\"coldlift\",\"job\":\"j\",\"started\":\"2026-07-01\"}\n"
	"{\"volume\":\"C:\",\"path\":\"\\\\a\",\"kind\":\"file\",\"size\":3,\"state\":\"taken\","
	"\"reason\":\"place\",\"part\":\"j-x.zip\",\"as\":\"data/a\",\"sha256\":\"" HASH "\"}\n"
	"{\"volume\":\"C:\",\"path\":\"\\\\b\",\"kind\":\"file\",\"size\":6,\"state\":\"taken\","
	"\"reason\":\"place\",\"parts\":[\"j-x.zip\",\"j-x.tar\"],\"as\":\"data/"
	"b\",\"sha256\":\"" HASH "\"}\n"},
    {"manifest-sha256.txt", HASH "  data/a\n" HASH "  data/b.piece-01-of-02\n"},
    {"SHA256SUMS", HASH "  data/a\n"},
    {"PARTS.SHA256SUMS", HASH "  j-x.zip\n" HASH "  j-x.tar\n"},
    {"tagmanifest-sha256.txt", HASH "  bagit.txt\n"},
    {"bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"},
    {"bag-info.txt", "Payload-Oxum: 9.3\n"},
    {"account.json", "{\"streams\":{},\"volumes\":[]}"},
    {"findings.json", "[]"},
    {"j-x.zip", ""},
    {"j-x.tar", ""},
    {"j-proof.zip", ""},
    /* Only there when they are the ones to be replaced. */
    {"destinations.json", NULL},
    {"goes-on-elsewhere.txt", NULL},
};
#define N_FILES (sizeof(files) / sizeof(files[0]))

static char folder[200];

static void write_file(const char *name, const void *content, size_t length)
{
	char path[300];
	int fd;

	snprintf(path, sizeof(path), "%s/%s", folder, name);
	fd = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
	if (fd < 0 || write(fd, content, length) != (ssize_t)length)
		abort();
	close(fd);
}

static void put_back(const struct job_file *file)
{
	char path[300];

	if (file->content != NULL) {
		write_file(file->name, file->content, strlen(file->content));
		return;
	}
	snprintf(path, sizeof(path), "%s/%s", folder, file->name);
	unlink(path);
}

static void remove_folder(void)
{
	char path[300];

	for (size_t i = 0; i < N_FILES; i++) {
		snprintf(path, sizeof(path), "%s/%s", folder, files[i].name);
		unlink(path);
	}
	rmdir(folder);
}

int LLVMFuzzerInitialize(int *argc, char ***argv)
{
	const char *temporary = getenv("TMPDIR");
	struct error error;

	(void)argc;
	(void)argv;
	snprintf(folder, sizeof(folder), "%s/coldlift-fuzz-XXXXXX",
	    temporary == NULL ? "/tmp" : temporary);
	if (!locale_use_utf8(&error) || mkdtemp(folder) == NULL)
		abort();
	atexit(remove_folder);
	for (size_t i = 0; i < N_FILES; i++)
		put_back(&files[i]);
	return 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const char *const folders[] = {folder};
	const struct job_file *file;
	struct verify_result result;
	struct error error;
	struct buf buf = {0};
	struct json json;

	if (size == 0)
		return 0;
	file = &files[data[0] % N_FILES];
	write_file(file->name, data + 1, size - 1);
	if (verify_job(&result, folders, 1, true, &error)) {
		json_start(&json, &buf, false);
		verify_to_json(&result, &json);
		if (result.n_differences == 0) /* its parts are broken in any case */
			abort();
	}
	verify_free(&result);
	buf_free(&buf);
	put_back(file);
	return 0;
}
