#!/usr/bin/env python3
"""A simulated power cut: the run dies as a killed one does, and what was synced before can be read."""
import json
import unittest

from plexor_command import RIG, PlexorTestCase

CUT_S = 180


class PowerCut(PlexorTestCase):
    def rig_with(self, more):
        return self.write("rig.toml", RIG.read_text() + more)

    def journal(self):
        return [json.loads(line) for line in (self.folder / "run" / "journal.jsonl").read_text().splitlines()]

    def test_leaves_what_was_synced_and_nothing_later(self):
        cut = self.run_scenario(self.scenario(), self.rig_with(f"\n[simulated.power_cut]\nat_s = {CUT_S}\n"))
        self.assertEqual(cut.returncode, 137, cut.stderr)
        self.assertIn("180 s", cut.stderr)
        records = self.journal()
        self.assertNotIn("ended", [record["type"] for record in records])
        done = [record for record in records if record["type"] == "done"]
        self.assertGreater(len(done), 30)
        self.assertLess(done[-1]["end_ns"], CUT_S * 1e9)
        self.assertGreater(done[-1]["end_ns"], (CUT_S - 70) * 1e9, "the last trial before, or the quiet minute")
        self.assertFalse((self.folder / "run" / "report.html").exists())
        report = self.plexor("report", self.folder / "run")
        self.assertEqual(report.returncode, 4, report.stderr)
        self.assertNotIn("damage", report.stdout)

    def test_the_rest_of_the_night_draws_other_noise_and_is_not_cut_again(self):
        rig = self.rig_with(f"\n[simulated.power_cut]\nat_s = {CUT_S}\n")
        self.assertEqual(self.run_scenario(self.scenario(), rig).returncode, 137)
        self.assertEqual(self.plexor("run", "--resume", self.folder / "run").returncode, 0)
        records = self.journal()
        begins = [index for index, record in enumerate(records) if record["type"] == "segment"]
        self.assertEqual(len(begins), 2)
        self.assertEqual(records[-1]["type"], "ended")
        transits = [[record["contact_ns"][0] - record["on_ns"][0] for record in part
                     if record["type"] == "done" and record.get("contact_ns")]
                    for part in (records[:begins[1]], records[begins[1]:])]
        self.assertGreater(min(map(len, transits)), 20)
        self.assertNotEqual(transits[0][:20], transits[1][:20])

    def test_until_then_it_is_the_run_that_it_would_have_been(self):
        self.run_scenario(self.scenario(), self.rig_with("\n[simulated.power_cut]\nat_s = 180\n"))
        cut = self.journal()
        self.run_scenario(self.scenario(), self.rig_with(""), "whole")
        whole = [json.loads(line)
                 for line in (self.folder / "whole" / "journal.jsonl").read_text().splitlines()]
        trials = [record for record in cut if record["type"] in ("trial", "done", "event")]
        same = [record for record in whole if record["type"] in ("trial", "done", "event")][:len(trials)]
        strip = [{key: value for key, value in record.items() if key != "crc"} for record in trials]
        self.assertEqual(strip, [{key: value for key, value in record.items() if key != "crc"} for record in same])

    def test_a_seed_of_its_own_makes_another_night_and_is_recorded(self):
        rig = self.rig_with("")
        runs = {}
        for name, more in (("scenario's", []), ("7", ["--seed", "7"]), ("7 again", ["--seed", "7"])):
            out = self.folder / f"run-{len(runs)}"
            self.plexor("run", self.scenario(), "--rig", rig, "--out", out, *more)
            lines = (out / "journal.jsonl").read_text().splitlines()
            header = json.loads(lines[0])
            runs[name] = header["seed"], [line for line in lines if '"type":"done"' in line]
        self.assertEqual((runs["scenario's"][0], runs["7"][0]), (11, 7))
        self.assertNotEqual(runs["scenario's"][1], runs["7"][1])
        self.assertEqual(runs["7"], runs["7 again"])
        refused = self.run_scenario(self.scenario(), rig, "bad", "--seed", "-1")
        self.assertEqual(refused.returncode, 2)
        self.assertIn("--seed", refused.stderr)


if __name__ == "__main__":
    unittest.main(verbosity=2)
