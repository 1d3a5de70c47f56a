/*
 * Reparse points: junctions, links, cloud files, and what else hides behind a tag.
 *
 * Sources: [MS-FSCC] section 2.1.2 (reparse tags; symbolic link, mount point and NFS data). The data
 * of app-execution aliases and of the Linux subsystem's links: common practice, no source.
 */
#ifndef NTFS_REPARSE_H
#define NTFS_REPARSE_H

#include "ntfs/catalogue.h"

enum {
	REPARSE_MOUNT_POINT = 0xA0000003u,
	REPARSE_SYMLINK = 0xA000000Cu,
	REPARSE_WOF = 0x80000017u,
	REPARSE_DEDUP = 0x80000013u,
	REPARSE_SIS = 0x80000007u, /* its predecessor: one copy of files that are the same */
	REPARSE_APPEXECLINK = 0x8000001Bu,
	REPARSE_LX_SYMLINK = 0xA000001Du,
	REPARSE_NFS = 0x80000014u, /* links, sockets and devices of an NFS server */
	REPARSE_CLOUD = 0x9000001Au, /* and 0x9000101A to 0x9000F01A */
};

enum reparse_kind {
	REPARSE_KIND_NONE,
	REPARSE_KIND_LINK,  /* junction, mount point or symbolic link: never walked */
	REPARSE_KIND_CLOUD, /* of the cloud family, old placeholders, moved by storage management */
	REPARSE_KIND_WOF,
	REPARSE_KIND_DEDUP,
	REPARSE_KIND_ALIAS, /* app-execution alias and other special files without data */
	REPARSE_KIND_OTHER, /* unknown: read like a file or folder that may be in the cloud */
};
enum reparse_kind reparse_kind(uint32_t tag);

/* Is it one of the cloud family's sixteen, 0x9000001A to 0x9000F01A? */
bool reparse_is_cloud_file(uint32_t tag);

/*
 * Where a junction or symbolic link points: inner text such as "D:\Profiles\zoe", without the
 * "\??\" in front; a path without a letter is relative to the link's folder (*relative). Volume
 * names stay ("\??\Volume{guid}\" becomes "Volume{guid}\"). Of an app-execution alias the program
 * that it starts. NULL when the node is nothing of that or it is broken.
 */
char *reparse_target(
    const struct catalogue *catalogue, uint32_t node, struct arena *arena, bool *relative);

/* The same from the whole reparse data, header included. */
char *reparse_read_target(
    const uint8_t *data, size_t length, struct arena *arena, bool *relative);

#endif
