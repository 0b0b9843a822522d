#!/usr/bin/env python3
"""Programs that others wrote take what the daemon hands out: webhooks an endpoint that checks signature
and event by libraries of its own (receiver.mjs), the calendar of visits calcurse. Needs
VALIDATORS_FOLDER."""
import json
import os
import re
import shutil
import subprocess
import sys
import threading
from datetime import datetime, timedelta

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (LOW_AT_ONCE, Skipped, Suite, check, contact, dies_with_us, equal,  # noqa: E402
                     now_ms, point, system, timed, wait_until, write_file)

suite = Suite()
HERE = os.path.dirname(os.path.abspath(__file__))
SECRET = "whsec_" + "QUJDREVGR0g" * 4 + "QUJDREVGR0hJSktM"[:4]
OTHER = "whsec_" + "WFlaWFlaWFl" * 4 + "WFlaWFlaWFlaWFla"[:4]


class Receiver:
    def __init__(self, place, secret):
        self.said = []
        self.process = subprocess.Popen(["node", os.path.join(HERE, "receiver.mjs"), secret], text=True,
                                        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                        preexec_fn=dies_with_us)
        place.at_end(self.end)
        self.port = int(self.process.stdout.readline().split()[1])
        threading.Thread(target=self.read, daemon=True).start()

    def read(self):
        for line in self.process.stdout:
            self.said.append(json.loads(line))

    def url(self, path):
        return f"http://127.0.0.1:{self.port}{path}"

    def end(self):
        self.process.stdin.close()
        self.process.wait(20)


def signed(name, receiver, secret_file):
    one = contact(name, receiver, "/hook")
    one["webhook"]["signing_secret_file"] = secret_file
    return one


@suite.test
def a_receiver_of_others_takes_our_messages(place):
    broker, receiver = place.broker(), Receiver(place, SECRET)
    daemon = place.daemon(broker, [system("mill", [point("suction")], name="Mühle \"am Bach\" – 1 & 2")],
                          conditions=LOW_AT_ONCE)
    daemon.contacts = [signed("office", receiver, daemon.secret("office-secret", SECRET))]
    daemon.write_settings()
    daemon.start()
    broker.publish([("subslab/mill/suction", timed(50, now_ms() - 1000))])
    wait_until(lambda: receiver.said, 20, "the raise")
    broker.publish([("subslab/mill/suction", timed(300, now_ms()))])
    wait_until(lambda: len(receiver.said) > 1, 30, "the return")
    equal([(one["status"], one.get("type"), one.get("subject")) for one in receiver.said],
          [(204, "subslab.alarm.raised", "mill"), (204, "subslab.alarm.returned", "mill")], "what it took")
    check("Mühle \"am Bach\" – 1 & 2" in receiver.said[0]["text"], f"the text: {receiver.said[0]['text']}")
    check(receiver.said[0]["id"] != receiver.said[1]["id"], "an id each")
    wait_until(lambda: {one["state"] for one in daemon.deliveries()} == {"sent"}, 10, "both are sent")


@suite.test
def one_that_knows_another_secret_takes_none(place):
    broker, receiver = place.broker(), Receiver(place, OTHER)
    daemon = place.daemon(broker, [system("mill", [point("suction")])], conditions=LOW_AT_ONCE)
    daemon.contacts = [signed("office", receiver, daemon.secret("office-secret", SECRET))]
    daemon.write_settings()
    daemon.start()
    broker.publish([("subslab/mill/suction", timed(50, now_ms()))])
    wait_until(lambda: receiver.said, 20, "a request")
    equal(receiver.said[0]["status"], 401, "refused")
    check("ignature" in receiver.said[0]["why"], receiver.said[0]["why"])
    wait_until(lambda: daemon.deliveries()[0]["last_answer"] == "401", 10, "it is known here")
    equal(daemon.deliveries()[0]["state"], "waiting", "and will be tried again")


@suite.test
def a_calendar_program_reads_the_visits(place):
    if not shutil.which("calcurse"):
        raise Skipped("calcurse is not installed")
    broker = place.broker()
    houses = [system(name, [point("suction")], name=f"House {name}, \"left\"; door", address="1 Mill Road, rear")
              for name in ("mill", "creek")]
    daemon = place.daemon(broker, houses, conditions=LOW_AT_ONCE)
    daemon.start()
    broker.publish([(f"subslab/{name}/suction", timed(50, now_ms())) for name in ("mill", "creek")])
    wait_until(lambda: len(daemon.get("/api/visits")) == 2, 20, "two visits")
    calendar = write_file(os.path.join(place.folder, "visits.ics"),
                          daemon.request("GET", "/visits.ics", page=True).body.decode())
    home = place.new_folder("home")
    environment = {**os.environ, "HOME": home, "XDG_DATA_HOME": home, "XDG_CONFIG_HOME": home,
                   "LC_ALL": "C.UTF-8", "TZ": "UTC"}

    def calcurse(*words):
        return subprocess.run(["calcurse", "-D", home, *words], env=environment, capture_output=True,
                              text=True, timeout=60, check=False, stdin=subprocess.DEVNULL)

    done = calcurse("-i", calendar)
    check(done.returncode == 0 and "2 events" in re.sub(r" +", " ", done.stdout),
          f"calcurse: {done.stdout}{done.stderr}")
    check("0 skipped" in done.stdout or "skipped" not in done.stdout, f"calcurse: {done.stdout}")
    for visit in daemon.get("/api/visits"):
        day = datetime.fromisoformat(visit["due"].replace("Z", "+00:00"))
        listed = calcurse("-Q", "--from", (day - timedelta(days=1)).strftime("%m/%d/%Y"), "--days", "3").stdout
        check(visit["name"] in listed, f"{visit['name']} is not among: {listed}")


if __name__ == "__main__":
    suite.run()
