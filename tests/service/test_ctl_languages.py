"""What the operator's tool prints for people, in other languages, against a scripted daemon: lists, what was
changed, checks, each with every word that a row can have. In a language that nobody speaks
(pseudo_language.py) no word is left in the code; no table breaks a date, an id or a state, and none is wider
than the terminal; JSON is for programs and the same whatever their environment speaks."""
import json
import os
import re
import sys
import unicodedata

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "../support")]
from pseudo_language import left_in_code  # noqa: E402
from test_ctl_client import ALARM, Daemon, SYSTEMS, VISIT  # noqa: E402
from test_ctl_offline import ROOT, SETTINGS, SYSTEM, TOOL, expect, run_tests  # noqa: E402

PSEUDO = os.path.join(os.path.dirname(TOOL), "tests", "tool_pseudo_ctl")
ENGLISH, SPANISH = {"LC_ALL": "C"}, {"LC_ALL": "es_MX.UTF-8"}
# The same in every language: units, zones, and names that were given here.
SAME = {"inH2O", "pCi", "UTC", "MDT", "MST", "QQQ", "birch", "alder", "lane", "suction", "office", "QQQs", "subslabctl",
        "commission", "baseline", "systemctl", "start", "subslabd", "yaml"}


def words_in(path, pattern):
    with open(os.path.join(ROOT, path), encoding="utf-8") as file:
        return re.findall(pattern, file.read())


# Each word that a column can hold, from where the daemon has it.
REFUSALS = words_in("lib/measure/refusal.c", r'\[REFUSAL_(?!NONE)\w+\] = "([^"]+)"')
TYPES = words_in("lib/words/event.h", r'#define EVENT_TYPE_\w+ "([^"]+)"')
CONDITIONS = words_in("lib/alarm/condition.c", r'"([a-z]+(?:-[a-z]+)+)"')
STATES = ("normal", "unacknowledged", "acknowledged", "returned unacknowledged", "shelved", "suppressed by design")
STATUSES = ("out of spec", "silent", "drifting", "out of service", "in spec")

THEN = "2026-03-12T14:15:00Z"
ROWS = {
    "systems": [{**SYSTEMS[0], "id": f"birch-lane-{i}", "time_zone": "America/Denver", "status": status}
                for i, status in enumerate(STATUSES)] +
               [{**SYSTEMS[1], "id": "alder-lane-7"}],
    "alarms": [{**ALARM, "id": 10 + i, "condition": condition, "state": STATES[i % 6], "time_zone": "America/Denver",
                "priority": ("low", "medium", "high")[i % 3], "returned": THEN if i % 2 else None,
                "system": "birch-lane-12" if i % 4 else None, "point": "suction" if i % 4 else None}
               for i, condition in enumerate(CONDITIONS)],
    "visits": [{**VISIT, "system": f"birch-lane-{i}", "name": "QQQ", "address": "QQQ", "time_zone": "America/Denver",
                "reasons": [{"condition": "suction-low", "text": "⟦5⟧"}], "check": ["⟦6⟧"], "bring": ["⟦7⟧"],
                "priority": ("low", "medium", "high")[i]} for i in range(3)],
    "radon-tests": [{"id": 7, "system": "birch-lane-12", "quantity": "radon", "value": 60.0, "uncertainty": 0.1, "kind": kind,
                     "place": "QQQ", "device": "QQQ", "by": "QQQ", "from": THEN, "to": THEN,
                     "time_zone": "America/Denver", "monitors": monitors}
                    for kind, monitors in (("short", [{"point": "QQQ", "mean": 48.1, "agrees": True}]),
                                           ("long", [{"point": "QQQ", "mean": 480.0, "agrees": False},
                                                     {"point": "QQQs", "agrees": None, "why": "too few readings"}]))],
    "fans": [{"model": model, "count": 7, "years_in_service": 12.4, "failures": 2, "undated": 1,
              "failures_without_reason": 3,
              "survival": [{"share": 0.93, "lower": 0.81, "upper": 0.98}, {"share": None}, {"share": None},
                           {"share": None}],
              "next": [{"system": "birch-lane-12", "branch": "QQQ", "years": 3.2, "chance_next_year": 0.2,
                        "warranty_until": "2027-01-01", "condition": "fan-fading"}]} for model in ("QQQ", None)],
    "deliveries": [{"id": f"d-{i}", "contact": "office", "system": "birch-lane-12", "type": TYPES[i % len(TYPES)],
                    "state": ("waiting", "sent", "failed")[i % 3], "tries": i, "next_try": THEN if i % 3 == 0 else None,
                    "last_answer": "204" if i % 3 else "no answer yet"} for i in range(3 * len(TYPES))],
    "unclaimed": [{"topic": "QQQ", "count": 3, "last": THEN, "example": "5"}],
    "refused": [{"topic": "birch-lane/7", "count": 3, "last": THEN, "example": "5", "reason": reason}
                for reason in REFUSALS],
}
SHOW = {"id": "birch-lane-12", "name": "QQQ", "points": []}
LISTS = {name: [name] for name in ROWS}
LISTS.update({"alarms --all": ["alarms", "--all"], "visits --parts": ["visits", "--parts"],
              "radon-tests of one": ["radon-tests", "birch-lane-12"]})
