#!/usr/bin/env python3
"""A run that is stopped or killed on the way: what was recorded stays, and proves nothing."""
import json
import random
import signal
import subprocess
import time
import unittest

from plexor_command import PLEXOR, RIG, RIG_2, PlexorTestCase


class Interruption(PlexorTestCase):
    def start_long_run(self, rig=RIG):
        process = subprocess.Popen(
            [PLEXOR, "run", self.scenario(trials=3000, quiet_s=400_000), "--rig", rig, "--out",
             self.folder / "run"],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.addCleanup(process.stderr.close)
        self.addCleanup(process.stdout.close)
        self.addCleanup(process.wait)
        self.addCleanup(process.kill)
        journal = self.folder / "run" / "journal.jsonl"
        deadline = time.monotonic() + 240  # a sanitizer makes the rehearsal slow
        while time.monotonic() < deadline and process.poll() is None:
            if journal.exists() and journal.stat().st_size > 20_000:
                return process
            time.sleep(0.05)
        self.fail("the run did not get going")

    def test_an_interrupted_run_keeps_its_journal_and_is_undecided(self):
        # Whatever the figures say so far: release 2 would fail.
        process = self.start_long_run(RIG_2)
        process.send_signal(signal.SIGINT)
        self.assertEqual(process.wait(timeout=60), 4)
        last = (self.folder / "run" / "journal.jsonl").read_text().splitlines()[-1]
        self.assertIn('"interrupted"', last)

    def test_a_killed_run_can_still_be_reported(self):
        process = self.start_long_run()
        process.kill()
        process.wait(timeout=60)
        result = self.plexor("report", self.folder / "run")
        self.assertEqual(result.returncode, 4, result.stderr)

    def test_a_run_that_is_killed_again_and_again_goes_on_to_its_end(self):
        out = self.folder / "run"
        journal = out / "journal.jsonl"
        command = ["run", self.scenario(trials=1500, quiet_s=20_000), "--rig", RIG, "--out", out]
        chance = random.Random(20261126)
        for _ in range(6):
            before = journal.stat().st_size if journal.exists() else 0
            process = subprocess.Popen([PLEXOR, *map(str, command)], stdout=subprocess.DEVNULL,
                                       stderr=subprocess.DEVNULL)
            written = before + chance.randrange(5_000, 60_000)
            while process.poll() is None and not (journal.exists() and journal.stat().st_size > written):
                time.sleep(0.001)
            process.kill()
            process.wait(timeout=60)
            with open(journal, "ab") as torn:
                torn.write(b'{"crc":"01234567","seq":'[:chance.randrange(25)])
            command = ["run", "--resume", out]
        result = self.plexor(*command)
        self.assertIn(result.returncode, (0, 1), result.stderr)  # a verdict
        records = [json.loads(line) for line in journal.read_text().splitlines()]
        self.assertEqual(records[-1]["reason"], "complete")
        good = [tuple(record["id"][:2]) for record in records if record["type"] == "done" and "void" not in record]
        self.assertEqual(sorted(trial for trial in good if trial[0] == 0), [(0, n) for n in range(1500)])
        quiet = sorted(trial for trial in good if trial[0] == 1)
        self.assertEqual(quiet, [(1, n) for n in range(len(quiet))], "each stretch once")
        listened_h = json.loads((out / "results.json").read_text())["run"]["quiet_h"]
        self.assertAlmostEqual(listened_h, 20_000 / 3600, places=3)
        result = self.plexor("run", "--resume", out)
        self.assertEqual(result.returncode, 2)
        self.assertIn("a run that is complete", result.stderr)

    def test_a_run_whose_words_nobody_can_read_keeps_its_journal_whole(self):
        command = " ".join(map(str, [PLEXOR, "run", self.scenario(), "--rig", RIG, "--out"]))
        for number, elsewhere in enumerate(["2>&-", "2>/dev/full", "<&- >&- 2>&-", ">/dev/null"]):
            out = self.folder / f"run-{number}"
            subprocess.run(f"{command} {out} {elsewhere}", shell=True, check=True, stderr=subprocess.DEVNULL,
                           timeout=300)
        journals = {(self.folder / f"run-{number}" / "journal.jsonl").read_text().count("\n")
                    for number in range(4)}
        self.assertEqual(len(journals), 1)
        result = self.plexor("report", self.folder / "run-2")
        self.assertEqual(result.returncode, 0, result.stdout)
        self.assertNotIn("damage", result.stdout)


if __name__ == "__main__":
    unittest.main(verbosity=2)
