"""page_houses: houses and daemons that the tests of the page look at."""
from harness import PATIENCE, now_ms, plain_point, rfc3339, system
from pages import HASH, OTHER_HASH, fetch, share

HOUR, DAY = 3600_000, 86400_000


def house(ident="mill", every="1 min", points=None, **more):
    return system(ident, points or [plain_point("suction", every=every), plain_point("radon", "radon", "Bq/m3", every=every)],
                  conditions={"suction-low": {"setpoint": "100 Pa", "deadband": "1 Pa",
                                              "on_delay": "0 s", "off_delay": "0 s"},
                              "suction-lost": {"enabled": "no"}}, **more)


def daemon_with_accounts(place, systems, broker=None, **page):
    daemon = place.daemon(broker or place.broker(), systems, page={"access_file": "accounts", **page})
    daemon.secret("accounts", f"# people\ninstaller:{HASH}\nworkshop:{OTHER_HASH}")
    return daemon.start()


def with_alarm(place, **more):
    broker = place.broker()
    daemon = daemon_with_accounts(place, [house(**more), house("other")], broker)
    broker.publish([("subslab/mill/suction", "50")])
    return daemon, daemon.alarm("suction-low")["id"]


def shared_pages(daemon, session, ident):
    link = share(session, ident)
    return [fetch(daemon, link).text, fetch(daemon, link + "?range=1y&units=si").text,
            fetch(daemon, link + "/record").text]


def newest(daemon, ident):
    found = daemon.get("/api/readings", system=ident, point="suction", **{"from": rfc3339(now_ms() - 60_000 * PATIENCE)})
    return found["readings"][-1]["value"] if found["readings"] else None