VISIT_DONE = ["visit-done", "birch-lane-12", "suction=1 Pa", "--on", "2026-03-12", "--by", "QQQ", "--found", "QQQ",
              "--did", "QQQ"]
CHANGES = {
    "acknowledge": ["acknowledge", "12", "--by", "QQQ"],
    "out-of-service": ["out-of-service", "birch-lane-12", "--until", "1 d", "--by", "QQQ", "--why", "QQQ"],
    "return-to-service": ["return-to-service", "birch-lane-12"],
    "commission": ["commission", "birch-lane-12", "record.yaml"],
    "learn": ["commission", "birch-lane-12", "--learn", "2026-01-01", "2026-02-01", "--by", "QQQ"],
    "record": ["record", "birch-lane-12", "suction", "0.62 inH2O", "--by", "QQQ"],
    "visit-done": VISIT_DONE, "visit-done, the new normal": [*VISIT_DONE, "--new-baseline"],
    "deliveries --again": ["deliveries", "--again", "d-1"],
    "radon-tests --take-back": ["radon-tests", "--take-back", "7", "--by", "QQQ", "--why", "QQQ"],
    "test-alert": ["test-alert", "office"],
    "import": ["import", "readings.csv"],
    "forget": ["forget", "birch-lane-12", "--by", "QQQ", "--yes"],
    "check": ["check"], "check of a file": ["check", "birch.yaml"],
    "replay": ["replay", "history.csv", "--commission", "birch-lane-12=record.yaml"],
}
NOTHING = ["systems", "systems --status silent", "alarms", "alarms --all", "visits", "radon-tests", "fans",
           "deliveries", "unclaimed", "refused"]


def script():
    answers = {("GET", f"/api/{name}"): (200, rows) for name, rows in ROWS.items()}
    of_one = "/api/systems/birch-lane-12"
    points = {"suction": {"value": 273.998, "unit": "Pa"}}
    gone = []

    def forget(*_):
        gone.append(1)
        return 200, ({"file": "QQQ", "removed": True, "settings": "QQQ", "contacts": ["office"]} if len(gone) % 2 else
                     {"readings": 5, "alarms": 6, "records": 7, "messages": 8, "log_emptied": True})

    answers.update({
        ("GET", of_one): lambda *_: (404, {"error": "no"}) if len(gone) % 2 else (200, SHOW),
        ("GET", f"{of_one}/radon-tests"): (200, ROWS["radon-tests"]),
        ("GET", "/systems/birch-lane-12/record"): (200, b"record"),
        ("POST", f"{of_one}/forget"): forget,
        ("POST", "/api/alarms/12/acknowledge"): (200, ROWS["alarms"][1]),
        ("POST", f"{of_one}/out-of-service"): (200, {"until": THEN}),
        ("POST", f"{of_one}/return-to-service"): (200, {"until": None}),
        ("POST", f"{of_one}/commission"): (200, {"from": THEN, "points": points}),
        ("POST", f"{of_one}/learn"): (200, {"points": points}),
        ("POST", f"{of_one}/points/suction/record"): (200, {"time": THEN, "value": 154.4, "unit": "Pa"}),
        ("POST", f"{of_one}/visit-done"): lambda _, body: (200, {
            "unmeasured": ["QQQ", "QQQs"], "new_baseline": b"new_baseline" in body}),
        ("POST", "/api/deliveries/d-1/again"): (200, ROWS["deliveries"][0]),
        ("POST", "/api/radon-tests/7/take-back"): (200, ROWS["radon-tests"][0]),
        ("POST", "/api/contacts/office/test-alert"): (200, {"id": "d-1"}),
        ("GET", "/api/deliveries/d-1"): (200, {**ROWS["deliveries"][1], "state": "sent"}),
        ("POST", "/api/import"): (200, {"taken": 1, "same": 2, "bad": 0, "errors": []}),
        ("GET", "/visits.ics"): (200, b"BEGIN:VCALENDAR\r\n")})
    return answers


