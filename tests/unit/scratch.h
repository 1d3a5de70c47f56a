/*
 * A fresh folder for each test that writes files, and shell commands in it.
 */
#ifndef UNIT_SCRATCH_H
#define UNIT_SCRATCH_H

/* Setup and teardown of a test; the former also sees to a UTF-8 locale. */
int make_folder(void **state);
int remove_folder(void **state);

/* The path of a name in the folder; good for three more calls. */
const char *inside(const char *name);

/* Runs a shell command in the folder; its status. */
int shell(const char *script);

#endif
