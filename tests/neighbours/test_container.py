#!/usr/bin/env python3
"""systemd/container: the settings in it are good ones for daemon and broker, what compose.yaml names is
there; and where podman, debootstrap and root are, the image is built from this source on a Debian of this
machine's mirror, and both are started as compose.yaml and README.md say: not root, the root read-only."""
import json
import os
import re
import shutil
import socket
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (BUILD, SOURCE, Skipped, Suite, check, dies_with_us, equal, free_port,  # noqa: E402
                     wait_until, write_file)

suite = Suite()
FOLDER = os.path.join(SOURCE, "systemd", "container")
ACCOUNT = 8148


def text_of(name):
    with open(os.path.join(FOLDER, name), encoding="utf-8") as file:
        return file.read()


def compose():
    """compose.yaml as a tree, by an independent reader of YAML."""
    folder = os.path.abspath(os.environ["VALIDATORS_FOLDER"])
    done = subprocess.run(["node", "-e", "const fs = require('fs'), yaml = require(process.argv[1]);"
                           "console.log(JSON.stringify(yaml.parse(fs.readFileSync(0, 'utf8'))))",
                           os.path.join(folder, "node_modules", "yaml")], input=text_of("compose.yaml"),
                          capture_output=True, text=True, timeout=60, check=True)
    return json.loads(done.stdout)


# ---- without a container ----

@suite.test
def what_compose_names_is_there(place):
    del place
    tree = compose()
    equal(set(tree["services"]), {"broker", "subslabd"}, "services")
    for name, service in tree["services"].items():
        check(service["read_only"] and service["restart"] == "unless-stopped", f"{name} is kept, its root read-only")
        for volume in service["volumes"]:
            source = volume.split(":")[0]
            known = source in tree["volumes"] or source == "./systems" or source.startswith("./secrets/")
            check(known or os.path.exists(os.path.join(FOLDER, source)), f"{name}: {source}")
    daemon = tree["services"]["subslabd"]
    equal(daemon["cap_drop"], ["ALL"], "capabilities")
    context = os.path.normpath(os.path.join(FOLDER, daemon["build"]["context"]))
    equal(context, os.path.normpath(SOURCE), "what is built")
    check(os.path.exists(os.path.join(context, daemon["build"]["dockerfile"])), "by what")
    check(all(port.startswith("127.0.0.1:") for port in daemon["ports"]), "the page is this machine's")
    for secret in re.findall(r"\./(secrets/[\w-]+)", text_of("compose.yaml")):
        check(secret in text_of("README.md"), f"README.md makes {secret}")


@suite.test
def docker_compose_takes_it(place):
    if not shutil.which("docker-compose"):
        raise Skipped("docker-compose is not installed")

    def judge(text):
        path = write_file(os.path.join(place.new_folder("compose"), "compose.yaml"), text)
        done = subprocess.run(["docker-compose", "-f", path, "config"], capture_output=True, text=True, timeout=60,
                              check=False)
        return done.returncode, done.stdout + done.stderr
    status, said = judge(text_of("compose.yaml"))
    equal(status, 0, f"docker-compose config: {said}")
    status, said = judge(text_of("compose.yaml").replace("stop_grace_period", "stop_grace"))
    check(status != 0 and "stop_grace" in said, f"a word that it does not know: {said}")


@suite.test
def its_settings_are_good(place):
    folder = place.new_folder("container")
    shutil.copy(os.path.join(FOLDER, "subslabd.yaml"), folder)
    for secret in ("broker-password", "page-accounts"):
        write_file(os.path.join(folder, secret), "x:$y$j9T$a$b\n", 0o400)
    os.mkdir(os.path.join(folder, "systems"))
    write_file(os.path.join(folder, "systems", "mill.yaml"), "id: mill\npoints: [{id: suction, quantity: suction}]\n")
    done = subprocess.run([os.path.join(BUILD, "subslabctl"), "--settings", os.path.join(folder, "subslabd.yaml"), "check"],
                          capture_output=True, text=True, timeout=60, check=False)
    equal(done.returncode, 0, f"subslabctl check: {done.stdout}{done.stderr}")


def start_broker(place, port):
    """The broker with its settings in a folder of ours in place of /mosquitto."""
    folder = place.new_folder("broker")
    accounts, access = os.path.join(folder, "accounts"), os.path.join(folder, "access")
    for number, (name, password) in enumerate((("subslabd", "one"), ("mill", "two"))):
        subprocess.run(["mosquitto_passwd", "-b", *([] if number else ["-c"]), accounts, name, password], check=True)
    write_file(access, text_of("broker-access"))
    text = text_of("mosquitto.conf").replace("listener 1883", f"listener {port} 127.0.0.1\nuser root")
    text = text.replace("/mosquitto/data/", folder + "/").replace("/mosquitto/config/accounts", accounts)
    text = text.replace("/mosquitto/config/access", access)
    settings = write_file(os.path.join(folder, "mosquitto.conf"), text)
    process = subprocess.Popen([shutil.which("mosquitto") or "/usr/sbin/mosquitto", "-c", settings],
                               stderr=subprocess.DEVNULL, preexec_fn=dies_with_us)
    place.at_end(lambda: (process.terminate(), process.wait(20)))

    def listens():
        check(process.poll() is None, "the broker takes its settings")
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", port)) == 0
    wait_until(listens, 20, "the broker listens")