def furnished():
    daemon = Daemon(script())
    files = {"s.yaml": SETTINGS.replace("nobody.sock", "op.sock"), "birch.yaml": SYSTEM,
             "systems/birch.yaml": SYSTEM.replace("every: 10 min}", "every: 10 min, topic: birch/1.5/x}", 1),
             "record.yaml": "date: 2025-12-01\nby: QQQ\npoints: {suction: 1.00 inH2O, fan-power: 20 W}\n",
             "readings.csv": "time,system,point,value,unit\n2026-01-01T00:00:00Z,birch-lane-12,suction,1,Pa\n",
             "history.csv": "time,system,point,value,unit\n" + "".join(
                 f"2026-01-{1 + hour // 24:02d}T{hour % 24:02d}:{minute}0:00Z,birch-lane-12,suction,"
                 f"{1.0 if hour < 36 else 0.05},inH2O\n" for hour in range(72) for minute in range(6))}
    os.mkdir(daemon.path + "/systems")
    for name, text in files.items():
        with open(f"{daemon.path}/{name}", "w", encoding="utf-8") as file:
            file.write(text)
    return daemon


def run_all(daemon, commands, *more, **how):
    for what, words in commands.items():
        result = daemon.run(*words, *more, **how)
        assert result.returncode == 0 and not result.stderr, f"{what}: {result.returncode} {result.stderr}"
        for name in os.listdir(daemon.path):
            if name.startswith("birch-lane-12-record"):  # forget writes no file a second time
                os.remove(f"{daemon.path}/{name}")
        yield what, result.stdout


def is_pseudo(text, what):
    assert "⟦" in text, f"{what}: not a word of the language: {text}"
    names = "|".join([r"[\w.-]+\.(?:yaml|csv|html)\b", r"birch-lane\S*", "fan-power", r"birch/\S*"])
    left = left_in_code(re.sub(names, " ", text), SAME)
    assert not left, f"{what}: {left[:12]} in no language's file:\n{text}"


def test_no_word_is_left_in_the_code():
    daemon = furnished()
    for asked, environment in ((["--language", "xq"], ENGLISH), ([], {"LC_ALL": "xq_QQ.UTF-8"})):
        for what, text in run_all(daemon, {**LISTS, **CHANGES}, *asked, program=PSEUDO, COLUMNS="200", **environment):
            is_pseudo(text, what)
    for name in ROWS:
        daemon.server.script[("GET", f"/api/{name}")] = (200, [])
    for what, text in run_all(daemon, {what: what.split() for what in NOTHING}, "--language=xq", program=PSEUDO):
        is_pseudo(text, f"{what}, with nothing in it")
    daemon.close()


def test_a_word_left_in_the_code_is_found():
    daemon = furnished()
    (_, text), = run_all(daemon, {"systems": ["systems"]}, **ENGLISH)
    try:
        is_pseudo("⟦5⟧" + text, "English")
    except AssertionError:
        daemon.close()
        return
    raise AssertionError("it was not found")


def columns_of(line):
    """Unicode Standard Annex 11 and the general category Mn, as Python's tables have them."""
    return sum(0 if unicodedata.category(c) in ("Mn", "Me") else 2 if unicodedata.east_asian_width(c) in "WF" else 1
               for c in line)


def kept_whole(language):
    """What no table may break: states, statuses, reasons, dates, times, ids."""
    texts = dict(words_in(f"lib/words/language_{language}.txt", r"(?m)^page\.(\w+) = (.*)$"))
    names = {"IN_SPEC", "DRIFTING", "OUT_OF_SPEC", "OUT_OF_SERVICE", "UNACKNOWLEDGED", "ACKNOWLEDGED", "SHELVED",
             "RETURNED_UNACKNOWLEDGED", "SUPPRESSED", "TOOL_WAITING", "TOOL_SENT", "TOOL_GIVEN_UP"}
    return {texts[name] for name in names} | {"2026-03-12 08:15 MDT", "2027-01-01", "birch-lane-12", "d-12"}


def test_tables_fit_and_break_nothing_that_belongs_together():
    daemon = furnished()
    for language in ("en", "es"):
        whole, usual = kept_whole(language), None
        for columns in (1000, 40, 60, 72, 80, 100, 132, 200):
            seen = ""
            for what, text in run_all(daemon, LISTS, "--language", language, COLUMNS=str(columns)):
                for line in text.splitlines():
                    assert columns_of(line) <= columns, f"{what} in {columns}: {columns_of(line)}: {line}\n{text}"
                    assert line == line.rstrip(), f"{what}: a blank at the end of {line!r}"
                seen += text
            usual = usual or {part: seen.count(part) for part in whole}
            assert all(usual.values()), f"not in any list: {usual}"
            broken = {part for part in whole if seen.count(part) != usual[part]}
            assert not broken, f"{language}: broken in {columns} columns: {broken}"
            assert "\u00a0" not in seen, "blanks are blanks"
    daemon.close()


