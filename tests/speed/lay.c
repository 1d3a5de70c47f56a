/*
 * Lays down an NTFS volume for the measurements, through libntfs-3g and without mounting anything.
 *
 * usage: lay fresh|plain|aged|many IMAGE FILES BYTES
 *
 * IMAGE is a formatted volume. FILES files go into folders of 512; their sizes add up to about BYTES
 * and are spread like those of a household: most are small, and the bytes are in the large ones.
 * 85 of 100 files hold bytes that cannot be compressed, the others text.
 *
 * fresh  one file after the other
 * plain  the same, but no name says that its bytes are compressed already
 * aged   sixteen files at a time, each growing by a piece in its turn; every third file is taken
 *        away when the next sixteen are there, so that later ones go into the gaps
 * many   only names and records: each file holds a few bytes, in its record
 */
#include <stdio.h>
#include <stddef.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>

#include <ntfs-3g/types.h>
#include <ntfs-3g/attrib.h>
#include <ntfs-3g/dir.h>
#include <ntfs-3g/inode.h>
#include <ntfs-3g/volume.h>

#define IN_FOLDER 512u /* a multiple of ABREAST */
#define ABREAST 16u
#define PIECE 65536u
#define LARGEST (64u << 20)

struct lay {
	ntfs_volume *volume;
	ntfs_inode *folder;    /* the one in work */
	ntfs_inode *top;       /* \Users\mara\Documents */
	uint64_t random;
	unsigned files, made;
	uint64_t scale;        /* bytes of the smallest usual file */
	const char *ending;    /* of names of what cannot be compressed */
	uint8_t noise[1 << 20], text[1 << 20];
};

/* A file that is not complete. It is open only in its turn: the library wants one at a time. */
struct growing {
	ntfs_inode *inode;
	ntfs_attr *data;
	u64 number; /* of its record */
	uint64_t size, done;
	const uint8_t *bytes;
	char name[32];
};

static uint64_t next_random(struct lay *lay)
{
	lay->random ^= lay->random << 13;
	lay->random ^= lay->random >> 7;
	lay->random ^= lay->random << 17;
	return lay->random;
}

static int units(ntfschar *to, const char *name)
{
	int length = 0;

	for (; name[length] != '\0'; length++)
		to[length] = cpu_to_le16((uint16_t)name[length]);
	return length;
}

static ntfs_inode *make(ntfs_inode *folder, const char *name, mode_t kind)
{
	ntfschar wide[64];

	return ntfs_create(folder, const_cpu_to_le32(0), wide, (u8)units(wide, name), kind);
}

/* Makes three folders, one in the other; the last is left open. */
static ntfs_inode *make_path(struct lay *lay, const char *const names[3])
{
	ntfs_inode *at = ntfs_inode_open(lay->volume, FILE_root);

	for (unsigned i = 0; i < 3 && at; i++) {
		ntfs_inode *below = make(at, names[i], S_IFDIR);

		ntfs_inode_close(at);
		at = below;
	}
	return at;
}

/* The folder for all files, and that which the old system's hives are copied to. */
static int make_top(struct lay *lay)
{
	static const char *const files[] = {"Users", "mara", "Documents"};
	static const char *const hives[] = {"Windows", "System32", "config"};
	ntfs_inode *config = make_path(lay, hives);

	if (!config || ntfs_inode_close(config))
		return -1;
	lay->top = make_path(lay, files);
	return lay->top ? 0 : -1;
}

static int next_folder(struct lay *lay)
{
	char name[32];

	if (lay->folder && ntfs_inode_close_in_dir(lay->folder, lay->top))
		return -1;
	snprintf(name, sizeof(name), "Plot %05u", lay->made / IN_FOLDER);
	lay->folder = make(lay->top, name, S_IFDIR);
	return lay->folder ? 0 : -1;
}

/*
 * Each doubling of the size is half as frequent as the one before, so that all together hold as many
 * bytes: sixteen doublings, the last ones capped.
 */
static uint64_t choose_size(struct lay *lay)
{
	uint64_t size = lay->scale;
	unsigned doublings = 0;

	if (lay->scale == 0)
		return 40 + next_random(lay) % 200;
	while (doublings < 15 && next_random(lay) % 2 == 0)
		doublings++;
	size <<= doublings;
	size += next_random(lay) % size;
	return size < LARGEST ? size : LARGEST;
}

static int begin(struct lay *lay, struct growing *file)
{
	unsigned number = lay->made;
	int is_text = next_random(lay) % 100 >= 85;

	if (number % IN_FOLDER == 0 && next_folder(lay))
		return -1;
	snprintf(file->name, sizeof(file->name), "%s %06u.%s", is_text ? "minutes" : "picture", number,
	    is_text ? "txt" : lay->ending);
	file->size = choose_size(lay);
	file->done = 0;
	file->bytes = is_text ? lay->text : lay->noise;
	file->inode = make(lay->folder, file->name, S_IFREG);
	file->data = file->inode ? ntfs_attr_open(file->inode, AT_DATA, AT_UNNAMED, 0) : NULL;
	file->number = file->inode ? file->inode->mft_no : 0;
	lay->made++;
	return file->data ? 0 : -1;
}

static int go_on(struct lay *lay, struct growing *file)
{
	file->inode = ntfs_inode_open(lay->volume, file->number);
	file->data = file->inode ? ntfs_attr_open(file->inode, AT_DATA, AT_UNNAMED, 0) : NULL;
	return file->data ? 0 : -1;
}

