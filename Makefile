# noonarc: `make demo` shows a whole measurement day, `make test` proves it.
# Everything built goes below $(BUILD); nothing else in the tree is written.

BUILD ?= build
PREFIX ?= /usr/local
DESTDIR ?=
ifeq ($(origin CC),default)
CC = gcc
endif
OPTIMISE ?= -O2 -g
WARN ?= -Wall -Wextra -Werror -Wshadow -Wstrict-prototypes -Wmissing-prototypes -Wvla \
  -Wno-missing-field-initializers $(if $(SANITISE),$(WARN_SANITISED))
# The sanitizers' checks hide ranges from gcc, which then warns of what cannot be.
WARN_SANITISED = -Wno-format-truncation -Wno-restrict -Wno-maybe-uninitialized
SANITISE ?=
# V=1 shows the commands themselves.
ifeq ($(V),1)
SAY = @:
RUN =
else
SAY = @echo
RUN = @
endif
# The steps below start make again; unless you said -j, on all processors.
PARALLEL = $(if $(findstring -j,$(MAKEFLAGS)),,-j$(shell nproc))
# Contraction into fused multiply-adds would let two machines differ in the last bit.
CFLAGS = -std=c11 -D_GNU_SOURCE -ffp-contract=off -I. $(OPTIMISE) $(WARN) $(SANITISE) -MMD -MP
LDFLAGS = $(SANITISE)

CORE_LIBS = -ljansson -lsodium -lerfa -lproj -lm
SERVER_LIBS = -lmicrohttpd -lsqlite3 -lz -lpthread $(CORE_LIBS)
CLIENT_LIBS = -lcurl -lsqlite3 $(CORE_LIBS)
# GSL, libnova and GeodSolve are yardsticks of the tests; the product links none of them.
TEST_LIBS = -lcmocka -lgsl -lgslcblas -lnova -lcurl $(SERVER_LIBS)

