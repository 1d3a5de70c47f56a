/*
 * Folders of clients in the desktop's tree of folders: one more way to know what is kept in the cloud.
 *
 * A client puts the number of a class under NameSpace in the person's hive, and the folder that the
 * class stands for in the hive of classes. That one is large, so it is only read where there are
 * more such numbers than folders that are known already.
 *
 * Source: Microsoft, "Integrate a Cloud Storage Provider" (NameSpace, InitPropertyBag,
 * TargetFolderPath).
 */
#include "system/ties.h"

#include "system/inner.h"

#include <string.h>

#define KEY_NAMESPACE "Software\\" KEY_WINDOWS "\\Explorer\\Desktop\\NameSpace"
#define CLASSES_LIMIT 64u
#define USERPROFILE "%USERPROFILE%"

static size_t known_folders(const struct learn *learn, size_t person)
{
	size_t count = 0;

	for (size_t i = 0; i < learn->ties->n_sync_roots; i++)
		count += learn->ties->sync_roots[i].person == person;
	return count;
}

/* The folder of a class, "%USERPROFILE%" replaced; NULL when it stands for something else. */
static const char *folder_of_class(struct learn *learn, size_t person, const struct hive *classes,
    const char *number, struct arena *arena)
{
	char *key = arena_printf(arena, "CLSID\\%s\\Instance\\InitPropertyBag", number);
	char *path = key ? hive_text(classes, hive_root(classes), key, "TargetFolderPath", arena, NULL)
			 : NULL;

	if (path && strncmp(path, USERPROFILE, strlen(USERPROFILE)) == 0)
		path = arena_printf(arena, "%s%s", learn->system->persons[person].path,
		    path + strlen(USERPROFILE));
	return path;
}

/* What the class is called, unless that is a name in a program's resources. */
static const char *name_of_class(
    const struct hive *classes, const char *number, struct arena *arena)
{
	char *key = arena_printf(arena, "CLSID\\%s", number);
	char *name = key ? hive_text(classes, hive_root(classes), key, "", arena, NULL) : NULL;

	return name && *name != '@' ? name : NULL;
}

void learn_shell_folders(struct learn *learn, size_t person, const struct hive *hive)
{
	hive_cell key = hive_find(hive, hive_root(hive), KEY_NAMESPACE), *numbers;
	struct arena arena = {0};
	size_t count = key == HIVE_NO_CELL ? 0 : hive_subkeys(hive, key, &arena, &numbers);
	struct hive *classes = NULL;

	if (person < learn->system->n_persons && count > known_folders(learn, person))
		classes = load_class_hive(learn, &learn->system->persons[person]);
	for (size_t i = 0; classes && i < count && i < CLASSES_LIMIT; i++) {
		char *number = hive_key_name(hive, numbers[i], &arena);

		if (number)
			keep_sync_root(learn, person, SYNC_FOLDER_TREE,
			    folder_of_class(learn, person, classes, number, &arena),
			    name_of_class(classes, number, &arena), NULL);
	}
	hive_close(classes);
	arena_free(&arena);
}
