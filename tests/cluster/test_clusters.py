#!/usr/bin/env python3
# Limit: 900 s
"""Brokers that are clusters: nodes and daemons die, and each acknowledged reading is stored once.

A NATS cluster of three with JetStream and replicated sessions, a RabbitMQ cluster of three with quorum
queues, and the broker of npm's aedes. All on loopback; each test ends what it started.
"""
import os
import shutil
import signal
import socket
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (Skipped, Suite, check, dies_with_us, equal, free_port, now_ms,  # noqa: E402
                     point, system, timed, wait_until, write_file)
from mqtt_publisher import Publisher  # noqa: E402

suite = Suite()
NODES = 3
READINGS = 3000
# NATS gives a message that was in flight to a dead node again after 30 s.
COMES_AGAIN_S = 60


def listens(port):
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Cluster:
    """Three nodes; `ports` are those for MQTT."""

    def __init__(self, place):
        self.folder = place.new_folder("cluster")
        self.ports = [free_port() for _ in range(NODES)]
        self.processes = [None] * NODES
        place.at_end(self.end)

    def spawn(self, node, command, environment=None):
        log = open(os.path.join(self.folder, f"log-{node}"), "ab")  # noqa: SIM115
        # Three starting nodes would take all processors from the daemon, whose turns are judged.
        self.processes[node] = subprocess.Popen(
            ["nice", "-n", "10", *command], env={**os.environ, **(environment or {})}, stdout=log, stderr=log,
            start_new_session=True, preexec_fn=dies_with_us)

    def kill(self, node):
        process = self.processes[node]
        if process and process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()

    def end(self):
        for node in range(NODES):
            self.kill(node)

    def wait_ready(self, seconds=90):
        wait_until(lambda: all(listens(port) for port in self.ports), seconds, "all nodes listen")
        wait_until(self.takes_messages, seconds, "the cluster takes messages")

    def takes_messages(self):
        """A leader is chosen some seconds after the nodes listen."""
        try:
            with Publisher(self.ports[1], "is-it-there", timeout=5) as publisher:
                return publisher.publish([("elsewhere/x", "1")]) == 1
        except OSError:
            time.sleep(0.5)
            return False


class Nats(Cluster):
    program = "nats-server"

    def start(self):
        client, routes = ([free_port() for _ in range(NODES)] for _ in range(2))
        every = ", ".join(f"nats://127.0.0.1:{port}" for port in routes)
        for node in range(NODES):
            store = os.path.join(self.folder, f"store-{node}")
            settings = write_file(os.path.join(self.folder, f"node-{node}.conf"), f"""
server_name: n{node}
listen: 127.0.0.1:{client[node]}
cluster {{ name: C, listen: 127.0.0.1:{routes[node]}, routes: [{every}] }}
jetstream {{ store_dir: "{store}" }}
mqtt {{ host: 127.0.0.1, port: {self.ports[node]}, stream_replicas: {NODES} }}
""")
            self.spawn(node, [shutil.which(self.program), "-c", settings])
        self.wait_ready()
        return self


class Rabbit(Cluster):
    program = "rabbitmq-server"

    def environment(self, node):
        base = os.path.join(self.folder, f"node-{node}")
        return {"RABBITMQ_NODENAME": f"r{node}-{self.ports[0]}@localhost",
                "RABBITMQ_NODE_PORT": str(self.inside[node]),
                "RABBITMQ_DIST_PORT": str(self.between[node]),
                "RABBITMQ_MNESIA_BASE": base, "RABBITMQ_LOG_BASE": base,
                "RABBITMQ_CONFIG_FILE": os.path.join(self.folder, f"node-{node}.conf"),
                "RABBITMQ_ENABLED_PLUGINS_FILE": os.path.join(self.folder, "plugins"),
                "RABBITMQ_PID_FILE": os.path.join(self.folder, f"pid-{node}"),
                "ERL_EPMD_PORT": str(self.epmd), "ERL_EPMD_ADDRESS": "127.0.0.1",
                "HOME": self.folder}

    def control(self, node, *words):
        return subprocess.run(["/usr/lib/rabbitmq/bin/rabbitmqctl", *words], timeout=120,
                              env={**os.environ, **self.environment(node)}, check=False,
                              capture_output=True, text=True)

    def start(self):
        self.inside, self.between = ([free_port() for _ in range(NODES)] for _ in range(2))
        # A port mapper of our own, which else would be started as a daemon and stay.
        self.epmd = free_port()
        self.mapper = subprocess.Popen(["epmd", "-port", str(self.epmd), "-address", "127.0.0.1"],
                                       preexec_fn=dies_with_us)
        wait_until(lambda: listens(self.epmd), 20, "the port mapper listens")
        write_file(os.path.join(self.folder, "plugins"), "[rabbitmq_mqtt].\n")
        write_file(os.path.join(self.folder, ".erlang.cookie"), "CLUSTEROFTHETESTS", 0o400)
        for node in range(NODES):
            os.makedirs(os.path.join(self.folder, f"node-{node}"))
            write_file(os.path.join(self.folder, f"node-{node}.conf"), f"""
listeners.tcp.1 = 127.0.0.1:{self.inside[node]}
mqtt.listeners.tcp.1 = 127.0.0.1:{self.ports[node]}
mqtt.allow_anonymous = true
mqtt.default_user = guest
mqtt.default_pass = guest
mqtt.durable_queue_type = quorum
""")
            self.spawn(node, ["/usr/lib/rabbitmq/bin/rabbitmq-server"], self.environment(node))
            wait_until(lambda port=self.ports[node]: listens(port), 90, f"node {node} listens")
            if node > 0:
                for words in (("stop_app",), ("join_cluster", f"r0-{self.ports[0]}@localhost"),
                              ("start_app",)):
                    done = self.control(node, *words)
                    equal(done.returncode, 0, f"rabbitmqctl {words[0]}: {done.stderr[-300:]}")
        self.wait_ready()
        return self

    def end(self):
        super().end()
        self.mapper.kill()
        self.mapper.wait()


