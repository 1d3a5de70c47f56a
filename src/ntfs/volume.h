/*
 * An NTFS volume: its geometry, its state, and the mended view of its first records.
 *
 * Everything is read through `disk`, from raw structures, so that damage to one of them costs only
 * what is really unreadable. Sources: linux-ntfs documentation (NTFS concepts and files: $Boot,
 * $MFT, $MFTMirr, $Volume, $LogFile); [MS-FSCC].
 */
#ifndef NTFS_VOLUME_H
#define NTFS_VOLUME_H

#include "base/arena.h"
#include "base/error.h"
#include "base/finding.h"
#include "disk/source.h"

#include <stdbool.h>
#include <stdint.h>

struct catalogue;

/* A contiguous piece of a stream. */
struct run {
	uint64_t vcn;    /* first cluster in the stream */
	uint64_t lcn;    /* first cluster on the volume, or RUN_SPARSE or RUN_LOST */
	uint64_t length; /* clusters */
};
#define RUN_SPARSE UINT64_MAX
/* These clusters exist, but the record or the pair that said where could not be read. */
#define RUN_LOST (UINT64_MAX - 1)

struct progress;
struct record_window; /* private to src/ntfs: the piece of $MFT that was read last */

struct volume {
	struct source *source; /* not owned */
	uint64_t offset;       /* bytes from the start of the drive */
	uint64_t length;       /* bytes that the volume may use there */
	uint32_t sector_size;  /* as the boot sector states it */
	uint32_t cluster_size; /* bytes, 512 to 2 MiB */
	uint32_t record_size;  /* bytes of a file record */
	uint64_t clusters;     /* of the volume */
	uint64_t table_lcn, mirror_lcn;
	uint64_t serial;
	uint8_t version_major, version_minor;
	const char *label; /* inner text, "" when none */
	bool boot_from_backup;
	bool dirty;             /* $Volume's dirty flag: it was not taken out of use properly */
	bool log_pending;       /* $LogFile holds changes that were not applied */
	bool hibernated;        /* hiberfil.sys holds a saved session (by catalogue_read()) */
	struct run *table_runs; /* where $MFT lies */
	size_t n_table_runs;
	uint64_t table_size; /* bytes of $MFT */
	bool table_is_cut;   /* of some of it, RUN_LOST, it is not known where it lies */
	bool table_is_guessed; /* how much there is of it is not known */
	struct record_window *window;
	struct progress *progress; /* not owned: told of the table's bytes as they are read; may be
				      NULL */
	struct catalogue *catalogue; /* NULL until catalogue_read() */
	struct arena arena;          /* owns everything above but the source */
};

/*
 * Opens the volume at [offset, offset + length) of the source. Uses the backup boot sector when the
 * first is broken, and the mirror for broken first records; each such thing is a finding, with
 * `name` (how the volume is called towards people) as subject. NULL with *error when this is no
 * readable NTFS.
 */
struct volume *volume_open(struct source *source, uint64_t offset, uint64_t length,
    const char *name, struct findings *findings, struct error *error);
/* Also frees the catalogue. NULL is allowed. */
void volume_close(struct volume *volume);

/*
 * source_read() with volume-relative offset; holes are added volume-relative. What lies beyond the
 * volume's length is a hole. True when there was none.
 */
bool volume_read(
    const struct volume *volume, uint64_t offset, void *buffer, size_t length, struct holes *holes);

#endif
