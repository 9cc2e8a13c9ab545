#include "rules/checks.h"

#include <string.h>

enum { CHECKS_MAX = 7 };

/* Is there a check under the same heading ("Cell: ...") already? */
static bool
has_heading(const struct finding *f, const char *text)
{
	size_t n = strcspn(text, ":") + 1;

	for (size_t i = 0; i < f->n_check; i++)
		if (strncmp(f->check[i], text, n) == 0)
			return true;
	return false;
}

static void
add_all(struct findings *out, struct finding *f, const char *const *list)
{
	for (; *list; list++)
		if (!has_heading(f, *list))
			finding_check(out, f, *list);
}

static const char *const unknown_kind[] = {
	"Find out what this device is; if it is life safety, stop here and treat its alarms as real.",
	NULL
};

static const char *const trips[KIND_COUNT][CHECKS_MAX] = {
	[KIND_CONTACT] = {
		"Magnet and contact: gap, alignment, both firmly fixed, nothing of steel behind.",
		"Door or window: does it latch, does it move in the wind or when a lorry passes?",
		"Wires and screw terminals of anything that is wired into the transmitter.",
		"Cell: voltage under load; change it if the device is near its cell's usual age.",
		"Housing: closed, dry, no cracks, tamper spring seated.",
	},
	[KIND_MOTION] = {
		"What is in its view: heater, air outlet, sun, curtain, balloon, plant, pet, insect.",
		"Mounting firm, height and angle as its instructions say, lens clean and seated.",
		"Door or window in its view that moves air when the place is empty.",
		"Cell: voltage under load; change it if the device is near its cell's usual age.",
		"Walk test after any change, with the account on test.",
	},
	[KIND_GLASS_BREAK] = {
		"Sources of sharp sound near by: dog, dishes, radio, compressor, bell.",
		"Sensitivity against the size of the room; test with its own tester.",
		"Loose panes, cracks, blinds that knock on the glass.",
		"Cell: voltage under load.",
	},
	[KIND_SHOCK] = {
		"Mounting firm on the frame itself; what shakes it: traffic, door closer, hail, birds.",
		"Sensitivity and pulse count against its instructions.",
		"Cell: voltage under load.",
	},
	[KIND_WATER] = {
		"Is it wet? Find the water before the fault.",
		"Probe clean and dry, not lying on metal, cable whole.",
		"Cleaning days, condensation, washing machine hoses.",
	},
	[KIND_TEMPERATURE] = {
		"Is the temperature really near its limit? Compare with a thermometer.",
		"Place: sun, air outlet, door of the cold room left open, defrosting.",
		"Limit and dead band as agreed with the customer.",
	},
	[KIND_KEYFOB] = {
		"Button stuck, or pressed in a pocket or bag.",
		"Cell and contacts; housing cracked or wet.",
	},
	[KIND_KEYPAD] = {
		"Keys stuck or wet, housing closed, tamper spring seated.",
		"Supply voltage at the keypad.",
	},
};

static const char *const trips_other[] = {
	"Mounting, wiring and housing: firm, dry, closed.",
	"What in its surroundings can set it off at these hours.",
	"Cell or supply: voltage under load.",
	"Radio: signal at its place, metal or machines added since.",
	NULL
};

static const char *const life_fire[] = {
	"Treat it as a fire: follow the station's fire instruction now; nobody goes in to look alone.",
	"Who was there and what was found? Write it down with the decision.",
	"Only after the all-clear: age of the detector, dust, insects, steam, cooking, building work.",
	"Have a qualified person test it in place; replace it at its marked end of life.",
	NULL
};

static const char *const life_gas[] = {
	"Everybody out into fresh air, count people, call the fire service; nobody goes back in.",
	"Who measured the air and what was found? Write it down with the decision.",
	"Only after the all-clear: heating, flue, stove, engine in a garage, by qualified persons.",
	"Detector: marked end of life, place as its instructions say.",
	NULL
};

static const char *const life_medical[] = {
	"Speak to the person, or send somebody who can; help goes out when nobody answers.",
	"Was help there and what was found? Write it down with the decision.",
	"Pendant: cell, strap, does the person press it by mistake? Show it once more.",
	NULL
};

static const char *const life_silent[] = {
	"Silent signal: follow the procedure agreed for it; do not ring the premises openly.",
	"Was it confirmed, and by whom? Write it down with the decision.",
	"Button or code: pressed by mistake? Place and guard of the button; instruct the users.",
	NULL
};

void
checks_trips(struct findings *out, struct finding *f, enum kind k)
{
	if (k == KIND_UNKNOWN)
		add_all(out, f, unknown_kind);
	add_all(out, f, trips[k][0] ? trips[k] : trips_other);
}

void
checks_life(struct findings *out, struct finding *f, enum kind k)
{
	switch (k) {
	case KIND_CO:
	case KIND_GAS:
		add_all(out, f, life_gas);
		break;
	case KIND_MEDICAL:
		add_all(out, f, life_medical);
		break;
	case KIND_PANIC:
	case KIND_HOLD_UP:
	case KIND_KEYFOB:
	case KIND_KEYPAD:
		add_all(out, f, life_silent);
		break;
	default:
		add_all(out, f, life_fire);
		break;
	}
}
