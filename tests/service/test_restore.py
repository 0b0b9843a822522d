#!/usr/bin/env python3
"""Copies of the store and the way back, with the real daemon and tool: `backup --into`, what is told
of a night without a copy, `restore` of good, old, damaged and foreign files, and kills on the way."""
import hashlib
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import CTL, tool_of  # noqa: E402
from harness import Suite, check, contact, equal, events, now_ms, point, system, timed, wait_until  # noqa: E402

suite = Suite()
MILL = system("mill", [point("suction")])
HERE = os.path.dirname(os.path.abspath(__file__))
NAME = re.compile(r"^store-\d{8}T\d{6}Z\.db$")


def served(place, **more):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], **more)
    daemon.start()
    return broker, hook, daemon, tool_of(daemon)


def send(broker, daemon, *values):
    at, before = now_ms(), len(daemon.readings("mill", "suction"))
    broker.publish([("subslab/mill/suction", timed(v, at + i)) for i, v in enumerate(values)])
    wait_until(lambda: len(daemon.readings("mill", "suction")) == before + len(values), 10, "readings")


def sum_of(path):
    with open(path, "rb") as file:
        return hashlib.sha256(file.read()).hexdigest()


def beside(daemon, *known):
    """Files beside the store that nobody expects."""
    name = os.path.basename(daemon.store)
    usual = {name, name + ".lock", name + ".in-hand", *known}
    return sorted(set(f for f in os.listdir(os.path.dirname(daemon.store)) if f.startswith(name)) - usual)


def values(daemon):
    return [v for _, v in daemon.readings("mill", "suction")]


@suite.test
def a_copy_is_put_back_and_the_store_of_before_kept(place):
    broker, _hook, daemon, tool = served(place)
    send(broker, daemon, 300, 301)
    tool.run("backup", "copy.db")
    before = sum_of(os.path.join(daemon.folder, "copy.db"))
    send(broker, daemon, 302)
    _, said = tool.run("restore", "copy.db", status=1)
    check("the daemon runs; stop it first: systemctl stop subslabd" in said, said)
    equal(values(daemon), [300, 301, 302], "nothing has changed")
    equal(daemon.stop(), 0, "exit status")
    os.chmod(daemon.store, 0o600)
    answer = tool.json("restore", "copy.db")
    equal([answer["store"], answer["from"]], [daemon.store, "copy.db"], "what was done")
    equal(beside(daemon), [os.path.basename(answer["kept"])], "files beside the store")
    equal(os.stat(daemon.store).st_mode & 0o777, 0o600, "its mode is that of the store before")
    equal(sum_of(os.path.join(daemon.folder, "copy.db")), before, "the copy itself")
    with sqlite3.connect(answer["kept"]) as kept:
        equal(kept.execute("SELECT count(*) FROM readings").fetchone(), (3,), "what is kept")
    kept.close()
    daemon.start()
    equal(values(daemon), [300, 301], "what the copy holds")
    equal(daemon.stop(), 0, "exit status")
    time.sleep(1.1)  # the name of what is kept has seconds
    text = tool.run("restore", os.path.basename(answer["kept"]))[0]  # and back again
    check("start the daemon" in text, text)
    daemon.start()
    equal(values(daemon), [300, 301, 302], "the store of before")


@suite.test
def a_store_that_is_gone_or_damaged_is_replaced(place):
    broker, _hook, daemon, tool = served(place)
    send(broker, daemon, 300)
    tool.run("backup", "copy.db")
    equal(daemon.stop(), 0, "exit status")
    os.remove(daemon.store)
    equal(tool.json("restore", "copy.db")["kept"], None, "there was none")
    with open(daemon.store, "r+b") as file:
        file.write(b"\0" * 60000)
    with open(daemon.store + "-wal", "wb") as file:
        file.write(b"\1" * 5000)  # a log that belongs to nothing
    kept = tool.json("restore", "copy.db")["kept"]
    name = os.path.basename(kept)
    equal(beside(daemon, name, name + "-wal"), [], "the log went with its file")
    equal(os.path.getsize(kept + "-wal"), 5000, "and is kept")
    daemon.start()
    equal(values(daemon), [300], "what the copy holds")


