#include "parsers/codes.h"

#include <string.h>

/* How to read the rows: word at the beginning, word at the end, what the zone
 * cell holds, life safety, kind of device implied, meaning.
 *
 * Choices that are ours, for codes whose end is not an event of its own:
 * - OTHER as the end keeps the row with its code and ends nothing. So it is
 *   for near alarms, sensitivity and end of life: ending "the" open condition
 *   of a zone by them could hide a real alarm or trouble.
 * - A code about a module, receiver, line or the panel's parts is about the
 *   panel (PANEL), whatever number stands with it: a module is no zone.
 * - 404, 453, 454, 459 and the like tell about a schedule; they arm nothing. */
#define ROW(code, begins, ends, addr, life, hint, text) \
	{ code, W_##begins, W_##ends, ADDR_##addr, life, KIND_##hint, text },
#define ALARM_(code, word, life, hint, text) \
	ROW(code, word, ALARM_RESTORE, ZONE, life, hint, text)
#define TROUBLE_(code, addr, text) \
	ROW(code, TROUBLE, TROUBLE_RESTORE, addr, false, UNKNOWN, text)
#define NOTE(code, addr, text)     ROW(code, OTHER, OTHER, addr, false, UNKNOWN, text)
#define PANEL_(code, begins, ends, text) ROW(code, begins, ends, PANEL, false, UNKNOWN, text)
#define ARMING(code, text)         ROW(code, DISARM, ARM, USER, false, UNKNOWN, text)
#define BYPASS_(code, addr, life, text) ROW(code, BYPASS, UNBYPASS, addr, life, UNKNOWN, text)

/* ANSI/SIA DC-05, the event codes of its appendix C (1999 edition). Rows with
 * [later] stand in lists in common use that are younger than that edition. */
static const struct code_row dc05[] = {
	/* 10x medical */
	ALARM_("100", MEDICAL_ALARM, true, MEDICAL, "medical alarm")
	ALARM_("101", MEDICAL_ALARM, true, MEDICAL, "personal emergency")
	ALARM_("102", MEDICAL_ALARM, true, UNKNOWN, "person failed to report in")
	/* 11x fire */
	ALARM_("110", FIRE_ALARM, true, UNKNOWN, "fire alarm")
	ALARM_("111", FIRE_ALARM, true, SMOKE, "smoke")
	ALARM_("112", FIRE_ALARM, true, UNKNOWN, "combustion")
	ALARM_("113", FIRE_ALARM, true, WATER_FLOW, "sprinkler water flow")
	ALARM_("114", HEAT_ALARM, true, HEAT, "heat")
	ALARM_("115", FIRE_ALARM, true, CALL_POINT, "fire call point")
	ALARM_("116", FIRE_ALARM, true, DUCT, "smoke in a duct")
	ALARM_("117", FIRE_ALARM, true, FLAME, "flame")
	ROW("118", NEAR_ALARM, OTHER, ZONE, true, UNKNOWN, "fire pre-alarm")
	/* 12x panic */
	ALARM_("120", PANIC_ALARM, true, PANIC, "panic alarm")
	ROW("121", DURESS_ALARM, ALARM_RESTORE, USER, true, UNKNOWN, "duress")
	ALARM_("122", PANIC_ALARM, true, PANIC, "silent panic alarm")
	ALARM_("123", PANIC_ALARM, true, PANIC, "audible panic alarm")
	ALARM_("124", DURESS_ALARM, true, UNKNOWN, "duress, access granted")
	ALARM_("125", DURESS_ALARM, true, UNKNOWN, "duress, egress granted")
	ROW("126", HOLD_UP_ALARM, ALARM_RESTORE, USER, true, UNKNOWN,
	    "hold-up suspected, picture taken")			/* [later] */
	/* 13x, 14x burglary */
	ALARM_("130", BURGLARY_ALARM, false, UNKNOWN, "burglary alarm")
	ALARM_("131", BURGLARY_ALARM, false, UNKNOWN, "perimeter alarm")
	ALARM_("132", BURGLARY_ALARM, false, UNKNOWN, "interior alarm")
	ALARM_("133", BURGLARY_ALARM, false, UNKNOWN, "24-hour zone, safe")
	ALARM_("134", BURGLARY_ALARM, false, UNKNOWN, "entry or exit route alarm")
	ALARM_("135", BURGLARY_ALARM, false, UNKNOWN, "day/night zone alarm")
	ALARM_("136", BURGLARY_ALARM, false, UNKNOWN, "outdoor alarm")
	ROW("137", TAMPER, TAMPER_RESTORE, ZONE, false, UNKNOWN, "tamper alarm")
	ROW("138", NEAR_ALARM, OTHER, ZONE, false, UNKNOWN, "intrusion near alarm")
	ROW("139", ALARM_VERIFIED, OTHER, ZONE, false, UNKNOWN, "intrusion verified")
	ALARM_("140", ALARM, false, UNKNOWN, "general alarm")
	TROUBLE_("141", PANEL, "polling loop open while armed")
	TROUBLE_("142", PANEL, "polling loop short while armed")
	PANEL_("143", MODULE_LOSS, MODULE_RESTORE, "expansion module failure while armed")
	ROW("144", TAMPER, TAMPER_RESTORE, ZONE, false, UNKNOWN, "sensor tamper alarm")
	PANEL_("145", TAMPER, TAMPER_RESTORE, "expansion module tamper alarm")
	ALARM_("146", BURGLARY_ALARM, false, UNKNOWN, "silent burglary alarm")
	ROW("147", SUPERVISION_LOSS, SUPERVISION_RESTORE, ZONE, false, UNKNOWN,
	    "sensor supervision lost while armed")
	/* 15x, 16x 24-hour, not burglary */
	ALARM_("150", ALARM, false, UNKNOWN, "24-hour zone, not burglary")
	ALARM_("151", GAS_ALARM, true, GAS, "gas detected")
	ALARM_("152", ALARM, false, TEMPERATURE, "refrigeration alarm")
	ALARM_("153", ALARM, false, TEMPERATURE, "loss of heat")
	ALARM_("154", WATER_ALARM, false, WATER, "water leak")
	ALARM_("155", ALARM, false, UNKNOWN, "foil break")
	TROUBLE_("156", ZONE, "day trouble")
	ALARM_("157", ALARM, false, UNKNOWN, "bottled gas low")
	ALARM_("158", ALARM, false, TEMPERATURE, "high temperature")
	ALARM_("159", ALARM, false, TEMPERATURE, "low temperature")
	ALARM_("161", ALARM, false, UNKNOWN, "loss of air flow")
	ALARM_("162", CO_ALARM, true, CO, "carbon monoxide detected")
	ALARM_("163", ALARM, false, UNKNOWN, "tank level")
	ALARM_("168", ALARM, false, UNKNOWN, "high humidity")	/* [later] */
	ALARM_("169", ALARM, false, UNKNOWN, "low humidity")	/* [later] */
#define SUPERVISORY(code, text) ROW(code, FIRE_SUPERVISORY, FIRE_SUPERVISORY_RESTORE, ZONE, \
	true, UNKNOWN, text)
	/* 20x fire supervisory */
	SUPERVISORY("200", "fire supervisory")
	SUPERVISORY("201", "fire supervisory: low water pressure")
	SUPERVISORY("202", "fire supervisory: extinguishing gas (CO2) low")
	SUPERVISORY("203", "fire supervisory: gate valve")
	SUPERVISORY("204", "fire supervisory: low water level")
	SUPERVISORY("205", "fire supervisory: pump running")
	SUPERVISORY("206", "fire supervisory: pump failure")
	/* 30x, 31x system troubles */
	TROUBLE_("300", PANEL, "system trouble")
	PANEL_("301", POWER_LOSS, POWER_RESTORE, "mains power lost")
	PANEL_("302", PANEL_BATTERY_LOW, PANEL_BATTERY_RESTORE, "panel battery low")
	TROUBLE_("303", PANEL, "memory (RAM) checksum bad")
	TROUBLE_("304", PANEL, "memory (ROM) checksum bad")
	PANEL_("305", RESTART, OTHER, "system restarted")
	PANEL_("306", PROGRAMMING_CHANGED, OTHER, "panel programming changed")
	TROUBLE_("307", PANEL, "self-test failure")
	TROUBLE_("308", PANEL, "system shut down")
	PANEL_("309", PANEL_BATTERY_LOW, PANEL_BATTERY_RESTORE, "panel battery test failed")
	TROUBLE_("310", PANEL, "ground fault")
	PANEL_("311", PANEL_BATTERY_LOW, PANEL_BATTERY_RESTORE, "panel battery missing or dead")
	TROUBLE_("312", PANEL, "power supply overcurrent")
	NOTE("313", USER, "engineer reset")
	TROUBLE_("314", PANEL, "primary power supply failure")	/* [later] */
	PANEL_("316", TAMPER, TAMPER_RESTORE, "system tamper")	/* [later] */
#define SOUNDER(code, text) PANEL_(code, SOUNDER_TROUBLE, SOUNDER_RESTORE, text)
	/* 32x sounders and relays */
	SOUNDER("320", "sounder or relay trouble")
	SOUNDER("321", "bell 1 trouble")
	SOUNDER("322", "bell 2 trouble")
	SOUNDER("323", "alarm relay trouble")
	SOUNDER("324", "trouble relay trouble")
	SOUNDER("325", "reversing relay trouble")
	SOUNDER("326", "notification circuit 3 trouble")
	SOUNDER("327", "notification circuit 4 trouble")
	/* 33x, 34x peripherals */
	TROUBLE_("330", PANEL, "system peripheral trouble")
	TROUBLE_("331", PANEL, "polling loop open")
	TROUBLE_("332", PANEL, "polling loop short")
	PANEL_("333", MODULE_LOSS, MODULE_RESTORE, "expansion module failure")
	ROW("334", MODULE_LOSS, MODULE_RESTORE, PANEL, false, REPEATER, "repeater failure")
	TROUBLE_("335", PANEL, "printer out of paper")
	TROUBLE_("336", PANEL, "printer failure")
	TROUBLE_("337", PANEL, "expansion module: DC supply lost")
	PANEL_("338", PANEL_BATTERY_LOW, PANEL_BATTERY_RESTORE, "expansion module: battery low")
	NOTE("339", PANEL, "expansion module restarted")
	PANEL_("341", TAMPER, TAMPER_RESTORE, "expansion module tamper")
	TROUBLE_("342", PANEL, "expansion module: mains lost")
	TROUBLE_("343", PANEL, "expansion module self-test failure")
	PANEL_("344", JAM, JAM_CLEAR, "RF receiver jammed")
	NOTE("345", PANEL, "encryption switched")		/* [later] */
#define COMM(code, text) PANEL_(code, COMM_LOSS, COMM_RESTORE, text)
	/* 35x, 36x communication */
	COMM("350", "communication trouble")
	COMM("351", "phone line 1 fault")
	COMM("352", "phone line 2 fault")
	COMM("353", "long-range radio transmitter fault")
	COMM("354", "failed to communicate an event")
	COMM("355", "long-range radio: supervision lost")
	COMM("356", "central polling lost")
	COMM("357", "long-range radio: antenna mismatch (VSWR)")
	COMM("358", "periodic communication test failed")	/* [later] */
	PANEL_("360", DEVICE_ADDED, OTHER, "new registration")	/* [later] */
	PANEL_("361", PROGRAMMING_CHANGED, OTHER, "authorised substitution registered") /* [later] */
	PANEL_("362", EXTRA_DEVICE, OTHER, "unauthorised substitution registered") /* [later] */
	NOTE("365", PANEL, "module firmware update")		/* [later] */
	TROUBLE_("366", PANEL, "module firmware update failed")	/* [later] */
	/* 37x protection loops */
	TROUBLE_("370", ZONE, "protection loop trouble")
	TROUBLE_("371", ZONE, "protection loop open")
	TROUBLE_("372", ZONE, "protection loop short")
	ROW("373", TROUBLE, TROUBLE_RESTORE, ZONE, true, UNKNOWN, "fire trouble")
	ROW("374", EXIT_ERROR, RESTORE, ZONE, false, UNKNOWN, "exit error, zone")
	ROW("375", TROUBLE, TROUBLE_RESTORE, ZONE, true, PANIC, "panic zone trouble")
	ROW("376", TROUBLE, TROUBLE_RESTORE, ZONE, true, HOLD_UP, "hold-up zone trouble")
	ROW("377", SWINGER, OTHER, ZONE, false, UNKNOWN, "swinger trouble")
	TROUBLE_("378", ZONE, "cross-zone trouble")
	/* 38x, 39x sensors */
	TROUBLE_("380", ZONE, "sensor trouble")
	ROW("381", SUPERVISION_LOSS, SUPERVISION_RESTORE, ZONE, false, UNKNOWN,
	    "RF supervision lost")
	ROW("382", SUPERVISION_LOSS, SUPERVISION_RESTORE, ZONE, false, UNKNOWN,
	    "supervision of a polled sensor lost")
	ROW("383", TAMPER, TAMPER_RESTORE, ZONE, false, UNKNOWN, "sensor tamper")
	ROW("384", LOW_BATTERY, BATTERY_RESTORE, ZONE, false, UNKNOWN, "RF low battery")
	ROW("385", SENSITIVITY, OTHER, ZONE, true, SMOKE, "smoke detector too sensitive")
	ROW("386", SENSITIVITY, OTHER, ZONE, true, SMOKE, "smoke detector not sensitive enough")
	ROW("387", SENSITIVITY, OTHER, ZONE, false, UNKNOWN, "intrusion detector too sensitive")
	ROW("388", SENSITIVITY, OTHER, ZONE, false, UNKNOWN,
	    "intrusion detector not sensitive enough")
	TROUBLE_("389", ZONE, "sensor self-test failure")
	ROW("391", TROUBLE, TROUBLE_RESTORE, ZONE, false, MOTION,
	    "sensor watch: no trip in the set time")
	TROUBLE_("392", ZONE, "drift compensation error")
	TROUBLE_("393", ZONE, "maintenance alert")
	ROW("394", END_OF_LIFE, OTHER, ZONE, true, CO, "CO detector at its end of life") /* [later] */
	/* 4xx opening (qualifier 1) and closing (qualifier 3), remote and door access */
	ARMING("400", "opening or closing")
	ARMING("401", "opening or closing by user")
	ARMING("402", "group opening or closing")
	ARMING("403", "automatic opening or closing")
	NOTE("404", USER, "late to open or close")
	NOTE("405", USER, "deferred opening or closing")
	ROW("406", ALARM_CANCEL, OTHER, USER, false, UNKNOWN, "cancelled by user")
	ARMING("407", "remote arming or disarming")
	ARMING("408", "quick arming")
	ARMING("409", "keyswitch opening or closing")
	NOTE("411", USER, "callback requested")
	ROW("412", PROGRAMMING_CHANGED, OTHER, USER, false, UNKNOWN, "remote access succeeded")
	NOTE("413", USER, "remote access failed")
	NOTE("414", USER, "system shutdown ordered")
	NOTE("415", USER, "dialler shutdown ordered")
	NOTE("416", PANEL, "upload succeeded")
	ROW("418", ALARM_CANCEL, OTHER, USER, false, UNKNOWN, "cancelled remotely") /* [later] */
	NOTE("419", USER, "verified remotely")			/* [later] */
	NOTE("421", USER, "access denied")
	NOTE("422", USER, "access by user")
	ALARM_("423", ALARM, false, UNKNOWN, "forced access")
	NOTE("424", USER, "egress denied")
	NOTE("425", USER, "egress granted")
	TROUBLE_("426", ZONE, "door propped open")
	TROUBLE_("427", ZONE, "door status monitor trouble")
	TROUBLE_("428", ZONE, "request-to-exit trouble")
	ROW("429", PROGRAM_ENTRY, PROGRAM_EXIT, USER, false, UNKNOWN, "access program mode entered")
	ROW("430", PROGRAM_EXIT, OTHER, USER, false, UNKNOWN, "access program mode left")
	NOTE("431", USER, "access threat level changed")
	TROUBLE_("432", ZONE, "access relay failure")
	BYPASS_("433", ZONE, false, "request-to-exit shunted")
	BYPASS_("434", ZONE, false, "door status monitor shunted")
	NOTE("435", USER, "second person access")		/* [later] */
	NOTE("436", USER, "irregular access")			/* [later] */
	ROW("441", DISARM, ARM_STAY, USER, false, UNKNOWN, "armed stay")
	ROW("442", DISARM, ARM_STAY, USER, false, UNKNOWN, "armed stay by keyswitch")
	ARMING("443", "armed over a trouble")			/* [later] */
	ARMING("450", "opening or closing outside the schedule")
	ARMING("451", "early opening or closing")
	ARMING("452", "late opening or closing")
	NOTE("453", USER, "failed to open")
	NOTE("454", USER, "failed to close")
	NOTE("455", USER, "automatic arming failed")
	ROW("456", DISARM, ARM_STAY, USER, false, UNKNOWN, "partial arming")
	ROW("457", EXIT_ERROR, OTHER, USER, false, UNKNOWN, "exit error, user")
	NOTE("458", USER, "user on the premises")
	NOTE("459", USER, "recent closing")
	NOTE("461", PANEL, "wrong code entered")
	NOTE("462", USER, "legal code entered")
	ROW("463", ARM, ARM, USER, false, UNKNOWN, "armed again after an alarm")
	NOTE("464", USER, "automatic arming put off")
	ROW("465", ALARM_RESTORE, OTHER, ZONE, true, PANIC, "panic alarm reset")
	NOTE("466", USER, "service on or off the premises")
	/* 5xx disabled and bypassed */
	NOTE("501", PANEL, "access reader disabled")
	BYPASS_("520", PANEL, false, "sounder or relay disabled")
	BYPASS_("521", PANEL, false, "bell 1 disabled")
	BYPASS_("522", PANEL, false, "bell 2 disabled")
	BYPASS_("523", PANEL, false, "alarm relay disabled")
	BYPASS_("524", PANEL, false, "trouble relay disabled")
	BYPASS_("525", PANEL, false, "reversing relay disabled")
	BYPASS_("526", PANEL, false, "notification circuit 3 disabled")
	BYPASS_("527", PANEL, false, "notification circuit 4 disabled")
	PANEL_("531", DEVICE_ADDED, OTHER, "module added")
	PANEL_("532", DEVICE_REMOVED, OTHER, "module removed")
	BYPASS_("551", PANEL, false, "dialler disabled")
	BYPASS_("552", PANEL, false, "radio transmitter disabled")
	BYPASS_("553", PANEL, false, "remote up- and download disabled")
	BYPASS_("570", ZONE, false, "zone bypassed")
	BYPASS_("571", ZONE, true, "fire zone bypassed")
	BYPASS_("572", ZONE, true, "24-hour zone bypassed (may be life safety)")
	BYPASS_("573", ZONE, false, "burglary zone bypassed")
	BYPASS_("574", USER, false, "group bypassed")
	ROW("575", SWINGER, UNBYPASS, ZONE, false, UNKNOWN, "bypassed as a swinger")
	BYPASS_("576", ZONE, false, "access zone shunted")
	BYPASS_("577", ZONE, false, "access point bypassed")
	BYPASS_("578", ZONE, false, "vault bypassed")		/* [later] */
	BYPASS_("579", ZONE, false, "vent zone bypassed")	/* [later] */
	/* 60x, 61x tests */
	PANEL_("601", TEST_REPORT, TEST_REPORT, "test report, triggered by hand")
	PANEL_("602", TEST_REPORT, TEST_REPORT, "periodic test report")
	PANEL_("603", TEST_REPORT, TEST_REPORT, "periodic RF transmission")
	ROW("604", FIRE_TEST_BEGIN, FIRE_TEST_END, USER, false, UNKNOWN, "fire test")
	NOTE("605", PANEL, "status report follows")
	NOTE("606", PANEL, "listen-in follows")
	ROW("607", WALK_TEST_BEGIN, WALK_TEST_END, USER, false, UNKNOWN, "walk test")
	PANEL_("608", TEST_REPORT, TEST_REPORT, "periodic test report, a trouble is present")
	NOTE("609", PANEL, "video transmitter active")
	ROW("611", TEST, OTHER, ZONE, false, UNKNOWN, "point tested OK")
	NOTE("612", ZONE, "point not tested")
	ROW("613", TEST, OTHER, ZONE, false, UNKNOWN, "intrusion zone walk-tested")
	ROW("614", TEST, OTHER, ZONE, true, UNKNOWN, "fire zone walk-tested")
	ROW("615", TEST, OTHER, ZONE, true, PANIC, "panic zone walk-tested")
	NOTE("616", PANEL, "service requested")
	/* 62x log, clock, program mode; 63x schedules; 64x persons; 65x others */
	PANEL_("621", LOG_CLEARED, OTHER, "event log cleared")
	NOTE("622", PANEL, "event log half full")
	NOTE("623", PANEL, "event log 90 % full")
	PANEL_("624", LOG_OVERFLOW, OTHER, "event log overflow, events lost")
	ROW("625", CLOCK_SET, OTHER, USER, false, UNKNOWN, "time or date set")
	TROUBLE_("626", PANEL, "time or date inaccurate")
	PANEL_("627", PROGRAM_ENTRY, PROGRAM_EXIT, "program mode entered")
	PANEL_("628", PROGRAM_EXIT, OTHER, "program mode left")
	NOTE("629", PANEL, "32-hour event log marker")
	NOTE("630", PANEL, "schedule changed")
	NOTE("631", PANEL, "exception schedule changed")
	NOTE("632", PANEL, "access schedule changed")
	ROW("641", TROUBLE, TROUBLE_RESTORE, ZONE, true, UNKNOWN,
	    "no sign of the person watched over")
	NOTE("642", USER, "latch-key user reported")
	NOTE("645", PANEL, "help arrived")			/* [later] */
	NOTE("646", PANEL, "additional help needed")		/* [later] */
	NOTE("647", PANEL, "additional help cancelled")		/* [later] */
	NOTE("651", PANEL, "reserved")
	NOTE("652", USER, "reserved")
	NOTE("653", USER, "reserved")
	NOTE("654", PANEL, "system inactive")
	ROW("655", PROGRAMMING_CHANGED, OTHER, USER, false, UNKNOWN,
	    "user code changed by the installer")		/* [later] */
#define ASSIGNED(tens) \
	NOTE(tens "0", PANEL, "user-assigned") NOTE(tens "1", PANEL, "user-assigned") \
	NOTE(tens "2", PANEL, "user-assigned") NOTE(tens "3", PANEL, "user-assigned") \
	NOTE(tens "4", PANEL, "user-assigned") NOTE(tens "5", PANEL, "user-assigned") \
	NOTE(tens "6", PANEL, "user-assigned") NOTE(tens "7", PANEL, "user-assigned") \
	NOTE(tens "8", PANEL, "user-assigned") NOTE(tens "9", PANEL, "user-assigned")
	ASSIGNED("75") ASSIGNED("76") ASSIGNED("77") ASSIGNED("78")	/* [later] */
	/* 9xx download, receiver */
	NOTE("900", PANEL, "download aborted")			/* [later] */
	NOTE("901", PANEL, "download begun or ended")		/* [later] */
	NOTE("902", PANEL, "download interrupted")		/* [later] */
	NOTE("903", PANEL, "device update begun or ended")	/* [later] */
	TROUBLE_("904", PANEL, "device update failed")		/* [later] */
	PANEL_("910", ARM, ARM, "automatic closing with a bypass")	/* [later] */
	PANEL_("911", ARM, ARM, "closing with a bypass")	/* [later] */
};

