#!/usr/bin/env python3
"""Small forms of the page that are refused: what was typed stays in the form, the reason stands beside
its field, in the language of who reads it, and nothing is changed."""
import os
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import Suite, check, equal, local_day  # noqa: E402
from pages import Page, Session, fields_of, post_form, reasons_of  # noqa: E402
from page_houses import with_alarm  # noqa: E402

suite = Suite()


def send(session, path, status, language="en", **fields):
    answer = post_form(session.daemon, path, {"token": session.token, **fields}, session.cookie, **{"Accept-Language": language})
    page = Page(answer.body.decode())
    equal(page.errors, [], f"markup of {path}")
    equal(answer.status, status, f"{path} with {fields}: {page.text[-600:]}")
    return page


def state(daemon):
    (alarm,) = daemon.alarms()
    return alarm["state"], "shelved" in alarm, daemon.get("/api/systems/mill")["status"] == "out of service"


# Fields, what they are refused with, the field that is marked ("": the form as a whole), and why in two languages.
REFUSED = [
    ("shelve", {"until": "400 d", "why": "part <ordered>"}, 400, "until", "allowed is a time within the next 30 days",
     "se admite una hora dentro de los próximos 30 días"),
    ("shelve", {"until": "soon", "why": "x"}, 400, "until", '"soon" is not a time; allowed: 2026-03-12',
     '"soon" no es una hora; se admite: 2026-03-12'),
    ("shelve", {"until": "1 d", "why": " "}, 400, "why", "Please fill this in.", "Por favor, rellene esto."),
    ("shelve", {"until": "2001-01-01", "why": "x"}, 400, "until", "within the next 30 days", "los próximos 30 días"),
    ("unshelve", {}, 409, "", "is not shelved", "no está aplazada"),
]


@suite.test
def an_alarms_forms_come_back(place):
    daemon, alarm = with_alarm(place)
    session, before = Session(daemon), state(daemon)
    for system, back in (("", "/alarms"), ("mill", "/systems/mill")):
        for action, fields, status, field, *whys in REFUSED:
            for language, why in zip(("en", "es"), whys):
                page = send(session, f"/alarms/{alarm}/{action}", status, language, system=system, **fields)
                reasons = reasons_of(page)
                check(why in reasons.get(field, ""), f"{action} {fields} in {language}: {reasons}")
                form = fields_of(page)
                equal(form.get("why", ""), fields.get("why", "").strip(), "what was typed")
                equal([a["action"].split("?")[0] for a in page.all("form")][-1], f"/alarms/{alarm}/{action}", "the form again")
                check(back in [a.get("href") for a in page.all("a")], f"the way back to {back}")
                if field:
                    (marked,) = [a for tag in ("input", "select") for a in page.all(tag) if a.get("aria-invalid")]
                    equal((marked["name"], marked["aria-describedby"]), (field, f"wrong-{field}"), "marked")
                equal(state(daemon), before, f"after {action} {fields}")
    for language, why in (("en", "there is no open alarm 999"), ("es", "no hay ninguna alarma abierta 999")):
        page = send(session, "/alarms/999/acknowledge", 404, language, note="seen <b>today</b>")
        check(why in reasons_of(page)[""], reasons_of(page))
        equal(fields_of(page)["note"], "seen <b>today</b>", "the note stays")
    page = send(session, f"/alarms/{alarm}/shelve", 400, until="7 d", why="")
    send(session, f"/alarms/{alarm}/shelve", 303, **{n: v for n, v in fields_of(page).items() if n not in ("token", "why")}, why="then so")
    equal(daemon.alarms()[0]["shelved"]["why"], "then so", "the form that came back is sent again")


@suite.test
def out_of_service_comes_back(place):
    daemon, _ = with_alarm(place)
    session, before = Session(daemon), state(daemon)
    path = "/systems/mill/out-of-service"
    for fields, field, *whys in (
            ({"until": "7 d", "why": ""}, "why", "Please fill this in.", "Por favor, rellene esto."),
            ({"until": local_day(86_400_000), "why": "roof <work>"}, "until", "allowed is a time in the future", "se admite una hora por venir"),
            ({"until": "later", "why": "roof"}, "until", '"later" is not a time', '"later" no es una hora')):
        for language, why in zip(("en", "es"), whys):
            page = send(session, path, 400, language, **fields)
            check(why in reasons_of(page)[field], f"{fields} in {language}: {reasons_of(page)}")
            equal(fields_of(page)["why"], fields["why"], "what was typed")
            equal(state(daemon), before, f"after {fields}")
    for language, why in (("en", "mill is not out of service"), ("es", "mill no está fuera de servicio")):
        check(why in reasons_of(send(session, "/systems/mill/return-to-service", 409, language))[""], why)
    page = send(session, path, 400, until="7 d", why="")
    equal(fields_of(page)["until"], "7 d", "the span that was chosen")
    send(session, path, 303, until="7 d", why="roof work")
    equal(daemon.get("/api/systems/mill")["status"], "out of service", "sent again")


@suite.test
def a_visit_comes_back_with_all_that_is_wrong(place):
    daemon, _ = with_alarm(place)
    session = Session(daemon)
    good = {"on": local_day(), "found": "dust", "did": "cleaned"}
    for fields, field, *whys in (
            ({"on": local_day(-3 * 86_400_000)}, "on", "not in the future", "no esté por venir"),
            ({"on": "soon"}, "on", "is not a time", "no es una hora"),
            ({"value-suction": "1 apple"}, "value-suction", "is not a value with a unit", "no es un valor con unidad"),
            ({"value-suction": "99999 inH2O"}, "value-suction", "outside what is physically possible", "no es físicamente posible"),
            ({"next_calibration": "soon"}, "next_calibration", "is not a time", "no es una hora"),
            ({"new_baseline": "yes"}, "new_baseline", "it needs the values", "hacen falta los valores"),
            ({"changed-fan": "yes", "changed-nothing": "yes"}, "changed-fan", "allowed is a list of fan", "se admite una lista de ventilador"),
            ({"fan-serial": "7"}, "fan-model", "is missing; allowed: the id of a fan model", "falta; se admite: el código de un modelo de ventilador"),
            ({"fan-model": "a", "fan-warranty_until": "soon"}, "fan-warranty_until", "soon is not a date", "soon no es una fecha")):
        for language, why in zip(("en", "es"), whys):
            page = send(session, "/systems/mill/visit-done", 400, language, **good | fields)
            check(why in reasons_of(page).get(field, ""), f"{fields} in {language}: {reasons_of(page)}")
            equal(daemon.get("/api/systems/mill")["last_visit"], None, f"after {fields}")
    page = send(session, "/systems/mill/visit-done", 400, on="", found="", did="", **{"value-suction": "1 inH2O"})
    equal(sorted(reasons_of(page)), ["", "did", "found", "on"], "all that is missing at once")


@suite.test
def a_sign_in_keeps_the_name_and_the_way(place):
    daemon, _ = with_alarm(place)
    answer = post_form(daemon, "/sign-in", {"name": "installer", "password": "wrong", "next": "/systems/mill"})
    form = fields_of(Page(answer.body.decode()))
    equal((answer.status, form), (403, {"next": "/systems/mill", "name": "installer", "password": ""}), "the password is typed anew")


if __name__ == "__main__":
    suite.run()
