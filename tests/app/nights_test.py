#!/usr/bin/env python3
"""The demo's fourteen nights by the timer unit's own command line: what happened is named with its night and cause,
and where nothing happened nothing is."""
import json
import subprocess
import unittest

from plexor_command import PLEXOR, SOURCE, PlexorTestCase


class Nights(PlexorTestCase):
    def spend(self, *kind):
        spent = subprocess.run([SOURCE / "demo-data/nights/spend", PLEXOR, self.folder, "14", *kind],
                               capture_output=True, text=True, timeout=600, check=False)
        self.assertEqual(spent.returncode, 0, spent.stdout + spent.stderr)
        return spent.stdout

    def trend(self, *more):
        page = self.folder / "trend.html"
        result = self.plexor("trend", "--archive", self.folder / "archive.sqlite", "--json", "--page", page, *more)
        self.assertEqual(result.stderr, "")
        return result.returncode, json.loads(result.stdout), page.read_text()

    def test_what_happened_is_named_with_night_and_cause(self):
        said = self.spend("eventful")
        self.assertIn("2026-06-05: the power failed (exit code 137)", said)
        code, trend, page = self.trend()
        self.assertEqual(code, 1)
        named = {(finding["kind"], finding["nights"][0], finding["cause"]) for finding in trend["findings"]}
        self.assertEqual(named, {("broken-device", "2026-06-03", "the device"),
                                 ("hole", "2026-06-05", "power cut or restart"),
                                 ("drift", "2026-06-08", "the release")})
        for finding in trend["findings"]:
            self.assertIn(finding["nights"][0], finding["sentence"])
            self.assertIn(finding["nights"][0], page)
        self.assertEqual(len(trend["nights"]), 14)
        code, trend, _ = self.trend("--release", "1.4.0", "--from", "2026-06-06")
        self.assertEqual((code, trend["findings"]), (0, []), "the good release after its two events")
        once_more = self.plexor("archive", self.folder / "runs", "--archive", self.folder / "archive.sqlite")
        self.assertEqual(once_more.stdout.count("there already"), 14, once_more.stdout)

    def test_of_nights_on_which_nothing_happened_nothing_is_named(self):
        self.spend()
        code, trend, _ = self.trend()
        self.assertEqual((code, trend["findings"]), (0, []))
        self.assertEqual(len(trend["nights"]), 14)

    def test_a_night_keeps_its_results_and_drops_old_journals(self):
        arguments = ["night", SOURCE / "demo-data/nights/night.toml", "--rig", SOURCE / "demo-data/nights/shelf.toml",
                     "--runs", "runs", "--archive", "archive.sqlite", "--journals", "2"]
        for day in (1, 2, 3):
            result = self.plexor(*arguments, "--clock", f"2026-06-0{day}T22:00:00Z")
            self.assertEqual(result.returncode, 0, result.stderr)
        nothing = self.plexor(*arguments, "--only-resume", "--clock", "2026-06-03T23:00:00Z")
        self.assertEqual((nothing.returncode, nothing.stdout), (0, ""), nothing.stderr)
        runs = sorted((self.folder / "runs").iterdir())
        self.assertEqual([(run / "journal.jsonl").exists() for run in runs], [False, True, True], result.stderr)
        self.assertTrue(all((run / name).exists() for run in runs for name in ("results.json", "report.html")))
        self.assertIn("Nothing stands out", result.stderr)
        again = self.plexor(*arguments, "--clock", "2026-06-03T23:00:00Z")
        self.assertEqual(again.returncode, 0, again.stderr)
        self.assertEqual(len(list((self.folder / "runs").iterdir())), 4, "the night was complete: a run of its own")


if __name__ == "__main__":
    unittest.main(verbosity=2)
