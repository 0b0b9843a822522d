"""broker_process: a real broker on a free port of its own."""
import os
import random
import shutil
import signal
import socket
import subprocess
import time

from basics import dies_with_us, check, wait_until, free_port, write_file
from mqtt_publisher import Publisher

# Saves the queue at a clean end only: fast, and what a test needs that does not kill the broker.
BROKER_SAVES_AT_END = """\
persistence true
"""
# Saves after each change; the interval counts changes then (mosquitto.conf(5)). Slow with a queue.
BROKER_SAVES_EACH_CHANGE = """\
persistence true
autosave_on_changes true
autosave_interval 1
"""
BROKER_COMMON = """\
listener {port} 127.0.0.1
allow_anonymous true
persistence_location {folder}/
max_queued_messages 1000000
max_queued_bytes 0
max_inflight_messages 200
message_size_limit 262144
log_dest file {folder}/broker.log
log_type error
log_type warning
log_type notice
log_type information
user root
"""


class Broker:
    def __init__(self, folder, variant=BROKER_SAVES_AT_END, more=""):
        self.folder = folder
        self.port = free_port()
        self.process = None
        self.settings = os.path.join(folder, "mosquitto.conf")
        self.write_settings(variant, more)

    def write_settings(self, variant, more=""):
        write_file(self.settings,
                   BROKER_COMMON.format(port=self.port, folder=self.folder) + variant + more)

    def start(self):
        mosquitto = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        self.process = subprocess.Popen([mosquitto, "-c", self.settings],
                                        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                        preexec_fn=dies_with_us)
        wait_until(self._listens, 10, "the broker listens")
        return self

    def _listens(self):
        check(self.process.poll() is None, "the broker ended at once")
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def send_signal(self, number):
        self.process.send_signal(number)

    def stop(self, number=signal.SIGTERM):
        if self.process and self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(number)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()

    def kill(self):
        self.stop(signal.SIGKILL)

    def database_age_s(self):
        """Since when nothing more was saved; 0 when nothing was."""
        database = os.path.join(self.folder, "mosquitto.db")
        return time.time() - os.path.getmtime(database) if os.path.exists(database) else 0

    def forget(self):
        """What a broker that saves nothing has after a power cut."""
        self.kill()
        database = os.path.join(self.folder, "mosquitto.db")
        if os.path.exists(database):
            os.remove(database)

    def publish(self, messages, **more):
        with Publisher(self.port, f"publisher-{random.getrandbits(40):x}") as publisher:
            return publisher.publish(messages, **more)

    def publish_odd(self, topic, payload, qos=0, retain=False):
        """One message by mosquitto_pub, for what Publisher cannot do."""
        command = ["mosquitto_pub", "-p", str(self.port), "-t", topic, "-q", str(qos), "-s"]
        data = payload.encode() if isinstance(payload, str) else payload
        if not data:
            command[-1] = "-n"
        subprocess.run(command + (["-r"] if retain else []), input=data, check=True, timeout=20)

    def log(self):
        path = os.path.join(self.folder, "broker.log")
        if not os.path.exists(path):
            return ""
        with open(path, encoding="utf-8", errors="replace") as file:
            return file.read()
