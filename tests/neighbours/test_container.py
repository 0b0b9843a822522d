#!/usr/bin/env python3
"""systemd/container: the settings in it are good ones for daemon and broker, what compose.yaml names is
there; and where buildah, debootstrap and root are, the image is built from this source on a Debian of
this machine's mirror and its daemon runs in it as compose.yaml says: not root, the root read-only."""
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time

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


# ---- the image ----

class Image:
    """Built by buildah, without a network of its own, in a store that goes with the test."""

    def __init__(self, place):
        if os.geteuid() != 0 or not all(shutil.which(one, path=os.environ["PATH"] + ":/usr/sbin")
                                        for one in ("buildah", "debootstrap")):
            raise Skipped("it needs root, buildah and debootstrap")
        self.folder = place.new_folder("image")
        settings = write_file(os.path.join(self.folder, "storage.conf"),
                              f'[storage]\ndriver = "vfs"\ngraphroot = "{self.folder}/graph"\nrunroot = "{self.folder}/run"\n')
        self.environment = {**os.environ, "CONTAINERS_STORAGE_CONF": settings, "BUILDAH_ISOLATION": "chroot"}
        place.at_end(lambda: self.buildah("rm", "--all"))

    def buildah(self, *words, limit=600, ok=True):
        done = subprocess.run(["buildah", *words], env=self.environment, capture_output=True, text=True,
                              timeout=limit, check=False, cwd=SOURCE)
        check(done.returncode == 0 or not ok, f"buildah {words[0]}: {done.stdout[-1500:]}{done.stderr[-1500:]}")
        return done.stdout.strip()

    def debian(self):
        """A Debian as small as debootstrap makes it, by the mirror that apt uses here."""
        root, debs = os.path.join(self.folder, "root"), os.path.join(SOURCE, "build-package", "debs")
        os.makedirs(debs, exist_ok=True)
        targets = subprocess.run(["apt-get", "indextargets", "--format", "$(REPO_URI) $(CODENAME) $(COMPONENT)",
                                  "Created-By: Packages"], capture_output=True, text=True, check=True).stdout
        mirror = next((line.split()[0] for line in targets.splitlines() if line.endswith(" bookworm main")), None)
        if not mirror:
            raise Skipped("apt knows no mirror of Debian 12")
        done = subprocess.run(["debootstrap", "--variant=minbase", f"--cache-dir={debs}", "bookworm", root, mirror],
                              capture_output=True, text=True, timeout=400, check=False)
        if done.returncode:
            raise Skipped(f"debootstrap: {done.stdout[-200:]}")
        made = self.buildah("from", "scratch")
        self.buildah("add", made, root, "/")
        self.buildah("commit", made, "localhost/debian-of-the-mirror")
        shutil.rmtree(root)

    def build(self):
        self.buildah("bud", "--pull-never", "--build-arg", "DEBIAN=localhost/debian-of-the-mirror", "-t", "subslabd",
                     "-f", os.path.join(FOLDER, "Containerfile"), SOURCE, limit=800)
        return json.loads(self.buildah("inspect", "--type", "image", "subslabd"))["OCIv1"]["config"]


@suite.test
def the_image_is_built_and_its_daemon_runs(place):
    image = Image(place)
    image.debian()
    config = image.build()
    equal((config["User"], config["Entrypoint"], list(config["Volumes"])),
          (f"{ACCOUNT}:{ACCOUNT}", ["/usr/bin/subslabd"], ["/var/lib/subslabd"]), "the image")
    container = image.buildah("from", "--pull-never", "subslabd")
    root = image.buildah("mount", container)
    broker_port, page_port = free_port(), free_port()
    start_broker(place, broker_port)
    furnish(root, broker_port, page_port)
    daemon = run_read_only(place, root)
    wait_until(lambda: answers(page_port), 30, f"the page: {daemon.poll()}")
    check(publish(broker_port, "mill", "two", "subslab/mill/suction", "251 Pa").stderr == "", "a reading is sent")
    wait_until(lambda: "251" in ctl(root, "show", "mill", "--json"), 20, "it is stored, as the tool says within")
    daemon.terminate()
    equal(daemon.wait(30), 0, "exit status")
    owner = os.stat(os.path.join(root, "var/lib/subslabd/subslab.db"))
    equal((owner.st_uid, owner.st_mode & 0o777), (ACCOUNT, 0o640), "the store's owner")


def furnish(root, broker_port, page_port):
    """What compose.yaml mounts."""
    def put(name, text, mode):
        path = write_file(os.path.join(root, "etc/subslabd", name), text, mode)
        os.chown(path, ACCOUNT, ACCOUNT)
    settings = text_of("subslabd.yaml").replace("host: broker", f"host: 127.0.0.1\n  port: {broker_port}")
    put("subslabd.yaml", settings.replace("address: 0.0.0.0", f"address: 0.0.0.0\n  port: {page_port}"), 0o444)
    put("broker-password", "one\n", 0o400)
    put("page-accounts", "installer:$y$j9T$.DBESQLS8YFDwhijMfinK0$NJ5X2sXrMd9oXnZFh2.xbh10vCvYfSKWQhvzhcX6/U7\n", 0o400)
    os.makedirs(os.path.join(root, "etc/subslabd/systems"))
    put("systems/mill.yaml", "id: mill\npoints: [{id: suction, quantity: suction}]\n", 0o444)


def within(root, prepare, *command):
    """In a mount namespace with the image's root, after `prepare`, as its account: without capabilities."""
    script = (f"set -e; mount --bind '{root}' '{root}'; mount --make-private '{root}'; {prepare}"
              f"exec chroot --userspec={ACCOUNT}:{ACCOUNT} --groups= '{root}' \"$@\"")
    return ["unshare", "--mount", "sh", "-c", script, "within", *command]


def run_read_only(place, root):
    inside = os.path.join(root, "run/subslabd")
    prepare = (f"mount --bind '{root}/var/lib/subslabd' '{root}/var/lib/subslabd'; mount --bind '{inside}' '{inside}'; "
               f"mount -o remount,bind,ro '{root}'; ! touch '{root}/etc/subslabd/x' 2>/dev/null; ")
    process = subprocess.Popen(within(root, prepare, "/usr/bin/subslabd"), env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin"},
                               preexec_fn=dies_with_us)
    place.at_end(lambda: process.poll() is None and (process.kill(), process.wait()))
    return process


def ctl(root, *words):
    done = subprocess.run(within(root, "", "/usr/bin/subslabctl", *words), capture_output=True, text=True, timeout=60,
                          check=False, env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin"})
    return done.stdout + done.stderr


def answers(port):
    time.sleep(0.1)
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=5) as line:
            line.sendall(f"GET /health HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode())
            return b'"ok"' in line.recv(65536)
    except OSError:
        return False


if __name__ == "__main__":
    suite.run()