@suite.test
def the_log_of_a_killed_daemon_is_kept_with_its_store(place):
    broker, _hook, daemon, tool = served(place)
    send(broker, daemon, 300)
    tool.run("backup", "copy.db")
    send(broker, daemon, 301, 302)
    daemon.kill()
    check(os.path.getsize(daemon.store + "-wal") > 0, "it left a log")
    kept = tool.json("restore", "copy.db")["kept"]
    with sqlite3.connect(kept) as store:
        equal(store.execute("SELECT count(*) FROM readings").fetchone(), (3,), "all that was committed")
    store.close()
    daemon.start()
    equal(values(daemon), [300], "what the copy holds")


@suite.test
def a_plain_copy_with_its_log_is_taken_whole(place):
    broker, _hook, daemon, tool = served(place)
    send(broker, daemon, 300, 301)
    daemon.kill()
    for ending in ("", "-wal"):
        shutil.copy(daemon.store + ending, os.path.join(daemon.folder, "plain.db" + ending))
        os.remove(daemon.store + ending)
    tool.run("restore", "plain.db")
    daemon.start()
    equal(values(daemon), [300, 301], "both")


@suite.test
def a_copy_of_each_older_version_is_brought_to_today(place):
    _broker, _hook, daemon, tool = served(place)
    equal(daemon.stop(), 0, "exit status")
    for version in range(1, 20):
        sql = os.path.join(HERE, "..", "edge", f"store_version_{version}.sql")
        if not os.path.exists(sql):
            check(version > 5, "the samples are there")
            return
        path = os.path.join(daemon.folder, f"old-{version}.db")
        with open(sql, encoding="utf-8") as text, sqlite3.connect(path) as store:
            store.executescript(text.read())
        store.close()
        before = sum_of(path)
        tool.run("restore", path)
        equal(sum_of(path), before, "the file of the old version")
        equal(tool.run("verify")[0], "the store is sound\n", f"version {version}")
        time.sleep(1.1)  # the name of what is kept has seconds


