#!/usr/bin/env python3
"""paho_to_sqlite: what somebody writes in an hour: readings from MQTT into SQLite, one commit per
BATCH readings. The benches compare the daemon with it.

    paho_to_sqlite.py PORT CLIENT_ID STORE BATCH COUNT

Subscribes to subslab/# at QoS 1 with a session that the broker keeps, and takes messages like
{"v": 251.3, "t": 1763000400000}. Ends after COUNT readings (0: as soon as it is subscribed) or at
SIGTERM, with everything committed. Same durability as the daemon's: WAL, synchronous FULL. paho
acknowledges a message when its callback returns (Debian 12 has paho 1.6, which knows no other way),
so with BATCH over 1 it acknowledges before the commit.
"""
import json
import signal
import sqlite3
import sys

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

PORT, CLIENT_ID, STORE = int(sys.argv[1]), sys.argv[2], sys.argv[3]
BATCH, COUNT = int(sys.argv[4]), int(sys.argv[5])
store = sqlite3.connect(STORE, isolation_level=None)
store.execute("PRAGMA journal_mode = WAL")
store.execute("PRAGMA synchronous = FULL")
store.execute("CREATE TABLE IF NOT EXISTS readings (topic TEXT, time_ms INTEGER, value REAL, "
              "PRIMARY KEY (topic, time_ms)) WITHOUT ROWID")
rows, taken, ended = [], 0, COUNT == 0


def commit():
    store.execute("BEGIN")
    store.executemany("INSERT OR IGNORE INTO readings VALUES (?, ?, ?)", rows)
    store.execute("COMMIT")
    rows.clear()


def end(*_):
    global ended  # pylint: disable=global-statement
    ended = True


def on_message(_client, _data, message):
    global taken  # pylint: disable=global-statement
    body = json.loads(message.payload)
    rows.append((message.topic, body["t"], body["v"]))
    taken += 1
    if len(rows) >= BATCH:
        commit()
    if taken == COUNT:
        end()


def main():
    client = mqtt.Client(CLIENT_ID, protocol=mqtt.MQTTv5)
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 100000
    properties.ReceiveMaximum = 2000
    subscribed = []
    client.on_message = on_message
    client.on_subscribe = lambda *_: subscribed.append(True)
    client.on_connect = lambda *_: client.subscribe("subslab/#", 1)
    signal.signal(signal.SIGTERM, end)
    client.connect("127.0.0.1", PORT, clean_start=False, properties=properties)
    while not (ended and subscribed) and client.loop(0.1) == mqtt.MQTT_ERR_SUCCESS:
        pass
    client.disconnect()
    if rows:
        commit()
    store.close()


if __name__ == "__main__":
    main()