# From memory: the Spanish of the trade, as the sheets have it.
SPANISH_LINES = {
    "systems": [r"^SISTEMA +ESTADO +SUCCIÓN +PARTE +RADÓN +ALARMAS +EDAD$", r"birch-lane-0 +fuera de límites ",
                r"birch-lane-1 +sin señal desde 2026-03-12 ", r"alder-lane-7 +dentro de límites .* nunca$"],
    "alarms": [r"^N\.º +PRIOR\. +DÓNDE +CONDICIÓN +SITUACIÓN +AVISADA$", r"^ *11 +media +birch-lane-12 suction +Succión ",
               r"^ *10 +baja +el servicio +Succión perdida", "explicada por otra", "terminada sin reconocer"],
    "alarms --all": ["TERMINADA"],
    "visits": [r"toca +2026-03-20 \(del 2026-03-12 al 2026-04-12\), prioridad baja", "por qué +",
               "^lleve, para todas\n  3 de 3 visitas  ⟦7⟧"],
    "radon-tests": [r"^SISTEMA +TERMINÓ +RESULTADO", "1.3 pCi/L coincide", "muy pocas lecturas|pocas lecturas", "corta, QQQ"],
    "fans": [r"^MODELO +EN MARCHA +AÑOS", r"\(sin nombre\)", "^PRÓXIMOS", "2 ventiladores sin fecha de instalación",
             "Ventilador en declive"],
    "deliveries": [r"^CONTACTO +SISTEMA +TIPO +SITUACIÓN", "recordatorio de alarma", "abandonado", "sin respuesta todavía"],
    "refused": [r"^TEMA +MOTIVO +VECES", "^falta el valor: `value` del punto no lleva"],
    "out-of-service": ["^birch-lane-12 está fuera de servicio hasta 2026-03-12 14:15 UTC$"],
    "commission": [r"^PUNTO +PUESTA EN MARCHA$", r"^suction +1\.1 inH2O$"],
    "visit-done": ["^sin medir: QQQ, QQQs$", "Si el trabajo cambió"],
    "import": ["^1 lecturas tomadas, 2 ya conocidas, 0 líneas malas$"],
    "check": ["1 sistemas, 2 puntos, 0 contactos$", "No se avisa a nadie", r"El tema birch/1\.5/x tiene un punto"],
    "forget": ["^birch-lane-12: borrado: 5 lecturas, 6 alarmas, 7 actas, 8 mensajes$", "el contacto office no recibe"],
    "replay": ["Succión perdida", r"^432 lecturas desde 2026-01-01T00:00:00Z hasta 2026-01-03T23:50:00Z: \d alarmas$"],
}


def test_lists_and_changes_in_spanish():
    daemon = furnished()
    every = {**LISTS, **CHANGES}
    for what, text in run_all(daemon, {what: every[what] for what in SPANISH_LINES}, COLUMNS="160", **SPANISH):
        for line in SPANISH_LINES[what]:
            assert re.search(line, text, re.M), f"{what}: {line}\n{text}"
    daemon.close()


def test_the_daemon_is_asked_in_the_language():
    daemon = furnished()
    expect(daemon.run("visits", **SPANISH), 0)
    assert daemon.last()[2]["language"] == "es", daemon.last()
    expect(daemon.run("visits", "--ics", "-", **SPANISH), 0)
    assert daemon.last()[2] == {}, "a calendar is for other programs, too"
    expect(daemon.run("visits", "--ics", "-", "--language", "es"), 0)
    assert daemon.last()[2] == {"language": "es"}, daemon.last()
    daemon.close()


def test_json_is_the_same_in_every_environment():
    daemon = furnished()
    commands = {what: words for what, words in {**LISTS, **CHANGES}.items() if what not in ("check", "check of a file")}
    english = dict(run_all(daemon, commands, "--json", **ENGLISH))
    assert all(json.loads(text) is not None for text in english.values())
    assert dict(run_all(daemon, commands, "--json", **SPANISH)) == english
    daemon.close()


def test_help_and_errors_are_in_english():
    daemon = furnished()
    usual = daemon.run("systems", "--help", **ENGLISH).stdout
    assert "usage:" in usual and daemon.run("systems", "--help", **SPANISH).stdout == usual
    expect(daemon.run("systems", "--status", "fuera de límites", **SPANISH), 2, err="allowed: in spec, drifting")
    expect(daemon.run("systems", "--language", "qq"), 2, err="--language qq is not known")
    expect(daemon.run("systems", "--language"), 2, err="--language")
    expect(daemon.run("systems", **{"LC_ALL": "qq_QQ.UTF-8"}), 0, out="^SYSTEM +STATUS")
    expect(daemon.run("--language", "es", "systems"), 0, out="^SISTEMA +ESTADO")
    daemon.close()


if __name__ == "__main__":
    run_tests(globals())