def publish(port, account, password, topic, payload):
    return subprocess.run(["mosquitto_pub", "-V", "5", "-q", "1", "-h", "127.0.0.1", "-p", str(port), "-u", account,
                           "-P", password, "-t", topic, "-m", payload], capture_output=True, text=True, timeout=30,
                          check=False)


@suite.test
def its_broker_lets_a_gateway_send_only_its_own(place):
    port = free_port()
    start_broker(place, port)
    check(publish(port, "mill", "two", "subslab/mill/suction", "1").stderr == "", "its own system")
    check("Not authorized" in publish(port, "mill", "two", "subslab/other/suction", "1").stderr, "another's")
    check(publish(port, "mill", "one", "subslab/mill/suction", "1").returncode != 0, "with a wrong password")


# ---- the image, and both started ----

class Engine:
    """podman with a store, a network and settings that go with the test, in a network namespace of its own."""

    def __init__(self, place):
        missing = [one for one in ("podman", "podman-compose", "runc", "debootstrap", "nsenter")
                   if not shutil.which(one, path=os.environ["PATH"] + ":/usr/sbin")]
        if os.geteuid() != 0 or missing:
            raise Skipped(f"it needs root and {' '.join(missing)}")
        self.folder = place.new_folder("engine")
        storage = write_file(os.path.join(self.folder, "storage.conf"), f'''[storage]
graphroot = "{self.folder}/graph"
runroot = "{self.folder}/run"
''')
        engine = write_file(os.path.join(self.folder, "containers.conf"), f'''[containers]
default_ulimits = ["nofile=1024:1024", "nproc=1024:1024"]
[engine]
runtime = "runc"
cgroup_manager = "cgroupfs"
events_logger = "file"
tmp_dir = "{self.folder}/tmp"
[network]
network_backend = "netavark"
network_config_dir = "{self.folder}/networks"
''')
        # Built without namespaces, so with this machine's network.
        self.environment = {**os.environ, "CONTAINERS_STORAGE_CONF": storage, "CONTAINERS_CONF": engine,
                            "BUILDAH_ISOLATION": "chroot"}
        self.network = subprocess.Popen(["unshare", "--net", "sh", "-c", "ip link set lo up && exec sleep 3600"],
                                        stdin=subprocess.DEVNULL, preexec_fn=dies_with_us)
        place.at_end(self.end)

    def end(self):
        self.inside("podman", "rm", "--force", "--time", "0", "--all", ok=None)
        self.network.kill()
        self.network.wait()

    def run(self, *command, limit=900, ok=True, folder=SOURCE, text_in=None):
        """Its output; where it may fail (ok=None) or must (False), what it complains of too."""
        done = subprocess.run(command, env=self.environment, capture_output=True, text=True, timeout=limit,
                              check=False, cwd=folder, input=text_in)
        said = done.stdout + done.stderr
        check(ok is None or (done.returncode == 0) == ok, f"{' '.join(command)}: {said[-2000:]}")
        return (done.stdout if ok else said).strip()

    def inside(self, *command, **more):
        return self.run("nsenter", "-t", str(self.network.pid), "-n", *command, **more)

    def within(self, *command, **more):
        """In the daemon's container."""
        return self.inside("podman", "exec", DAEMON, *command, **more)

    def debian(self):
        """A Debian as small as debootstrap makes it, by the mirror that apt uses here, in the place of Debian's own."""
        root, debs = os.path.join(self.folder, "root"), os.path.join(SOURCE, "build-package", "debs")
        os.makedirs(debs, exist_ok=True)
        targets = self.run("apt-get", "indextargets", "--format", "$(REPO_URI) $(CODENAME) $(COMPONENT)",
                           "Created-By: Packages")
        mirror = next((line.split()[0] for line in targets.splitlines() if line.endswith(" bookworm main")), None)
        if not mirror:
            raise Skipped("apt knows no mirror of Debian 12")
        said = self.run("debootstrap", "--variant=minbase", f"--cache-dir={debs}", "bookworm", root, mirror, ok=None)
        if "Base system installed successfully" not in said:
            raise Skipped(f"debootstrap: {said[-200:]}")
        self.run("sh", "-c", f"tar -C '{root}' -c . | podman import - localhost/debian:12-slim")
        shutil.rmtree(root)

    def broker(self):
        """Debian's broker in the place of the one that compose.yaml names, with its account and folders."""
        self.run("podman", "build", "-t", "localhost/eclipse-mosquitto:2", "-f", "-", self.folder + "/tmp",
                 text_in=BROKER)


