#include "parsers/reader_part.h"

#include <string.h>

#include "daemon/base/serial.h"
#include "daemon/base/strength.h"

/* Each returns NULL or the reason. */

/* Both ends of a cell of one byte or more, mixed by a multiply. */
static size_t
memo_slot(struct span s)
{
	uint64_t head = 0, tail = 0;

	if (s.n >= 8) {
		memcpy(&head, s.p, 8);
		memcpy(&tail, s.p + s.n - 8, 8);
	} else if (s.n >= 4) {
		memcpy(&head, s.p, 4);
		memcpy(&tail, s.p + s.n - 4, 4);
	} else {
		head = (unsigned char)s.p[0];
		tail = (uint64_t)(unsigned char)s.p[s.n / 2] << 8 | (unsigned char)s.p[s.n - 1];
	}
	head = (head ^ tail << 7 ^ s.n) * UINT64_C(0x9fb21c651e98df25);
	return (size_t)(head >> 40) % MEMO_SLOTS;
}

static const char *
event_meaning(struct reader *r, struct span cell, struct meaning *out)
{
	struct memo *m;

	if (cell.n == 0 || cell.n > MEMO_TEXT)
		return code_meaning(cell, out);
	m = &r->memo[memo_slot(cell)];
	if (m->n != cell.n || memcmp(m->text, cell.p, cell.n) != 0) {
		m->reason = code_meaning(cell, &m->meaning);
		m->n = (unsigned char)cell.n;
		memcpy(m->text, cell.p, cell.n);
	}
	if (m->reason)
		return m->reason;
	*out = m->meaning;
	return NULL;
}

static const char *
check_signal(struct span s)
{
	enum strength_unit unit;
	int16_t tenths;

	return strength_read(s, &unit, &tenths) ? NULL : "signal needs a number with dBm, % or bars";
}

/* A spreadsheet writes one digit before the point, which spares most cells the look. */
static bool
in_powers_of_ten(struct span s)
{
	return s.n > 3 && (s.p[1] == '.' || s.p[1] == ',' || (s.p[1] & ~0x20) == 'E') &&
	    serial_lost_digits(s);
}

static struct span
without_zeros(struct span s)
{
	while (s.n && *s.p == '0') {
		s.p++;
		s.n--;
	}
	return s;
}

/* Two numbers that are not the same; a name is neither the same nor another. */
static bool
other_number(struct span cell, const char *number)
{
	for (size_t i = 0; i < cell.n; i++) {
		if (cell.p[i] < '0' || cell.p[i] > '9')
			return false;
	}
	return cell.n && !span_eq(without_zeros(cell), without_zeros(span_of(number)));
}

/* A DC-05 message in the event cell: its parts fill the cells that are blank, and the
 * event cell becomes its code. Accounts of a message have four digits always, so the
 * zeros in front do not count. */
static const char *
take_message(struct reader *r, struct span cell[COL_COUNT])
{
	struct code_message *m = &r->message;
	struct span account = cell[COL_ACCOUNT];
	const char *why;

	if (cell[COL_EVENT].n < 9 || !code_message(cell[COL_EVENT], m, &why))
		return NULL;
	if (why)
		return why;
	if (*m->account && account.n &&
	    !span_eq_fold(without_zeros(account), without_zeros(span_of(m->account))))
		return "account differs from that of the DC-05 message";
	if (other_number(cell[COL_ZONE], m->zone))
		return "zone differs from that of the DC-05 message";
	if (other_number(cell[COL_PARTITION], m->partition))
		return "partition differs from that of the DC-05 message";
	if (!account.n)
		cell[COL_ACCOUNT] = span_of(m->account);
	if (!cell[COL_ZONE].n)
		cell[COL_ZONE] = span_of(m->zone);
	if (!cell[COL_PARTITION].n)
		cell[COL_PARTITION] = span_of(m->partition);
	cell[COL_EVENT] = span_of(m->event);
	return NULL;
}

