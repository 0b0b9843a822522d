#!/usr/bin/env python3
"""Outside contract: messages in. What is a reading, what is refused and why, what is not new."""
import csv
import io
import json
import os
import sys
from datetime import datetime, timezone

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import DAY, HOUR, MINUTE, is_time, keys_are, near, tool_of  # noqa: E402
from harness import (Suite, check, equal, now_ms, plain_point, point, rfc3339, stays,  # noqa: E402
                     system, timed, wait_until)

suite = Suite()

INCH_OF_WATER_PA = 249.08891  # conventional inch of water, NIST SP 811 appendix B.8
PCI_L_BQ = 37.0               # 1 Ci = 3.7e10 Bq exactly, NIST SP 811
CFM_M3_S = 0.3048 ** 3 / 60   # international foot


def taken(daemon, system_id, point_id, count, seconds=10):
    return wait_until(lambda: (r := daemon.readings(system_id, point_id)) and len(r) >= count and r,
                      seconds, f"{count} readings of {point_id}")


@suite.test
def number_json_pointer_and_senml_are_readings(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("house", [
        plain_point("plain", unit="inH2O"), plain_point("member", unit="inH2O"),
        plain_point("deep", unit="inH2O", value="/a~1b/0/m~0n", time="/when"),
        plain_point("senml", unit="inH2O"),
        plain_point("elsewhere", unit="inH2O", topic="gateway/7/up")])],
        broker={"subscribe": ["subslab/#", "gateway/+/up"]})
    daemon.start()
    tool, at = tool_of(daemon), now_ms() // 1000 * 1000 - 30_000
    broker.publish([
        ("subslab/house/plain", "0.6"), ("subslab/house/member", '{"value": 0.6, "rssi": -70}'),
        ("subslab/house/deep", json.dumps({"a/b": [{"m~n": 0.6}], "when": rfc3339(at)})),
        ("subslab/house/senml", json.dumps([
            {"bn": "x:", "bt": at / 1000 - 60, "n": "p", "u": "Pa", "v": 100.0},
            {"t": 30, "n": "p", "u": "Pa", "v": 101.0}, {"t": 60, "n": "p", "v": 0.6}])),
        ("gateway/7/up", "6e-1")])
    for name in ("plain", "member", "elsewhere"):
        found = taken(daemon, "house", name, 1)
        near(found[0][1], 0.6 * INCH_OF_WATER_PA, name)
        check(abs(found[0][0] - now_ms()) < 20_000, f"{name} has the time of arrival")
    found = taken(daemon, "house", "deep", 1)
    equal(found[0][0], at, "the time of the message")
    near(found[0][1], 0.6 * INCH_OF_WATER_PA, "by JSON Pointer")
    found = taken(daemon, "house", "senml", 3)
    equal([r[0] for r in found], [at - 60_000, at - 30_000, at], "three records, three times")
    near(found[0][1], 100.0, "SenML that states Pa for a point in inH2O is converted")
    near(found[2][1], 0.6 * INCH_OF_WATER_PA, "SenML without a unit has the point's")
    equal(tool.json("refused"), [], "nothing was refused")


@suite.test
def values_are_kept_in_si_by_the_words_of_the_contract(place):
    """Handbook conversions: NIST SP 811 (2008), appendix B.8."""
    table = [
        ("suction", "inH2O", "1", INCH_OF_WATER_PA, "Pa"), ("field", "Pa", "-1.5", -1.5, "Pa"),
        ("velocity-pressure", "inH2O", "0.1", 0.1 * INCH_OF_WATER_PA, "Pa"),
        ("airflow", "cfm", "40", 40 * CFM_M3_S, "m3/s"), ("fan-power", "W", "22", 22.0, "W"),
        ("fan-current", "mA", "350", 0.35, "A"), ("radon", "pCi/L", "4", 4 * PCI_L_BQ, "Bq/m3"),
        ("indoor-temperature", "degF", "68", 20.0, "degC"),
        ("outdoor-temperature", "degF", "-40", -40.0, "degC"),
        ("barometric-pressure", "hPa", "1013.25", 101325.0, "Pa"), ("humidity", "%", "45", 45.0, "%"),
        ("water-level", "in", "10", 0.254, "m"), ("battery", "V", "3.1", 3.1, "V"),
    ]
    broker = place.broker()
    daemon = place.daemon(broker, [system("house", [plain_point(q, quantity=q, unit=u)
                                                    for q, u, *_ in table])]).start()
    broker.publish([(f"subslab/house/{q}", text) for q, _, text, *_ in table])
    for name, _, _, expected, word in table:
        near(taken(daemon, "house", name, 1)[0][1], expected, name, 1e-4)
        shown = {p["id"]: p for p in tool_of(daemon).json("show", "house")["points"]}[name]
        equal(shown["unit"], word, f"the unit of {name}")
        near(shown["last"]["value"], expected, f"{name} in show", 1e-4)
    rows = list(csv.DictReader(io.StringIO(tool_of(daemon).run("export", "house")[0])))
    equal({r["point"]: r["unit"] for r in rows}, {q: w for q, _, _, _, w in table}, "units of export")