DAEMON = "container_subslabd_1"
BROKER = """FROM debian:12-slim
RUN apt-get -q update && apt-get -q -y install --no-install-recommends mosquitto && usermod -u 1883 mosquitto \\
    && install -d -o mosquitto /mosquitto/data /mosquitto/config
ENTRYPOINT ["/usr/sbin/mosquitto", "-c", "/mosquitto/config/mosquitto.conf"]
"""
HASH = "$y$j9T$.DBESQLS8YFDwhijMfinK0$NJ5X2sXrMd9oXnZFh2.xbh10vCvYfSKWQhvzhcX6/U7"  # crypt(5)


def source_with_secrets(place):
    """A copy of the source, and in it the folder of compose.yaml, furnished by the lines of README.md."""
    top = os.path.join(place.new_folder("copy"), "source")
    shutil.copytree(SOURCE, top, ignore=shutil.ignore_patterns("build*", ".git"))
    folder, tools = os.path.join(top, "systemd", "container"), place.new_folder("tools")
    for name, line in (("sudo", 'exec "$@"'), ("mkpasswd", f"echo '{HASH}'")):  # the second would ask at a terminal
        write_file(os.path.join(tools, name), f"#!/bin/sh\n{line}\n", 0o755)
    lines = re.search(r"```sh\n(.*?)```", text_of("README.md"), re.DOTALL).group(1)
    lines += "mosquitto_passwd -b secrets/broker-accounts mill two\n"
    subprocess.run(["sh", "-ec", lines], cwd=folder, check=True, capture_output=True,
                   env={**os.environ, "PATH": f"{tools}:{os.environ['PATH']}"})
    write_file(os.path.join(folder, "systems", "mill.yaml"),
               "id: mill\npoints: [{id: suction, quantity: suction}]\n", 0o644)
    return folder


@suite.test
def compose_builds_and_starts_both(place):
    engine = Engine(place)
    engine.debian()
    engine.broker()
    folder = source_with_secrets(place)
    engine.run("podman-compose", "build", folder=folder)
    config = json.loads(engine.run("podman", "inspect", "--type", "image", "container_subslabd"))[0]["Config"]
    equal((config["User"], config["Entrypoint"], list(config["Volumes"])),
          (f"{ACCOUNT}:{ACCOUNT}", ["/usr/bin/subslabd"], ["/var/lib/subslabd"]), "the image")
    start(engine, folder)
    it_is_shut_in(engine)
    said = engine.inside("mosquitto_pub", "-V", "5", "-q", "1", "-u", "mill", "-P", "two", "-t", "subslab/mill/suction",
                         "-m", "251 Pa", ok=None)
    equal(said, "", "a reading is sent to the port of this machine")
    wait_until(lambda: "251" in engine.within("subslabctl", "show", "mill", "--json"), 20, "it is stored")
    engine.inside("podman", "healthcheck", "run", DAEMON)
    engine.inside("podman", "kill", "--signal", "HUP", DAEMON)
    wait_until(lambda: "read again: 1 systems" in engine.inside("podman", "logs", DAEMON, ok=None), 20,
               "settings are read again")
    engine.within("subslabctl", "backup", "/var/lib/subslabd/copy.db")
    engine.inside("podman-compose", "stop", folder=folder)
    equal(engine.inside("podman", "inspect", "--format", "{{.State.ExitCode}}", DAEMON), "0", "exit status")
    engine.inside("podman-compose", "down", folder=folder)
    start(engine, folder)
    check("251" in engine.within("subslabctl", "show", "mill", "--json"), "the volume keeps what was read")


def start(engine, folder):
    engine.inside("podman-compose", "up", "--detach", "--no-build", folder=folder)
    wait_until(lambda: '"ok"' in engine.inside("curl", "-s", "http://127.0.0.1:8148/health", ok=None), 60,
               "the page at this machine's port")


def it_is_shut_in(engine):
    status = engine.within("cat", "/proc/1/status")
    for line in (rf"Uid:(\s+{ACCOUNT}){{4}}", r"CapBnd:\s+0+", r"CapEff:\s+0+", r"NoNewPrivs:\s+1"):
        check(re.search(rf"^{line}$", status, re.MULTILINE), f"{line} is not in {status}")
    check("Read-only" in engine.within("touch", "/usr/x", ok=False), "the root is read-only")
    engine.within("sh", "-c", "command -v cc gcc cmake make", ok=False)  # what builds it is not in it
    equal(engine.within("stat", "-c", "%u %a", "/var/lib/subslabd/subslab.db"), f"{ACCOUNT} 640", "the store's owner")


if __name__ == "__main__":
    suite.run()
