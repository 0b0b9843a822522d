/*
 * setpoint_text: a setpoint or deadband as a person writes it, "70 %", "0.5 inH2O", "45 min",
 * "0.90". Which of these a condition takes follows from the table of conditions. Pure.
 */
#ifndef SETTINGS_SETPOINT_TEXT_H
#define SETTINGS_SETPOINT_TEXT_H

#include "alarm/condition.h"

#include <stdbool.h>
#include <stddef.h>

/* How a setpoint may be written. */
enum setpoint_form {
    FORM_NONE,
    FORM_OF_BASELINE,     /* 70 %, or a value */
    FORM_OF_ACTION_LEVEL, /* 200 %, or a value */
    FORM_VALUE,
    FORM_SPAN,
    FORM_FRACTION
};

/** What a text is read for. */
struct setpoint_text {
    bool of_point; /* then of one quantity and dimension */
    enum quantity quantity;
    enum dimension dimension;
    const struct condition_info *info;
    enum setpoint_form form;
};

/** How the setpoint of a condition may be written. */
enum setpoint_form setpoint_text_form(const struct condition_info *info);

/** False, result untouched, when the text is not allowed here. A deadband is a difference. */
bool setpoint_text_parse(const struct setpoint_text *context, const char *text,
                         struct setpoint *setpoint);
bool setpoint_text_parse_deadband(const struct setpoint_text *context, const char *text,
                                  struct setpoint *deadband);

/** What is allowed, for an error. The first writes into `text` and returns it. */
const char *setpoint_text_allowed(const struct setpoint_text *context, char *text, size_t size);
const char *setpoint_text_allowed_deadband(const struct setpoint_text *context);

#endif
