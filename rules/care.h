/* care.h - the cautions, each worded in one place.
 *
 * Every output that mentions a life-safety device carries CARE_LIFE. Sources: the
 * advice that fire services and fire-protection associations publish for homes
 * (fresh air, count people, call, stay out until cleared); the rest is the trade's
 * usual practice.
 */
#ifndef RULES_CARE_H
#define RULES_CARE_H

#define CARE_LIFE \
	"Life safety: treat every alarm as real until the fire service or a qualified person " \
	"says otherwise. Never bypass it or take it off to stop noise. Local codes and " \
	"licensed practice decide."
#define CARE_CO \
	"Carbon monoxide has no smell and people may feel nothing yet: everybody to fresh air, " \
	"count people, call the fire service, stay out until they say it is safe."
#define CARE_MAYBE_LIFE \
	"The kind of this device is not known: it may be life safety. Find out first, and " \
	"treat its alarms as real until then."
#define CARE_SITE_TEST \
	"Before work: put the account on test with those who monitor it. After work: take it " \
	"off test and have them confirm it."
#define CARE_SITE_MAINS \
	"Isolate power before a cover comes off a mains device."
#define CARE_SITE_AUTHORISED \
	"Work only on systems you are authorised for."
#define CARE_DEFAULTS \
	"Told by the default settings: those in force here say less, and no setting silences " \
	"what is or may be life safety."
#define CARE_POINTERS \
	"Findings are pointers for a person, not proof of compliance with any standard."
#define CARE_CLOCK    "The panel's clock was set or reset in this span: times may be off."
#define CARE_LOG_LOST "The panel's log was cleared or overflowed in this span: events are missing."
#define CARE_GAP      "The exports have a gap in this span: nothing is known of that time."

#endif
