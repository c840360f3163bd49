#!/usr/bin/env python3
"""Finds a bad commit with `git bisect run`, as the README shows it, 200 times over.

A repository is generated whose commits are settings of virtual firmware; one of them loses knocks.
Each release is tapped with draws of its own, so that chance has its part in every step. Wrong
commits may be named in at most 5 % of all bisections: the confidence of the comparison, divided
along the steps.
"""
import os
import subprocess
import unittest

from plexor_command import SOURCE, PLEXOR, PlexorTestCase

COMMITS = 4  # two steps decide between them
STEPS = 2
REPETITIONS = int(os.environ.get("PLEXOR_REPETITIONS", "200"))
PROMISED_ERROR = 0.05

SCENARIO = """
[scenario]
name = "bisection"
purpose = "regression"
seed = SEED
[rhythm.call]
contacts_ms = [0, 190]
[[block]]
rhythm = "call"
trials = 220
strike_m_s = 0.9
window_ms = 1500
gap_ms = [1500, 1600]
[accept]
detection_rate = { at_least = 0.5, confidence = 0.95 }
[compare]
detection_margin = 0.10
confidence = 0.95
"""

# As in the README, but for the draws of each release.
SCRIPT = f"""#!/bin/sh
now="$RUNS/now-$(git rev-parse --short HEAD)"
sed "s/SEED/$REPETITION$(git rev-list --count HEAD)/" ../scenario.toml > "$RUNS/scenario.toml"
"{PLEXOR}" run "$RUNS/scenario.toml" --rig firmware.toml --out "$now"
case $? in 0|1|4) ;; *) exit 128 ;; esac
"{PLEXOR}" compare "$RUNS/good" "$now" --bisect {STEPS}
"""


def most_wrong_by_chance(repetitions, error):
    """The count of errors that chance exceeds once in a thousand times."""
    chance = (1.0 - error) ** repetitions
    so_far, wrong = chance, 0
    while so_far < 0.999:
        wrong += 1
        chance *= (repetitions - wrong + 1) / wrong * error / (1.0 - error)
        so_far += chance
    return wrong


class Bisection(PlexorTestCase):
    def git(self, repository, *arguments, **environment):
        return subprocess.run(["git", *arguments], cwd=repository, text=True, capture_output=True,
                              check=False, timeout=300, env=self.environment | environment)

    def setUp(self):
        super().setUp()
        self.environment = os.environ | {
            "HOME": str(self.folder), "GIT_CONFIG_NOSYSTEM": "1",
            "GIT_AUTHOR_NAME": "workshop", "GIT_AUTHOR_EMAIL": "workshop@localhost",
            "GIT_COMMITTER_NAME": "workshop", "GIT_COMMITTER_EMAIL": "workshop@localhost"}
        self.firmware = (SOURCE / "tests" / "bench" / "dice.toml").read_text()
        self.assertIn("detects = 0.98", self.firmware)
        self.write("scenario.toml", SCENARIO)
        self.write("try", SCRIPT).chmod(0o755)

    def repository(self, first_bad):
        """Commits 0 (good) to COMMITS; from `first_bad` on knocks are lost."""
        path = self.folder / f"firmware-{first_bad}"
        path.mkdir()
        self.git(path, "init", "-q")
        for commit in range(COMMITS + 1):
            detects = 0.97 if commit < first_bad else 0.72
            text = self.firmware.replace("detects = 0.98", f"detects = {detects}")
            text = text.replace("spread_ms = 200", "spread_ms = 60")
            text = text.replace("latency_ms = 600", f"latency_ms = {600 + commit}")
            text = text.replace('version = "1.4.0"', f'version = "1.4.{commit}"')
            (path / "firmware.toml").write_text(text)
            self.git(path, "add", "firmware.toml")
            self.git(path, "commit", "-q", "-m", f"release 1.4.{commit}")
            self.git(path, "tag", f"r{commit}")
        return path

    def bisect(self, repository, repetition):
        """The release that is named as the first bad one; nothing where chance left it open."""
        runs = self.folder / f"runs-{repetition}"
        runs.mkdir()
        scenario = self.write("seeded.toml", SCENARIO.replace("SEED", f"{repetition}0"))
        self.git(repository, "checkout", "-q", "r0")
        self.assertEqual(self.plexor("run", scenario, "--rig", repository / "firmware.toml",
                                     "--out", runs / "good").returncode, 0)
        self.git(repository, "bisect", "start", f"r{COMMITS}", "r0")
        result = self.git(repository, "bisect", "run", self.folder / "try",
                          RUNS=str(runs), REPETITION=str(repetition))
        named = self.git(repository, "describe", "--tags", "refs/bisect/bad").stdout.strip()
        found = "is the first bad commit" in result.stdout
        open_end = "only 'skip'ped commits left" in result.stdout
        self.assertTrue(found or open_end, result.stdout + result.stderr)
        self.git(repository, "bisect", "reset")
        subprocess.run(["rm", "-rf", str(runs)], check=True)
        return int(named[1:]) if found else None

    def test_the_bad_commit_is_found_at_the_promised_rate(self):
        repositories = {bad: self.repository(bad) for bad in range(1, COMMITS + 1)}
        wrong, undecided = [], 0
        for repetition in range(REPETITIONS):
            first_bad = 1 + repetition % COMMITS
            named = self.bisect(repositories[first_bad], 1000 + repetition)
            if named is None:
                undecided += 1
            elif named != first_bad:
                wrong.append((repetition, first_bad, named))
        print(f"{REPETITIONS} bisections: {REPETITIONS - undecided - len(wrong)} right, "
              f"{len(wrong)} wrong, {undecided} left open")
        self.assertLessEqual(len(wrong), most_wrong_by_chance(REPETITIONS, PROMISED_ERROR), wrong)
        self.assertLessEqual(undecided, REPETITIONS // 10)


if __name__ == "__main__":
    unittest.main(verbosity=2)
