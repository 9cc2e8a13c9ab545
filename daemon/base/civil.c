#include "daemon/base/civil.h"

#include <stdio.h>

/* Both directions by counting eras of 400 years from 1 March, so that the
 * leap day is the last day of its year and needs no special case. */
int64_t
civil_days(int year, int month, int day)
{
	int64_t y = month <= 2 ? year - 1 : year;
	int64_t era = (y >= 0 ? y : y - 399) / 400;
	int64_t of_era = y - era * 400;
	int64_t of_year = (153 * (month > 2 ? month - 3 : month + 9) + 2) / 5 + day - 1;

	return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

int
civil_month_days(int year, int month)
{
	static const int days[] = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };

	if (month == 2 && year % 4 == 0 && (year % 100 != 0 || year % 400 == 0))
		return 29;
	return days[month - 1];
}

int64_t
civil_to_ms(const struct civil *c)
{
	return civil_days(c->year, c->month, c->day) * DAY + c->hour * HOUR +
	    c->minute * MINUTE + c->second * SECOND + c->ms;
}

static int64_t
floor_div(int64_t a, int64_t b)
{
	return a / b - (a % b < 0);
}

void
civil_from_ms(int64_t ms, struct civil *out)
{
	int64_t days = floor_div(ms, DAY), rest = (ms % DAY + DAY) % DAY;
	int64_t z = days + 719468, era = floor_div(z, 146097);
	int64_t of_era = z - era * 146097;
	int64_t yoe = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
	int64_t of_year = of_era - (365 * yoe + yoe / 4 - yoe / 100);
	int64_t mp = (5 * of_year + 2) / 153;

	out->day = (int)(of_year - (153 * mp + 2) / 5 + 1);
	out->month = (int)(mp < 10 ? mp + 3 : mp - 9);
	out->year = (int)(yoe + era * 400 + (out->month <= 2));
	out->hour = (int)(rest / HOUR);
	out->minute = (int)(rest / MINUTE % 60);
	out->second = (int)(rest / SECOND % 60);
	out->ms = (int)(rest % SECOND);
}

int
civil_weekday(int64_t ms)
{
	int64_t days = floor_div(ms, DAY);	/* 1970-01-01 was a Thursday */

	return (int)((days % 7 + 7 + 3) % 7);
}

char *
civil_rfc3339(int64_t ms, char *out)
{
	struct civil c;

	out[0] = '\0';
	if (ms == NO_TIME)
		return out;
	civil_from_ms(ms, &c);
	if (c.ms)
		snprintf(out, CIVIL_TEXT, "%04d-%02d-%02dT%02d:%02d:%02d.%03dZ", c.year,
		    c.month, c.day, c.hour, c.minute, c.second, c.ms);
	else
		snprintf(out, CIVIL_TEXT, "%04d-%02d-%02dT%02d:%02d:%02dZ", c.year,
		    c.month, c.day, c.hour, c.minute, c.second);
	return out;
}

char *
civil_short(int64_t ms, char *out)
{
	struct civil c;

	out[0] = '\0';
	if (ms == NO_TIME)
		return out;
	civil_from_ms(ms, &c);
	snprintf(out, CIVIL_TEXT, "%04d-%02d-%02d %02d:%02d", c.year, c.month, c.day,
	    c.hour, c.minute);
	return out;
}
