#!/usr/bin/env python3
"""The units of the nights, as they are put into place: systemd understands them and finds little exposed."""
import os
import pathlib
import shutil
import subprocess
import tempfile
import unittest

SOURCE = pathlib.Path(__file__).resolve().parents[2]
HOST = SOURCE / "rig" / "host"
ANALYZE = shutil.which("systemd-analyze")


class NightUnits(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory(prefix="plexor-units-")
        self.addCleanup(folder.cleanup)
        self.root = pathlib.Path(folder.name)
        self.units = self.root / "etc" / "systemd" / "system"

    def install(self):
        return subprocess.run([HOST / "install_night", "--into", self.root], text=True, check=True,
                              capture_output=True).stdout

    def analyze(self, *arguments):
        """With programs that are here in the place of those that an installation has."""
        for unit in self.units.glob("*.service"):
            text = unit.read_text()
            for program in ["/usr/local/bin/plexor", "/etc/plexor/tell"]:
                text = text.replace(f"ExecStart={program} ", f"ExecStart={os.environ['PLEXOR']} ")
            unit.write_text(text)
        return subprocess.run([ANALYZE, *arguments], cwd=self.units, text=True, check=False,
                              stdout=subprocess.PIPE, stderr=subprocess.STDOUT)

    def test_they_are_put_into_place_once_and_night_conf_is_left_alone(self):
        self.assertIn("plexor-night.timer", self.install())
        conf = self.root / "etc" / "plexor" / "night.conf"
        conf.write_text("NIGHT=mine\n")
        self.assertEqual(self.install(), "", "nothing is left to do")
        self.assertEqual(conf.read_text(), "NIGHT=mine\n")

    @unittest.skipUnless(ANALYZE, "no systemd-analyze here")
    def test_systemd_understands_them(self):
        self.install()
        names = sorted(path.name for path in self.units.iterdir())
        self.assertEqual(len(names), 4)
        result = self.analyze("verify", "--man=no", *[f"./{name}" for name in names])
        self.assertEqual(result.returncode, 0, result.stdout)

    @unittest.skipUnless(ANALYZE, "no systemd-analyze here")
    def test_a_night_has_little_that_it_does_not_need(self):
        self.install()
        for name in ["plexor-night.service", "plexor-resume.service"]:
            result = self.analyze("security", "--offline=true", "--no-pager", "--threshold=25", f"./{name}")
            self.assertEqual(result.returncode, 0, result.stdout)

    def test_both_services_differ_in_nothing_but_what_they_begin(self):
        def settings(name):
            lines = (HOST / name).read_text().split("[Service]\n")[1].split("[Install]")[0].splitlines()
            return {line for line in lines
                    if line and not line.startswith(("#", "ExecStart=", "ExecCondition="))}
        self.assertEqual(settings("plexor-night.service"), settings("plexor-resume.service"))

    def test_the_warden_is_left_to_take_the_power_away(self):
        service = (HOST / "plexor-night.service").read_text()
        self.assertIn("\nKillMode=process\n", service)
        self.assertNotIn("RestrictRealtime=yes", service)


if __name__ == "__main__":
    unittest.main(verbosity=2)