@suite.test
def scale_comes_before_offset_and_both_are_in_the_sensors_unit(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("house", [
        plain_point("suction", unit="inH2O", scale=0.5, offset=0.1),
        plain_point("room", quantity="indoor-temperature", unit="degF", scale=2.0, offset=-3.0)])]).start()
    broker.publish([("subslab/house/suction", "1.0"), ("subslab/house/room", "35")])
    near(taken(daemon, "house", "suction", 1)[0][1], 0.6 * INCH_OF_WATER_PA, "1.0 * 0.5 + 0.1 inH2O")
    near(taken(daemon, "house", "room", 1)[0][1], (67 - 32) / 1.8, "35 * 2 - 3 degF", 1e-4)


@suite.test
def times_are_rfc_3339_or_numbers_by_time_unit(place):
    broker, at = place.broker(), now_ms() // 60_000 * 60_000 - 600_000
    daemon = place.daemon(broker, [system("house", [
        plain_point("text", time="/t"), plain_point("seconds", time="/t", time_unit="s"),
        plain_point("milliseconds", time="/t", time_unit="ms"), plain_point("by-size", time="/t")])])
    daemon.start()

    def send(name, moment, value="5"):
        broker.publish([(f"subslab/house/{name}", f'{{"value": {value}, "t": {json.dumps(moment)}}}')])
    local = datetime.fromtimestamp(at / 1000 - 6 * 3600, timezone.utc).strftime("%Y-%m-%dT%H:%M:%S")
    send("text", local + "-06:00")
    send("seconds", at // 1000)
    send("milliseconds", at)
    send("by-size", at // 1000)
    for name in ("text", "seconds", "milliseconds", "by-size"):
        equal(taken(daemon, "house", name, 1)[0][0], at, f"the time of {name}")
    send("by-size", at + 60_000)
    equal(taken(daemon, "house", "by-size", 2)[1][0], at + 60_000, "milliseconds by their size")
    send("text", rfc3339(at + 60_000)[:-1].replace("T", " ") + "Z")  # RFC 3339, 5.6: a blank for T
    # A leap second is folded into the next (the year 2016 ended with one: IERS Bulletin C 52).
    send("text", "2016-12-31T23:59:60Z")
    found = taken(daemon, "house", "text", 3)
    check(1483228800000 in [r[0] for r in found], f"the leap second: {found}")
    before = sum(daemon.refused().values())
    for count, bad in enumerate((local, "2100-02-29T00:00:00Z", "yesterday", "", None, [1], True,
                                 "2026-13-01T00:00:00Z"), 1):
        send("text", bad)
        wait_until(lambda: sum(daemon.refused().values()) == before + count, 10,  # pylint: disable=cell-var-from-loop
                   f"{bad!r} is refused")


REFUSALS = [  # payload, a word of the reason
    ("", ""), ("abc", "not-a-number"), ("NaN", ""), ("Infinity", ""), ("-inf", ""), ("1e999", ""),
    ("0x1F", ""), ("1,5", ""), ("0.6 furlong", "unit"), ("0.6 pCi/L", "unit"), ('{"value": "abc"}', ""),
    ('{"value": null}', ""), ('{"value": true}', ""), ('{"value": [1]}', ""), ('{"other": 1}', ""),
    ('{"value": 1e999}', ""), ('{"value": NaN}', ""), ('{"value": 1', ""), ("[]", ""), ("[1]", ""),
    ('[{"n": "p", "u": "Cel", "v": 20}]', "unit"), ('[{"n": "p", "v": "x"}]', ""),
    ('[{"n": "p", "u": "Pa", "vs": "x"}]', ""), ("1e9", "range"), ("-5000000", "range"),
    (b"\xff\xfe0.6", ""), (b"0.6\x00", ""), ("0.6 0.7", ""), ("--1", ""), ("1" * 400, ""),
    ('{"value": 1}' + " " * 66000, "large"), ("[" * 33 + "]" * 33, "deep"), ("[" * 10000, "deep"),
    ('{"value": 1, "x": ' + "[" * 32 + "]" * 32 + "}", "deep"),
]


@suite.test
def each_refusal_is_counted_with_its_reason_and_blocks_nothing(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("house", [plain_point("p", unit="inH2O")])]).start()
    for count, (payload, word) in enumerate(REFUSALS, 1):
        before = daemon.refused()
        broker.publish_odd("subslab/house/p", payload, qos=1)
        after = wait_until(lambda: sum(daemon.refused().values()) == count and daemon.refused(),  # pylint: disable=cell-var-from-loop
                           10, f"{payload[:60]!r} is refused")
        changed = [key for key in after if after[key] != before.get(key)]
        equal(len(changed), 1, f"one row for {payload[:60]!r}")
        equal(changed[0][0], "subslab/house/p", "its topic")
        check(word in changed[0][1], f"{payload[:60]!r}: {changed[0][1]!r} lacks {word!r}")
    equal(daemon.readings("house"), {}, "no reading from any of them")
    broker.publish([("subslab/house/p", '{"value": 1, "x": ' + "[" * 31 + "]" * 31 + "}")])
    taken(daemon, "house", "p", 1)
    rows = tool_of(daemon).json("refused")
    for row in rows:
        keys_are(row, "topic reason count first last example", "refused")
        is_time(row["first"], "first")
        is_time(row["last"], "last")
        check(len(row["example"]) <= 2000, "an example is bounded")
    tool_of(daemon).table("refused")


@suite.test
def readings_out_of_the_range_of_their_quantity_are_refused(place):
    table = {  # by physics: none of these can be
        "suction": ["1e6"], "field": ["-1e6"], "velocity-pressure": ["1e6"], "airflow": ["-50", "1e6"],
        "fan-power": ["-999", "1e6"], "fan-current": ["-1", "65535"], "radon": ["-5", "1e9"],
        "indoor-temperature": ["-300", "-999", "500"], "outdoor-temperature": ["-300", "500"],
        "barometric-pressure": ["0", "1e9"], "humidity": ["-5", "150"], "water-level": ["1e5"],
        "battery": ["-3"]}
    broker = place.broker()
    daemon = place.daemon(broker, [system("house", [plain_point(q, quantity=q, unit=None) for q in table])])
    for one in daemon.systems[0]["points"]:
        del one["unit"]
    daemon.write_settings()
    daemon.start()
    messages = [(f"subslab/house/{q}", text) for q, texts in table.items() for text in texts]
    broker.publish(messages)
    wait_until(lambda: sum(daemon.refused().values()) == len(messages), 10,
               f"all {len(messages)} refused")
    equal(daemon.readings("house"), {}, "no reading")
    check(all("range" in reason for _, reason in daemon.refused()), f"{daemon.refused()}")


@suite.test
def too_early_and_too_late_are_refused_at_the_stated_bounds(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("house", [point("p")])])
    daemon.settings["store"]["keep_readings"] = "30 d"
    daemon.write_settings()
    daemon.start()
    now = now_ms()
    good = [now - 29 * DAY, now - HOUR, now + 4 * MINUTE]
    bad = [now + 6 * MINUTE, now + DAY, now - 31 * DAY, 4_291_747_200_000]
    broker.publish([("subslab/house/p", timed(5, at)) for at in good + bad])
    equal([r[0] for r in taken(daemon, "house", "p", 3)], good, "what is within the bounds")
    wait_until(lambda: sum(daemon.refused().values()) == len(bad), 10, "four refused")
    equal(sorted(r[0] for r in daemon.readings("house", "p")), good, "nothing else")
    equal(len({reason for _, reason in daemon.refused()}), 2, "two reasons: future and old")