static const char *
check_event(struct reader *r, struct row *row)
{
	const struct span *cell = row->cell;
	const char *why = take_message(r, row->cell);

	if (why)
		return why;
	if (cell[COL_ACCOUNT].n == 0)
		return "no account";
	if (in_powers_of_ten(cell[COL_ACCOUNT]))
		return "account in powers of ten has lost its digits";
	why = row->has_time ? NULL : stamp_parse_memo(&r->dates, cell[COL_TIME], &row->time);
	if (why)
		return why;
	row->has_time = true;
	why = r->run ? wordings_event(r->run, cell[COL_EVENT], cell[COL_TEXT], &row->meaning)
	    : event_meaning(r, cell[COL_EVENT], &row->meaning);
	if (why)
		return why;
	if (cell[COL_RECEIVED].n) {
		if (stamp_parse_memo(&r->received_dates, cell[COL_RECEIVED], &row->received))
			return "received is not readable as a time";
		row->has_received = true;
	}
	if (cell[COL_SIGNAL].n)
		return check_signal(cell[COL_SIGNAL]);
	return NULL;
}

/* An optional date or time. */
static const char *
check_day(const struct reader *r, struct span s, bool *has, struct stamp *out,
    const char *reason)
{
	bool alone;

	if (s.n == 0)
		return NULL;
	if (stamp_read(r->dates.order, s, out, &alone))
		return reason;
	*has = true;
	return NULL;
}

static const char *
check_kind(struct reader *r, struct span s, enum kind *out)
{
	if (r->run)
		return wordings_device(r->run, s, out);
	if (s.n && !kind_find(s, out))
		return "device kind not recognised";
	return NULL;
}

static const char *
check_roster(struct reader *r, struct row *row)
{
	const struct span *cell = row->cell;
	const char *why;

	if (cell[COL_ACCOUNT].n == 0)
		return "no account";
	if (cell[COL_DEVICE].n == 0)
		return "no device kind";
	if (cell[COL_ZONE].n == 0 && cell[COL_SERIAL].n == 0)
		return "no zone and no serial";
	if ((why = check_kind(r, cell[COL_DEVICE], &row->kind)) ||
	    (why = check_day(r, cell[COL_INSTALLED], &row->has_installed, &row->installed,
	    "installed is not readable as a date")) ||
	    (why = check_day(r, cell[COL_AS_OF], &row->has_as_of, &row->as_of,
	    "as_of is not readable as a date or time")))
		return why;
	if (cell[COL_CELLS].n && !span_to_int(cell[COL_CELLS], 1, 99, &row->cells))
		return "cells is not a number from 1 to 99";
	if (cell[COL_CHECKIN].n && !span_to_duration(cell[COL_CHECKIN], &row->checkin))
		return "checkin is not an interval such as 200s, 90m, 12h";
	return NULL;
}

static const char *
check_sites(const struct reader *r, struct row *row)
{
	if (row->cell[COL_ACCOUNT].n == 0)
		return "no account";
	if (row->cell[COL_TIMEZONE].n == 0)
		return "no timezone";
	return check_day(r, row->cell[COL_SINCE], &row->has_since, &row->since,
	    "since is not readable as a date or time");
}

/* The two ends of a visit: `to` counts from a date alone as the end of that day. */
static bool
visit_end(enum stamp_order order, struct span s, struct stamp *from, struct stamp *to, bool *alone)
{
	s = span_trim(s);
	if (stamp_read(order, s, from, alone))
		return false;
	*to = *from;
	if (*alone)
		to->wall += 86400;
	return true;
}

/* Not known where one of the two is local and the other has an offset. A day that ends
 * when the visit begins was over before. */
