"""furnished_house: a house of forty days with all that the tool can show of it."""
import os

from contract import DAY, HOUR, files, series, tool_of, write_csv
from harness import contact, now_ms, plain_point, rfc3339, system

RECORD = """\
date: {date}
by: the installer
instruments: micromanometer 12
next_calibration: 2036-10-01
radon_before: 9.1 pCi/L
radon_after: 1.2 pCi/L
ground_exponent: 1.4
points: {{suction: 1.10 inH2O, hole-1: 6.0 Pa, flow: 41 cfm, fan-power: 19 W}}
notes: text
"""
POINTS = [
    plain_point("suction", unit="inH2O", every="1 h"), plain_point("hole-1", "field", "Pa", "1 h"),
    plain_point("flow", "airflow", "cfm", "1 h"), plain_point("fan-power", "fan-power", "W", "1 h"),
    plain_point("radon", "radon", "pCi/L", "1 h"), plain_point("battery", "battery", "%", "1 h")]


NORMAL = {"suction": ("inH2O", 1.1), "hole-1": ("Pa", 6.0), "flow": ("cfm", 41.0),
          "fan-power": ("W", 19.0), "radon": ("pCi/L", 1.3)}


def furnished(place, days=40, **more):
    """One house with history and a record, one silent of old, one that has sent nothing yet."""
    broker, hook = place.broker(), place.endpoint({"/dead": {"status": 410}, "*": {"status": 204}})
    house = system("birch-lane-12", POINTS, name="12 Birch Lane", address="12 Birch Lane",
                   foundation="drain tile", pipe={"inside_diameter": "3.068 in"},
                   fan={"curve": [["0 cfm", "1.9 inH2O"], ["40 cfm", "1.4 inH2O"],
                                  ["90 cfm", "0.2 inH2O"]], "power": "22 W"})
    daemon = place.daemon(broker, [house, system("elm-road-1", [plain_point("suction", every="2 s")]),
                                   system("oak-way-2", [plain_point("suction", every="1 h")])],
                          [contact("office", hook), contact("dead", hook, role="technician")],
                          conditions={"suction-low": {"on_delay": "0 s", "off_delay": "0 s"},
                                      "suction-lost": {"enabled": "no"}}, **more)
    daemon.start()
    tool, end = tool_of(daemon), now_ms() // HOUR * HOUR
    rows = []
    for name, (unit, value) in NORMAL.items():
        rows += series("birch-lane-12", name, unit, end - days * DAY, end + 1, HOUR, value)
    rows += series("elm-road-1", "suction", "Pa", end - 3 * DAY, end - 2 * DAY, HOUR, 200.0)
    write_csv(os.path.join(daemon.folder, "history.csv"), rows)
    files(daemon.folder, {"record.yaml": RECORD.format(date=rfc3339(end - (days - 1) * DAY))})
    tool.run("commission", "birch-lane-12", "record.yaml")
    tool.run("import", "history.csv")
    return broker, hook, daemon, tool


def raise_low(broker, daemon, seconds=10):
    broker.publish([("subslab/birch-lane-12/suction", "0.5 inH2O")])
    return daemon.alarm("suction-low", seconds)