#undef ROW
#define ROW(code, word, addr, life, hint, text) \
	{ code, W_##word, W_##word, ADDR_##addr, life, KIND_##hint, text },
#undef NOTE
#define NOTE(code, addr, text)		ROW(code, OTHER, addr, false, UNKNOWN, text)
#define PLAIN(code, word, addr, text)	ROW(code, word, addr, false, UNKNOWN, text)
/* The regular families: kind, name, alarm word, supervisory word, life safety, hint. */
#define FAMILY(K, name, alarm, unsafe, life, hint) \
	ROW(K "A", alarm, ZONE, life, hint, name " alarm") \
	ROW(K "B", BYPASS, ZONE, life, hint, name " bypass") \
	ROW(K "H", ALARM_RESTORE, ZONE, life, hint, name " alarm restored") \
	ROW(K "J", TROUBLE_RESTORE, ZONE, life, hint, name " trouble restored") \
	ROW(K "R", RESTORE, ZONE, life, hint, name " restoral") \
	ROW(K "S", unsafe, ZONE, life, hint, name " supervisory") \
	ROW(K "T", TROUBLE, ZONE, life, hint, name " trouble") \
	ROW(K "U", UNBYPASS, ZONE, life, hint, name " bypass ended")

/* ANSI/SIA DC-03 two-letter codes, the list that is used with DC-09 too. */
static const struct code_row dc03[] = {
	FAMILY("B", "burglary", BURGLARY_ALARM, TROUBLE, false, UNKNOWN)
	FAMILY("F", "fire", FIRE_ALARM, FIRE_SUPERVISORY, true, UNKNOWN)
	FAMILY("G", "gas (may be carbon monoxide)", GAS_ALARM, TROUBLE, true, GAS)
	FAMILY("H", "hold-up", HOLD_UP_ALARM, TROUBLE, true, HOLD_UP)
	FAMILY("K", "heat", HEAT_ALARM, FIRE_SUPERVISORY, true, HEAT)
	FAMILY("M", "medical", MEDICAL_ALARM, TROUBLE, true, MEDICAL)
	FAMILY("P", "panic", PANIC_ALARM, TROUBLE, true, PANIC)
	FAMILY("Q", "emergency", MEDICAL_ALARM, TROUBLE, true, UNKNOWN)
	FAMILY("S", "sprinkler", FIRE_ALARM, FIRE_SUPERVISORY, true, WATER_FLOW)
	FAMILY("U", "untyped", ALARM, TROUBLE, false, UNKNOWN)
	FAMILY("W", "water", WATER_ALARM, TROUBLE, false, WATER)
	FAMILY("Z", "freeze", ALARM, TROUBLE, false, TEMPERATURE)
	/* Family members that only some kinds have. */
	ROW("BC", ALARM_CANCEL, USER, false, UNKNOWN, "burglary alarm cancelled")
	ROW("FC", ALARM_CANCEL, PANEL, false, UNKNOWN, "fire alarm cancelled")
	PLAIN("BG", NEAR_ALARM, ZONE, "burglary, unverified: cross point normal")
	ROW("FG", NEAR_ALARM, ZONE, true, UNKNOWN, "fire, unverified: cross point normal")
	PLAIN("UG", NEAR_ALARM, ZONE, "untyped, unverified: cross point normal")
	PLAIN("BM", BURGLARY_ALARM, ZONE, "burglary alarm, cross point too")
	ROW("FM", FIRE_ALARM, ZONE, true, UNKNOWN, "fire alarm, cross point too")
	PLAIN("BV", ALARM_VERIFIED, PANEL, "burglary verified")
	ROW("FV", FIRE_SUPERVISORY_RESTORE, ZONE, true, UNKNOWN, "fire supervisory restored")
	PLAIN("BX", TEST, ZONE, "burglary zone activated in a test")
	ROW("FX", TEST, ZONE, true, UNKNOWN, "fire zone activated in a test")
	ROW("GX", TEST, ZONE, true, GAS, "gas zone activated in a test")
	PLAIN("UX", ALARM, PANEL, "undefined alarm")
	/* Supervision of devices. */
	PLAIN("BZ", SUPERVISION_LOSS, ZONE, "burglary supervision missing")
	ROW("FY", SUPERVISION_LOSS, ZONE, true, UNKNOWN, "fire point missing")
	ROW("FZ", SUPERVISION_LOSS, ZONE, true, UNKNOWN, "fire supervision missing")
	PLAIN("UY", SUPERVISION_LOSS, ZONE, "point missing, not armed")
	PLAIN("UZ", SUPERVISION_LOSS, ZONE, "point missing, armed")
	PLAIN("CM", SUPERVISION_LOSS, ZONE, "point missing soon after closing")
	PLAIN("EZ", SUPERVISION_LOSS, ZONE, "point missing, exit error")
	PLAIN("XM", SUPERVISION_LOSS, ZONE, "point missing, cross point")
	/* Fire. */
	PLAIN("FI", FIRE_TEST_BEGIN, PANEL, "fire test begun")
	PLAIN("FK", FIRE_TEST_END, PANEL, "fire test ended")
	ROW("FL", OTHER, ZONE, true, UNKNOWN, "fire alarm silenced")
	ROW("FW", TROUBLE, ZONE, true, UNKNOWN, "fire supervisory trouble")
	ROW("FQ", TROUBLE_RESTORE, ZONE, true, UNKNOWN, "fire supervisory trouble restored")
	ROW("AS", TROUBLE, ZONE, true, UNKNOWN, "analog fire sensor needs service")
	ROW("AN", TROUBLE_RESTORE, ZONE, true, UNKNOWN, "analog fire sensor restored")
	/* Tamper. */
	PLAIN("TA", TAMPER, ZONE, "tamper alarm")
	PLAIN("TB", BYPASS, ZONE, "tamper bypass")
	PLAIN("TC", OTHER, PANEL, "all points tested")
	PLAIN("TE", ON_TEST_END, PANEL, "test ended")
	PLAIN("TH", TAMPER_RESTORE, ZONE, "tamper alarm restored")
	PLAIN("TJ", TAMPER_RESTORE, ZONE, "tamper trouble restored")
	PLAIN("TP", TEST, ZONE, "point walk-tested")
	PLAIN("TR", TAMPER_RESTORE, ZONE, "tamper restoral")
	PLAIN("TS", ON_TEST_BEGIN, PANEL, "test begun, out of service")
	PLAIN("TT", TAMPER, ZONE, "tamper trouble")
	PLAIN("TU", UNBYPASS, ZONE, "tamper bypass ended")
	PLAIN("TW", OTHER, PANEL, "area watch begun")
	PLAIN("TX", TEST_REPORT, PANEL, "test report")
	PLAIN("TZ", OTHER, PANEL, "area watch ended")
	/* A: panel, power, abort. */
	PLAIN("AA", EXTRA_DEVICE, PANEL, "panel substitution attempted")
	PLAIN("AB", ALARM_CANCEL, ZONE, "alarm aborted by the user")
	PLAIN("AR", POWER_RESTORE, PANEL, "mains power restored")
	PLAIN("AT", POWER_LOSS, PANEL, "mains power lost")
	PLAIN("BD", SWINGER, ZONE, "swinger trouble")
	PLAIN("BE", OTHER, ZONE, "swinger trouble restored")
	/* C: closing. */
	PLAIN("CA", ARM, USER, "automatic closing")
	NOTE("CD", PANEL, "closing delinquent")
	NOTE("CE", USER, "closing put off")
	PLAIN("CF", ARM, USER, "forced closing")
	PLAIN("CG", ARM, USER, "area closed")
	NOTE("CI", PANEL, "failed to close")
	PLAIN("CJ", ARM, USER, "late closing")
	PLAIN("CK", ARM, USER, "early closing")
	PLAIN("CL", ARM, USER, "closing")
	NOTE("CO", PANEL, "command sent")
	PLAIN("CP", ARM, USER, "automatic closing")
	PLAIN("CQ", ARM, USER, "remote closing")
	NOTE("CR", USER, "recent closing")
	PLAIN("CS", ARM, PANEL, "keyswitch closing")
	NOTE("CT", PANEL, "late to open")
	NOTE("CW", PANEL, "was force armed")
	NOTE("CX", PANEL, "custom function")
	NOTE("CZ", ZONE, "point closed")
	/* D: doors. */
	NOTE("DC", PANEL, "door closed")
	NOTE("DD", PANEL, "door: access denied")
	NOTE("DF", PANEL, "door forced")
	NOTE("DG", PANEL, "door: access granted")
	NOTE("DK", PANEL, "door: access locked out")
	NOTE("DO", PANEL, "door open")
	NOTE("DR", PANEL, "door restored")
	NOTE("DS", PANEL, "door station")
	NOTE("DT", PANEL, "door trouble")
	NOTE("DU", PANEL, "door: dealer identification")
	/* E: exit, expansion. */
	PLAIN("EA", EXIT_ERROR, ZONE, "exit alarm")
	PLAIN("EE", EXIT_ERROR, USER, "exit error")
	PLAIN("EJ", TAMPER_RESTORE, PANEL, "expansion device tamper restored")
	PLAIN("EM", MODULE_LOSS, PANEL, "expansion device missing")
	PLAIN("EN", MODULE_RESTORE, PANEL, "expansion device back")
	PLAIN("ER", TROUBLE_RESTORE, PANEL, "expansion trouble restored")
	PLAIN("ES", TAMPER, PANEL, "expansion device tamper")
	PLAIN("ET", TROUBLE, PANEL, "expansion trouble")
	NOTE("EX", PANEL, "external device condition")
	PLAIN("IA", TROUBLE, ZONE, "equipment failure")
	PLAIN("IR", TROUBLE_RESTORE, ZONE, "equipment failure restored")
	/* J: clock, log, users. */
	NOTE("JA", PANEL, "too many wrong codes")
	PLAIN("JD", CLOCK_SET, USER, "date changed")
	NOTE("JH", USER, "holiday changed")
	NOTE("JK", USER, "latch-key alert")
	NOTE("JL", PANEL, "event log nearly full")
	PLAIN("JO", LOG_OVERFLOW, PANEL, "event log overflow, events lost")
	NOTE("JP", USER, "user on the premises")
	NOTE("JR", PANEL, "schedule executed")
	NOTE("JS", USER, "schedule changed")
	PLAIN("JT", CLOCK_SET, USER, "time changed")
	NOTE("JV", USER, "user code changed")
	NOTE("JX", USER, "user code deleted")
	NOTE("JY", USER, "user code added")
	NOTE("JZ", USER, "user level set")
	/* L: local programming, phone line, listen-in. */
	PLAIN("LB", PROGRAM_ENTRY, PANEL, "local programming begun")
	NOTE("LD", PANEL, "local programming denied")
	NOTE("LE", PANEL, "listen-in ended")
	NOTE("LF", PANEL, "listen-in begun")
	PLAIN("LR", COMM_RESTORE, PANEL, "phone line restored")
	PLAIN("LS", PROGRAMMING_CHANGED, PANEL, "local programming succeeded")
	PLAIN("LT", COMM_LOSS, PANEL, "phone line trouble")
	NOTE("LU", PANEL, "local programming failed")
	PLAIN("LX", PROGRAM_EXIT, PANEL, "local programming ended")
	NOTE("MI", PANEL, "canned message")
	/* N: activity, network, perimeter. */
	NOTE("NA", ZONE, "no activity")
	NOTE("NC", PANEL, "network condition")
	PLAIN("NF", ARM_STAY, PANEL, "perimeter armed by force")
	PLAIN("NL", ARM_STAY, PANEL, "perimeter armed")
	PLAIN("NM", ARM_STAY, PANEL, "user-defined perimeter armed")
	PLAIN("NR", COMM_RESTORE, PANEL, "network restored")
	NOTE("NS", ZONE, "activity again")
	PLAIN("NT", COMM_LOSS, PANEL, "network failure")
	/* O: opening. */
	PLAIN("OA", DISARM, USER, "automatic opening")
	PLAIN("OC", ALARM_CANCEL, USER, "alarm cancelled")
	PLAIN("OG", DISARM, USER, "area opened")
	PLAIN("OH", DISARM, USER, "early opening from alarm")
	NOTE("OI", PANEL, "failed to open")
	PLAIN("OJ", DISARM, USER, "late opening")
	PLAIN("OK", DISARM, USER, "early opening")
	PLAIN("OL", DISARM, USER, "late opening from alarm")
	PLAIN("OP", DISARM, USER, "opening")
	PLAIN("OQ", DISARM, USER, "remote opening")
	PLAIN("OR", DISARM, USER, "disarmed from alarm")
	PLAIN("OS", DISARM, PANEL, "keyswitch opening")
	NOTE("OT", PANEL, "late to close")
	PLAIN("OU", TROUBLE, PANEL, "output trouble")
	PLAIN("OV", TROUBLE_RESTORE, PANEL, "output trouble restored")
	NOTE("OZ", ZONE, "point opened")
	/* R: remote programming, relays, tests. */
	NOTE("RA", PANEL, "remote programmer call failed")
	PLAIN("RB", PROGRAM_ENTRY, PANEL, "remote programming begun")
	NOTE("RC", PANEL, "relay closed")
	NOTE("RD", PANEL, "remote programming denied")
	NOTE("RN", PANEL, "remote reset")
	NOTE("RO", PANEL, "relay opened")
	PLAIN("RP", TEST_REPORT, PANEL, "automatic test report")
	PLAIN("RR", RESTART, PANEL, "power up")
	PLAIN("RS", PROGRAM_EXIT, PANEL, "remote programming succeeded")
	NOTE("RT", PANEL, "data lost")
	PLAIN("RU", PROGRAM_EXIT, PANEL, "remote programming failed")
	PLAIN("RX", TEST_REPORT, USER, "test report, triggered by hand")
	PLAIN("RY", TEST_REPORT, PANEL, "test report, not normal")
	NOTE("SC", PANEL, "change of state")
	/* V: printers. */
	NOTE("VI", PANEL, "printer paper in")
	NOTE("VO", PANEL, "printer paper out")
	NOTE("VR", PANEL, "printer restored")
	NOTE("VT", PANEL, "printer trouble")
	NOTE("VX", PANEL, "printer test")
	NOTE("VY", PANEL, "printer online")
	NOTE("VZ", PANEL, "printer offline")
	/* X: radio and extra devices. */
	NOTE("XA", PANEL, "report of an unknown account")
	PLAIN("XE", EXTRA_DEVICE, ZONE, "point not of this site")
	PLAIN("XF", EXTRA_DEVICE, ZONE, "RF point not of this site")
	PLAIN("XH", JAM_CLEAR, PANEL, "RF interference ended")
	NOTE("XI", ZONE, "sensor reset by user")
	PLAIN("XJ", TAMPER_RESTORE, PANEL, "RF receiver tamper restored")
	NOTE("XL", PANEL, "RF signal received is weak")
	PLAIN("XQ", JAM, PANEL, "RF interference")
	PLAIN("XR", BATTERY_RESTORE, ZONE, "RF transmitter battery restored")
	PLAIN("XS", TAMPER, PANEL, "RF receiver tamper")
	PLAIN("XT", LOW_BATTERY, ZONE, "RF transmitter battery low")
	PLAIN("XW", BYPASS, ZONE, "point forced out at arming")
	NOTE("XX", PANEL, "expected test report missing")
	/* Y: panel hardware and communication. */
	PLAIN("YA", SOUNDER_TROUBLE, PANEL, "bell fault")
	NOTE("YB", PANEL, "busy seconds")
	PLAIN("YC", COMM_LOSS, PANEL, "communications failed")
	PLAIN("YD", COMM_LOSS, PANEL, "receiver line card trouble")
	PLAIN("YE", COMM_RESTORE, PANEL, "receiver line card restored")
	PLAIN("YF", TROUBLE, PANEL, "parameter checksum bad")
	PLAIN("YG", PROGRAMMING_CHANGED, PANEL, "parameter changed")
	PLAIN("YH", SOUNDER_RESTORE, PANEL, "bell restored")
	PLAIN("YI", TROUBLE, PANEL, "overcurrent trouble")
	PLAIN("YJ", TROUBLE_RESTORE, PANEL, "overcurrent restored")
	PLAIN("YK", COMM_RESTORE, PANEL, "communications restored")
	PLAIN("YM", PANEL_BATTERY_LOW, PANEL, "panel battery missing")
	NOTE("YN", PANEL, "invalid report")
	NOTE("YO", PANEL, "unknown message")
	PLAIN("YP", TROUBLE, PANEL, "power supply trouble")
	PLAIN("YQ", TROUBLE_RESTORE, PANEL, "power supply restored")
	PLAIN("YR", PANEL_BATTERY_RESTORE, PANEL, "panel battery restored")
	PLAIN("YS", COMM_LOSS, PANEL, "communications trouble")
	PLAIN("YT", PANEL_BATTERY_LOW, PANEL, "panel battery low")
	PLAIN("YU", TROUBLE, PANEL, "diagnostic error")
	PLAIN("YW", RESTART, PANEL, "watchdog restart")
	PLAIN("YX", TROUBLE, PANEL, "service required")
	NOTE("YY", PANEL, "status report header")
	PLAIN("YZ", TROUBLE_RESTORE, PANEL, "service completed")
};

enum { DC05 = sizeof dc05 / sizeof *dc05, DC03 = sizeof dc03 / sizeof *dc03 };

const struct code_row *
code_table_dc05(size_t *n)
{
	*n = DC05;
	return dc05;
}

const struct code_row *
code_table_dc03(size_t *n)
{
	*n = DC03;
	return dc03;
}

static bool
is_digit(char c)
{
	return c >= '0' && c <= '9';
}

static const struct code_row *
find(const struct code_row *table, size_t n, struct span code)
{
	for (size_t i = 0; i < n; i++) {
		if (span_eq_fold(span_of(table[i].code), code))
			return &table[i];
	}
	return NULL;
}

/* Three digits of a DC-05 code: 0-9 and B-F, but the first one names a class. */
static bool
event_code(struct span s)
{
	if (s.n != 3 || s.p[0] < '1' || s.p[0] > '9')
		return false;
	for (size_t i = 1; i < 3; i++) {
		char c = (char)(s.p[i] & ~0x20);	/* upper case, where it is a letter */

		if (!is_digit(s.p[i]) && !(c >= 'B' && c <= 'F'))
			return false;
	}
	return true;
}

/* 1, 3 or 6; 0 if it is none. */
static int
qualifier(char c)
{
	switch (c) {
	case '1': case 'E': case 'e': return 1;
	case '3': case 'R': case 'r': return 3;
	case '6': case 'P': case 'p': return 6;
	}
	return 0;
}

static bool
two_letters(struct span s)
{
	return s.n == 2 && (s.p[0] & ~0x20) >= 'A' && (s.p[0] & ~0x20) <= 'Z' &&
	    (s.p[1] & ~0x20) >= 'A' && (s.p[1] & ~0x20) <= 'Z';
}

/* Splits a well-formed code; *q is 0 for a DC-03 code. */
static bool
well_formed(struct span cell, struct span *code, int *q)
{
	*q = 0;
	*code = cell;
	if (two_letters(cell))
		return true;
	if (cell.n != 4 && !(cell.n == 5 && (cell.p[1] == ' ' || cell.p[1] == '-')))
		return false;
	*q = qualifier(cell.p[0]);
	*code = (struct span){ cell.p + cell.n - 3, 3 };
	return *q && event_code(*code);
}

/* Upper case without blanks and dashes; 0 if something else stands in it that no
 * message has, or more than a message has. */
static size_t
message_digits(struct span cell, char out[16])
{
	size_t n = 0;

	for (size_t i = 0; i < cell.n; i++) {
		char c = cell.p[i];

		if (c == ' ' || c == '-')
			continue;
		if (!is_digit(c)) {
			c = (char)(c & ~0x20);
			if (!(c >= 'B' && c <= 'F') && !(n == 0 && (c == 'R' || c == 'P')))
				return 0;
		}
		if (n == 16)
			return 0;
		out[n++] = c;
	}
	return n;
}

static bool
check_digit_fits(const char d[16])
{
	int sum = 0;

	for (size_t i = 0; i < 16; i++)
		sum += d[i] == '0' ? 10 : is_digit(d[i]) ? d[i] - '0' : d[i] - 'B' + 11;
	return sum % 15 == 0;
}

bool
code_message(struct span cell, struct code_message *out, const char **why)
{
	char d[16];
	size_t n = message_digits(cell, d), at = n == 9 ? 0 : n == 11 ? 2 : 6;
	int q;

	if (n != 9 && n != 11 && n != 15 && n != 16)
		return false;
	if (at && ((d[at - 2] != '1' && d[at - 2] != '9') || d[at - 1] != '8'))
		return false;
	/* Without type and check digit only what looks like one in all its parts is one. */
	q = at && !is_digit(d[at]) ? 0 : qualifier(d[at]);
	for (size_t i = at + 4; n < 15 && i < n; i++)
		q = is_digit(d[i]) ? q : 0;
	if (n < 15 && (!q || !event_code((struct span){ d + at + 1, 3 })))
		return false;
	*why = NULL;
	if (n == 15)
		*why = "DC-05 message without its check digit";
	else if (n == 16 && !check_digit_fits(d))
		*why = "check digit of the DC-05 message is wrong";
	else if (!q || !event_code((struct span){ d + at + 1, 3 }))
		*why = "DC-05 message without a qualifier (1, 3 or 6) and an event code";
	if (*why)
		return true;
	memset(out, 0, sizeof *out);
	out->event[0] = q == 1 ? 'E' : q == 3 ? 'R' : 'P';
	memcpy(out->event + 1, d + at + 1, 3);
	memcpy(out->account, d, n == 16 ? 4 : 0);
	memcpy(out->partition, d + at + 4, 2);
	memcpy(out->zone, d + at + 6, 3);
	return true;
}

/* A word says what it is about itself. Modules, lines and the panel's own parts
 * are the panel's, whatever number stands in the zone cell. */
static struct meaning
word_meaning(enum word w)
{
	struct meaning m = { .word = w, .address = ADDR_ZONE,
		.life = word_properties(w) & WP_LIFE };

	switch (w) {
	case W_HEAT_ALARM:    m.hint = KIND_HEAT; break;
	case W_CO_ALARM:      m.hint = KIND_CO; break;
	case W_GAS_ALARM:     m.hint = KIND_GAS; break;
	case W_WATER_ALARM:   m.hint = KIND_WATER; break;
	case W_MEDICAL_ALARM: m.hint = KIND_MEDICAL; break;
	case W_PANIC_ALARM:   m.hint = KIND_PANIC; break;
	case W_HOLD_UP_ALARM: m.hint = KIND_HOLD_UP; break;
	case W_MODULE_LOSS: case W_MODULE_RESTORE: case W_COMM_LOSS: case W_COMM_RESTORE:
	case W_JAM: case W_JAM_CLEAR: case W_POWER_LOSS: case W_POWER_RESTORE:
	case W_PANEL_BATTERY_LOW: case W_PANEL_BATTERY_RESTORE: case W_RESTART:
	case W_CLOCK_SET: case W_LOG_CLEARED: case W_LOG_OVERFLOW: case W_PROGRAM_ENTRY:
	case W_PROGRAM_EXIT: case W_PROGRAMMING_CHANGED: case W_TEST_REPORT:
		m.address = ADDR_PANEL;
		break;
	default:
		break;
	}
	return m;
}

const char *
code_meaning(struct span cell, struct meaning *out)
{
	static const char *const doors[] = { "open", "close", "opening", "closing" };
	const struct code_row *row;
	struct code_message message;
	const char *why;
	struct span code;
	enum word word;
	int q;

	cell = span_trim(cell);
	if (cell.n == 0)
		return "no event";
	if (code_message(cell, &message, &why)) {
		if (why)
			return why;
		cell = span_of(message.event);
	}
	if (well_formed(cell, &code, &q)) {
		row = q ? find(dc05, DC05, code) : find(dc03, DC03, code);
		*out = (struct meaning){ .word = W_OTHER, .address = ADDR_PANEL };
		if (row)
			*out = (struct meaning){
				.word = q == 3 ? row->ends : row->begins,
				.address = row->address, .life = row->life, .hint = row->hint,
			};
		out->still = q == 6;
		return NULL;
	}
	if (word_find(cell, &word)) {
		*out = word_meaning(word);
		return NULL;
	}
	for (size_t i = 0; i < sizeof doors / sizeof *doors; i++) {
		if (span_eq_fold(cell, span_of(doors[i])))
			return "ambiguous: a door, or arming? write zone-open or disarm,"
			    " zone-close or arm";
	}
	if (event_code(cell))
		return "ambiguous: a code without its qualifier; write E130 or R130, not 130";
	return "event not recognised";
}

const char *
code_text(struct span cell)
{
	const struct code_row *row = NULL;
	struct span code;
	int q;

	cell = span_trim(cell);
	if (well_formed(cell, &code, &q))
		row = q ? find(dc05, DC05, code) : find(dc03, DC03, code);
	return row ? row->text : "";
}
