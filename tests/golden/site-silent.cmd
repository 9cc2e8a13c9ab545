# A hold-up button and a duress code: neither is named on the sheet.
tripsift site 2244
