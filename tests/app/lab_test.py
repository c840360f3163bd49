#!/usr/bin/env python3
"""An archive of runs and a queue of work, with the real binary."""
import json
import signal
import subprocess
import time
import unittest

from plexor_command import PLEXOR, RIG, PlexorTestCase


class Lab(PlexorTestCase):
    def queue(self):
        return json.loads(self.plexor("queue", "--json").stdout)["items"]

    def add(self, scenario, *more):
        result = self.plexor("queue", "add", scenario, *more)
        self.assertEqual(result.returncode, 0, result.stderr)

    def work(self, *more):
        return self.plexor("work", "--rig", RIG, "--out", "out", "--until-empty", *more)

    def begin_to_work(self, item):
        """A worker that is at an item, with its run under way."""
        worker = subprocess.Popen([PLEXOR, "work", "--rig", str(RIG), "--out", "out", "--lease-s", "1"],
                                  cwd=self.folder, text=True, stdout=subprocess.DEVNULL,
                                  stderr=subprocess.DEVNULL)
        self.addCleanup(worker.wait)
        self.addCleanup(worker.kill)
        journal = self.folder / "out" / item / "journal.jsonl"
        for _ in range(1000):
            if journal.exists() and '"type":"done"' in journal.read_text():
                return worker
            time.sleep(0.02)
        self.fail(f"{journal} was not begun")

    def journal_of(self, item):
        return (self.folder / "out" / item / "journal.jsonl").read_text()

    def wait_for_end_of(self, item):
        for _ in range(1000):
            if '"type":"ended"' in self.journal_of(item):
                return
            time.sleep(0.02)
        self.fail(f"the run of {item} goes on")

    def test_a_run_is_archived_once(self):
        self.run_scenario(self.scenario())
        for word in ["stored", "there already"]:
            result = self.plexor("archive", "run")
            self.assertEqual(result.returncode, 0, result.stderr)
            self.assertTrue(result.stdout.startswith(word), result.stdout)
        self.assertTrue((self.folder / "reports" / "archive.sqlite").exists())

    def test_what_is_queued_is_done_and_recorded(self):
        scenario = self.scenario()
        self.add(scenario)
        self.add(scenario, "--priority", 3)
        self.add(scenario, "--rig", "another")
        done = self.work()
        self.assertEqual(done.returncode, 0, done.stderr)
        items = self.queue()
        self.assertEqual([item["state"] for item in items], ["recorded", "recorded", "waiting"])
        self.assertLess(done.stdout.index("item 2, attempt 1"), done.stdout.index("item 1, attempt 1"))
        self.assertNotEqual(items[0]["run_id"], items[1]["run_id"])
        archived = self.plexor("archive", "out")
        self.assertEqual(archived.stdout.count("there already"), 2, archived.stdout)
        self.assertIn("for another; priority 0; 0 attempts\n  waiting", self.plexor("queue").stdout)

    def test_a_killed_rig_taps_no_more_and_its_item_is_done_again(self):
        self.add(self.scenario(trials=3000))
        worker = self.begin_to_work("item-1-1")
        worker.kill()
        self.wait_for_end_of("item-1-1")
        self.assertIn('"interrupted"', self.journal_of("item-1-1"))
        self.assertEqual(self.work().returncode, 0)
        [item] = self.queue()
        self.assertEqual((item["state"], item["attempts"]), ("recorded", 2))

    def test_a_stopped_worker_gives_its_item_back(self):
        self.add(self.scenario(trials=3000))
        worker = self.begin_to_work("item-1-1")
        worker.send_signal(signal.SIGTERM)
        self.assertEqual(worker.wait(timeout=60), 4)
        self.assertEqual(self.queue()[0]["state"], "waiting")

    def test_what_cannot_be_done_is_refused_with_its_reason(self):
        self.add(self.scenario(trials=3))  # no plan of three trials shows 90 %
        out_of_reach = self.work()
        self.assertEqual(out_of_reach.returncode, 0, out_of_reach.stderr)
        [item] = self.queue()
        self.assertEqual(item["state"], "refused")
        self.assertIn("refused", item["reason"])

    def test_bad_input_is_refused(self):
        bad = self.write("bad.toml", "[scenario]\nnam = 'x'\n")
        self.assert_refused(self.plexor("queue", "add", bad), "bad.toml:2", "nam")
        self.assert_refused(self.plexor("archive", "no-such-run"), "no-such-run")
        self.assert_refused(self.plexor("queue", "--archive", "mysql://u:secret@h/d"),
                            "--archive: found \"mysql://...\"")
        self.assert_refused(self.plexor("queue", "--archive", "postgresql://u:secret@/d?host=/nowhere"),
                            "postgresql://u@/nowhere/d", "check host")


if __name__ == "__main__":
    unittest.main()