# The core is shared by both programs; the two lists below it are what each adds.
CORE_SRC := $(wildcard server/base/*.c server/science/*.c server/wire/*.c)
SERVER_SRC := $(wildcard server/store/*.c server/rules/*.c server/api/*.c server/http/*.c)
CLIENT_SRC := $(wildcard client/*.c)
TEST_SRC := $(wildcard tests/unit/*_test.c tests/http/*_test.c tests/cli/*_test.c \
  tests/faults/*_test.c)
PAGE_TESTS := $(wildcard tests/unit/*_test.mjs tests/browser/*_test.mjs)
TEST_HELP_SRC := $(wildcard tests/support/*.c)
BENCH_SRC := $(wildcard tests/bench/*.c)

objects = $(patsubst %.c,$(BUILD)/obj/%.o,$(1))
CORE_OBJ := $(call objects,$(CORE_SRC))
SERVER_OBJ := $(call objects,$(SERVER_SRC)) $(BUILD)/gen/migrations.o $(BUILD)/gen/openapi.o \
  $(BUILD)/gen/land.o
CLIENT_OBJ := $(call objects,$(CLIENT_SRC))
TEST_HELP_OBJ := $(call objects,$(TEST_HELP_SRC))
SIMULATE_OBJ := $(call objects,tests/support/simulate.c)
TESTS := $(patsubst tests/%.c,$(BUILD)/tests/%,$(TEST_SRC))
BENCHES := $(patsubst tests/bench/%.c,$(BUILD)/bench/%,$(BENCH_SRC))

# Objects of tests stay, so that the next run links only what changed.
.SECONDARY:
.PHONY: season all web setup test check asan lint format bench study demo install clean
all: $(BUILD)/noonarcd $(BUILD)/noonarc web

$(BUILD)/noonarcd: $(call objects,$(wildcard server/*.c)) $(SERVER_OBJ) $(CORE_OBJ)
	$(SAY) "  link     $@"
	$(RUN)$(CC) $(LDFLAGS) -o $@ $^ $(SERVER_LIBS)
$(BUILD)/noonarc: $(CLIENT_OBJ) $(CORE_OBJ)
	$(SAY) "  link     $@"
	$(RUN)$(CC) $(LDFLAGS) -o $@ $^ $(CLIENT_LIBS)

$(BUILD)/obj/%.o: %.c
	@mkdir -p $(@D)
	$(SAY) "  compile  $<"
	$(RUN)$(CC) $(CFLAGS) -c -o $@ $<
$(BUILD)/gen/%.o: $(BUILD)/gen/%.c
	$(SAY) "  compile  $<"
	$(RUN)$(CC) $(CFLAGS) -c -o $@ $<

# The pages, with the science that the phone computes. What they are bundled from is
# installed once, by deploy/setup, whatever BUILD is.
NPM = build/npm
WASM_SRC := $(filter-out %/sun_ephemeris.c %/meridian.c,$(wildcard server/science/*.c)) \
  $(wildcard server/web/science/*.c)
WASM_FLAGS = --target=wasm32-wasi -mexec-model=reactor -std=c11 -D_GNU_SOURCE -ffp-contract=off \
  -I. -O2 -DNDEBUG $(WARN) -Wno-unknown-warning-option -Wl,--strip-all
web: $(BUILD)/web/index.html
$(NPM)/installed: server/web/package.json server/web/package-lock.json
	@deploy/setup
	@touch $@
$(BUILD)/gen/science.wasm: $(WASM_SRC) $(wildcard server/science/*.h server/web/science/*.h) Makefile
	@mkdir -p $(@D)
	$(SAY) "  compile  $@"
	$(RUN)clang $(WASM_FLAGS) -o $@ $(WASM_SRC)
$(BUILD)/gen/land.c: server/rules/land.mjs $(NPM)/installed
	@mkdir -p $(@D)
	$(SAY) "  land     $@"
	$(RUN)node $< $(NPM)/node_modules $@
$(BUILD)/web/index.html: $(shell find server/web -type f) $(BUILD)/gen/science.wasm $(NPM)/installed
	$(SAY) "  bundle   $(BUILD)/web"
	$(RUN)node server/web/build.mjs $(NPM) $(BUILD)/gen/science.wasm $(BUILD)/web

# Stands between the built programs and the C library in tests/faults.
SHIM := $(BUILD)/tests/faults/shim.so
$(SHIM): tests/faults/shim.c tests/support/misfortune.h
	@mkdir -p $(@D)
	$(SAY) "  link     $@"
	$(RUN)$(CC) -std=c11 -D_GNU_SOURCE -I. -O2 $(WARN) -shared -fPIC \
	  $(if $(SANITISE),-DSHIM_WITHOUT_MEMORY) -o $@ $<

# Text carried inside the server: one C string a line of the file.
quote = sed -e 's/\\/\\\\/g' -e 's/"/\\"/g' -e 's/^/    "/' -e 's/$$/\\n"/'
$(BUILD)/gen/migrations.c: $(wildcard migrations/*.sql) Makefile
	@mkdir -p $(@D)
	@{ echo '#include "server/store/migrate.h"'; \
	   echo 'const struct migration migrations[] = {'; \
	   for file in $(sort $(wildcard migrations/*.sql)); do name=$$(basename $$file .sql); \
	     number=$$(echo $$name | sed 's/^0*\([0-9]*\)_.*/\1/'); \
	     echo "    {$$number, \"$${name#*_}\","; $(quote) $$file; echo '    },'; done; \
	   echo '};'; \
	   echo 'const int migrations_count = sizeof migrations / sizeof migrations[0];'; } > $@
$(BUILD)/gen/openapi.c: server/api/openapi.json Makefile
	@mkdir -p $(@D)
	@{ echo '#include "server/api/openapi.h"'; echo 'const char openapi_json[] ='; \
	   $(quote) $<; echo '    ;'; } > $@

$(BUILD)/tests/%: $(BUILD)/obj/tests/%.o $(TEST_HELP_OBJ) $(SERVER_OBJ) $(CORE_OBJ)
	@mkdir -p $(@D)
	$(SAY) "  link     $@"
	$(RUN)$(CC) $(LDFLAGS) -o $@ $^ $(TEST_LIBS)
$(BUILD)/bench/%: $(BUILD)/obj/tests/bench/%.o $(SIMULATE_OBJ) $(CORE_OBJ)
	@mkdir -p $(@D)
	$(SAY) "  link     $@"
	$(RUN)$(CC) $(LDFLAGS) -o $@ $^ $(CORE_LIBS)
# These have nothing of ours inside.
$(BUILD)/bench/load $(BUILD)/bench/bare_intake: $(BUILD)/bench/%: $(BUILD)/obj/tests/bench/%.o
	@mkdir -p $(@D)
	$(SAY) "  link     $@"
	$(RUN)$(CC) $(LDFLAGS) -o $@ $^ -lmicrohttpd -lsqlite3 -ljansson -lpthread -lm