@suite.test
def the_same_again_is_nothing_and_another_value_is_a_conflict(place):
    broker, at = place.broker(), now_ms() - 60_000
    daemon = place.daemon(broker, [system("house", [point("p")])]).start()
    broker.publish([("subslab/house/p", timed(5.0, at))] * 3)
    taken(daemon, "house", "p", 1)
    equal(daemon.refused(), {}, "equal: ignored")
    broker.publish([("subslab/house/p", timed(6.0, at))] * 2 + [("subslab/house/p", timed(5.0, at))])
    wait_until(lambda: daemon.refused() == {("subslab/house/p", "conflict"): 2}, 10, "a conflict, twice")
    equal(daemon.readings("house", "p"), [(at, 5.0)], "the first stays")


@suite.test
def messages_of_one_instant_without_a_time_are_readings_in_their_order(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("house", [plain_point("p")])]).start()
    values = [200.0, 50.0, 200.0, 51.0] + [100.0 + i for i in range(500)]
    broker.publish([("subslab/house/p", str(value)) for value in values])
    found = taken(daemon, "house", "p", len(values))
    equal([value for _, value in found], values, "all of them, in order")
    check(found[-1][0] - now_ms() < 2000, "their times are not far ahead")
    equal(daemon.refused(), {}, "none of them is a conflict")


