#!/usr/bin/env python3
"""A person's knocks in files of several kinds, learned and put into a scenario; and files that can't be read."""
import json
import math
import random
import subprocess
import unittest

from plexor_command import PLEXOR, RIG, SCENARIO, PlexorTestCase

RATE_HZ = 2000
SHAVE_S = [0.0, 0.40, 0.60, 0.80, 1.20]


def performances(times=12, clock=0.04, motor_s=0.006, seed=4):
    """Instants in seconds, a list for each performance."""
    draw = random.Random(seed)
    start, all_of_them = 1.0, []
    for _ in range(times):
        delays = [draw.gauss(0, motor_s) for _ in SHAVE_S]
        at, instants = start, []
        for k, nominal in enumerate(SHAVE_S):
            if k:
                interval = nominal - SHAVE_S[k - 1]
                at += interval * (1 + draw.gauss(0, clock))
            instants.append(at + delays[k])
        all_of_them.append(instants)
        start += 4.0
    return all_of_them


def knock_lines(all_of_them, end="\n"):
    return "".join(f"{at:.5f}{end}" for instants in all_of_them for at in instants)


def sample_values(all_of_them, seed=5):
    draw = random.Random(seed)
    values = [2048 + draw.gauss(0, 3) for _ in range(int((all_of_them[-1][-1] + 2) * RATE_HZ))]
    for at in (at for instants in all_of_them for at in instants):
        peak = 900 * (1 + draw.gauss(0, 0.1))
        first = math.ceil(at * RATE_HZ)
        for i in range(first, first + 80):
            values[i] += peak * math.exp(-(i - first) / 15) * math.cos((i - first) * 1.3)
    return [round(value) for value in values]


class Learn(PlexorTestCase):
    def learn(self, name, text, *more):
        return self.plexor("learn", "--from", self.write(name, text), "--rhythm", "shave", *more)

    def learned(self, name, text, *more):
        result = self.learn(name, text, "--json", *more)
        self.assertEqual(result.returncode, 0, result.stderr)
        return json.loads(result.stdout)

    def test_knocks_become_a_rhythm_that_a_scenario_takes(self):
        result = self.learn("knocks.txt", knock_lines(performances()), "--knocks", "--out", "shave.toml")
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertTrue(result.stdout.startswith('"shave", from 12 performances of 5 knocks: 1'), result.stdout)
        for part in ("1 to 2", "clock  ", "motor delays", "drift", "Written to shave.toml"):
            self.assertIn(part, result.stdout)
        tables = (self.folder / "shave.toml").read_text()
        scenario = SCENARIO.format(trials=20, quiet_s=60, limit=0.5)
        head, rest = scenario[:scenario.index("[rhythm")], scenario[scenario.index("[[block]]"):]
        merged = self.write("scenario.toml", tables + head + rest.replace('"call"', '"shave"'))
        rehearsed = self.plexor("rehearse", merged, "--rig", RIG)
        self.assertEqual(rehearsed.returncode, 0, rehearsed.stderr)
        again = self.learn("knocks.txt", knock_lines(performances()), "--knocks", "--out", "shave.toml")
        self.assert_refused(again, "shave.toml", "is there already")

    def test_all_kinds_of_files_say_the_same(self):
        knocked = performances()
        by_knocks = self.learned("knocks.txt", knock_lines(knocked), "--knocks")
        values = sample_values(knocked)
        timed = "time;value\r\n# by hand\r\n\r\n" + "".join(
            f"{i * 1000 / RATE_HZ:.3f}; {value}\r\n" for i, value in enumerate(values))
        kinds = [self.learned("values.txt", "".join(f"{v}\n" for v in values), "--rate-hz", RATE_HZ),
                 self.learned("timed.csv", timed, "--time-unit", "ms")]
        for learned in kinds:
            self.assertEqual((learned["performances"], learned["knocks"]), (12, 5))
            for mine, theirs in zip(learned["contacts_ms"], by_knocks["contacts_ms"]):
                self.assertAlmostEqual(mine, theirs, delta=0.5)
            self.assertAlmostEqual(learned["strength"]["cv"]["value"], 0.1, delta=0.03)
        self.assertLess(by_knocks["clock_cv"]["lower"], 0.04)
        self.assertGreater(by_knocks["clock_cv"]["upper"], 0.04)

    def test_standard_input(self):
        result = subprocess.run([PLEXOR, "learn", "--from", "-", "--knocks", "--rhythm", "shave"], text=True,
                                input=knock_lines(performances()), capture_output=True, timeout=60, check=False)
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertIn("[rhythm.shave]\ncontacts_ms = [0, ", result.stdout)

    def test_odd_performances_are_named(self):
        knocked = performances()
        knocked[3] = knocked[3][:4]
        learned = self.learned("knocks.txt", knock_lines(knocked), "--knocks")
        self.assertEqual((learned["performances"], learned["left_out"]), (11, 1))
        self.assertIn("performance 4 has 4 knocks, the others 5: it is left out", learned["warnings"])

    def test_what_cannot_be_read_is_named(self):
        good = knock_lines(performances())
        for name, text, more, parts in [
                ("a word", good + "1e3x\n", ["--knocks"], ["knocks.txt:61", "1e3x"]),
                ("not a number", "1\nnan\n", ["--knocks"], ["knocks.txt:2", "nan"]),
                ("time that falls", "1\n2\n1.5\n", ["--knocks"], ["knocks.txt:3", "1.5", "rise"]),
                ("values without a rate", "17\n18\n", [], ["knocks.txt:1", "time,value", "--rate-hz"]),
                ("a third column", "1,2,3\n", ["--knocks"], ["knocks.txt:1", "1,2,3"]),
                ("pairs at a rate", "1,2\n", ["--rate-hz", "100"], ["knocks.txt:1", "one value a line"]),
                ("a header further down", "1\ntime\n", ["--knocks"], ["knocks.txt:2", "time"]),
                ("bytes", "1\n\x1b[31m\n", ["--knocks"], ["knocks.txt:2"]),
                ("nothing", "", ["--knocks"], ["knocks.txt", "no knocks"]),
                ("few samples", "1\n2\n", ["--rate-hz", "100"], ["2 samples", "16"]),
                ("few performances", knock_lines(performances(2)), ["--knocks"],
                 ["2 performances of 5 knocks", "at least 3"]),
                ("single knocks", "1\n5\n9\n13\n", ["--knocks"], ["single"])]:
            with self.subTest(name):
                result = self.learn("knocks.txt", text, *more)
                self.assert_refused(result, *parts)
                self.assertNotIn("\x1b", result.stderr)

    def test_options(self):
        knocks = self.write("knocks.txt", knock_lines(performances()))
        self.assert_refused(self.plexor("learn", "--from", knocks, "--knocks", "--rhythm", "Two Bits"),
                            "Two Bits", "a-z")
        self.assert_refused(self.plexor("learn", "--from", "none.txt", "--rhythm", "shave"), "none.txt")
        self.assert_refused(self.plexor("learn", "--from", self.folder, "--rhythm", "shave"), "a folder")
        self.assert_refused(self.plexor("learn", "--rig", RIG, "--rhythm", "shave"), "contact line")
        self.assertEqual(self.plexor("learn", "--rhythm", "shave").returncode, 2)


if __name__ == "__main__":
    unittest.main()
