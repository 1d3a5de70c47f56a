/* Reparse points: see reparse.h. */
#include "ntfs/reparse.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "ntfs/attrlist.h"

#include <string.h>

#define MAX_REPARSE 16384u /* [MS-FSCC] 2.1.2: at most 16 KiB */
#define SYMLINK_RELATIVE 1u
#define NFS_LINK UINT64_C(0x014B4E4C) /* NFS_SPECFILE_LNK, [MS-FSCC] 2.1.2.6 */

bool reparse_is_cloud_file(uint32_t tag)
{
	return (tag & 0xFFFF0FFFu) == REPARSE_CLOUD;
}

/* Of all that keep a file's data elsewhere. */
static bool is_cloud(uint32_t tag)
{
	switch (tag) {
	case 0x80000015u: /* FILE_PLACEHOLDER: of an older cloud client */
	case 0x80000021u: /* ONEDRIVE: of another */
	case 0xC0000004u: /* HSM: hierarchical storage moved it to an archive */
	case 0x80000006u: /* HSM2 */
	case 0x80000005u: /* DRIVE_EXTENDER: a home server moved it to another drive */
	case 0x8000001Eu: /* STORAGE_SYNC: a file server's share in the cloud */
	case 0x9000001Cu: /* PROJFS: files that a provider makes up when they are opened */
		return true;
	default:
		return reparse_is_cloud_file(tag);
	}
}

enum reparse_kind reparse_kind(uint32_t tag)
{
	if (tag == 0)
		return REPARSE_KIND_NONE;
	if (is_cloud(tag))
		return REPARSE_KIND_CLOUD;
	switch (tag) {
	case REPARSE_MOUNT_POINT:
	case REPARSE_SYMLINK:
	case REPARSE_LX_SYMLINK:
		return REPARSE_KIND_LINK;
	case REPARSE_WOF:
		return REPARSE_KIND_WOF;
	case REPARSE_DEDUP:
	case REPARSE_SIS:
		return REPARSE_KIND_DEDUP;
	case REPARSE_APPEXECLINK:
	case REPARSE_NFS:
	case 0x80000023u: /* AF_UNIX socket */
	case 0x80000024u: /* LX_FIFO */
	case 0x80000025u: /* LX_CHR */
	case 0x80000026u: /* LX_BLK */
		return REPARSE_KIND_ALIAS;
	default:
		return REPARSE_KIND_OTHER;
	}
}

/* One of the two names in the buffer; offsets count from the end of the fixed fields. */
static char *get_path(
    const uint8_t *data, size_t length, size_t fixed, size_t field, struct arena *arena)
{
	size_t offset = get_u16(data + field), size = get_u16(data + field + 2);
	size_t room = length - fixed;

	if (offset > room || size > room - offset)
		return NULL;
	return utf_arena_from_utf16(arena, data + fixed + offset, size / 2, NULL);
}

/* Drops the prefix of the object manager: "\??\", also "\\?\"; "\??\UNC\x" is "\\x". */
static char *strip(char *path, struct arena *arena)
{
	if (strncmp(path, "\\??\\", 4) != 0 && strncmp(path, "\\\\?\\", 4) != 0)
		return path;
	path += 4;
	if (utf_starts_fold(path, "UNC\\"))
		return arena_printf(arena, "\\\\%s", path + 4);
	return path;
}

static char *windows_link(
    const uint8_t *data, size_t length, struct arena *arena, bool *relative)
{
	bool is_symlink = get_u32(data) == REPARSE_SYMLINK;
	size_t fixed = is_symlink ? 20 : 16;
	char *path;

	if (length < fixed)
		return NULL;
	if (is_symlink)
		*relative = (get_u32(data + 16) & SYMLINK_RELATIVE) != 0;
	/* The substitute name is what the system goes by; then the one that it shows. */
	path = get_path(data, length, fixed, 8, arena);
	if (path == NULL || *path == 0)
		path = get_path(data, length, fixed, 12, arena);
	return path == NULL || *path == 0 ? NULL : strip(path, arena);
}

/* A version number, then the target in UTF-8. */
static char *linux_link(const uint8_t *data, size_t length, struct arena *arena, bool *relative)
{
	if (length <= 12)
		return NULL;
	*relative = data[12] != '/';
	return arena_text(arena, (const char *)data + 12, length - 12);
}

/* A kind in eight bytes, then for links the target in UTF-16. */
static char *nfs_link(const uint8_t *data, size_t length, struct arena *arena, bool *relative)
{
	char *path;

	if (length < 18 || get_u64(data + 8) != NFS_LINK)
		return NULL;
	path = utf_arena_from_utf16(arena, data + 16, (length - 16) / 2, NULL);
	if (path == NULL || *path == 0)
		return NULL;
	*relative = *path != '/';
	return path;
}

/* A version number, then texts that each end in a NUL: package, entry point, program. */
static char *alias_target(const uint8_t *data, size_t length, struct arena *arena)
{
	size_t at = 12, start = at, number = 0;
	char *path;

	for (; at + 2 <= length; at += 2) {
		if (get_u16(data + at) != 0)
			continue;
		if (++number == 3)
			break;
		start = at + 2;
	}
	if (number < 3)
		return NULL;
	path = utf_arena_from_utf16(arena, data + start, (at - start) / 2, NULL);
	return path == NULL || *path == 0 ? NULL : path;
}

static char *read_target(
    const uint8_t *data, size_t length, struct arena *arena, bool *relative)
{
	if (length < 8)
		return NULL;
	switch (get_u32(data)) {
	case REPARSE_MOUNT_POINT:
	case REPARSE_SYMLINK:
		return windows_link(data, length, arena, relative);
	case REPARSE_LX_SYMLINK:
		return linux_link(data, length, arena, relative);
	case REPARSE_NFS:
		return nfs_link(data, length, arena, relative);
	case REPARSE_APPEXECLINK:
		return alias_target(data, length, arena);
	default:
		return NULL;
	}
}

char *reparse_read_target(
    const uint8_t *data, size_t length, struct arena *arena, bool *relative)
{
	char *target;

	*relative = false;
	target = read_target(data, length, arena, relative);
	/* A link to nothing at all is broken; it does not lead to its own folder. */
	return target == NULL || *target == '\0' ? NULL : target;
}

char *reparse_target(
    const struct catalogue *catalogue, uint32_t node, struct arena *arena, bool *relative)
{
	const struct node *of = catalogue_node(catalogue, node);
	enum reparse_kind kind = of == NULL ? REPARSE_KIND_NONE : reparse_kind(of->reparse_tag);
	struct buf data = {0};
	char *target = NULL;

	*relative = false;
	if (kind != REPARSE_KIND_LINK && kind != REPARSE_KIND_ALIAS)
		return NULL;
	if (attribute_load(catalogue->volume, node, ATTR_REPARSE_POINT, "", MAX_REPARSE, &data))
		target = reparse_read_target(data.data, data.length, arena, relative);
	buf_free(&data);
	return target;
}
