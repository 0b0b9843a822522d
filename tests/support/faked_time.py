"""faked_time: another clock on the wall for one daemon, by libfaketime (0.9.10)."""
import glob
import os
import subprocess

from harness import BUILD, SANITIZED, Skipped, write_file


def faked_time(place, text):
    """(environment, file): the daemon's clock on the wall is what the file says."""
    library = glob.glob("/usr/lib/*/faketime/libfaketimeMT.so.1")
    if not library:
        raise Skipped("faketime is missing")
    preload = library[0]
    if SANITIZED:  # its own library has to come first
        found = subprocess.run(["gcc", "-print-file-name=libasan.so"], capture_output=True,
                               text=True, check=False).stdout.strip()
        preload = f"{os.path.realpath(found)}:{preload}"
    file = write_file(os.path.join(place.folder, "clock"), text)
    environment = {"LD_PRELOAD": preload, "FAKETIME_TIMESTAMP_FILE": file,
                   "FAKETIME_NO_CACHE": "1", "DONT_FAKE_MONOTONIC": "1",
                   "FAKETIME_DONT_FAKE_MONOTONIC": "1"}
    probe = subprocess.run([os.path.join(BUILD, "subslabd"), "--version"], capture_output=True,
                           env={**os.environ, **environment}, check=False)
    if probe.returncode:
        raise Skipped("this build cannot be preloaded")
    return environment, file
