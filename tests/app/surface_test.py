#!/usr/bin/env python3
"""Characterises surfaces of the virtual rig with one command each, and holds what is said of them
against what they are made of: the threshold against the firmware's, the advice by putting it into
the firmware.
"""
import json
import math
import subprocess
import unittest

from plexor_command import SOURCE, PlexorTestCase

GLASS_TABLE = SOURCE / "demo-data" / "glass-table.toml"
SURFACE = SOURCE / "scenarios" / "surface.toml"


class SurfaceTestCase(PlexorTestCase):
    def with_firmware(self, rig, threshold, lockout_ms, name="advised.toml"):
        text = subprocess.run([SOURCE / "demo-data" / "with-firmware", rig, str(threshold), str(lockout_ms)],
                              check=True, capture_output=True, text=True).stdout
        return self.write(name, text)

    def results_of(self, scenario, rig, out, codes=(0,)):
        done = self.run_scenario(scenario, rig, out, "--json")
        self.assertIn(done.returncode, codes, done.stderr + done.stdout[:2000])
        return json.loads(done.stdout)


class Advice(SurfaceTestCase):
    def test_improves_hits_and_false_alarms_on_a_surface_that_nothing_was_tuned_to(self):
        # The demo's check with one day of quiet instead of two.
        text = (SOURCE / "demo-data" / "advice-check.toml").read_text()
        check = self.write("check.toml", text.replace("quiet_s = 172800", "quiet_s = 86400"))
        before = self.results_of(check, GLASS_TABLE, "before", (1,))["devices"][0]
        advice = self.results_of(SURFACE, GLASS_TABLE, "surface")["channels"][0]["advice"]
        rig = self.with_firmware(GLASS_TABLE, round(advice["chosen"]["threshold"]),
                                 math.ceil(1e3 * advice["lockout"]["s"]))
        after = self.results_of(check, rig, "after")["devices"][0]
        self.assertGreater(after["detection"]["exact"]["lower"], before["detection"]["exact"]["upper"])
        self.assertLess(after["false_alarms"]["exact"]["upper_per_hour"],
                        before["false_alarms"]["exact"]["lower_per_hour"])
        print("hits %.3f -> %.3f, false alarms per hour %.2f -> %.2f" % (
            before["detection"]["share"], after["detection"]["share"],
            before["false_alarms"]["per_hour"], after["false_alarms"]["per_hour"]))

    def test_is_refused_where_the_workshop_is_louder_than_the_knocks(self):
        text = GLASS_TABLE.read_text().replace("amplitude_mv = 120", "amplitude_mv = 1200")
        text = text.replace("per_hour = 1\n", "per_hour = 30\n")
        results = self.results_of(SURFACE, self.write("loud.toml", text), "loud")
        advice = results["channels"][0]["advice"]
        self.assertIsNone(advice["chosen"])
        self.assertTrue(advice["why_none"])


class Curve(SurfaceTestCase):
    def test_finds_the_strike_speed_at_which_the_peak_reaches_the_firmwares_threshold(self):
        rig = self.with_firmware(SOURCE / "rig" / "simulated-mdf.toml", 260, 90)
        results = self.results_of(SURFACE, rig, "mdf")
        curve = results["devices"][0]["curves"][0]
        # Both of two knocks must be heard, so half of the calls are heard a little above the speed
        # at which half of the single peaks reach the threshold.
        channel = results["channels"][0]["spots"][0]
        exponent = channel["peak_against_strike"]["exponent"]
        self.assertAlmostEqual(exponent, 1.0, delta=0.15)
        s50 = curve["fit"]["s50"]
        self.assertLess(s50["interval"]["upper"] / s50["interval"]["lower"], 1.12)
        self.assertTrue(0.40 < s50["strike"] < 0.60, s50)
        self.assertFalse(curve["recheck"]["shown"], curve["recheck"]["word"])
        self.assertEqual(results["overall"], "measured")

    def test_a_device_that_hears_everything_is_said_to(self):
        results = self.results_of(SURFACE, SOURCE / "rig" / "simulated-mdf.toml", "all")
        self.assertIn("even the weakest", results["devices"][0]["curves"][0]["word"])
        self.assertEqual(results["channels"], [])

    def test_reports_can_be_made_again_and_set_side_by_side(self):
        rig = self.with_firmware(SOURCE / "rig" / "simulated-glass.toml", 150, 90)
        self.results_of(SURFACE, rig, "glass")
        first = (self.folder / "glass" / "results.json").read_bytes()
        self.assertEqual(self.plexor("report", "glass").returncode, 0)
        self.assertEqual((self.folder / "glass" / "results.json").read_bytes(), first)
        self.assertNotIn("<error", (self.folder / "glass" / "results.xml").read_text())
        table = self.plexor("surfaces", "glass", "--page", "page.html")
        self.assertEqual(table.returncode, 0, table.stderr)
        self.assertIn("glass door", table.stdout)
        self.assertIn("glass door", (self.folder / "page.html").read_text())
        waves = self.folder / "glass" / "waveforms.bin"
        damaged = bytearray(waves.read_bytes())
        damaged[len(damaged) // 2] ^= 1
        waves.write_bytes(damaged)
        self.assertIn("the waveforms are damaged in 1 places", self.plexor("report", "glass").stdout)
        self.assertIn("The waveforms are damaged", (self.folder / "glass" / "report.html").read_text())
        refused = self.plexor("compare", "glass", "glass")
        self.assertEqual(refused.returncode, 2)
        self.assertIn("adaptive strikes", refused.stderr)


class Map(SurfaceTestCase):
    def test_moves_from_spot_to_spot_and_says_what_the_place_does(self):
        rig = self.with_firmware(SOURCE / "rig" / "simulated-mdf.toml", 150, 90)
        done = self.run_scenario(SOURCE / "scenarios" / "surface-map.toml", rig, "map")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("rank correlation with distance", " ".join(done.stdout.split()))
        results = json.loads((self.folder / "map" / "results.json").read_text())
        spots = [curve["spot"] for curve in results["devices"][0]["curves"]]
        self.assertEqual(len(set(spots)), 5)
        journal = (self.folder / "map" / "journal.jsonl").read_text()
        self.assertEqual(journal.count('"type":"moved"'), 4)

    def test_a_spot_beside_the_surface_is_refused(self):
        text = (SOURCE / "scenarios" / "surface-map.toml").read_text().replace("[740, 150]", "[840, 150]")
        done = self.run_scenario(self.write("beside.toml", text), SOURCE / "rig" / "simulated-mdf.toml", "x")
        self.assertEqual(done.returncode, 2)
        self.assertIn('the spot "right end" beside the simulated surface', done.stderr)


if __name__ == "__main__":
    unittest.main(verbosity=2)