setup:
	@deploy/setup

# `make test` also sets up; `make check` is the same without asking for packages.
test: setup
	@$(MAKE) --no-print-directory $(PARALLEL) check
check: all $(TESTS) $(SHIM) $(BUILD)/demo-day
	@BUILD=$(BUILD) tests/run $(TESTS) $(PAGE_TESTS)

asan: setup
	@$(MAKE) --no-print-directory $(PARALLEL) check BUILD=$(BUILD)/asan OPTIMISE='-O1 -g -fno-omit-frame-pointer' \
	  SANITISE='-fsanitize=address,undefined -fno-sanitize-recover=all'

FORMATTED := $(shell find server client tests deploy -name '*.[ch]')
lint: setup
	@clang-format --dry-run --Werror $(FORMATTED)
	@tests/layers
	@for header in $$(find server client -name '*.h'); do \
	   $(CC) -std=c11 -D_GNU_SOURCE -I. $(WARN) -Wno-unused-function -fsyntax-only -x c $$header || exit 1; done
	@printf '%s\n' $(CORE_SRC) $(SERVER_SRC) $(CLIENT_SRC) server/main.c server/web/science/page.c | \
	  xargs -P $$(nproc) -n 6 sh -c 'clang-tidy --quiet "$$@" -- -std=c11 -D_GNU_SOURCE -I. 2>/dev/null' tidy
format:
	@clang-format -i $(FORMATTED)

study: setup
	@$(MAKE) --no-print-directory $(BUILD)/noon-study
	@$(BUILD)/noon-study $(SEED) $(RUNS)
SEED ?= 1
RUNS ?= 400
$(BUILD)/noon-study: $(call objects,tests/study/noon_study.c) $(SIMULATE_OBJ) $(CORE_OBJ)
	$(SAY) "  link     $@"
	$(RUN)$(CC) $(LDFLAGS) -o $@ $^ $(CORE_LIBS)
$(BUILD)/demo-day: $(call objects,deploy/demo_day.c) $(SIMULATE_OBJ) $(CORE_OBJ)
	$(SAY) "  link     $@"
	$(RUN)$(CC) $(LDFLAGS) -o $@ $^ $(CORE_LIBS)
$(BUILD)/season-sheets: $(call objects,deploy/season_sheets.c) $(SIMULATE_OBJ) $(CORE_OBJ)
	$(SAY) "  link     $@"
	$(RUN)$(CC) $(LDFLAGS) -o $@ $^ $(CORE_LIBS)

# Another server to measure beside; npm compiles its SQLite against the system's Node.
PEER = $(BUILD)/bench/peer
$(PEER)/installed: tests/bench/peer/package.json tests/bench/peer/package-lock.json
	@mkdir -p $(@D)
	$(SAY) "  install  $(PEER) (a minute)"
	$(RUN)cp $^ $(@D) && cd $(@D) && npm_config_nodedir=/usr npm_config_python=/usr/bin/python3 \
	  npm_config_build_from_source=true npm ci --no-audit --no-fund >npm.log 2>&1 || { cat npm.log; exit 1; }
	$(RUN)touch $@
$(PEER)/server.js: tests/bench/peer/server.js $(PEER)/installed
	$(RUN)cp $< $@
bench:
	@deploy/setup bench
	@$(MAKE) --no-print-directory $(PARALLEL) all $(BENCHES) $(PEER)/server.js $(BUILD)/demo-day
	@BUILD=$(BUILD) tests/bench/run $(PARTS)

demo: setup
	@$(MAKE) --no-print-directory $(PARALLEL) all $(BUILD)/demo-day
	@BUILD=$(BUILD) deploy/demo

# A whole season of 400 schools, from the invitation to an edition that is verified.
season: setup
	@$(MAKE) --no-print-directory $(PARALLEL) all $(BUILD)/season-sheets
	@BUILD=$(BUILD) deploy/season

install: all
	install -D -m 755 $(BUILD)/noonarcd $(DESTDIR)$(PREFIX)/bin/noonarcd
	install -D -m 755 $(BUILD)/noonarc $(DESTDIR)$(PREFIX)/bin/noonarc
	cd $(BUILD)/web && find . -type f -exec install -D -m 644 {} $(abspath $(DESTDIR)$(PREFIX))/share/noonarc/web/{} \;

clean:
	rm -rf $(BUILD)

-include $(shell find $(BUILD)/obj $(BUILD)/gen -name '*.d' 2>/dev/null)
