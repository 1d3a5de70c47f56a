/* Reading the table in one go: see table_pass.h. */
#include "ntfs/table_pass.h"

#include "ntfs/table.h"

#include <pthread.h>
#include <signal.h>
#include <stdbool.h>
#include <stdlib.h>

#define PIECE_SIZE ((size_t)4 << 20)
#define SLOTS 2u

struct table_pass {
	const struct volume *volume;
	uint64_t count, next; /* records: of the table, and the first one not yet read */
	size_t at_once;
	struct table_piece slots[SLOTS];
	/* Below `filled` and not below `taken` the slots (modulo SLOTS) hold what was read. */
	uint64_t filled, taken;
	bool in_hand; /* the caller has slot `taken` */
	bool has_thread, stop;
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t changed;
};

/* The piece at `next`, into the slot that is its turn; no lock is needed for that. */
static void read_piece(struct table_pass *pass)
{
	struct table_piece *piece = &pass->slots[pass->filled % SLOTS];
	const struct volume *volume = pass->volume;
	size_t size = volume->record_size;
	uint64_t left = pass->count - pass->next, offset = pass->next * size;

	piece->first = pass->next;
	piece->count = left < pass->at_once ? (size_t)left : pass->at_once;
	holes_clear(&piece->holes);
	table_read_runs(volume, volume->table_runs, volume->n_table_runs, offset, piece->bytes,
	    piece->count * size, &piece->holes);
	/* They were added by their offset in the table. */
	for (size_t i = 0; i < piece->holes.count; i++)
		piece->holes.items[i].offset -= offset;
}

/* Hands over what was read; with the lock held where there is a thread. */
static void count_piece(struct table_pass *pass)
{
	pass->next += pass->slots[pass->filled % SLOTS].count;
	pass->filled++;
}

static void *reader(void *context)
{
	struct table_pass *pass = context;

	pthread_mutex_lock(&pass->lock);
	while (!pass->stop && pass->next < pass->count) {
		if (pass->filled - pass->taken == SLOTS) {
			pthread_cond_wait(&pass->changed, &pass->lock);
			continue;
		}
		pthread_mutex_unlock(&pass->lock);
		read_piece(pass);
		pthread_mutex_lock(&pass->lock);
		count_piece(pass);
		pthread_cond_signal(&pass->changed);
	}
	pthread_mutex_unlock(&pass->lock);
	return NULL;
}

static void start_thread(struct table_pass *pass)
{
	sigset_t all, before;

	/* Signals belong to the threads of the command. */
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, &before);
	pass->has_thread = pthread_create(&pass->thread, NULL, reader, pass) == 0;
	pthread_sigmask(SIG_SETMASK, &before, NULL);
}

struct table_pass *table_pass_start(const struct volume *volume, uint64_t count)
{
	struct table_pass *pass = calloc(1, sizeof(*pass));
	uint64_t records = PIECE_SIZE / volume->record_size;
	bool fine = true;

	if (pass == NULL)
		return NULL;
	pass->volume = volume;
	pass->count = count;
	pass->at_once = (size_t)(count < records ? count : records);
	pthread_mutex_init(&pass->lock, NULL);
	pthread_cond_init(&pass->changed, NULL);
	for (size_t i = 0; i < SLOTS && i * pass->at_once < count; i++) {
		pass->slots[i].bytes = malloc(pass->at_once * volume->record_size);
		fine = fine && pass->slots[i].bytes != NULL;
	}
	if (!fine) {
		table_pass_end(pass);
		return NULL;
	}
	if (count > pass->at_once)
		start_thread(pass);
	return pass;
}

struct table_piece *table_pass_next(struct table_pass *pass)
{
	struct table_piece *piece;

	pthread_mutex_lock(&pass->lock);
	if (pass->in_hand) {
		pass->taken++;
		pthread_cond_signal(&pass->changed);
	}
	while (pass->has_thread && pass->filled == pass->taken && pass->next < pass->count)
		pthread_cond_wait(&pass->changed, &pass->lock);
	if (!pass->has_thread && pass->next < pass->count) {
		read_piece(pass);
		count_piece(pass);
	}
	pass->in_hand = pass->filled > pass->taken;
	piece = pass->in_hand ? &pass->slots[pass->taken % SLOTS] : NULL;
	pthread_mutex_unlock(&pass->lock);
	return piece;
}

void table_pass_end(struct table_pass *pass)
{
	if (pass == NULL)
		return;
	pthread_mutex_lock(&pass->lock);
	pass->stop = true;
	pthread_cond_signal(&pass->changed);
	pthread_mutex_unlock(&pass->lock);
	if (pass->has_thread)
		pthread_join(pass->thread, NULL);
	for (size_t i = 0; i < SLOTS; i++) {
		free(pass->slots[i].bytes);
		holes_free(&pass->slots[i].holes);
	}
	pthread_cond_destroy(&pass->changed);
	pthread_mutex_destroy(&pass->lock);
	free(pass);
}
