/* Failures as values: see error.h. */
#include "base/error.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

bool error_set(struct error *error, enum status status, const char *format, ...)
{
	va_list args;

	if (error == NULL)
		return false;
	error->status = status;
	va_start(args, format);
	vsnprintf(error->text, sizeof(error->text), format, args);
	va_end(args);
	return false;
}

bool error_set_errno(struct error *error, enum status status, int number, const char *format, ...)
{
	char reason[128];
	size_t used;
	va_list args;

	if (error == NULL)
		return false;
	error->status = status;
	va_start(args, format);
	vsnprintf(error->text, sizeof(error->text), format, args);
	va_end(args);
	used = strlen(error->text);
	snprintf(error->text + used, sizeof(error->text) - used, ": %s",
	    strerror_r(number, reason, sizeof(reason)));
	return false;
}

bool error_no_memory(struct error *error)
{
	return error_set(error, STATUS_OTHER, "there is not enough memory to go on");
}
