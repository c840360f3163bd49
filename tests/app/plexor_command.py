"""Runs the real plexor binary on files that a test writes; shared by the end-to-end tests."""
import os
import pathlib
import subprocess
import tempfile
import unittest

SOURCE = pathlib.Path(__file__).resolve().parents[2]
SANITIZED = os.environ.get("PLEXOR_SANITIZED") == "ON"  # everything takes ten times as long
PLEXOR = os.environ["PLEXOR"]
RIG = SOURCE / "demo-data" / "oak-counter-release-1.toml"
RIG_2 = SOURCE / "demo-data" / "oak-counter-release-2.toml"

SCENARIO = """
[scenario]
name = "end to end"
purpose = "regression"
seed = 11
[rhythm.call]
contacts_ms = [0, 190]
[jitter]
model = "human"
tempo_cv = 0.06
motor_sd_ms = 8
[[block]]
rhythm = "call"
trials = {trials}
strike_m_s = {{ mean = 0.9, cv = 0.10 }}
window_ms = 1500
gap_ms = [1800, 2600]
[[block]]
quiet_s = {quiet_s}
[accept]
detection_rate = {{ at_least = {limit}, confidence = 0.95 }}
"""


class PlexorTestCase(unittest.TestCase):
    """A test with a folder of its own that is gone afterwards."""

    def setUp(self):
        folder = tempfile.TemporaryDirectory(prefix="plexor-")
        self.addCleanup(folder.cleanup)
        self.folder = pathlib.Path(folder.name)

    def write(self, name, text):
        path = self.folder / name
        path.write_text(text)
        return path

    def scenario(self, trials=120, quiet_s=60, limit=0.9):
        return self.write("scenario.toml",
                          SCENARIO.format(trials=trials, quiet_s=quiet_s, limit=limit))

    def plexor(self, *arguments):
        return subprocess.run([PLEXOR, *map(str, arguments)], cwd=self.folder, text=True,
                              capture_output=True, timeout=300, check=False)

    def run_scenario(self, scenario, rig=RIG, out="run", *more):
        return self.plexor("run", scenario, "--rig", rig, "--out", self.folder / out, *more)

    def assert_refused(self, result, *parts, code=2):
        """One clear message on stderr, nothing else, and the exit code."""
        self.assertEqual(result.returncode, code, result.stderr + result.stdout)
        message = result.stderr.strip()
        self.assertTrue(message.startswith("plexor: "), message)
        self.assertEqual(len(message.splitlines()), 1, message)
        for part in parts:
            self.assertIn(part, message)
