/*
 * Opening databases in memory: see sqlite_memory.h.
 *
 * Source: SQLite, "Defense Against The Dark Arts" (what to switch off for databases from
 * strangers), "sqlite3_deserialize".
 */
#include "system/sqlite_memory.h"

#include <string.h>

#define STEP_LIMIT 40000u    /* thousands of steps of the virtual machine: some seconds at most */
#define TEXT_LIMIT (1 << 20) /* bytes of one value */
#define MEMORY_LIMIT (64 << 20) /* bytes: tables, indexes and pages that are in use */

/*
 * The library could load extensions from files, and a static program with dlopen() needs the C
 * library's own files at run time. The static link puts these in its place (see LINK in the
 * Makefile): nothing is ever loaded.
 */
void *__wrap_dlopen(const char *path, int flags);
void *__wrap_dlsym(void *handle, const char *name);
int __wrap_dlclose(void *handle);
char *__wrap_dlerror(void);

void *__wrap_dlopen(const char *path, int flags)
{
	(void)path;
	(void)flags;
	return NULL;
}

void *__wrap_dlsym(void *handle, const char *name)
{
	(void)handle;
	(void)name;
	return NULL;
}

int __wrap_dlclose(void *handle)
{
	(void)handle;
	return 0;
}

char *__wrap_dlerror(void)
{
	return NULL;
}

static int count_steps(void *context)
{
	struct sqlite_memory *memory = context;

	return ++memory->steps > STEP_LIMIT;
}

static int allow(void *context, int action, const char *one, const char *two, const char *three,
    const char *four)
{
	(void)context;
	(void)one;
	(void)two;
	(void)three;
	(void)four;
	return action == SQLITE_SELECT || action == SQLITE_READ ? SQLITE_OK : SQLITE_DENY;
}

static void restrain(struct sqlite_memory *memory)
{
	static const int limits[][2] = {{SQLITE_LIMIT_LENGTH, TEXT_LIMIT},
	    {SQLITE_LIMIT_SQL_LENGTH, 10000}, {SQLITE_LIMIT_COLUMN, 200},
	    {SQLITE_LIMIT_EXPR_DEPTH, 50}, {SQLITE_LIMIT_COMPOUND_SELECT, 3},
	    {SQLITE_LIMIT_VDBE_OP, 25000}, {SQLITE_LIMIT_FUNCTION_ARG, 8},
	    {SQLITE_LIMIT_ATTACHED, 0}, {SQLITE_LIMIT_TRIGGER_DEPTH, 1},
	    {SQLITE_LIMIT_WORKER_THREADS, 0}};
	static const int switches[][2] = {{SQLITE_DBCONFIG_DEFENSIVE, 1},
	    {SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0}, {SQLITE_DBCONFIG_ENABLE_TRIGGER, 0},
	    {SQLITE_DBCONFIG_ENABLE_VIEW, 0}, {SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0}};

	for (size_t i = 0; i < sizeof(limits) / sizeof(limits[0]); i++)
		sqlite3_limit(memory->database, limits[i][0], limits[i][1]);
	for (size_t i = 0; i < sizeof(switches) / sizeof(switches[0]); i++)
		sqlite3_db_config(memory->database, switches[i][0], switches[i][1], NULL);
	sqlite3_hard_heap_limit64(MEMORY_LIMIT);
	sqlite3_progress_handler(memory->database, 1000, count_steps, memory);
}

bool sqlite_memory_open(struct sqlite_memory *memory, uint8_t *data, size_t length)
{
	*memory = (struct sqlite_memory){0};
	if (length < 100 || memcmp(data, "SQLite format 3", 16) != 0)
		return false;
	if (sqlite3_open_v2(":memory:", &memory->database,
		SQLITE_OPEN_READWRITE | SQLITE_OPEN_MEMORY | SQLITE_OPEN_NOMUTEX,
		NULL) != SQLITE_OK)
		return false;
	restrain(memory);
	/* Damaged cells are found before they are used; nothing is sorted in files. */
	if (sqlite3_deserialize(memory->database, "main", data, (sqlite3_int64)length,
		(sqlite3_int64)length, SQLITE_DESERIALIZE_READONLY) != SQLITE_OK ||
	    sqlite3_exec(memory->database,
		"PRAGMA cell_size_check=ON; PRAGMA temp_store=MEMORY; PRAGMA query_only=ON", NULL,
		NULL, NULL) != SQLITE_OK)
		return false;
	sqlite3_set_authorizer(memory->database, allow, memory);
	return true;
}

void sqlite_memory_close(struct sqlite_memory *memory)
{
	sqlite3_close(memory->database);
	memory->database = NULL;
}

sqlite3_stmt *sqlite_memory_ask(struct sqlite_memory *memory, const char *question)
{
	sqlite3_stmt *statement = NULL;

	if (sqlite3_prepare_v2(memory->database, question, -1, &statement, NULL) != SQLITE_OK)
		return NULL;
	return statement;
}

bool sqlite_memory_has_table(struct sqlite_memory *memory, const char *name)
{
	/* A view or a virtual table has no root page. */
	sqlite3_stmt *statement = sqlite_memory_ask(
	    memory, "SELECT rootpage FROM sqlite_master WHERE type = 'table' AND name = ?1");
	bool found = false;

	if (statement && sqlite3_bind_text(statement, 1, name, -1, SQLITE_STATIC) == SQLITE_OK)
		while (!found && sqlite3_step(statement) == SQLITE_ROW)
			found = sqlite3_column_int64(statement, 0) > 0;
	sqlite3_finalize(statement);
	return found;
}
