# coldlift: GNU make. The targets that people use are listed by `make help`.

SHELL := /bin/bash
.DELETE_ON_ERROR:

VERSION := 0.1.0
# V=1 shows whole commands.
Q := $(if $(filter 1,$(V)),,@)
say = $(if $(filter 1,$(V)),,@printf '  %-7s %s\n' '$(1)' '$@')
CC := gcc
FUZZ_CC := clang-14

# SANITIZE=1 builds with the address and undefined-behaviour sanitizers into a folder of its own.
ifeq ($(SANITIZE),1)
BUILD := build/sanitize
SANFLAGS := -fsanitize=address,undefined -fno-sanitize-recover=all
LINK :=
else
BUILD := build
SANFLAGS :=
# libsqlite3 could load extensions: see src/system/sqlite_memory.c.
LINK := -static -Wl,--wrap=dlopen,--wrap=dlsym,--wrap=dlclose,--wrap=dlerror
endif

CPPFLAGS := -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -DCOLDLIFT_VERSION='"$(VERSION)"' -Isrc
CFLAGS := -std=c17 -O2 -g -Wall -Wextra -Werror -Wshadow -Wstrict-prototypes -pthread
LDFLAGS := -pthread
# The order matters to a static link: libarchive first, then what it uses.
LIBS := -lwim -larchive -lsqlite3 -lnettle -lacl -llzma -lzstd -llz4 -lbz2 -ldeflate -lz -ljansson -lm

SOURCES := $(sort $(wildcard src/*/*.c))
ASSEMBLY := $(sort $(wildcard src/*/*.S))
OBJECTS := $(SOURCES:%.c=$(BUILD)/%.o) $(ASSEMBLY:%.S=$(BUILD)/%.o)
LIBRARY := $(BUILD)/libcoldlift.a
PROGRAM := $(BUILD)/coldlift

