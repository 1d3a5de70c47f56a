/*
 * What every unit test needs before cmocka's own header, and the usual main().
 */
#ifndef UNIT_H
#define UNIT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#endif