class Single(Cluster):
    """One node: aedes, in JavaScript."""
    program = "node"

    def start(self):
        self.ports = self.ports[:1]
        script = os.path.join(os.path.dirname(os.path.abspath(__file__)), "aedes_broker.mjs")
        self.spawn(0, ["node", script, str(self.ports[0])])
        wait_until(lambda: listens(self.ports[0]), 30, "it listens")
        return self


def readings(count, newest_ms):
    return [(newest_ms - (count - i) * 1000, 200 + i % 7) for i in range(count)]


def messages(some):
    return [("subslab/house/suction", timed(value, at)) for at, value in some]


def follow(place, cluster):
    """A daemon that has a session at node 0, and where else it may go."""
    hosts = [f"127.0.0.1:{port}" for port in cluster.ports]
    one = system("house", [point("suction", every="1 min")])
    daemon = place.daemon(None, [one], broker={"host": hosts, "protocol": "3.1.1"})
    # RabbitMQ takes "guest" from loopback; NATS without accounts takes anybody.
    daemon.settings["broker"].update(
        username="guest", password_file=daemon.secret("guest", "guest"))
    daemon.write_settings()
    daemon.start(seconds=60)
    return daemon


def stored(daemon):
    return sorted(daemon.readings("house").get("suction", []))


def wait_for_all(daemon, some):
    wait_until(lambda: len(stored(daemon)) >= len(some), COMES_AGAIN_S, "all of them")
    equal(stored(daemon), sorted((at, float(value)) for at, value in some), "the readings")


def killed_daemon(place, cluster):
    some = readings(READINGS, now_ms())
    daemon = follow(place, cluster)
    half = READINGS // 2
    with Publisher(cluster.ports[-1], "sender") as sender:
        equal(sender.publish(messages(some[:half])), half, "acknowledged")
        daemon.kill()
        equal(sender.publish(messages(some[half:])), READINGS - half, "acknowledged meanwhile")
    daemon.start(seconds=60)
    wait_for_all(daemon, some)


def killed_node(place, cluster):
    """While a backlog comes in, the node at which the daemon is."""
    some = readings(READINGS, now_ms())
    daemon = follow(place, cluster)
    check(f"connected to 127.0.0.1:{cluster.ports[0]}" in daemon.log(), "at the first node")
    daemon.process.send_signal(signal.SIGSTOP)
    with Publisher(cluster.ports[1], "sender") as sender:
        equal(sender.publish(messages(some)), READINGS, "acknowledged")
    daemon.process.send_signal(signal.SIGCONT)
    cluster.kill(0)
    others = [f"connected to 127.0.0.1:{port}" for port in cluster.ports[1:]]
    wait_until(lambda: any(one in daemon.log() for one in others), 60, "another node")
    wait_for_all(daemon, some)


def started(place, kind):
    if not shutil.which(kind.program):
        raise Skipped(f"{kind.program} is not installed")
    return kind(place).start()


@suite.test
def nats_the_daemon_is_killed(place):
    killed_daemon(place, started(place, Nats))


@suite.test
def nats_its_node_is_killed(place):
    killed_node(place, started(place, Nats))


@suite.test
def rabbit_the_daemon_and_then_its_node_are_killed(place):
    cluster = started(place, Rabbit)
    killed_daemon(place, cluster)
    place.daemons[-1].stop()
    killed_node(place, cluster)


@suite.test
def a_node_without_mqtt_5_is_named(place):
    cluster = started(place, Rabbit)
    daemon = follow(place, cluster)
    daemon.settings["broker"]["protocol"] = "5"
    daemon.stop()
    daemon.write_settings()
    daemon.start(wait_connected=False)
    wait_until(lambda: "set broker.protocol: 3.1.1" in daemon.log(), 30, "what to do")


@suite.test
def aedes_the_daemon_is_killed(place):
    killed_daemon(place, started(place, Single))


if __name__ == "__main__":
    suite.run()
