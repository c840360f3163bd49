#!/usr/bin/env python3
"""Whatever a user gives: one clear message, the right exit code, nothing lost, no crash."""
import pathlib
import random
import shutil
import subprocess
import unittest

from plexor_command import PLEXOR, RIG, SCENARIO, PlexorTestCase

GOOD = SCENARIO.format(trials=20, quiet_s=60, limit=0.5)

# What is replaced in a good scenario, by what, and what the message must name.
BAD_SCENARIOS = [
    ("broken TOML", "[rhythm.call]", "[rhythm.call", ["scenario.toml:"]),
    ("wrong type", "trials = 20", 'trials = "many"', ["many", "whole number"]),
    ("unknown key", "window_ms", "windw_ms", ["windw_ms", "window_ms"]),
    ("huge number", "quiet_s = 60", "quiet_s = 1e300", ["quiet_s"]),
    ("not a number", "tempo_cv = 0.06", "tempo_cv = nan", ["tempo_cv", "nan"]),
    ("negative time", "window_ms = 1500", "window_ms = -5", ["window_ms", "-5"]),
    ("empty rhythm", "[0, 190]", "[]", ["contacts_ms"]),
    ("too many trials", "trials = 20", "trials = 1000000000", ["1000000000"]),
    ("gap below window", "[1800, 2600]", "[1000, 2600]", ["gap_ms"]),
    ("rhythm nobody defines", 'rhythm = "call"', 'rhythm = "cal"', ["cal", "call"]),
    ("expects what no rhythm has", "contacts_ms = [0, 190]",
     'contacts_ms = [0, 190]\nexpects = "kall"', ["kall"]),
    ("newer format", "[scenario]", "format = 99\n[scenario]", ["99"]),
    ("jitter out of order", "[0, 190]", "[0, 12]", ["jitter", "contact 2"]),
    ("contacts too close", "[0, 190]", "[0, 80]", ["apart"]),
    ("strike out of calibration", "mean = 0.9", "mean = 9.0", ["calibration"]),
]


class BadInput(PlexorTestCase):
    def test_scenarios(self):
        for name, old, new, parts in BAD_SCENARIOS:
            with self.subTest(name):
                self.assertIn(old, GOOD)
                scenario = self.write("scenario.toml", GOOD.replace(old, new, 1))
                self.assert_refused(self.run_scenario(scenario), *parts)
                self.assertFalse((self.folder / "run").exists())

    def test_rigs_that_lack_what_the_scenario_needs(self):
        scenario = self.write("scenario.toml", GOOD)
        rig = RIG.read_text()
        calibration = rig[rig.index("[calibration]"):rig.index("[[device]]")]
        for name, text, part in [("no calibration", rig.replace(calibration, ""), "calibration"),
                                 ("no simulation", rig[:rig.index("[simulated")], "simulated"),
                                 ("empty", "", "rig"),
                                 ("over a ceiling",
                                  rig.replace("max_pulse_ms = ", "max_pulse_ms = 99"), "limit")]:
            with self.subTest(name):
                self.assert_refused(self.run_scenario(scenario, self.write("rig.toml", text)), part)

    def test_paths(self):
        scenario = self.write("scenario.toml", GOOD)
        self.assert_refused(self.run_scenario(self.folder), "a folder")
        self.assert_refused(self.run_scenario(self.folder / "none.toml"), "none.toml")
        self.assert_refused(self.run_scenario(scenario, self.folder / "none.toml"), "none.toml")
        self.assert_refused(self.run_scenario(scenario, RIG, "scenario.toml/run"), "folder")
        self.assert_refused(self.plexor("report", self.folder), "journal")
        self.assert_refused(self.plexor("report", self.folder / "none"), "none")
        self.write("big.toml", "#" * (5 << 20))
        self.assert_refused(self.run_scenario(self.folder / "big.toml"), "MiB")
        (self.folder / "bytes.toml").write_bytes(bytes(range(256)))
        self.assert_refused(self.run_scenario(self.folder / "bytes.toml"), "bytes.toml")

    def test_usage(self):
        for arguments in [[], ["nonsense"], ["run"], ["run", "x", "--bogus"], ["report"]]:
            with self.subTest(arguments):
                self.assertEqual(self.plexor(*arguments).returncode, 2)

    def test_a_recorded_run_is_never_overwritten(self):
        scenario = self.write("scenario.toml", GOOD)
        self.run_scenario(scenario)
        before = (self.folder / "run" / "journal.jsonl").read_bytes()
        self.assert_refused(self.run_scenario(scenario), "--out")
        self.assertEqual((self.folder / "run" / "journal.jsonl").read_bytes(), before)

    def test_journals_that_are_none(self):
        run = self.folder / "run"
        run.mkdir()
        for content in [b"", b"\n", b"hello", b"{}", bytes(range(256)), b'{"crc":"00000000"}\n']:
            with self.subTest(content):
                (run / "journal.jsonl").write_bytes(content)
                self.assert_refused(self.plexor("report", run))

    def test_damaged_journals_are_named_and_never_pass(self):
        self.run_scenario(self.write("scenario.toml", GOOD))
        journal = self.folder / "run" / "journal.jsonl"
        good = journal.read_bytes()
        header_end = good.index(b"\n") + 1
        draw = random.Random(5)
        for _ in range(12):
            place = draw.randrange(header_end, len(good) - 200)
            damaged = bytearray(good)
            damaged[place] ^= 1 << draw.randrange(8)
            journal.write_bytes(bytes(damaged))
            result = self.plexor("report", self.folder / "run")
            self.assertEqual(result.returncode, 4, f"byte {place}: {result.stdout}")
            self.assertIn("damage", result.stdout.lower())
            journal.write_bytes(good[:place])
            self.assertEqual(self.plexor("report", self.folder / "run").returncode, 4)