/* Writes up to `length` more bytes; a different place of the pool for each file and piece. */
static int grow(struct lay *lay, struct growing *file, uint64_t length)
{
	while (length > 0 && file->done < file->size) {
		uint64_t now = file->size - file->done, from;

		now = now < length ? now : length;
		now = now < PIECE * 8 ? now : PIECE * 8;
		from = next_random(lay) % ((1 << 20) - now + 1);
		if (ntfs_attr_pwrite(file->data, (s64)file->done, (s64)now, file->bytes + from) !=
		    (s64)now)
			return -1;
		file->done += now;
		length -= now;
	}
	return 0;
}

static int end(struct lay *lay, struct growing *file)
{
	int result;

	ntfs_attr_close(file->data);
	result = ntfs_inode_close_in_dir(file->inode, lay->folder);
	file->inode = NULL;
	return result;
}

static int lay_fresh(struct lay *lay)
{
	struct growing file;

	while (lay->made < lay->files)
		if (begin(lay, &file) || grow(lay, &file, UINT64_MAX) || end(lay, &file))
			return -1;
	return 0;
}

/*
 * Removes a file of the folder in work. The library closes the folder on the way, and to do so wants
 * to open the one above by itself: so both are closed before and opened again behind.
 */
static int take_away(struct lay *lay, const char *name)
{
	ntfschar wide[64];
	u64 file = ntfs_inode_lookup_by_mbsname(lay->folder, name);
	u64 folder = lay->folder->mft_no, top = lay->top->mft_no;
	ntfs_inode *inode;

	if (file == (u64)-1)
		return 0; /* in an earlier folder */
	if (ntfs_inode_close_in_dir(lay->folder, lay->top) || ntfs_inode_close(lay->top))
		return -1;
	lay->top = NULL;
	lay->folder = ntfs_inode_open(lay->volume, folder);
	inode = lay->folder ? ntfs_inode_open(lay->volume, MREF(file)) : NULL;
	if (!inode)
		return -1;
	if (ntfs_delete(lay->volume, NULL, inode, lay->folder, wide, (u8)units(wide, name)))
		return -1;
	lay->top = ntfs_inode_open(lay->volume, top);
	lay->folder = ntfs_inode_open(lay->volume, folder);
	return lay->top && lay->folder ? 0 : -1;
}

static int lay_aged(struct lay *lay)
{
	struct growing files[ABREAST];
	char doomed[ABREAST][32];
	unsigned n, n_doomed = 0, growing;

	while (lay->made < lay->files) {
		for (n = 0; n < ABREAST && lay->made < lay->files; n++)
			if (begin(lay, &files[n]) || end(lay, &files[n]))
				return -1;
		do {
			growing = 0;
			for (unsigned i = 0; i < n; i++) {
				if (files[i].done == files[i].size)
					continue;
				if (go_on(lay, &files[i]) || grow(lay, &files[i], PIECE) ||
				    end(lay, &files[i]))
					return -1;
				growing++;
			}
		} while (growing > 0);
		for (unsigned i = 0; i < n_doomed; i++)
			if (take_away(lay, doomed[i]))
				return -1;
		n_doomed = 0;
		for (unsigned i = 0; i < n; i += 3)
			strcpy(doomed[n_doomed++], files[i].name);
	}
	return 0;
}

static void fill_pools(struct lay *lay)
{
	static const char words[] = "The water butts stay where they are. Plot fourteen has paid. "
				    "Seed potatoes are ordered in January and shared out in March. ";
	size_t at = 0;

	for (size_t i = 0; i < sizeof(lay->noise); i += 8) {
		uint64_t number = next_random(lay);

		memcpy(lay->noise + i, &number, 8);
	}
	while (at < sizeof(lay->text)) {
		size_t from = next_random(lay) % (sizeof(words) - 20), length = 4 + from % 15;

		for (size_t i = 0; i < length && at < sizeof(lay->text); i++)
			lay->text[at++] = (uint8_t)words[from + i];
	}
}

int main(int argc, char **argv)
{
	struct lay *lay = calloc(1, sizeof(*lay));
	int result = -1;

	if (argc != 5 || !lay) {
		fprintf(stderr, "usage: lay fresh|plain|aged|many IMAGE FILES BYTES\n");
		return 2;
	}
	lay->random = 0x46686C6Cu;
	lay->files = (unsigned)strtoul(argv[3], NULL, 10);
	/* The mean of choose_size() is about twelve times the smallest. */
	lay->scale = strcmp(argv[1], "many") == 0 ? 0 :
	    strtoull(argv[4], NULL, 10) / (lay->files ? lay->files : 1) / 12 + 1;
	lay->ending = strcmp(argv[1], "plain") == 0 ? "dat" : "jpg";
	fill_pools(lay);
	lay->volume = ntfs_mount(argv[2], NTFS_MNT_NONE);
	if (lay->volume && make_top(lay) == 0)
		result = strcmp(argv[1], "aged") == 0 ? lay_aged(lay) : lay_fresh(lay);
	if (result)
		perror("lay");
	if (lay->folder)
		ntfs_inode_close(lay->folder);
	if (lay->top)
		ntfs_inode_close(lay->top);
	if (lay->volume && ntfs_umount(lay->volume, FALSE))
		result = -1;
	free(lay);
	return result ? 1 : 0;
}