static bool
ends_before(const struct stamp *from, const struct stamp *to, bool day)
{
	bool local = from->offset == OFFSET_LOCAL;
	int64_t length = to->wall - from->wall;

	if (local != (to->offset == OFFSET_LOCAL))
		return false;
	if (!local)
		length -= (to->offset - from->offset) * 60;
	return day ? length <= 0 : length < 0;
}

static const char *
check_plan(struct reader *r, struct row *row)
{
	const struct span *cell = row->cell;
	const enum stamp_order order = r->dates.order;
	struct span visit = cell[COL_VISIT];
	struct stamp other;
	bool day;
	size_t n;

	if (cell[COL_ACCOUNT].n == 0)
		return "no account";
	if (cell[COL_SERIAL].n == 0)
		return "no serial";
	if (visit.n == 0)
		return "no visit";
	if (!visit_end(order, visit, &row->visit_from, &row->visit_to, &day)) {
		/* A date may have slashes too: the one between is that with a time on both sides. */
		for (n = 1; n < visit.n; n++) {
			if (visit.p[n] == '/' &&
			    visit_end(order, (struct span){ visit.p, n }, &row->visit_from, &other,
			    &day) && visit_end(order, (struct span){ visit.p + n + 1,
			    visit.n - n - 1 }, &other, &row->visit_to, &day))
				break;
		}
		if (n >= visit.n)
			return "visit is not a date, a time or from/to";
		if (ends_before(&row->visit_from, &row->visit_to, day))
			return "visit ends before it begins";
	}
	row->has_visit = true;
	if (cell[COL_ORDER].n && !span_to_int(cell[COL_ORDER], 1, 1000000, &row->order))
		return "order is not a number from 1 to 1000000";
	return check_kind(r, cell[COL_DEVICE], &row->kind);
}

static const char *
check_service(const struct reader *r, struct row *row)
{
	const char *why;

	if (row->cell[COL_ACCOUNT].n == 0)
		return "no account";
	why = stamp_read(r->dates.order, row->cell[COL_TIME], &row->time, NULL);
	if (why)
		return why;
	row->has_time = true;
	return row->cell[COL_WHAT].n ? NULL : "not said what was done";
}

static const char *
check_settings(struct row *row)
{
	if (row->cell[COL_RULE].n == 0)
		return "no rule";
	if (row->cell[COL_SETTING].n == 0)
		return "no setting";
	return row->cell[COL_VALUE].n ? NULL : "no value";
}

static const char *
check_decisions(const struct reader *r, struct row *row)
{
	static const char *const words[] = { "seen", "planned", "expected" };
	const struct span *cell = row->cell;
	size_t i = 0;

	if (cell[COL_FINDING].n == 0)
		return "no finding";
	if (cell[COL_DECISION].n == 0)
		return "no decision";
	if (cell[COL_WHO].n == 0)
		return "not said who decided";
	while (i < 3 && !span_eq_fold(cell[COL_DECISION], span_of(words[i])))
		i++;
	if (i == 3)
		return "decision is not one of seen, planned, expected";
	if (i > 0 && cell[COL_UNTIL].n == 0)
		return "planned and expected need until";
	return check_day(r, cell[COL_UNTIL], &row->has_until, &row->until,
	    "until is not readable as a date or time");
}

const char *
reader_check(struct reader *r, struct row *row)
{
	if (in_powers_of_ten(row->cell[COL_SERIAL]) && r->n_lost++ == 0)
		r->lost_line = row->line;
	switch (r->info.kind) {
	case FILE_EVENTS:    return check_event(r, row);
	case FILE_ROSTER:    return check_roster(r, row);
	case FILE_SITES:     return check_sites(r, row);
	case FILE_PLAN:      return check_plan(r, row);
	case FILE_SERVICE:   return check_service(r, row);
	case FILE_SETTINGS:  return check_settings(row);
	case FILE_DECISIONS: return check_decisions(r, row);
	case FILE_WORDINGS:  break;	/* whole or not at all: see wordings_add() */
	case FILE_KINDS:     break;
	}
	return NULL;
}