class FullDisk(PlexorTestCase):
    def setUp(self):
        super().setUp()
        self.disk = self.folder / "disk"
        self.disk.mkdir()

    def mount(self, options):
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", self.disk],
                              capture_output=True, check=False)
        if done.returncode != 0:
            self.skipTest("no permission to mount a small file system")
        self.addCleanup(subprocess.run, ["umount", self.disk], check=True)

    def test_on_a_disk_that_is_full_nothing_begins(self):
        self.mount("size=64k")
        result = self.run_scenario(self.scenario(trials=2000), RIG, "disk/run")
        self.assert_refused(result, "the disk is nearly full", "make room", "nothing was moved", code=3)

    def test_a_failed_write_stops_the_tapping_and_keeps_what_was_recorded(self):
        out = self.folder / "run"
        command = " ".join(map(str, [PLEXOR, "run", self.scenario(trials=2000), "--rig", RIG, "--out", out]))
        result = subprocess.run(["bash", "-c", f"ulimit -f 64; {command}"], text=True, capture_output=True,
                                timeout=300, check=False)
        self.assert_refused(result, "journal.jsonl", "File too large", code=3)
        self.assertGreater((out / "journal.jsonl").stat().st_size, 40_000)
        self.assertEqual(self.plexor("report", out).returncode, 4)

    def test_reports_that_do_not_fit_leave_the_journal(self):
        self.run_scenario(self.scenario())
        self.mount("size=256k")
        run = self.disk / "run"
        run.mkdir()
        shutil.copy(self.folder / "run" / "journal.jsonl", run)
        journal = (run / "journal.jsonl").read_bytes()
        self.assert_refused(self.plexor("report", run), "plexor report", code=3)
        self.assertEqual((run / "journal.jsonl").read_bytes(), journal)
        self.assertEqual(list(pathlib.Path(run).glob("*.new")), [])

    def test_a_read_only_run_folder_is_refused(self):
        self.mount("ro")
        self.assert_refused(self.run_scenario(self.scenario(), RIG, "disk/run"), "folder")


if __name__ == "__main__":
    unittest.main(verbosity=2)
