"""What to do, as page and tool say it with the real daemon: of each alarm that stands, with a cause or
without; nothing of one that is over; and shares of commissioning, which are no chances."""
import os
import re
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import tool_of  # noqa: E402
from harness import Suite, check, local_day, plain_point, wait_until  # noqa: E402
from page_houses import daemon_with_accounts, house  # noqa: E402
from pages import Session, fetch, share  # noqa: E402

suite = Suite()


def said(tool, *arguments):
    return " ".join(tool.table(*arguments).split())


@suite.test
def an_alarm_without_a_cause_says_what_to_do(place):
    broker = place.broker()
    one = house(points=[plain_point("battery", "battery", "%", "1 min")])
    one["conditions"] = {"battery-low": {"setpoint": "20 %", "on_delay": "0 s"}}
    daemon = daemon_with_accounts(place, [one], broker)
    broker.publish([("subslab/mill/battery", "5")])
    daemon.alarm("battery-low")
    for path in ("/systems/mill", "/alarms"):
        check("What to do: Replace the battery at the next visit" in fetch(daemon, path).text, path)
        check("Qué hacer: Cambie la pila en la próxima visita" in fetch(daemon, path + "?language=es").text, path)
    check(" do Replace the battery at the next visit" in said(tool_of(daemon), "show", "mill"), "the tool")
    check(" haga Cambie la pila" in said(tool_of(daemon), "--language", "es", "show", "mill"), "the tool in Spanish")


@suite.test
def what_is_over_asks_for_nothing_more(place):
    broker = place.broker()
    daemon = daemon_with_accounts(place, [house()], broker)
    broker.publish([("subslab/mill/suction", "50")])
    daemon.alarm("suction-low")
    wait_until(lambda: "Check first" in fetch(daemon, "/alarms").text, 20, "while it stands there is something to check")
    broker.publish([("subslab/mill/suction", "260")])
    wait_until(lambda: daemon.alarms()[0]["state"] == "returned unacknowledged", 20, "it is over")
    for path in ("/systems/mill", "/alarms"):
        text = fetch(daemon, path).text
        check("What to do: Nothing urgent; see what caused it at the next visit." in text, f"{path}: {text}")
        check("Check first" not in text and "Measure suction, air flow" not in text.split("The whole message")[0], path)
    check(re.search(r"Over: Suction low\s*1, 1 not acknowledged", fetch(daemon, "/").text), "the list")
    shown = said(tool_of(daemon), "show", "mill")
    check(" do Nothing urgent" in shown and " check " not in shown and " bring " not in shown, shown)


@suite.test
def a_share_of_commissioning_is_no_chance(place):
    broker = place.broker()
    daemon = daemon_with_accounts(place, [house()], broker)
    daemon.commission("mill", f"date: {local_day(86400_000)}\nby: the installer\npoints: {{suction: 250 Pa}}\n")
    broker.publish([("subslab/mill/suction", "249.5")])
    link = share(Session(daemon), "mill")
    for path in ("/", "/systems/mill", link):
        wait_until(lambda at=path: "100 %" in fetch(daemon, at).text, 20, f"the share is a whole one in {path}")
        text = fetch(daemon, path).text
        check("over 99 %" not in text and "> 99 %" not in text, f"{path}: {text}")


@suite.test
def a_visit_says_the_likely_cause(place):
    broker = place.broker()
    points = [plain_point("suction", every="1 min"), plain_point("fan-power", "fan-power", "W", every="1 min")]
    one = house(points=points)
    daemon = daemon_with_accounts(place, [one], broker)
    daemon.commission("mill", f"date: {local_day(86400_000)}\nby: the installer\npoints: {{suction: 250 Pa, fan-power: 20 W}}\n")
    broker.publish([("subslab/mill/fan-power", "0.1"), ("subslab/mill/suction", "1")])
    daemon.alarm("suction-low")
    for language, cause in (("en", "Likely cause: fan off, without power, or seized. How sure: "),
                            ("es", "Causa probable: ventilador apagado, sin corriente o trabado. Con qué seguridad: ")):
        wait_until(lambda said=cause, at=language: said in fetch(daemon, f"/visits?language={at}").text, 20, cause)


suite.run()
