#!/usr/bin/env python3
"""The tests that run simulate and run in real time, beside each other."""

import pathlib
import subprocess
import sys
import tempfile

SCRIPTS = ["live_run_test.py", "live_and_virtual_test.py"]


def main():
    here = pathlib.Path(__file__).parent
    running = []
    for script in SCRIPTS:
        said = tempfile.TemporaryFile("w+")
        running.append((script, said, subprocess.Popen([sys.executable, here / script], stdout=said, stderr=said)))
    failed = False
    for script, said, process in running:
        failed = process.wait() != 0 or failed
        said.seek(0)
        print(f"== {script}\n{said.read()}", flush=True)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
