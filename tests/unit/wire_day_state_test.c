/* SPDX-License-Identifier: MIT */
/* day_state: the table beside what is told of it: README.md and the description of
 * the interface. Run in the source tree. */
#include "tests/unit/near.h"

#include <jansson.h>
#include <string.h>

#include "server/base/text.h"
#include "server/wire/day_state.h"

static char *read_all(const char *path) {
    FILE *file = fopen(path, "r");
    if (file == NULL)
        fail_msg("%s cannot be read: the tests run in the source tree", path);
    struct text text;
    char piece[4096];
    size_t length;
    text_init(&text, 1 << 22);
    while ((length = fread(piece, 1, sizeof piece, file)) > 0)
        text_add(&text, piece, length);
    fclose(file);
    return text_take(&text);
}

static void readme_has_the_table(void **state) {
    (void)state;
    struct text table;
    char *readme = read_all("README.md");
    text_init(&table, 1 << 16);
    day_state_table(&table);
    assert_false(table.failed);
    if (strstr(readme, table.bytes) == NULL)
        fail_msg("README.md has another table of the states than the code:\n%s", table.bytes);
    text_release(&table);
    free(readme);
}

static void the_interface_knows_the_states(void **state) {
    (void)state;
    json_t *document = json_load_file("server/api/openapi.json", 0, NULL);
    json_t *schemas = json_object_get(json_object_get(document, "components"), "schemas");
    static const char *const places[] = {"Day", "StateChange"};
    for (size_t i = 0; i < COUNT_OF(places); i++) {
        json_t *properties = json_object_get(json_object_get(schemas, places[i]), "properties");
        json_t *names = json_object_get(json_object_get(properties, "state"), "enum");
        assert_int_equal(json_array_size(names), DAY_STATES);
        for (size_t n = 0; n < DAY_STATES; n++)
            assert_string_equal(json_string_value(json_array_get(names, n)),
                                day_state_name((enum day_state)n));
    }
    json_decref(document);
}

/* What the words promise: nobody is asked for a reason where there is no way, every
 * state but the first can be reached, and names come back. */
static void the_table_is_sound(void **state) {
    (void)state;
    bool reached[DAY_STATES] = {[DAY_PLANNED] = true};
    for (int from = 0; from < DAY_STATES; from++) {
        enum day_state back;
        assert_true(day_state_parse(day_state_name((enum day_state)from), &back));
        assert_int_equal(back, from);
        assert_true(day_state_meaning((enum day_state)from)[0] != '\0');
        for (int to = 0; to < DAY_STATES; to++) {
            bool reason;
            bool leads = day_state_leads((enum day_state)from, (enum day_state)to, &reason);
            assert_false(reason && !leads);
            assert_false(leads && from == to);
            reached[to] |= leads;
        }
    }
    for (int to = 0; to < DAY_STATES; to++)
        assert_true(reached[to]);
    enum day_state none;
    assert_false(day_state_parse("open", &none));
    assert_false(day_state_parse("", &none));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(readme_has_the_table),
        cmocka_unit_test(the_interface_knows_the_states),
        cmocka_unit_test(the_table_is_sound),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
