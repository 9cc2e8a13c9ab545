/* activation.h - when an input went off, and for how long.
 *
 * An activation is a change of one input into open, trip or alarm. While the input is
 * active, further open or alarm reports are the same activation, whatever the time. An
 * input that never reports a return in this log has no end to wait for: there, reports
 * within 2 s of the one before are one activation. Open, close and open within one second
 * are two. Rows marked *still* begin nothing.
 *
 * One transmitter may serve several zones; each is an input of its own. The first eight
 * are told apart (more than any transmitter has); further ones count as the eighth.
 */
#ifndef RULES_ACTIVATION_H
#define RULES_ACTIVATION_H

#include "rules/view.h"

enum { ACTIVATION_INPUTS = 8 };

struct activation {
	int64_t  start;
	int64_t  end;		/* NO_TIME = no return in the log */
	uint32_t event;		/* the first report: index in view.event */
	uint16_t reports;	/* open, trip and alarm reports in it; stops at 65535 */
	uint8_t  input;		/* 0..ACTIVATION_INPUTS - 1, in the order first met */
	bool     alarm;		/* one of the reports was an alarm */
	bool     loose;		/* no short gap may be computed from its start: stamped to the
				 * minute, while a buffer was emptied, or by a reset clock */
	bool     loose_end;	/* the same for its end */
};

/* Zeroed = empty; can be filled again and again. */
struct activations {
	struct activation *one;	/* ascending by start; heap, given to the list */
	size_t             n, cap;
};

/* The device's activations that start at or after `from` (NO_TIME: all); what went
 * before still decides which reports are one. Replaces what the list held. */
void activations_of(const struct view *v, int32_t device, int64_t from, struct activations *out);
void activations_release(struct activations *list);

#endif
