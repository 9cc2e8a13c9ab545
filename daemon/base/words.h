/* words.h - the event words and device kinds that the whole program speaks.
 *
 * Both are X-macro lists: the enum, the text and the properties of a word
 * stand in one row. Stored numbers are the positions in these lists, so rows
 * are only ever added at the end.
 */
#ifndef DAEMON_BASE_WORDS_H
#define DAEMON_BASE_WORDS_H

#include <stdbool.h>

#include "daemon/base/span.h"

enum word_property {
	WP_HEARD   = 1 << 0,	/* only the device's own transmission can cause it */
	WP_ALARM   = 1 << 1,	/* an alarm that somebody has to handle */
	WP_LIFE    = 1 << 2,	/* fire, heat, CO, gas, medical, panic, hold-up, duress */
	WP_ACTIVE  = 1 << 3,	/* brings one input into open, trip or alarm */
	WP_RETURN  = 1 << 4,	/* takes it back */
	WP_TEST    = 1 << 5,	/* begins or ends a test */
	WP_SILENT  = 1 << 6,	/* may be silent: not named on sheets left in a house */
};

/* X(ENUM, "text", properties) */
#define WORD_LIST(X) \
	X(OTHER, "other", 0) \
	X(ZONE_OPEN, "zone-open", WP_HEARD | WP_ACTIVE) \
	X(ZONE_CLOSE, "zone-close", WP_HEARD | WP_RETURN) \
	X(TRIP, "trip", WP_HEARD | WP_ACTIVE) \
	X(CLEAR, "clear", WP_HEARD | WP_RETURN) \
	X(BURGLARY_ALARM, "burglary-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE) \
	X(FIRE_ALARM, "fire-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE | WP_LIFE) \
	X(HEAT_ALARM, "heat-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE | WP_LIFE) \
	X(CO_ALARM, "co-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE | WP_LIFE) \
	X(GAS_ALARM, "gas-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE | WP_LIFE) \
	X(WATER_ALARM, "water-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE) \
	X(MEDICAL_ALARM, "medical-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE | WP_LIFE) \
	X(PANIC_ALARM, "panic-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE | WP_LIFE | WP_SILENT) \
	X(HOLD_UP_ALARM, "hold-up-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE | WP_LIFE | WP_SILENT) \
	X(DURESS_ALARM, "duress-alarm", WP_HEARD | WP_ALARM | WP_ACTIVE | WP_LIFE | WP_SILENT) \
	X(ALARM, "alarm", WP_HEARD | WP_ALARM | WP_ACTIVE) \
	X(ALARM_RESTORE, "alarm-restore", WP_RETURN) \
	X(NEAR_ALARM, "near-alarm", 0) \
	X(ALARM_VERIFIED, "alarm-verified", 0) \
	X(ALARM_CANCEL, "alarm-cancel", 0) \
	X(EXIT_ERROR, "exit-error", 0) \
	X(SWINGER, "swinger", 0) \
	X(TAMPER, "tamper", WP_HEARD) \
	X(TAMPER_RESTORE, "tamper-restore", 0) \
	X(LOW_BATTERY, "low-battery", WP_HEARD) \
	X(BATTERY_RESTORE, "battery-restore", 0) \
	X(CELL_REPLACED, "cell-replaced", 0) \
	X(SUPERVISION_LOSS, "supervision-loss", 0) \
	X(SUPERVISION_RESTORE, "supervision-restore", WP_HEARD) \
	X(CHECK_IN, "check-in", WP_HEARD) \
	X(TROUBLE, "trouble", 0) \
	X(TROUBLE_RESTORE, "trouble-restore", 0) \
	X(END_OF_LIFE, "end-of-life", 0) \
	X(SENSITIVITY, "sensitivity", 0) \
	X(FIRE_SUPERVISORY, "fire-supervisory", WP_LIFE) \
	X(FIRE_SUPERVISORY_RESTORE, "fire-supervisory-restore", WP_LIFE) \
	X(BYPASS, "bypass", 0) \
	X(UNBYPASS, "unbypass", 0) \
	X(ARM, "arm", 0) \
	X(ARM_STAY, "arm-stay", 0) \
	X(DISARM, "disarm", 0) \
	X(PROGRAM_ENTRY, "program-entry", 0) \
	X(PROGRAM_EXIT, "program-exit", 0) \
	X(PROGRAMMING_CHANGED, "programming-changed", 0) \
	X(DEVICE_ADDED, "device-added", 0) \
	X(DEVICE_REMOVED, "device-removed", 0) \
	X(EXTRA_DEVICE, "extra-device", 0) \
	X(LEARN_HEARD, "learn-heard", WP_HEARD) \
	X(LEARN_REFUSED, "learn-refused", 0) \
	X(LEARN, "learn", 0) \
	X(UNLEARN, "unlearn", 0) \
	X(WALK_TEST_BEGIN, "walk-test-begin", WP_TEST) \
	X(WALK_TEST_END, "walk-test-end", WP_TEST) \
	X(FIRE_TEST_BEGIN, "fire-test-begin", WP_TEST) \
	X(FIRE_TEST_END, "fire-test-end", WP_TEST) \
	X(ON_TEST_BEGIN, "on-test-begin", WP_TEST) \
	X(ON_TEST_END, "on-test-end", WP_TEST) \
	X(TEST, "test", WP_HEARD) \
	X(TEST_REPORT, "test-report", 0) \
	X(POWER_LOSS, "power-loss", 0) \
	X(POWER_RESTORE, "power-restore", 0) \
	X(PANEL_BATTERY_LOW, "panel-battery-low", 0) \
	X(PANEL_BATTERY_RESTORE, "panel-battery-restore", 0) \
	X(SOUNDER_TROUBLE, "sounder-trouble", 0) \
	X(SOUNDER_RESTORE, "sounder-restore", 0) \
	X(MODULE_LOSS, "module-loss", 0) \
	X(MODULE_RESTORE, "module-restore", 0) \
	X(COMM_LOSS, "comm-loss", 0) \
	X(COMM_RESTORE, "comm-restore", 0) \
	X(JAM, "jam", 0) \
	X(JAM_CLEAR, "jam-clear", 0) \
	X(RESTART, "restart", 0) \
	X(CLOCK_SET, "clock-set", 0) \
	X(LOG_CLEARED, "log-cleared", 0) \
	X(LOG_OVERFLOW, "log-overflow", 0) \
	X(RESTORE, "restore", 0)

enum word {
#define X(id, text, properties) W_##id,
	WORD_LIST(X)
#undef X
	WORD_COUNT
};

const char *word_text(enum word w);
unsigned word_properties(enum word w);
/* The word that `s` spells, letter case aside; false if none. */
bool word_find(struct span s, enum word *out);

/* X(ENUM, "text", life safety, heading for people) */
#define KIND_LIST(X) \
	X(UNKNOWN, "unknown", false, "device of unknown kind") \
	X(CONTACT, "contact", false, "contact") \
	X(MOTION, "motion", false, "motion detector") \
	X(GLASS_BREAK, "glass-break", false, "glass-break detector") \
	X(SHOCK, "shock", false, "shock detector") \
	X(SMOKE, "smoke", true, "smoke detector") \
	X(HEAT, "heat", true, "heat detector") \
	X(FLAME, "flame", true, "flame detector") \
	X(DUCT, "duct", true, "duct smoke detector") \
	X(CALL_POINT, "call-point", true, "fire call point") \
	X(WATER_FLOW, "water-flow", true, "sprinkler flow switch") \
	X(CO, "co", true, "carbon monoxide detector") \
	X(GAS, "gas", true, "gas detector") \
	X(WATER, "water", false, "water detector") \
	X(TEMPERATURE, "temperature", false, "temperature sensor") \
	X(KEYFOB, "keyfob", false, "keyfob") \
	X(PANIC, "panic", true, "panic button") \
	X(HOLD_UP, "hold-up", true, "hold-up button") \
	X(MEDICAL, "medical", true, "medical pendant") \
	X(KEYPAD, "keypad", false, "keypad") \
	X(SIREN, "siren", false, "siren") \
	X(REPEATER, "repeater", false, "repeater") \
	X(PANEL, "panel", false, "panel") \
	X(DEVICE_OTHER, "other", false, "other device")

enum kind {
#define X(id, text, life, heading) KIND_##id,
	KIND_LIST(X)
#undef X
	KIND_COUNT
};

const char *kind_text(enum kind k);
const char *kind_heading(enum kind k);		/* "smoke detector" */
bool kind_is_life(enum kind k);
/* The kind that `s` spells; "unknown" is not a word of the input. */
bool kind_find(struct span s, enum kind *out);

#endif
