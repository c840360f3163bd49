#!/usr/bin/env python3
"""The main path with the real binary: rehearse, run, report."""
import csv
import json
import re
import shutil
import subprocess
import unittest
import xml.etree.ElementTree as ElementTree

from plexor_command import PLEXOR, RIG, RIG_2, SANITIZED, SOURCE, PlexorTestCase

REPORTS = ["report.html", "results.json", "results.xml", "trials.csv"]


class EndToEnd(PlexorTestCase):
    def journal_without_host(self, out):
        """The journal's records without the host facts, the one record in which runs may differ."""
        lines = (self.folder / out / "journal.jsonl").read_text().splitlines()
        return [line for line in lines if '"type":"host"' not in line]

    def test_a_good_release_passes_and_a_bad_one_fails(self):
        scenario = self.scenario(trials=300, limit=0.95)
        self.assertEqual(self.run_scenario(scenario, RIG, "good").returncode, 0)
        bad = self.run_scenario(scenario, RIG_2, "bad")
        self.assertEqual(bad.returncode, 1, bad.stdout)
        self.assertIn("FAIL", bad.stdout)

    def test_the_same_seed_gives_the_same_journal(self):
        scenario = self.scenario()
        self.run_scenario(scenario, RIG, "one")
        self.run_scenario(scenario, RIG, "two")
        self.assertEqual(self.journal_without_host("one"), self.journal_without_host("two"))

    def test_report_makes_the_same_bytes_again(self):
        self.run_scenario(self.scenario())
        run = self.folder / "run"
        before = {name: (run / name).read_bytes() for name in REPORTS}
        for name in REPORTS:
            (run / name).unlink()
        self.plexor("report", run)
        self.assertEqual(before, {name: (run / name).read_bytes() for name in REPORTS})

    def test_reports_are_well_formed_and_agree(self):
        self.run_scenario(self.scenario())
        run = self.folder / "run"
        results = json.loads((run / "results.json").read_text())
        cases = ElementTree.parse(run / "results.xml").findall(".//testcase")
        self.assertEqual(len(cases), len(results["verdicts"]) + 1)  # and the run itself
        rows = (run / "trials.csv").read_text().splitlines()
        self.assertGreaterEqual(len(rows), 121)
        try:
            import jsonschema
        except ImportError:
            self.skipTest("python3-jsonschema is not installed")
        schema = json.loads((SOURCE / "reports" / "results.schema.json").read_text())
        jsonschema.Draft202012Validator(schema).validate(results)

    def test_json_is_printed_on_request(self):
        result = self.run_scenario(self.scenario(), RIG, "run", "--json")
        self.assertEqual(json.loads(result.stdout),
                         json.loads((self.folder / "run" / "results.json").read_text()))

    def test_releases_are_compared(self):
        scenario = self.scenario(trials=400)
        self.run_scenario(scenario, RIG, "one")
        self.run_scenario(scenario, RIG_2, "two")
        for arguments, code, word in [(("one", "one"), 0, "no worse"), (("one", "two"), 1, "worse: panel"),
                                      (("two", "one"), 0, "better")]:
            result = self.plexor("compare", *arguments)
            self.assertEqual(result.returncode, code, result.stderr)
            self.assertIn(word, result.stdout)
            self.assertEqual(self.plexor("compare", *arguments, "--bisect", 8).returncode, code)
        document = json.loads(self.plexor("compare", "one", "two", "--json").stdout)
        self.assertEqual(document["verdict"], "worse")
        self.assertTrue(document["paired"])
        self.assertEqual(document["figures"][0]["base_n"], 400)
        self.assertEqual(len(document["latencies"][0]["quantiles_ms"]), 4)
        self.plexor("compare", "one", "two", "--page", "compared.html")
        self.assertIn("WORSE", (self.folder / "compared.html").read_text())
        refused = self.plexor("compare", "one", "two", "--page", "compared.pdf")
        self.assertEqual((refused.returncode, (self.folder / "compared.pdf").exists()), (2, False))

    def test_a_sequential_scenario_stops_early_and_is_not_compared(self):
        scenario = self.write("quick.toml", (SOURCE / "demo-data" / "quick-check.toml").read_text())
        for rig, name, code in [(RIG, "one", 0), (RIG_2, "two", 1)]:
            result = self.run_scenario(scenario, rig, name)
            self.assertEqual(result.returncode, code, result.stderr)
            self.assertIn("stopped early", result.stdout)
            trials = json.loads((self.folder / name / "results.json").read_text())["trials"]
            self.assertEqual(trials["planned"], 1400)
            self.assertLess(trials["valid"], 400)
            self.assertEqual(trials["valid"] + trials["spared"], 1400)
        refused = self.plexor("compare", "one", "two")
        self.assertEqual(refused.returncode, 2)
        self.assertIn("sequential limits", refused.stderr)
        self.assertIn("on average after 221 trials", self.plexor("rehearse", scenario, "--rig", RIG).stdout)

    def test_what_cannot_be_compared_is_refused_and_stops_a_bisection(self):
        self.run_scenario(self.scenario(trials=60), RIG, "one")
        self.run_scenario(self.scenario(trials=61), RIG, "two")
        for arguments, word in [(("one", "two"), "scenario"), (("one", "nothing"), "journal.jsonl")]:
            result = self.plexor("compare", *arguments)
            self.assertEqual(result.returncode, 2)
            self.assertIn(word, result.stderr)
            self.assertEqual(self.plexor("compare", *arguments, "--bisect", 8).returncode, 128)
        for mistake in (["--bisect", 0], ["--bisect=x"], ["--bisect", 8, "--jsn"], ["--bisect=8", "--help"]):
            self.assertEqual(self.plexor("compare", "one", "one", *mistake).returncode, 128)

    def test_groups_of_runs_are_compared(self):
        for group, rig in [("before", RIG), ("now", RIG_2)]:
            for seed in (1, 2):
                text = self.scenario(trials=100).read_text().replace("seed = 11", f"seed = {seed}")
                result = self.run_scenario(self.write(f"seed-{seed}.toml", text), rig, f"{group}/{seed}")
                self.assertIn(result.returncode, (0, 1, 4))
        document = json.loads(self.plexor("compare", "before", "now", "--json").stdout)
        self.assertEqual(len(document["candidate"]["runs"]), 2)
        self.assertEqual(document["figures"][0]["base_n"], 200)
        self.assertTrue(document["paired"])

    def dice_rig(self, name, units):
        """A rig with one device for each unit: (name, share of knocks that it hears, position)."""
        text = (SOURCE / "tests" / "bench" / "dice.toml").read_text()
        device = text[text.index("[[device]]"):text.index("[simulated.tapper]")]
        dice = text[text.index("[[simulated.device]]"):]
        devices = "".join(
            device.replace('name = "panel"', f'name = "{unit}"\nposition = "{position}"')
            for unit, _, position in units)
        text = text.replace(device, devices).replace(
            dice, "".join(dice.replace("detects = 0.98", f"detects = {share}") for _, share, _ in units))
        return self.write(name, text)

    def test_a_unit_that_hears_less_is_named_wherever_it_stands(self):
        text = self.scenario(trials=200, limit=0.5).read_text()
        units = [("a", 0.97), ("b", 0.80), ("c", 0.97)]
        for run in range(3):
            rig = self.dice_rig(f"rig-{run}.toml", [(name, share, f"place {1 + (i + run) % 3}")
                                                    for i, (name, share) in enumerate(units)])
            scenario = self.write(f"{run}.toml", text.replace("seed = 11", f"seed = {run}"))
            self.run_scenario(scenario, rig, f"runs/{run}")
        result = self.plexor("units", "runs")
        self.assertEqual(result.returncode, 1, result.stderr)
        self.assertTrue(result.stdout.startswith("1 of 3 units stands out; b: "), result.stdout)
        document = json.loads(self.plexor("units", "runs", "--json").stdout)
        self.assertTrue(document["shared_taps"])
        self.assertEqual([unit["stands_out"] for unit in document["units"]], [False, True, False])
        self.assertIn("not the place's", document["remarks"][0])
        self.assertEqual(document["units"][0]["trials"], 600)
        self.assertEqual(self.plexor("units", "runs", "runs/0").returncode, 2)

    def test_an_order_is_planned(self):
        plan = json.loads(self.plexor("order", "--units", "a,b,c", "--json").stdout)["runs"]
        for lines in (plan, zip(*plan)):
            for line in lines:
                self.assertEqual(sorted(line), ["a", "b", "c"])
        plan = json.loads(self.plexor("order", "--releases", "old,new", "--json").stdout)["runs"]
        self.assertEqual(plan, [["old"], ["new"], ["new"], ["old"]])
        plan = json.loads(self.plexor("order", "--units", "a, b", "--times", 3, "--json").stdout)["runs"]
        self.assertEqual([sorted(run) for run in plan], [["a", "b"]] * 6)
        for mistake in ([], ["--units", "a"], ["--units", "a,b", "--releases", "old,new"],
                        ["--units", "a,a,b"], ["--releases", "old, old"]):
            self.assertEqual(self.plexor("order", *mistake).returncode, 2)

    def test_rehearse_moves_nothing_and_says_what_can_be_proved(self):
        result = self.plexor("rehearse", self.scenario(), "--rig", RIG)
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertIn("detection rate at least 90 %: can pass", result.stdout)
        self.assertEqual([path.name for path in self.folder.iterdir()], ["scenario.toml"])

    def test_rehearse_draws_the_curves_of_one_tap_on_each_surface(self):
        others = [SOURCE / "rig" / f"simulated-{name}.toml" for name in ("mdf", "granite", "glass")]
        page = self.folder / "tap.html"
        result = self.plexor("rehearse", self.scenario(), "--rig", RIG, "--traces", page,
                             *(word for rig in others for word in ("--beside", rig)))
        self.assertEqual(result.returncode, 0, result.stderr)
        text = page.read_text()
        for surface in ["oak counter", "MDF shelf", "granite slab", "glass door"]:
            self.assertIn(surface, text)
        self.assertEqual(text.count("<canvas"), 16)

    def test_traces_never_replace_anything_but_a_page(self):
        scenario = self.scenario()
        rig = self.write("own.toml", RIG.read_text())
        for page in [rig, scenario, "/dev/null", "", self.folder, self.folder / "no" / "tap.html"]:
            with self.subTest(page):
                self.assert_refused(self.plexor("rehearse", scenario, "--rig", rig,
                                                "--traces", page), "--traces")
        self.assertIn("[rig]", rig.read_text())

    def test_the_truth_lies_beside_the_journal_and_agrees_with_it(self):
        self.run_scenario(self.scenario())
        run = self.folder / "run"
        with open(run / "truth.csv", newline="") as file:
            truth = list(csv.DictReader(file))
        told = [row["at_s"] for row in truth if row["kind"] == "contact"]
        records = map(json.loads, (run / "journal.jsonl").read_text().splitlines())
        sensed = [contact for record in records if record["type"] == "done"
                  for contact in record["contact_ns"]]
        self.assertGreater(len(told), 200)
        self.assertEqual(len(told), len(sensed))
        before = (run / "results.json").read_bytes()
        (run / "truth.csv").unlink()
        self.plexor("report", run)
        self.assertEqual((run / "results.json").read_bytes(), before)

    def test_every_shipped_surface_can_be_tapped(self):
        for rig in sorted((SOURCE / "rig").glob("simulated-*.toml")):
            with self.subTest(rig.name):
                result = self.run_scenario(self.scenario(trials=200), rig, rig.stem)
                self.assertEqual(result.returncode, 0, result.stdout + result.stderr)

    def test_a_lifted_run_makes_no_contact_and_is_told_as_such(self):
        result = self.run_scenario(self.scenario(), RIG, "run", "--lifted")
        self.assertNotEqual(result.returncode, 1, result.stdout)
        self.assertIn("Lifted run.", (self.folder / "run" / "report.html").read_text())
        self.assertNotIn("contact,", (self.folder / "run" / "truth.csv").read_text())

    @unittest.skipIf(SANITIZED, "days of virtual time")
    def test_the_shipped_scenarios_can_pass_on_the_shipped_rig(self):
        scenarios = sorted((SOURCE / "scenarios").glob("*.toml"))
        self.assertEqual(len(scenarios), 4)
        for scenario in scenarios:
            with self.subTest(scenario.name):
                rig = SOURCE / "rig" / "simulated-oak.toml"
                self.assertEqual(self.plexor("rehearse", scenario, "--rig", rig).returncode, 0)
                result = self.run_scenario(scenario, rig, scenario.stem)
                self.assertEqual(result.returncode, 0, result.stdout)

    def test_an_underpowered_scenario_is_told_so_before_a_tap(self):
        scenario = self.scenario(trials=20, limit=0.99)
        rehearsed = self.plexor("rehearse", scenario, "--rig", RIG)
        self.assertEqual(rehearsed.returncode, 2)
        self.assertIn("even a perfect device needs 299 trials", rehearsed.stdout)
        self.assert_refused(self.run_scenario(scenario), "299")
        self.assertFalse((self.folder / "run").exists())

    def test_a_lost_answer_on_stdout_is_told(self):
        self.run_scenario(self.scenario())
        with open("/dev/full", "w") as full:
            result = subprocess.run([PLEXOR, "report", self.folder / "run"], stdout=full,
                                    stderr=subprocess.PIPE, text=True, check=False)
        self.assertEqual(result.returncode, 3)
        self.assertIn("stdout", result.stderr)

    def test_a_planted_link_is_not_followed(self):
        self.run_scenario(self.scenario())
        victim = self.write("victim", "precious")
        (self.folder / "run" / "results.json.new").symlink_to(victim)
        self.plexor("report", self.folder / "run")
        self.assertEqual(victim.read_text(), "precious")

    def test_every_command_explains_itself_with_an_example(self):
        for command in ["run", "report", "rehearse"]:
            result = self.plexor(command, "--help")
            self.assertEqual(result.returncode, 0)
            self.assertIn("Example: plexor " + command, result.stdout)
        self.assertRegex(self.plexor("--version").stdout, r"^plexor \d+\.\d+\.\d+")

    def test_colour_is_for_terminals_only(self):
        self.assertIsNone(re.search("\033", self.run_scenario(self.scenario()).stdout))

    def test_recorded_journals_give_the_recorded_figures(self):
        recorded = sorted((SOURCE / "demo-data" / "recorded").glob("*/journal.jsonl"))
        self.assertEqual(len(recorded), 2)
        for journal in recorded:
            run = self.folder / journal.parent.name
            run.mkdir()
            shutil.copy(journal, run)
            expected = json.loads((journal.parent / "figures.json").read_text())
            self.assertEqual(self.plexor("report", run).returncode, expected["exit_code"])
            device = json.loads((run / "results.json").read_text())["devices"][0]
            self.assertEqual(device["detection"]["x"], expected["heard"])
            self.assertEqual(device["detection"]["n"], expected["of"])


if __name__ == "__main__":
    unittest.main(verbosity=2)
