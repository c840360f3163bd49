#!/usr/bin/env python3
"""Runs on a rig of lines, in real time, against the real simulation: who may arm, and how it ends."""
import json
import os
import pathlib
import pty
import signal
import subprocess
import time
import unittest

from plexor_command import PLEXOR, SOURCE, PlexorTestCase

SCENARIO = """
[scenario]
name = "live"
purpose = "regression"
seed = 3
[rhythm.call]
contacts_ms = [0, 190]
[jitter]
model = "none"
[[block]]
rhythm = "call"
trials = {trials}
strike_m_s = 0.9
window_ms = 700
gap_ms = [800, 801]
[[block]]
quiet_s = {quiet_s}
"""


def wait_for(what, seconds=30):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if what():
            return True
        time.sleep(0.02)
    return False


class LiveRun(PlexorTestCase):
    def setUp(self):
        super().setUp()
        self.environment = os.environ | {"XDG_STATE_HOME": str(self.folder / "state")}
        self.chip = self.folder / "chip"
        rig = (SOURCE / "rig" / "simulate-oak.toml").read_text()
        rig = rig.replace("/tmp/plexor-oak/chip", str(self.chip))
        rig = rig.replace("/tmp/plexor-oak/panel", str(self.folder / "panel"))
        self.rig = self.write("rig.toml", rig)
        self.run_folder = self.folder / "run"

    # The programs.

    def start(self, *words, terminal=None):
        streams = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        if terminal is not None:
            streams["stdin"] = terminal
        process = subprocess.Popen([PLEXOR, *map(str, words)], cwd=self.folder, text=True,
                                   env=self.environment, start_new_session=True, **streams)
        self.addCleanup(self.bury, process)
        return process

    @staticmethod
    def bury(process):
        if process.poll() is None:
            process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout, process.stderr):
            if stream:
                stream.close()

    def simulate(self):
        simulation = self.start("simulate", self.rig)
        self.assertTrue(wait_for(lambda: (self.folder / "panel").is_symlink()))
        return simulation

    def do(self, simulation, deed):
        simulation.stdin.write(deed + "\n")
        simulation.stdin.flush()

    def tap(self, *more, trials=100, quiet_s=1, terminal=None):
        scenario = self.write("scenario.toml", SCENARIO.format(trials=trials, quiet_s=quiet_s))
        return self.start("run", scenario, "--rig", self.rig, "--out", self.run_folder, *more,
                          terminal=terminal)

    def tap_by_ticket(self, **options):
        """Leave as `arm` gives it, without waiting for a countdown."""
        self.give_ticket()
        process = self.tap(**options)
        self.assertTrue(wait_for(lambda: self.taps() > 0), "no tap")
        return process

    def give_ticket(self):
        master, slave = pty.openpty()
        until = time.strftime("%Y-%m-%d %H:%M", time.localtime(time.time() + 2 * 86400))
        process = self.start("arm", "--rig", self.rig, "--until", until, terminal=slave)
        os.write(master, b"\n")
        self.assertEqual(process.wait(30), 0, process.stderr.read())
        os.close(master)
        os.close(slave)

    # What they left.

    def records(self):
        journal = self.run_folder / "journal.jsonl"
        if not journal.exists():
            return []
        lines = journal.read_text().splitlines()
        return [json.loads(line) for line in lines if line.endswith("}")]

    def taps(self):
        return sum(len(r["on_ns"]) for r in self.records() if r["type"] == "done")

    def ticket(self):
        return list((self.folder / "state" / "plexor" / "tickets").glob("*"))

    def level_of_gate(self):
        """The gate's place in the chip's file: lines of 8 bytes after a head of 24."""
        return self.chip.read_bytes()[24 + 8 * 5 + 5]

    # Who may arm.

    def test_nobody_there_means_that_nothing_moves(self):  # [S72]
        self.simulate()
        process = self.tap()
        self.assertEqual(process.wait(30), 3)
        message = process.stderr.read()
        self.assertIn("nobody is at the terminal", message)
        self.assertIn("--arm", message)
        self.assertFalse(self.run_folder.exists())

    def test_enter_arms_and_any_other_key_leaves(self):  # [S5] [S72]
        self.simulate()
        for key, taps in ((b"q\n", 0), (b"\n", 4)):
            master, slave = pty.openpty()
            process = self.tap(trials=2, terminal=slave)
            time.sleep(1.0)
            self.assertFalse(self.run_folder.exists(), "nothing before the key")
            os.write(master, key)
            self.assertEqual(process.wait(60), 4, process.stderr.read())  # no limit: no verdict
            os.close(master)
            os.close(slave)
            self.assertEqual(self.taps(), taps)
        self.assertEqual(self.records()[-1]["reason"], "complete")

    def test_a_countdown_can_be_stopped(self):  # [S7]
        self.simulate()
        process = self.tap("--arm")
        time.sleep(2.0)
        process.send_signal(signal.SIGINT)
        self.assertEqual(process.wait(30), 4)
        self.assertFalse(self.run_folder.exists())

    def test_a_rig_that_is_not_ready_is_not_armed(self):  # [S1] [S72]
        simulation = self.simulate()
        self.do(simulation, "lid open")
        process = self.tap("--arm")
        self.assertEqual(process.wait(30), 3)
        message = process.stderr.read()
        self.assertIn("lid", message)
        self.assertNotIn("stop loop,", message)

    def test_a_bench_that_is_not_there_is_named(self):
        process = self.tap("--arm")
        self.assertEqual(process.wait(30), 3)
        self.assertIn(str(self.chip), process.stderr.read())

    def test_a_ticket_needs_a_terminal_and_a_time_to_come(self):  # [S66]
        process = self.start("arm", "--rig", self.rig, "--until", "23:59")
        self.assertEqual(process.wait(30), 3, process.stderr.read())
        process = self.start("arm", "--rig", self.rig, "--until", "2020-01-01 07:00")
        self.assertEqual(process.wait(30), 2)
        self.assertIn("in the past", process.stderr.read())
        self.give_ticket()
        self.assertEqual(len(self.ticket()), 1)
        process = self.start("arm", "--rig", self.rig, "--revoke")
        self.assertEqual(process.wait(30), 0)
        self.assertEqual(self.ticket(), [])

    # How it ends.

    def test_signals_and_a_lost_terminal_end_it_in_order(self):  # [S69]
        self.simulate()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            process = self.tap_by_ticket()
            process.send_signal(number)
            self.assertEqual(process.wait(30), 4, process.stderr.read())
            self.assertEqual(self.records()[-1]["reason"], "interrupted")
            self.assertEqual(self.level_of_gate(), 0)
            (self.run_folder / "journal.jsonl").unlink()

    def test_after_a_trip_only_listening_goes_on(self):  # [S6] [S66] [S70]
        simulation = self.simulate()
        process = self.tap_by_ticket(trials=3, quiet_s=3)
        self.do(simulation, "lid open")
        self.assertTrue(wait_for(lambda: any(r["type"] == "leave-ended" for r in self.records())))
        self.do(simulation, "lid close")
        self.assertEqual(process.wait(60), 3, process.stderr.read())
        records = self.records()
        trip = [r for r in records if r["type"] == "leave-ended"][0]
        self.assertIn("lid", trip["reason"])
        for record in records:
            for on_ns in record.get("on_ns", []) if record["type"] == "done" else []:
                self.assertLess(on_ns, trip["at_ns"])
        quiet = [r["id"][0] for r in records if r.get("kind") == "quiet"]
        self.assertEqual(quiet, [1])
        self.assertTrue(any(r["type"] == "done" and r["id"][0] == 1 for r in records))
        self.assertEqual(records[-1]["reason"], "fault")
        self.assertEqual(self.ticket(), [], "a trip uses the ticket up")

    def test_a_killed_run_leaves_a_coil_that_counts_as_hot(self):  # [S67]
        self.simulate()
        process = self.tap_by_ticket()
        process.kill()
        process.wait(30)
        (self.run_folder / "journal.jsonl").unlink()
        self.give_ticket()
        process = self.tap()
        self.assertTrue(wait_for(lambda: len(self.records()) > 3))
        process.send_signal(signal.SIGINT)
        self.assertEqual(process.wait(30), 4)
        self.assertIn("taken as hot", process.stderr.read())
        first = [r for r in self.records() if r["type"] == "trial"][0]
        self.assertGreater(first["start_ns"], 60e9, "the duty is used up: the first tap waits")

    def test_a_run_to_its_end_is_heard_and_counted(self):  # [S65] [S67]
        self.simulate()
        process = self.tap_by_ticket(trials=4)
        self.assertEqual(process.wait(60), 4, process.stderr.read())  # no limit: no verdict
        self.assertEqual(self.records()[-1]["reason"], "complete")
        memory = pathlib.Path(str(self.chip) + "-coil.toml").read_text()
        self.assertIn("ended_in_order = true", memory)
        self.assertIn("taps = 8", memory)
        heard = [r for r in self.records() if r["type"] == "event"]
        self.assertEqual([r["name"] for r in heard], ["call"] * 4)

    def test_a_simulation_cleans_up_and_takes_nobody_elses_chip(self):
        simulation = self.simulate()
        second = self.start("simulate", self.rig)
        self.assertEqual(second.wait(30), 3)
        self.assertIn("is there already", second.stderr.read())
        simulation.send_signal(signal.SIGINT)
        self.assertEqual(simulation.wait(30), 0)
        self.assertEqual([p.name for p in self.folder.glob("chip*")], [])
        self.assertFalse((self.folder / "panel").is_symlink())


if __name__ == "__main__":
    unittest.main(verbosity=2)
