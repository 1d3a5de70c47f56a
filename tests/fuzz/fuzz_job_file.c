/*
 * Fuzzes the job file. What is accepted must be what `extract` can be given: clean text, words that
 * it knows.
 */
#include "base/utf.h"
#include "console/job_file.h"
#include "extract/job.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_list(const struct order_list *list)
{
	if (list->count > 1000)
		abort();
	for (size_t i = 0; i < list->count; i++)
		if (list->items[i][0] == '\0' || !utf_is_clean(list->items[i]))
			abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct arena arena = {0};
	struct order order;
	struct error error = {0};

	if (job_file_read(&arena, data, size, &order, &error)) {
		check_list(&order.persons);
		check_list(&order.takes);
		check_list(&order.leaves);
		if (order.name != NULL && !job_name_check(order.name, &error))
			abort();
	} else if (error.text[0] == '\0' || strchr(error.text, '\n') != NULL) {
		abort();
	}
	arena_free(&arena);
	return 0;
}
