/* Reparse points: see reparse.h. */
#include "ntfs/reparse.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "ntfs/attrlist.h"

#include <string.h>

#define MAX_REPARSE 16384u /* [MS-FSCC] 2.1.2: at most 16 KiB */
#define SYMLINK_RELATIVE 1u

/* Tags of old cloud clients and of storage management that move a file's data elsewhere. */
static bool is_cloud(uint32_t tag)
{
	return (tag & 0xFFFF0FFFu) == REPARSE_CLOUD || tag == 0x80000015u || tag == 0x80000021u ||
	       tag == 0xC0000004u || tag == 0x80000006u;
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
		return REPARSE_KIND_DEDUP;
	case REPARSE_APPEXECLINK:
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
static char *get_path(const struct buf *data, size_t fixed, size_t field, struct arena *arena)
{
	size_t offset = get_u16(data->data + field), length = get_u16(data->data + field + 2);
	size_t room = data->length - fixed;

	if (offset > room || length > room - offset)
		return NULL;
	return utf_arena_from_utf16(arena, data->data + fixed + offset, length / 2, NULL);
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

static char *get_target(const struct buf *data, struct arena *arena, bool *relative)
{
	size_t fixed;
	uint32_t tag;
	char *path;

	if (data->length < 8)
		return NULL;
	tag = get_u32(data->data);
	if (tag == REPARSE_LX_SYMLINK) {
		/* A version number, then the target in UTF-8. */
		*relative = data->length > 12 && data->data[12] != '/';
		return data->length <= 12
			   ? NULL
			   : arena_text(arena, (const char *)data->data + 12, data->length - 12);
	}
	if (tag != REPARSE_MOUNT_POINT && tag != REPARSE_SYMLINK)
		return NULL;
	fixed = tag == REPARSE_SYMLINK ? 20 : 16;
	if (data->length < fixed)
		return NULL;
	if (tag == REPARSE_SYMLINK)
		*relative = (get_u32(data->data + 16) & SYMLINK_RELATIVE) != 0;
	path = get_path(data, fixed, 8, arena); /* the substitute name: what the system goes by */
	if (path == NULL || *path == 0)
		path = get_path(data, fixed, 12, arena); /* the print name */
	return path == NULL || *path == 0 ? NULL : strip(path, arena);
}

char *reparse_target(
    const struct catalogue *catalogue, uint32_t node, struct arena *arena, bool *relative)
{
	const struct node *of = catalogue_node(catalogue, node);
	struct buf data = {0};
	char *target = NULL;

	*relative = false;
	if (of == NULL || reparse_kind(of->reparse_tag) != REPARSE_KIND_LINK)
		return NULL;
	if (attribute_load(catalogue->volume, node, ATTR_REPARSE_POINT, "", MAX_REPARSE, &data))
		target = get_target(&data, arena, relative);
	buf_free(&data);
	return target;
}
