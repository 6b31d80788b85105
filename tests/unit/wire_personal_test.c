/* SPDX-License-Identifier: MIT */
/* What looks personal in a public text, and what of a measurement's words must not.
 * Addresses are from the names kept for examples (RFC 2606, RFC 5322 appendix A);
 * numbers are written as ITU-T E.123 shows national and international ones. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "server/wire/personal.h"

static void kinds(void **state) {
    static const struct {
        const char *text;
        enum personal kind;
    } rows[] = {
        {"john.q.public@example.com", PERSONAL_MAIL},
        {"write to jdoe@one.test.example, please", PERSONAL_MAIL},
        {"class 3b <sky+3b@example.org>", PERSONAL_MAIL},
        {"(0609) 123 4567", PERSONAL_TELEPHONE},
        {"+22 609 123 4567", PERSONAL_TELEPHONE},
        {"call 01.23.45.67.89 at noon", PERSONAL_TELEPHONE},
        {"tel 5551234567", PERSONAL_TELEPHONE},
        {"", PERSONAL_NONE},
        {"Escuela No. 4537", PERSONAL_NONE},
        {"clear, some wind from the west", PERSONAL_NONE},
        {"measured @ noon", PERSONAL_NONE},
        {"a@b", PERSONAL_NONE},
        {"@example.org", PERSONAL_NONE},
        {"cloud 12:10 to 12:25, then clear", PERSONAL_NONE},
        {"plate levelled 2027-03-20 in the morning", PERSONAL_NONE},
        {"mark at 1178.3 mm, foot at 12.5 mm", PERSONAL_NONE},
        {"gnomon 1200 mm, 20 mm thick", PERSONAL_NONE},
        {"at -23.4567 -66.5432", PERSONAL_NONE},
        {"1234567890123456 is no number to dial", PERSONAL_NONE},
        {"Colegio Ñandú, salón 12", PERSONAL_NONE},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (personal_find(rows[i].text) != rows[i].kind)
            fail_msg("\"%s\": %d", rows[i].text, (int)personal_find(rows[i].text));
}

static void the_warning_names_the_field(void **state) {
    struct warnings warnings = {.count = 0};
    (void)state;
    personal_warn("/name", "Puna School", &warnings);
    assert_int_equal(warnings.count, 0);
    personal_warn("/note", "ask maro@example.org", &warnings);
    assert_int_equal(warnings.count, 1);
    assert_string_equal(warning_name(warnings.item[0].code), "personal_text");
    assert_string_equal(warnings.item[0].field, "/note");
    assert_non_null(strstr(warnings.item[0].detail, "mail address"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(kinds),
        cmocka_unit_test(the_warning_names_the_field),
    };
    return cmocka_run_group_tests_name("wire personal", tests, NULL, NULL);
}
