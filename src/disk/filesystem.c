/*
 * Recognising a file system by its first sectors.
 *
 * Sources: FAT: Microsoft "FAT: General Overview of On-Disk Format" 1.03 (BPB); exFAT: Microsoft
 * "exFAT file system specification", 3.1; NTFS: linux-ntfs documentation, $Boot (also the copy in
 * the volume's last sector); ReFS and "-FVE-FS-": from memory; the signatures of other file
 * systems: their kernel or project documentation, from memory.
 */
#include "disk/table.h"

#include "base/bytes.h"

#include <string.h>

#define HEAD 4096u

struct mark {
	uint32_t offset; /* in the volume */
	const char *bytes;
	size_t length;
};

/* ext2 and its successors: Linux kernel documentation, filesystems/ext4, s_magic. */
static const struct mark ext_mark = {1024 + 56, "\x53\xEF", 2};

/* Those that the old system does not know; naming them would help nobody. */
static const struct mark other_marks[] = {
    {0, "XFSB", 4}, {0, "hsqs", 4}, {0, "LUKS\xBA\xBE", 6}, {32, "NXSB", 4}, /* APFS */
    {1024, "H+\0\4", 4}, /* HFS+ */
    {1024, "HX\0\5", 4}, {536, "LVM2 001", 8}, {4086, "SWAPSPACE2", 10},
    {32769, "CD001", 5},         /* ISO 9660 */
    {65536 + 64, "_BHRfS_M", 8}, /* btrfs */
};

static bool is_power(uint32_t number, uint32_t least, uint32_t most)
{
	return number >= least && number <= most && (number & (number - 1)) == 0;
}

/* The BIOS parameter block alone: the type strings of FAT are free text by its specification. */
static bool is_fat(const uint8_t *head)
{
	uint32_t sectors = get_u16(head + 19) != 0 ? get_u16(head + 19) : get_u32(head + 32);
	uint32_t table = get_u16(head + 22) != 0 ? get_u16(head + 22) : get_u32(head + 36);
	uint32_t reserved = get_u16(head + 14), copies = head[16], media = head[21];

	return (head[0] == 0xE9 || (head[0] == 0xEB && head[2] == 0x90)) && head[510] == 0x55 &&
	       head[511] == 0xAA && is_power(get_u16(head + 11), 512, 4096) &&
	       is_power(head[13], 1, 128) && reserved > 0 && copies >= 1 && copies <= 2 &&
	       (media == 0xF0 || media >= 0xF8) && table > 0 &&
	       (uint64_t)table * copies + reserved < sectors;
}

/*
 * A removable volume encrypted by the old system looks like FAT to systems that do not know better.
 */
static bool is_encrypted_fat(const uint8_t *head)
{
	static const uint8_t id[16] = {0x3B, 0xD6, 0x67, 0x49, 0x29, 0x2E, 0xD8, 0x4A, 0x83, 0x99,
	    0xF6, 0xA3, 0x39, 0xE3, 0xD0, 0x01};

	return memcmp(head + 424, id, sizeof(id)) == 0;
}

static bool is_ntfs(const uint8_t *head)
{
	return memcmp(head + 3, "NTFS    ", 8) == 0 && is_power(get_u16(head + 11), 256, 4096);
}

static enum filesystem recognise_head(const uint8_t *head)
{
	if (memcmp(head + 3, "-FVE-FS-", 8) == 0)
		return FILESYSTEM_ENCRYPTED;
	if (is_ntfs(head))
		return FILESYSTEM_NTFS;
	if (memcmp(head + 3, "EXFAT   ", 8) == 0)
		return FILESYSTEM_EXFAT;
	if (memcmp(head + 3, "ReFS\0\0\0\0", 8) == 0 && memcmp(head + 16, "FSRS", 4) == 0)
		return FILESYSTEM_REFS;
	if (is_fat(head))
		return is_encrypted_fat(head) ? FILESYSTEM_ENCRYPTED : FILESYSTEM_FAT;
	return FILESYSTEM_NONE;
}

enum filesystem filesystem_of_boot_sector(struct source *source, uint64_t offset)
{
	uint8_t head[512];

	source_read(source, offset, head, sizeof(head), NULL);
	return recognise_head(head);
}

static bool has_mark(struct source *source, uint64_t offset, uint64_t length, const uint8_t *head,
    const struct mark *mark)
{
	uint8_t bytes[16];

	if (mark->offset + mark->length > length)
		return false;
	if (mark->offset + mark->length <= HEAD)
		return memcmp(head + mark->offset, mark->bytes, mark->length) == 0;
	return source_read(source, offset + mark->offset, bytes, mark->length, NULL) &&
	       memcmp(bytes, mark->bytes, mark->length) == 0;
}

/*
 * NTFS keeps a copy of its boot sector in the last sector of its partition, not counted in its
 * size.
 */
static bool has_ntfs_backup(struct source *source, uint64_t offset, uint64_t length)
{
	static const uint32_t sizes[] = {512, 4096};
	uint8_t sector[512];

	for (size_t i = 0; i < 2; i++) {
		if (length < 2 * sizes[i] || offset + length > source_size(source))
			continue;
		if (!source_read(
			source, offset + length - sizes[i], sector, sizeof(sector), NULL) ||
		    !is_ntfs(sector) || get_u16(sector + 11) != sizes[i])
			continue;
		if (get_u64(sector + 40) == length / sizes[i] - 1)
			return true;
	}
	return false;
}

enum filesystem filesystem_recognise(struct source *source, uint64_t offset, uint64_t length)
{
	uint8_t head[HEAD] = {0};
	enum filesystem found;

	if (length < 512 || offset >= source_size(source) || length > UINT64_MAX - offset)
		return FILESYSTEM_NONE;
	/* A hole in it is zeros, in which nothing is recognised. */
	source_read(source, offset, head, length < HEAD ? (size_t)length : HEAD, NULL);
	found = recognise_head(head);
	for (size_t i = 0;
	     found == FILESYSTEM_NONE && i < sizeof(other_marks) / sizeof(other_marks[0]); i++)
		if (has_mark(source, offset, length, head, &other_marks[i]))
			found = FILESYSTEM_OTHER;
	if (found == FILESYSTEM_NONE && has_mark(source, offset, length, head, &ext_mark))
		found = FILESYSTEM_EXT;
	if (found == FILESYSTEM_NONE && has_ntfs_backup(source, offset, length))
		found = FILESYSTEM_NTFS;
	return found;
}

const char *filesystem_name(enum filesystem filesystem)
{
	static const char *const names[] = {
	    "none", "NTFS", "FAT", "exFAT", "ReFS", "encrypted", "ext", "other"};

	return names[filesystem];
}