@suite.test
def what_is_no_sound_store_of_ours_changes_nothing(place):
    broker, _hook, daemon, tool = served(place)
    for n in range(40):
        send(broker, daemon, *range(300 + n, 310 + n))
    tool.run("backup", "copy.db")
    equal(daemon.stop(), 0, "exit status")
    copy = os.path.join(daemon.folder, "copy.db")

    def made(name, change):
        path = os.path.join(daemon.folder, name)
        shutil.copy(copy, path)
        change(path)
        return path

    def with_sql(text):
        def change(path):
            with sqlite3.connect(path) as store:
                store.execute(text)
            store.close()
        return change

    def cut(path):
        os.truncate(path, os.path.getsize(path) // 2)

    def write(path, text):
        with open(path, "wb") as file:
            file.write(text)

    before = sum_of(daemon.store)
    for path, said in (
            (made("sums.db", with_sql("UPDATE totals SET value = value + 1 WHERE name = 'readings'")),
             "sums.db: this backup is not sound ("),
            (made("newer.db", with_sql("PRAGMA user_version=999")), "newer version"),
            (made("cut.db", cut), "cut.db: this backup"),
            (made("text.db", lambda path: write(path, b"no store" * 100)), "not a store of this program"),
            (made("empty.db", lambda path: write(path, b"")), "an empty file"),
            (daemon.folder, "not a regular file"),
            (os.path.join(daemon.folder, "absent.db"), "there is no such file")):
        _, error = tool.run("restore", path, status=1)
        check(said in error and path in error, f"{path}: {error}")
        equal(sum_of(daemon.store), before, "the store")
        equal(beside(daemon), [], "files beside the store")


@suite.test
def a_disk_without_room_changes_nothing(place):
    broker, _hook, daemon, tool = served(place)
    send(broker, daemon, 300)
    tool.run("backup", "copy.db")
    equal(daemon.stop(), 0, "exit status")
    before = sum_of(daemon.store)
    done = subprocess.run(["sh", "-c", 'ulimit -f 40; trap "" XFSZ; exec "$@"', "sh", CTL, "--settings",
                           daemon.settings_file, "restore", "copy.db"],
                          cwd=daemon.folder, capture_output=True, text=True, check=False)
    equal(done.returncode, 1, f"exit status: {done.stderr}")
    check("check space" in done.stderr, done.stderr)
    equal(sum_of(daemon.store), before, "the store")
    equal(beside(daemon), [], "files beside the store")


@suite.test
def a_kill_at_any_moment_leaves_one_or_the_other(place):
    broker, _hook, daemon, tool = served(place)
    for n in range(10):
        send(broker, daemon, *range(300 + 10 * n, 310 + 10 * n))
    tool.run("backup", "copy.db")
    send(broker, daemon, 500)
    daemon.kill()  # so that there is a log
    seen, delay_s = set(), 0.0
    command = [CTL, "--settings", daemon.settings_file, "restore", "copy.db"]
    begun = time.monotonic()
    subprocess.run(command, cwd=daemon.folder, capture_output=True, check=True)
    whole_s = time.monotonic() - begun
    for _ in range(40):
        for name in os.listdir(os.path.dirname(daemon.store)):
            if "before-restore" in name:  # so that the next may be of the same second
                os.remove(os.path.join(os.path.dirname(daemon.store), name))
        with sqlite3.connect(daemon.store) as store:  # another store than the copy
            store.execute("DELETE FROM notes WHERE name = 'mark'")
            store.execute("INSERT INTO notes VALUES ('mark', 'of before')")
        store.close()
        process = subprocess.Popen(command, cwd=daemon.folder, stdout=subprocess.DEVNULL,
                                   stderr=subprocess.DEVNULL)
        time.sleep(delay_s)
        process.send_signal(signal.SIGKILL)
        process.wait()
        delay_s += 1.2 * whole_s / 40
        with sqlite3.connect(daemon.store) as store:
            marked = store.execute("SELECT count(*) FROM notes WHERE name = 'mark'").fetchone()[0]
            count = store.execute("SELECT count(*) FROM readings").fetchone()[0]
        store.close()
        equal(count, 100, "readings of either")
        equal(tool.run("verify")[0], "the store is sound\n", "verify")
        seen.add(marked)
    equal(seen, {0, 1}, "the kills met both sides of the step")
    daemon.start()
    equal(len(values(daemon)), 100, "and the daemon goes on")


@suite.test
def copies_into_a_folder_and_the_oldest_go(place):
    _broker, hook, daemon, tool = served(place)
    folder = os.path.join(daemon.folder, "copies")
    os.mkdir(folder)
    old = [f"store-2026010{n}T023000Z.db" for n in range(1, 6)]
    others = ["store-2026.db", "north-20260101T023000Z.db", "notes.txt", "store-20260101T023000Z.db.partial"]
    for name in old + others:
        with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
            file.write("x")
    said = tool.table("backup", "--into", "copies", "--keep", "3")
    check("3 older copies deleted, 3 kept" in said, said)
    left = sorted(os.listdir(folder))
    made = [name for name in left if NAME.match(name) and name not in old]
    equal(left, sorted(old[3:] + others + made), "what is left")
    equal(len(made), 1, "new ones")
    with sqlite3.connect(os.path.join(folder, made[0])) as copy:
        equal(copy.execute("PRAGMA integrity_check").fetchone(), ("ok",), "the copy")
    copy.close()
    equal(events(hook, condition="backup-failing"), [], "nothing is told of what is well")
    for wrong in (["--keep", "3"], ["a.db", "--into", folder], ["--into", folder, "--keep", "0"],
                  ["--into", folder, "--keep", "x"], []):
        tool.run("backup", *wrong, status=2)


@suite.test
def a_copy_that_fails_is_told_and_so_is_the_next_that_works(place):
    _broker, hook, daemon, tool = served(place)
    folder = os.path.join(daemon.folder, "copies")
    _, said = tool.run("backup", "--into", folder, status=1)
    check("name a folder that may be written" in said, said)
    event = wait_until(lambda: events(hook, condition="backup-failing"), 10, "told")[0]
    equal([event["data"]["priority"], event["data"]["system"]], ["medium", ""], "its data")
    check(folder in event["data"]["text"], f"the text says where: {event['data']['text']}")
    os.mkdir(folder)
    tool.run("backup", "--into", folder)
    wait_until(lambda: events(hook, kind="alarm.returned", condition="backup-failing"), 10, "over")
    equal(daemon.stop(), 0, "exit status")
    tool.run("backup", "--into", folder + "/no", status=1)  # nobody to tell: the exit status says it
    time.sleep(1.1)  # another second, another name
    equal(tool.run("backup", "--into", folder)[1], "", "and nothing else when it is well")


suite.run()
