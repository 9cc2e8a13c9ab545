/* list.h - the one place that names every rule, in the order of the manual.
 * X(name) stands for rules/name.c, which defines `const struct rule rule_name`. */
X(life_alarm)
X(chatter)
X(supervision_loss)
X(battery_cluster)
X(learn_mismatch)
X(low_battery)
