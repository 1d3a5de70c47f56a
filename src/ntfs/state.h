/*
 * In which state the old system left the volume. Private to src/ntfs.
 *
 * Sources: linux-ntfs documentation, "$Volume" ($VOLUME_NAME, $VOLUME_INFORMATION), "$LogFile"
 * (restart pages). The signatures of hiberfil.sys: common practice, no source.
 */
#ifndef NTFS_STATE_H
#define NTFS_STATE_H

#include "ntfs/volume.h"

/*
 * Label, version, dirty flag, whether the log was closed, and whether the table of upper-case letters
 * is sound.
 */
void state_read(struct volume *volume, const char *name, struct findings *findings);

/* Looks into hiberfil.sys; needs the catalogue. */
void state_read_session(struct volume *volume, const char *name, struct findings *findings);

#endif
