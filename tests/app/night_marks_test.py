#!/usr/bin/env python3
"""A run in real time is told of disturbances, by a person and by a line; and its service manager hears it."""
import time
import unittest

from live_run_test import LiveTestCase, comes_true
from night_edge_test import ServiceManager

DOOR = '[[disturbance]]\nname = "kiln door"\nline = { line = 12, active_low = true }\ntail_s = 0.2\n'


class Marks(LiveTestCase):
    def test_a_run_takes_marks_by_hand_and_by_line_while_it_lives(self):
        self.rig.write_text(self.rig.read_text().replace("[[device]]", DOOR + "[[device]]", 1))
        manager = ServiceManager(self.folder)
        self.addCleanup(manager.close)
        self.environment.update(NOTIFY_SOCKET=str(manager.path), WATCHDOG_USEC="200000")
        self.simulate()
        run = self.arm_by_key(trials=20)
        self.wait_for_taps(run)
        self.assertTrue([one for one in manager.heard() if one.startswith("READY=1\nSTATUS=armed: live")])

        marked = self.plexor("mark", self.out, "footsteps", "--minutes", "0.05")
        self.assertEqual(marked.returncode, 0, marked.stderr)
        self.hands("kiln door on")
        time.sleep(0.5)
        self.hands("kiln door off")
        self.assertTrue(comes_true(lambda: len(self.records("disturbance")) == 2), run.said())
        by = {record["by"]: record for record in self.records("disturbance")}
        self.assertEqual(by["hand"]["name"], "footsteps")
        self.assertEqual(by["hand"]["to_ns"] - by["hand"]["from_ns"], 3_000_000_000)
        door = by["line 12"]
        self.assertEqual(door["name"], "kiln door")
        self.assertGreater(door["to_ns"] - door["from_ns"], 600_000_000)  # on for 500 ms, and the tail
        self.assertLess(door["to_ns"] - door["from_ns"], 5_000_000_000)
        self.assertIn("WATCHDOG=1\n", manager.heard())
        self.assert_refused(self.plexor("mark", self.out, "door", "--from", "2026-06-12 02:40", "--to", "2026-06-12 02:41"),
                            "more than an hour ago", "within the last hour")
        self.assert_refused(self.plexor("mark", self.out, "door", "--minutes", "nan"), "--minutes")

        self.assert_complete(run.end(), run.said())
        [segment] = self.records("segment")
        self.assertLess(abs(segment["wall_ns"] / 1e9 - time.time()), 120)
        self.assert_refused(self.plexor("mark", self.out, "too late"), "a run that does not go on", "what was heard")
        self.assertEqual(len((self.out / "marks.jsonl").read_text().splitlines()), 1)


if __name__ == "__main__":
    unittest.main(verbosity=2)
