/*
 * English. Plain texts: short sentences, common words; radon is a risk of years, so nothing here
 * calls a fault an emergency. What to leave alone (fan, wiring) and the caution on flue gas follow
 * the usual cautions of the trade (common practice, no source).
 */
#include "words/wording_texts.h"

const struct wording_texts wording_english =
    {
        .conditions =
            {
                [CONDITION_SUCTION_LOST] =
                    {ADVICE_FAN, "the radon system has stopped pulling",
                     "The pull under your floor is gone. Most often the fan is off or has failed.",
                     "The pull under your floor is back.", "Suction lost",
                     "Riser suction is below a tenth of the commissioning value.",
                     "Find out whether the fan runs and has power; then look at the gauge tube.",
                     "Riser suction is back above its limit."},
                [CONDITION_SUCTION_LOW] =
                    {ADVICE_FAN, "the radon system pulls too little",
                     "The pull under your floor is weaker than on the day the system was set up.",
                     "The pull under your floor is strong again.", "Suction low",
                     "Riser suction is well below the commissioning value.",
                     "Tell a leak from a weak fan: measure flow or fan power beside the suction.",
                     "Riser suction is back above its limit."},
                [CONDITION_SUCTION_HIGH] = {ADVICE_BLOCK, "the radon system pulls too hard",
                                            "The pull in the pipe is stronger than on the day it "
                                            "was set up. Something may "
                                            "block the air, such as water or ice.",
                                            "The pull in the pipe is normal again.", "Suction high",
                                            "Riser suction is well above the commissioning value.",
                                            "Look for a blockage between slab and gauge: water in "
                                            "a low spot, a filled pit.",
                                            "Riser suction is back below its limit."},
                [CONDITION_SUCTION_FADING] =
                    {ADVICE_FAN, "the radon system slowly gets weaker",
                     "The pull under your floor drops a little each month. It still works today.",
                     "The pull under your floor no longer drops.", "Suction fading",
                     "Riser suction falls steadily and will reach its low limit within half a "
                     "year.",
                     "Plan a visit; compare fan power and flow with the commissioning record.",
                     "Riser suction no longer falls toward its limit."},
                [CONDITION_FIELD_WEAK] =
                    {ADVICE_FAN, "the pull is weak at one spot",
                     "At one test hole in your floor the pull is weak. Radon may get in there.",
                     "The pull at the test hole is good again.", "Pressure field weak",
                     "The day's mean at the test hole is below half of its commissioning value or "
                     "below its least value.",
                     "Look for new openings in the slab near the hole and for water below it.",
                     "The pressure field at the test hole is back."},
                [CONDITION_FAN_STOPPED] =
                    {ADVICE_FAN, "the radon fan has stopped",
                     "The fan draws almost no power. It is off, or it has failed.",
                     "The fan is running again.", "Fan stopped", "The fan draws almost no power.",
                     "Check switch, breaker and plug first; then the fan itself.",
                     "The fan draws power again."},
                [CONDITION_FAN_WEAK] =
                    {ADVICE_FAN, "the radon fan is getting weak",
                     "The fan turns slower than on the day it was set up. It may be worn.",
                     "The fan turns at its old speed again.", "Fan weak",
                     "The fan runs slower than at commissioning.",
                     "Plan to replace the fan; compare its power with the commissioning record.",
                     "The fan's speed is back within its limit."},
                [CONDITION_FAN_FADING] =
                    {ADVICE_FAN, "the radon fan slowly gets slower",
                     "The fan turns a little slower each month. It still works today.",
                     "The fan no longer gets slower.", "Fan fading",
                     "The fan's speed falls steadily and will reach its limit within a year.",
                     "Plan a visit: listen to the bearings, look at the discharge, bring a fan.",
                     "The fan's speed no longer falls toward its limit."},
                [CONDITION_GROUND_CHANGED] =
                    {ADVICE_BLOCK, "air moves in a new way under your floor",
                     "The ground or the pipe lets air through in a new way. It may be water, a new "
                     "crack or a leak.",
                     "Air moves under your floor as it did before.", "Ground changed",
                     "The resistance of the suction field has changed since commissioning.",
                     "Look for water, new openings, open sump lids and loose joints.",
                     "The resistance of the suction field is back in its range."},
                [CONDITION_RADON_HIGH] =
                    {ADVICE_RADON, "radon was high for a day",
                     "The average of the last day is far above the level at which a home should be "
                     "fixed.",
                     "Radon is down again.", "Radon high",
                     "The 24 h mean is above twice the action level.",
                     "Check suction and fan first; then openings in the slab and the monitor's "
                     "place.",
                     "The 24 h mean is back below its limit."},
                [CONDITION_RADON_ABOVE_ACTION] =
                    {ADVICE_RADON, "radon is too high in the long run",
                     "The average of many weeks is above the level at which a home should be "
                     "fixed.",
                     "The average of many weeks is below that level again.",
                     "Radon above action level",
                     "The long-term mean is at or above the action level, with at least 95 % "
                     "probability.",
                     "The system does not do its job: visit, measure the field, find what is "
                     "missing.",
                     "The long-term mean is no longer surely above the action level."},
                [CONDITION_RADON_RISING] =
                    {ADVICE_RADON, "radon is slowly going up",
                     "Radon in your home goes up. It may be the season, or a change in the house.",
                     "Radon in your home no longer goes up.", "Radon rising",
                     "The control chart signals a lasting rise since commissioning.",
                     "Compare with suction and field; ask for changes in the house; mind the "
                     "season.",
                     "The control chart no longer signals a rise."},
                [CONDITION_WATER_HIGH] = {ADVICE_WATER, "water is high at the radon system",
                                          "The water in the sump or drain is too high. It can "
                                          "block the pipes under your "
                                          "floor.",
                                          "The water in the sump or drain is down again.",
                                          "Water high", "The water level is above its limit.",
                                          "Check the sump pump and the drain before anything else.",
                                          "The water level is back below its limit."},
                [CONDITION_SENSOR_SILENT] =
                    {ADVICE_SENSOR, "one sensor has gone quiet",
                     "One sensor of your radon system sends nothing. The fan may well be fine.",
                     "The sensor sends again.", "Sensor silent",
                     "The sensor has sent nothing for several of its intervals.",
                     "Check its battery or power and its radio link.", "The sensor sends again."},
                [CONDITION_SENSOR_STUCK] =
                    {ADVICE_SENSOR, "one sensor seems stuck",
                     "One sensor has shown the same number for days. That cannot be right.",
                     "The sensor's number moves again.", "Sensor stuck",
                     "The sensor's value has not changed at all for two days or more.",
                     "Check the tube and the sensor by a hand measurement; replace it if it stays.",
                     "The sensor's value moves again."},
                [CONDITION_SENSOR_IMPLAUSIBLE] =
                    {ADVICE_SENSOR, "one sensor sends odd numbers",
                     "One sensor sends numbers that cannot be right.",
                     "The sensor's numbers make sense again.", "Sensor implausible",
                     "The sensor's values are impossible, or jumped as if in another unit.",
                     "Compare with a hand measurement; check the sensor's unit and its range.",
                     "The sensor's values are plausible again."},
                [CONDITION_SENSOR_CLOCK] =
                    {ADVICE_SENSOR, "one sensor has the wrong time",
                     "The clock of one sensor is wrong. Its numbers may be fine.",
                     "The sensor's clock is right again.", "Sensor clock wrong",
                     "The sensor's times run ahead or jump.",
                     "Set its clock or its time source; check how it states its time.",
                     "The sensor's times are right again."},
                [CONDITION_BATTERY_LOW] =
                    {ADVICE_SENSOR, "the battery of one sensor is low",
                     "A sensor of your radon system needs a new battery soon.",
                     "The battery of the sensor is fine again.", "Battery low",
                     "The sensor's battery is below its limit.",
                     "Replace the battery at the next visit, before the sensor falls silent.",
                     "The battery is back above its limit."},
                [CONDITION_SYSTEM_SILENT] =
                    {ADVICE_SILENT, "we hear nothing from the radon system",
                     "All sensors of your radon system went quiet together. Most often the small "
                     "box that sends for them (the gateway) has no power or no internet.",
                     "The sensors in your home send again.", "Gateway silent",
                     "All points that should have reported by now fell silent together: most "
                     "likely their gateway.",
                     "Look first at the power of the gateway, then at its connection (network, "
                     "internet, broker). Ask the house before a visit.",
                     "The points of the system send again."},
                [CONDITION_FLEET_SILENT] =
                    {ADVICE_SILENT, "many homes have gone quiet",
                     "Many homes went quiet at the same time. The power or the internet may be "
                     "down "
                     "in a whole area.",
                     "Most homes send again.", "Many systems silent",
                     "Half of the systems or more fell silent within a quarter of an hour.",
                     "Look for a power cut, a network outage or a stopped broker before any visit.",
                     "The systems send again; what stays silent is told singly."},
                [CONDITION_RETEST_DUE] =
                    {ADVICE_TEST, "it is time for a radon test",
                     "A home with a radon system should be tested at least every two years.",
                     "The new radon test is done.", "Radon retest due",
                     "The interval for radon tests has run out.",
                     "Arrange a test with the fan running; closed-building conditions if it is "
                     "short.",
                     "The radon test is recorded."},
                [CONDITION_VISIT_DUE] = {ADVICE_VISIT, "it is time for a system check",
                                         "Your radon system is due for its regular check.",
                                         "The system check is done.", "Visit due",
                                         "The visit interval is over.",
                                         "Plan the visit; take the commissioning record.",
                                         "The visit is recorded."},
                [CONDITION_CALIBRATION_DUE] =
                    {ADVICE_VISIT, "the radon monitor is due for a check",
                     "The radon monitor must be checked from time to time, so that its numbers can "
                     "be trusted.",
                     "The radon monitor has been checked.", "Calibration due",
                     "An instrument's calibration date is over.",
                     "Have it calibrated or exchanged; until then its uncertainty is not assured.",
                     "The calibration is recorded."},
                [CONDITION_BROKER_LOST] =
                    {ADVICE_SERVICE, "we cannot hear the sensors for now",
                     "The computer that watches the radon systems gets no messages.",
                     "The computer gets messages again.", "Broker lost",
                     "The service has lost its connection to the message broker.",
                     "Check that the broker runs and can be reached; readings wait there.",
                     "The service is connected to the broker again."},
                [CONDITION_MESSAGES_REFUSED] =
                    {ADVICE_SERVICE, "some sensor messages cannot be read",
                     "Some messages from sensors make no sense to our computer.",
                     "The messages from sensors can be read again.", "Messages refused",
                     "Many messages are being refused.",
                     "See which topics and why with: subslabctl refused",
                     "Messages are taken again at the usual rate."},
                [CONDITION_STORE_FAILING] =
                    {ADVICE_SERVICE, "new numbers cannot be saved for now",
                     "The computer that watches the radon systems cannot save new numbers.",
                     "New numbers are saved again.", "Store failing",
                     "Readings cannot be written; nothing is acknowledged, the broker keeps them.",
                     "Check disk space and the disk of the store; make room before the broker is "
                     "full.",
                     "Readings are written again."},
                [CONDITION_STORE_DAMAGED] =
                    {ADVICE_SERVICE, "saved numbers are damaged",
                     "A file with saved numbers is damaged. We will look for a copy.",
                     "The saved numbers are whole again.", "Store damaged",
                     "Stored readings are damaged. A damaged file is set aside untouched and a new "
                     "one begun; a damaged day is left out.",
                     "Keep the old file, check the disk, bring back the last backup; days are "
                     "named by: subslabctl verify",
                     "The store is whole again."},
                [CONDITION_DELIVERY_FAILING] =
                    {ADVICE_SERVICE, "some alerts could not be sent",
                     "Some alerts did not reach the people they were for.",
                     "Alerts reach people again.", "Delivery failing",
                     "Messages to a contact are not taken.",
                     "See what waits and why with: subslabctl deliveries --failed",
                     "Messages are taken again."},
                [CONDITION_CLOCK_JUMPED] =
                    {ADVICE_SERVICE, "our clock was wrong",
                     "The clock of the computer that watches the radon systems was set anew.",
                     "The clock runs as it should.", "Clock jumped",
                     "The system clock of the service was set by a large step.",
                     "Check time synchronization; readings near the step may bear wrong times.",
                     "The clock runs evenly again."},
                [CONDITION_READINGS_GAP] =
                    {ADVICE_SERVICE, "some numbers are missing",
                     "For some time we have no numbers from your sensors.",
                     "Numbers come in again.", "Gap in the readings",
                     "Readings are missing that should have come; the means of that time say so.",
                     "Check whether the broker kept its queue and the service was stopped.",
                     "Readings come in without a gap again."},
            },
        .advice =
            {
                [ADVICE_FAN] =
                    {"This is not an emergency. Radon harms over years, not over days. But do not "
                     "let it stay this way for weeks.",
                     "- Look at the U-tube gauge on the pipe. If both sides stand level, the fan "
                     "does not pull.\n"
                     "- See if the switch of the fan is on.\n"
                     "- Call {contractor}.\n",
                     "- Do not open the fan or touch its wires. A licensed electrician should do "
                     "that.\n"
                     "- Do you burn gas, oil or wood? A fan can draw flue gas into the house. If "
                     "the carbon monoxide (CO) alarm sounds, go outside and call for help.\n"},
                [ADVICE_BLOCK] =
                    {"This is not an emergency. Radon harms over years, not over days. But the "
                     "system may not guard the whole house now.",
                     "- Look at the U-tube gauge on the pipe and note both sides.\n"
                     "- From the ground, look for ice or a nest at the top of the pipe.\n"
                     "- Call {contractor}.\n",
                     "- Do not climb on the roof. Do not open the fan or the pipe.\n"
                     "- Do you burn gas, oil or wood? A fan can draw flue gas into the house. If "
                     "the carbon monoxide (CO) alarm sounds, go outside and call for help.\n"},
                [ADVICE_RADON] =
                    {"This is not an emergency. Radon harms over years, not over days. Still, the "
                     "cause should be found soon.",
                     "- Look at the U-tube gauge on the pipe. If both sides stand level, the fan "
                     "does not pull.\n"
                     "- Leave the monitor where it is, away from windows and damp.\n"
                     "- Call {contractor}.\n",
                     "- Do not turn the fan off, and do not open it.\n"
                     "- Do not seal cracks yourself before a visit. They show where to look.\n"},
                [ADVICE_WATER] =
                    {"Water can keep the fan from pulling under your floor. Radon harms over "
                     "years, "
                     "not over days, but water can do harm at once.",
                     "- See if the sump pump runs.\n"
                     "- Call {contractor}.\n",
                     "- Do not touch a pump, plug or wire while you stand in water.\n"
                     "- Do not leave the lid of the sump open. The fan needs it shut.\n"},
                [ADVICE_SENSOR] =
                    {"This is about the watch on your system, not the fan. This is not an "
                     "emergency.",
                     "- Look at the U-tube gauge on the pipe. If the two sides differ, the fan "
                     "pulls.\n"
                     "- {contractor} will see to the sensor. You need not call.\n",
                     "- Do not pull out the sensor or its tube.\n"},
                [ADVICE_SILENT] =
                    {"We cannot see if the fan runs. This is not an emergency. Radon harms over "
                     "years, not over days.",
                     "- Look at the U-tube gauge on the pipe. If the two sides differ, the fan "
                     "pulls.\n"
                     "- See if the gateway has power and a lamp on it is lit. Then see if the "
                     "internet in your home works.\n"
                     "- If they work and it stays quiet for a day, call {contractor}.\n",
                     "- Do not open the fan or touch its wires.\n"},
                [ADVICE_TEST] = {"A test shows if the system still does its job. There is no rush.",
                                 "- Call {contractor} or order a test kit.\n"
                                 "- Keep the fan on for the whole test. For a short test keep "
                                 "windows and doors "
                                 "shut.\n",
                                 NULL},
                [ADVICE_VISIT] = {"This is a plan, not a fault. There is no rush.",
                                  "- {contractor} will agree on a day with you.\n"
                                  "- Please make sure the fan and the pipe can be reached.\n",
                                  NULL},
                [ADVICE_SERVICE] =
                    {"This is about our watch, not the fan in your home. This is not an emergency.",
                     "- Look at the U-tube gauge on the pipe now and then. If the two sides "
                     "differ, "
                     "the fan pulls.\n"
                     "- {contractor} will see to it. You need not call.\n",
                     NULL},
            },
        .quantities =
            {
                [QUANTITY_SUCTION] = "suction",
                [QUANTITY_FIELD] = "pressure field",
                [QUANTITY_VELOCITY_PRESSURE] = "velocity pressure",
                [QUANTITY_AIRFLOW] = "air flow",
                [QUANTITY_FAN_POWER] = "fan power",
                [QUANTITY_FAN_CURRENT] = "fan current",
                [QUANTITY_RADON] = "radon",
                [QUANTITY_INDOOR_TEMPERATURE] = "indoor temperature",
                [QUANTITY_OUTDOOR_TEMPERATURE] = "outdoor temperature",
                [QUANTITY_BAROMETRIC_PRESSURE] = "barometric pressure",
                [QUANTITY_HUMIDITY] = "humidity",
                [QUANTITY_WATER_LEVEL] = "water level",
                [QUANTITY_BATTERY] = "battery",
            },
        .causes =
            {
                [CAUSE_NONE] = "nothing beyond the usual variation",
                [CAUSE_FAN_OFF] = "fan off, without power or seized",
                [CAUSE_FAN_WORN] = "fan slower than at commissioning",
                [CAUSE_LEAK] = "leak before the fan",
                [CAUSE_BLOCKED_BEFORE] = "blockage before the gauge",
                [CAUSE_BLOCKED_DISCHARGE] = "blocked discharge or ice",
                [CAUSE_GAUGE_TUBE] = "tube of the suction gauge off or blocked",
                [CAUSE_FIELD_LOST] = "pressure field lost at a test hole",
                [CAUSE_RADON_ENTRY] = "new entry path, or the radon monitor",
                [CAUSE_UNIT_MIX_UP] = "sensor in another unit than before",
                [CAUSE_SENSOR_FAULT] = "flow or power sensor at fault",
                [CAUSE_WATER_HIGH] = "water in the sump or drain tile",
                [CAUSE_UNKNOWN] = "not clear from what is measured",
            },
        .months = {"January", "February", "March", "April", "May", "June", "July", "August",
                   "September", "October", "November", "December"},
        .date = "{month} {day}, {year}, {time}",
        .subject_prefix = {"", "Over: ", "Came and went: ", "Acknowledged: ", "Still open: ",
                           "Not taken up: ", "", "", "", "", "", "On and off: ", "On and off: ",
                           "Shelving ends: ", "", "", "No longer watched: "},
        .plain_suffix = {"{subject}", "it is over", "a fault came and went", "someone is on it",
                         "still open, {subject}", "not yet taken up, {subject}",
                         "a test, nothing is wrong", "a summary", "it is time for a visit",
                         "some things need a look", "it is over", "{subject}, on and off",
                         "{subject}, on and off", "still open, {subject}", "the watch is off",
                         "some news did not get through", "no longer watched"},
        .no_system = "the monitoring service itself",
        .no_fleet = "the whole fleet",
        .the_contractor = "the firm that put in your radon system",
        .where = "Where",
        .details = "Details",
        .since = "Since",
        .ended = "Ended",
        .acknowledged_by = "Acknowledged by",
        .note = "Note",
        .times = "Times it came",
        .value = "Reads",
        .ratio = "Ratio to commissioning",
        .probability = "Probability",
        .lasted = "For",
        .time_left = "Time left",
        .limit = "limit",
        .baseline = "at commissioning",
        .unit = "Unit",
        .unit_sent = "it seems to send {sent} where {declared} is set; before, it read",
        .cause = "Cause",
        .confident = {"uncertain", "possible", "likely"},
        .evidence = "Evidence",
        .check = "Check first",
        .bring = "Bring",
        .action = "Do",
        .cautions = "Cautions",
        .systems = "Systems",
        .reasons = "Reasons",
        .meaning = "What it means",
        .can_do = "What you can do",
        .leave_alone = "What to leave alone",
        .it_was = "What it was: {subject}.",
        .measured = "Measured",
        .still_open = "Nobody has acknowledged this yet.",
        .not_taken_up = "The first contact has not acknowledged this, so it comes to you.",
        .nothing_to_do = "You need to do nothing now. Thank you for your patience.",
        .will_tell = "We will write again when it is over.",
        .over_check = "Nothing to do now; see what caused it at the next visit.",
        .taken_on = "{by} knows of this and will see to it. You need not call.",
        .test =
            "This is a test message. No alarm stands because of it. What to do: nothing; if you "
            "can read this, messages reach you.",
        .plain_test = "This is a test. Nothing is wrong with your home. You need to do nothing. It "
                      "shows that our messages reach you.",
        .test_subject = "Test message",
        .digest = "Summary",
        .digest_plain = "What to know",
        .digest_none = "All is as it should be. No alarm is open.",
        .visit = "Visit due",
        .plain_visit = "Your radon system is due for a visit.",
        .caution_power =
            "Disconnect power before opening fan or switch; electrical work belongs to a "
            "licensed electrician.",
        .caution_backdraft = "After any change to suction, fan or openings: back-draft test of all "
                             "combustion appliances.",
        .caution_codes = "Local codes and licensed practice come first.",
        .bundle = "Alarms at once",
        .bundle_plain = "Some alarms came at once. Here they are in one message.",
        .bundle_over_plain = "These are over. What stays open is told on its own.",
        .bundle_over = "Alarms over",
        .bundle_list = "What began, and when",
        .bundle_over_list = "What is over, and since when",
        .undelivered = "Alarms not delivered",
        .undelivered_plain = "These did not get through, so please pass them on by other means. "
                             "It will not be said again until a message gets through.",
        .undelivered_list = "What was not delivered, and since when",
        .and_more = "and %zu more",
        .chattering = "It comes and goes. It will be told again when nothing has changed for an "
                      "hour; the history has every change.",
        .chattering_plain = "It comes and goes. We will tell you when it stays one way.",
        .recurring = "It comes and goes, this time at least the third within three months. Further "
                     "times are kept in the history; it will be told again when it has stood or "
                     "been over for a week or longer.",
        .recurring_plain = "It comes and goes. We will not write each time. We will tell you when "
                           "it has stayed one way for a week or more.",
        .changes = "Changes within an hour",
        .until = "Until",
        .shelving_ends = "It was set aside and still stands. When the time is over, it will be "
                         "told again.",
        .shelved_by = "By",
        .why = "Why",
        .service = "Out of service",
        .service_ends = "The watch on this system is off and comes back by itself at that time. If "
                        "the work is done, return it to service now; if not, give a new end.",
        .statuses = {"Out of spec", "Drifting", "Silent", "Out of service", "Shelved", "Due"},
        .plain_statuses = {"Not as it should be", "Slowly getting weaker", "Sends nothing",
                           "Watch is off", "Set aside", "Due"},
        .unwatched = "The settings no longer watch for this, so its alarm is closed. It was not "
                     "seen to end.",
        .unwatched_plain = "We no longer watch for this. That does not mean that it is over. "
                           "Call {contractor} if you want to know more.",
        .unwatched_check = "If this should be watched, switch it on again in the settings.",
        .for_age = "for",
};
