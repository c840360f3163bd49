#!/usr/bin/env python3
"""A scenario in real time, through lines, a pulse thread, a warden and a terminal, against itself in virtual time."""
import copy
import re
import unittest

from likeness import Sample, differences
from live_run_test import LiveTestCase

# Always heard, near the threshold, and a distractor near the shortest interval of a call.
SCENARIO = """
[scenario]
name = "live and virtual"
purpose = "regression"
seed = {seed}
pulse_tolerance_ms = 3
[rhythm.kiln]
contacts_ms = [0, 110, 220]
[rhythm.mug-down]
contacts_ms = [0, 125]
expects = "nothing"
[jitter]
model = "normal"
sd_ms = 4
[[block]]
rhythm = "kiln"
trials = {strong}
strike_m_s = 0.9
window_ms = 315
gap_ms = [320, 325]
[[block]]
rhythm = "kiln"
trials = {weak}
strike_m_s = 0.32
window_ms = 315
gap_ms = [320, 325]
[[block]]
rhythm = "mug-down"
trials = {distractors}
strike_m_s = 0.9
window_ms = 315
gap_ms = [320, 325]
"""
TRIALS = {"strong": 50, "weak": 25, "distractors": 15}
TRUTH = range(100, 124)  # seeds of runs in virtual time
# A bench in real time looks at its physics once a millisecond, before a contact and before an answer.
TOLERANCE_MS = 1
ATTEMPTS = 3
# A device that answers sooner, so that trials are short, and at more different times; deaf to weak
# knocks; and a tapper that misses. Too long a pulse of a late machine is to be a void, not a fault.
CHANGES = (("decision_gap_ms = 450", "decision_gap_ms = 240"), ("pattern_end_gap_ms = 450", "pattern_end_gap_ms = 240"),
           ("poll_ms = 16", "poll_ms = 40"), ("min_lsb = 12", "min_lsb = 150"),
           ("pick_up_mv = 2.0", "pick_up_mv = 2.0\nmiss_every = 41"),
           ("max_pulse_ms = 30", "max_pulse_ms = 150"), ("longest_pulse_ms = 40", "longest_pulse_ms = 160"),
           ("longest_on_ms = 60", "longest_on_ms = 170"))
# Of a rig file of kind lines: what stands for wires.
WIRED_TABLES = ("[lines]", "[speed_gate]", "[warden]", "[outside]", "[[device.listener]]", "[device.identity]",
                "[device.prepare]")
WIRED_KEYS = r"^(says|answers|banner|boot_silence_ms) = .*\n"


def virtual_twin(rig):
    """The same rig in virtual time."""
    tables = re.split(r"^(?=\[)", rig, flags=re.MULTILINE)
    kept = "".join(table for table in tables if not table.startswith(WIRED_TABLES))
    return re.sub(WIRED_KEYS, "", kept, flags=re.MULTILINE).replace('kind = "lines"', 'kind = "simulated"')


class LiveAndVirtual(LiveTestCase):
    virtual = None  # what runs in virtual time say, once they were made

    def setUp(self):
        super().setUp()
        text = self.rig.read_text()
        for passage, instead in CHANGES:
            self.assertIn(passage, text)
            text = text.replace(passage, instead)
        self.rig.write_text(text)

    def in_virtual_time(self, seeds):
        """As often as there are seeds, and not once for longer: a coil that warms up strikes otherwise."""
        twin = self.write("twin.toml", virtual_twin(self.rig.read_text()))
        runs = []
        for seed in seeds:
            scenario = self.write("virtual.toml", SCENARIO.format(seed=seed, **TRIALS))
            result = self.run_scenario(scenario, twin, f"virtual-{seed}")
            self.assertEqual(result.returncode, 4, result.stderr)  # it sets no limit
            runs.append(self.folder / f"virtual-{seed}" / "trials.csv")
        return Sample(*runs)

    def truth(self):
        if not LiveAndVirtual.virtual:
            LiveAndVirtual.virtual = self.in_virtual_time(TRUTH)
        return LiveAndVirtual.virtual

    def in_real_time(self):
        """Begun again if the machine was so late that the run tripped."""
        scenario = self.write("live.toml", SCENARIO.format(seed=5, **TRIALS))
        for attempt in range(ATTEMPTS):
            self.simulate()
            self.out = self.folder / f"live-{attempt}"
            run = self.start("run", scenario, "--rig", self.rig, "--out", self.out, "--arm")
            code, said = run.end(patience_s=180), run.said()
            self.end_simulation()
            if [record["reason"] for record in self.records("ended")] == ["complete"]:
                return Sample(self.out / "trials.csv")
        self.fail(f"no run came to its end; the last one ended with {code}: {said}")

    def test_they_are_alike(self):
        truth, live = self.truth(), self.in_real_time()
        for name, (x, n) in live.shares().items():
            others_x, others_n = truth.shares()[name]
            print(f"{name:32} live {x:3} of {n:3}, virtual {others_x:4} of {others_n:4}")
        self.assertEqual(len(live.valid), sum(TRIALS.values()))
        self.assertEqual(differences(live, truth, TOLERANCE_MS), [])

    def test_the_comparison_tells_what_differs(self):
        """Of virtual runs: two are alike; what is 20 ms slower, or deaf to every tenth knock, is not."""
        truth, like = self.truth(), self.in_virtual_time([6])
        self.assertEqual(differences(like, truth, TOLERANCE_MS), [])
        slow, deaf = copy.deepcopy(like), copy.deepcopy(like)
        slow.latencies_ms = [latency + 20 for latency in like.latencies_ms]
        self.assertNotEqual(differences(slow, truth, TOLERANCE_MS), [])
        for row in [row for row in deaf.valid if row["outcome"] == "hit"][::10]:
            row["outcome"] = "miss"
        self.assertNotEqual(differences(deaf, truth, TOLERANCE_MS), [])


if __name__ == "__main__":
    unittest.main(verbosity=2)