UNIT_SOURCES := $(sort $(wildcard tests/unit/test_*.c))
UNIT_SUPPORT := $(sort $(filter-out $(UNIT_SOURCES),$(wildcard tests/unit/*.c)))
UNITS := $(UNIT_SOURCES:tests/unit/%.c=$(BUILD)/tests/unit/%)
UNIT_SUPPORT_OBJECTS := $(UNIT_SUPPORT:%.c=$(BUILD)/%.o)

# Programs that the whole runs use, built from the library too.
RUN_SOURCES := $(sort $(wildcard tests/run/*.c))
RUN_HELPERS := $(RUN_SOURCES:tests/run/%.c=$(BUILD)/tests/run/%)

FUZZ_SOURCES := $(sort $(wildcard tests/fuzz/fuzz_*.c))
FUZZERS := $(FUZZ_SOURCES:tests/fuzz/%.c=build/fuzz/%)
FUZZ_FLAGS := -std=c17 -O1 -g -pthread -fsanitize=address,undefined -fno-sanitize-recover=all
FUZZ_OBJECTS := $(SOURCES:%.c=build/fuzz/%.o) $(ASSEMBLY:%.S=build/fuzz/%.o)
FUZZ_SECONDS ?= 600

.PHONY: all help setup-build setup-demo setup-unit setup-test demo demo-drives unit units fuzz fuzz-build \
	speed torture test sanitize image test-image setup-image setup-test-image always clean

all: setup-build
	@$(MAKE) --no-print-directory $(PROGRAM)

help:
	@echo 'make               build the program: build/coldlift'
	@echo 'make demo          build everything, make the demo drives and go through a whole job'
	@echo 'make test          build and run every test'
	@echo 'make demo-drives   only the demo drives, in build/demo'
	@echo 'make unit          only the unit tests (SANITIZE=1 for the sanitizers)'
	@echo 'make fuzz          every fuzz target for FUZZ_SECONDS=$(FUZZ_SECONDS) seconds each'
	@echo 'make speed          measure against other ways (30 GB of room, an hour, as root; no test)'
	@echo 'make torture       the long forms of the tests with faulty drives (hours; TORTURE="NAME..." for some)'
	@echo 'make image         the live stick: build/coldlift.iso'
	@echo 'make test-image    starts the live stick in QEMU under every firmware (12 minutes at most)'
	@echo 'make clean         remove build/'

setup-build:
	@scripts/setup build
setup-demo:
	@scripts/setup build demo
setup-unit:
	@scripts/setup build demo test
setup-test:
	@scripts/setup
setup-image:
	@scripts/setup build image
setup-test-image:
	@scripts/setup build demo image test-image

# --- the program ---------------------------------------------------------------------------------

$(PROGRAM): $(BUILD)/src/main.o $(LIBRARY)
	$(call say,LINK)
	$(Q)$(CC) $(CFLAGS) $(SANFLAGS) $(LINK) $(LDFLAGS) -o $@ $^ $(LIBS)

$(LIBRARY): $(OBJECTS)
	@rm -f $@
	$(call say,AR)
	$(Q)ar rcs $@ $^

$(BUILD)/%.o: %.c Makefile
	@mkdir -p $(@D)
	$(call say,CC)
	$(Q)$(CC) $(CPPFLAGS) $(CFLAGS) $(SANFLAGS) -MMD -MP -c -o $@ $<

$(BUILD)/%.o: %.S Makefile
	@mkdir -p $(@D)
	$(call say,AS)
	$(Q)$(CC) $(CPPFLAGS) -c -o $@ $<

# --- demo drives ---------------------------------------------------------------------------------

demo-drives: setup-demo
	@$(MAKE) --no-print-directory build/demo/expected.json

build/demo/expected.json: $(wildcard fixtures/* fixtures/*/*)
	fixtures/build build/demo

demo: setup-demo
	@$(MAKE) --no-print-directory $(PROGRAM) build/demo/expected.json
	scripts/demo

# --- the live stick ------------------------------------------------------------------------------

IMAGE_FILES := $(shell find image -type f) LICENSE

image: setup-image
	@$(MAKE) --no-print-directory build/coldlift.iso

build/coldlift.iso: build/coldlift $(IMAGE_FILES) build/commit
	image/build $< $(VERSION) $@

# The image names its commit: another commit makes another image.
build/commit: always
	@mkdir -p $(@D)
	@git rev-parse HEAD 2>/dev/null | cmp -s - $@ || git rev-parse HEAD >$@ 2>/dev/null || :

# Time budget: 12 minutes on two cores.
test-image: setup-test-image
	@$(MAKE) --no-print-directory build/coldlift.iso build/demo/expected.json
	tests/run-all --image

# --- tests ---------------------------------------------------------------------------------------

units: $(UNITS) $(RUN_HELPERS)

unit: setup-unit
	@$(MAKE) --no-print-directory units
	tests/run-all --units $(BUILD)

$(BUILD)/tests/unit/%: $(BUILD)/tests/unit/%.o $(UNIT_SUPPORT_OBJECTS) $(LIBRARY)
	$(call say,LINK)
	$(Q)$(CC) $(CFLAGS) $(SANFLAGS) $(LDFLAGS) -o $@ $^ -lcmocka $(LIBS) -lblkid -lfwnt

# They put a device of their own in the place of the program's.
$(BUILD)/tests/run/faulty_job: LDFLAGS += -Wl,--wrap=device_open
$(BUILD)/tests/run/faulty_image: LDFLAGS += -Wl,--wrap=device_open,--wrap=source_close

$(BUILD)/tests/run/%: $(BUILD)/tests/run/%.o $(LIBRARY)
	$(call say,LINK)
	$(Q)$(CC) $(CFLAGS) $(SANFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

$(BUILD)/tests/speed/%: $(BUILD)/tests/speed/%.o $(LIBRARY)
	$(call say,LINK)
	$(Q)$(CC) $(CFLAGS) $(SANFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

# An object that is only reached through a pattern rule would be deleted after use.
.PRECIOUS: $(BUILD)/tests/unit/%.o $(BUILD)/tests/run/%.o $(BUILD)/tests/speed/%.o

fuzz-build: $(FUZZERS)

# The program's own files once, watched by the fuzzer, and then each target with them.
build/fuzz/src/%.o: src/%.c Makefile
	@mkdir -p $(@D)
	$(call say,CC)
	$(Q)$(FUZZ_CC) $(CPPFLAGS) $(FUZZ_FLAGS) -fsanitize=fuzzer-no-link -MMD -MP -c -o $@ $<

build/fuzz/src/%.o: src/%.S Makefile
	@mkdir -p $(@D)
	$(call say,AS)
	$(Q)$(FUZZ_CC) $(CPPFLAGS) -c -o $@ $<

build/fuzz/libcoldlift.a: $(FUZZ_OBJECTS)
	@rm -f $@
	$(call say,AR)
	$(Q)ar rcs $@ $^

build/fuzz/%: tests/fuzz/%.c $(wildcard tests/fuzz/*.h) build/fuzz/libcoldlift.a Makefile
	$(call say,FUZZ)
	$(Q)$(FUZZ_CC) $(CPPFLAGS) $(FUZZ_FLAGS) -fsanitize=fuzzer -o $@ $< build/fuzz/libcoldlift.a $(LIBS)

fuzz: setup-unit
	@$(MAKE) --no-print-directory fuzz-build
	@for target in $(FUZZERS); do tests/fuzz/run $$target $(FUZZ_SECONDS) || exit 1; done

speed: setup-unit
	@$(MAKE) --no-print-directory $(PROGRAM) build/demo/expected.json build/tests/speed/stages
	tests/speed/run

# Tests that have a long form: with COLDLIFT_TORTURE=1 they take every case instead of a fixed sample.
TORTURE ?= sector_sweep.py faulty_jobs.py faulty_image.py resume.py onward.py destination_faults.py power_cut.py

torture: setup-test
	@$(MAKE) --no-print-directory $(PROGRAM) units build/demo/expected.json build/coldlift.iso
	@$(MAKE) --no-print-directory SANITIZE=1 build/sanitize/coldlift units
	COLDLIFT_TORTURE=1 TEST_LIMIT=14400 tests/run-all $(TORTURE)

sanitize: setup-unit
	@$(MAKE) --no-print-directory SANITIZE=1 build/sanitize/coldlift units

test: setup-test
	@$(MAKE) --no-print-directory $(PROGRAM) units fuzz-build build/demo/expected.json \
		build/coldlift.iso
	@$(MAKE) --no-print-directory SANITIZE=1 build/sanitize/coldlift units
	tests/run-all

clean:
	rm -rf build

-include $(OBJECTS:.o=.d) $(FUZZ_OBJECTS:.o=.d) $(BUILD)/src/main.d $(UNITS:=.d) $(RUN_HELPERS:=.d) $(UNIT_SUPPORT_OBJECTS:.o=.d)