@suite.test
def a_replayed_retained_message_is_no_reading_and_a_live_one_is(place):
    broker, at = place.broker(), now_ms() // 1000 * 1000 - 120_000
    broker.publish_odd("subslab/house/plain", "5.0", qos=1, retain=True)
    broker.publish_odd("subslab/house/timed", timed(5.0, at), qos=1, retain=True)
    daemon = place.daemon(broker, [system("house", [plain_point("plain"), point("timed")])]).start()
    taken(daemon, "house", "timed", 1)
    stays(lambda: "plain" not in daemon.readings("house"), 0.5, "a retained one without time counts")
    equal(daemon.stop(), 0, "exit status")
    daemon.start()
    stays(lambda: len(daemon.readings("house").get("timed", [])) == 1, 0.5, "the same key once more")
    broker.publish_odd("subslab/house/plain", "6.0", qos=1, retain=True)
    equal([r[1] for r in taken(daemon, "house", "plain", 1)], [6.0], "live with the retain flag")


@suite.test
def topics_without_a_point_are_listed_to_be_enrolled(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("house", [plain_point("p")])]).start()
    broker.publish([("subslab/other/suction", "0.7")] * 2 + [("subslab/x", "<script>\x1b[31m\n")])
    tool = tool_of(daemon)
    rows = wait_until(lambda: (r := tool.json("unclaimed")) and len(r) == 2 and r, 10, "two topics")
    by_topic = {row["topic"]: row for row in rows}
    equal(by_topic["subslab/other/suction"]["count"], 2, "its count")
    equal(by_topic["subslab/other/suction"]["example"], "0.7", "its example")
    text = tool.table("unclaimed")
    check("subslab/other/suction" in text and "\x1b" not in text, text)


@suite.test
def the_table_of_refused_messages_is_bounded_but_keeps_200(place):
    broker = place.broker()
    points = [plain_point(f"p{i}") for i in range(450)]
    daemon = place.daemon(broker, [system("house", points)]).start()
    broker.publish([(f"subslab/house/p{i}", "junk") for i in range(200)])
    wait_until(lambda: len(tool_of(daemon).json("refused")) == 200, 10, "200 rows")
    broker.publish([(f"subslab/house/p{i}", "junk") for i in range(200, 450)])
    broker.publish([("subslab/house/p0", "5")])
    taken(daemon, "house", "p0", 1)
    check(200 <= len(tool_of(daemon).json("refused")) <= 450, "at least 200")


if __name__ == "__main__":
    suite.run()
