#!/usr/bin/env python3
"""What a night meets at its edge: the clock on the wall, the disk, old journals, whoever is told."""
import http.server
import json
import os
import pathlib
import queue
import signal
import socket
import subprocess
import threading
import time
import unittest

from plexor_command import PLEXOR, RIG, PlexorTestCase

CENTRAL_EUROPE = "CET-1CEST,M3.5.0,M10.5.0/3"  # as POSIX writes zones
SUMMER_BEGAN = 1_774_746_000  # 2026-03-29 at 01:00 UTC (Directive 2000/84/EC)
NS = 1_000_000_000


def records_of(run, kind):
    lines = (run / "journal.jsonl").read_text().splitlines()
    return [record for record in map(json.loads, lines) if record["type"] == kind]


class Edge(PlexorTestCase):
    quiet_s = 300

    def run_short(self, out="run", rig=RIG, *more, **environment):
        scenario = self.scenario(trials=20, quiet_s=self.quiet_s, limit=0.5)
        return subprocess.run([PLEXOR, "run", scenario, "--rig", rig, "--out", self.folder / out, *more],
                              cwd=self.folder, env={**os.environ, **environment}, text=True,
                              capture_output=True, timeout=300, check=False)


class Clock(Edge):
    quiet_s = 3600

    def test_a_virtual_night_has_people_s_time_and_their_summer_time(self):
        result = self.run_short("run", RIG, "--clock", "2026-03-29T01:30:00", TZ=CENTRAL_EUROPE)
        self.assertEqual(result.returncode, 0, result.stderr)
        [segment] = records_of(self.folder / "run", "segment")
        self.assertEqual(segment["wall_ns"], (SUMMER_BEGAN - 1800) * NS)
        self.assertEqual(segment["utc_offset_s"], 3600)
        [change] = records_of(self.folder / "run", "clock")
        self.assertEqual(change["utc_offset_s"], 7200)
        self.assertEqual(change["wall_ns"] - change["at_ns"], segment["wall_ns"], "the clock itself went on")
        self.assertLessEqual(0, change["wall_ns"] - SUMMER_BEGAN * NS)
        self.assertLess(change["wall_ns"] - SUMMER_BEGAN * NS, 61 * NS)

    def test_a_time_with_its_distance_is_the_same_everywhere(self):
        journals = []
        for zone in (CENTRAL_EUROPE, "NST3:30NDT,M3.2.0,M11.1.0"):
            result = self.run_short(f"run-{len(journals)}", RIG, "--clock", "2026-03-29T01:30:00+01:00", TZ=zone)
            self.assertEqual(result.returncode, 0, result.stderr)
            lines = (self.folder / f"run-{len(journals)}" / "journal.jsonl").read_text().splitlines()
            journals.append([line for line in lines if '"type":"host"' not in line])
        self.assertEqual(*journals)
        self.assertFalse(any('"type":"clock"' in line for line in journals[0]))

    def test_without_a_clock_there_is_none_and_each_run_has_a_name_of_its_own(self):
        names = set()
        for out in ("first", "second"):
            self.assertEqual(self.run_short(out).returncode, 0)
            [segment] = records_of(self.folder / out, "segment")
            self.assertEqual(segment["wall_ns"], 0)
            names.add(records_of(self.folder / out, "host")[0]["run_id"])
        self.assertEqual(len(names), 2)

    def test_what_is_no_time_is_refused(self):
        self.assert_refused(self.run_short("run", RIG, "--clock", "tonight"), "--clock", "tonight", "2026-06-01T22:00:00")


class ServiceManager:
    """Hears what a service says, all the time; or reads nothing."""

    def __init__(self, folder, reads=True):
        self.path = folder / "notify"
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(str(self.path))
        self.socket.settimeout(0.02)
        self.messages = queue.SimpleQueue()
        self.over = threading.Event()
        self.thread = threading.Thread(target=self.read)
        if reads:
            self.thread.start()
        else:
            self.fill()

    def read(self):
        while not self.over.is_set():
            try:
                self.messages.put(self.socket.recv(4096).decode())
            except TimeoutError:
                pass

    def close(self):
        self.over.set()
        if self.thread.is_alive():
            self.thread.join()
        self.socket.close()

    def heard(self):
        """Since the last time."""
        time.sleep(0.1)
        return [self.messages.get() for _ in range(self.messages.qsize())]

    def fill(self):
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
            sender.setblocking(False)
            try:
                while True:
                    sender.sendto(b"STATUS=somebody else\n", str(self.path))
            except BlockingIOError:
                pass


class Service(Edge):
    def begin(self, reads=True):
        self.manager = ServiceManager(self.folder, reads)
        self.addCleanup(self.manager.close)

    def test_the_manager_hears_that_the_run_is_ready_lives_and_stops(self):
        self.begin()
        result = self.run_short(NOTIFY_SOCKET=str(self.manager.path), WATCHDOG_USEC="2000")
        self.assertEqual(result.returncode, 0, result.stderr)
        heard = self.manager.heard()
        self.assertTrue(heard[0].startswith("READY=1\nSTATUS=in virtual time: end to end"), heard[0])
        self.assertIn("WATCHDOG=1\n", heard)
        self.assertTrue(heard[-1].startswith("STOPPING=1\nSTATUS=making the reports\nWATCHDOG_USEC="), heard[-1])

    def test_a_watchdog_that_is_another_s_is_not_fed(self):
        self.begin()
        self.run_short(NOTIFY_SOCKET=str(self.manager.path), WATCHDOG_USEC="2000", WATCHDOG_PID="1")
        heard = self.manager.heard()
        self.assertTrue(heard)
        self.assertFalse([one for one in heard if "WATCHDOG" in one])

    def test_a_run_that_hangs_starves_the_watchdog(self):
        self.begin()
        scenario = self.scenario(trials=3000, quiet_s=2_000_000)
        process = subprocess.Popen(
            [PLEXOR, "run", scenario, "--rig", RIG, "--out", self.folder / "run"], cwd=self.folder,
            env={**os.environ, "NOTIFY_SOCKET": str(self.manager.path), "WATCHDOG_USEC": "20000"},
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self.addCleanup(process.wait)
        self.addCleanup(process.kill)
        fed = []
        deadline = time.monotonic() + 200
        while fed.count("WATCHDOG=1\n") < 3 and time.monotonic() < deadline:
            fed += self.manager.heard()
        self.assertGreaterEqual(fed.count("WATCHDOG=1\n"), 3)
        process.send_signal(signal.SIGSTOP)
        self.manager.heard()
        time.sleep(0.2)
        self.assertEqual(self.manager.heard(), [])

    def test_a_manager_that_reads_nothing_holds_no_run_up(self):
        self.begin(reads=False)
        result = self.run_short(NOTIFY_SOCKET=str(self.manager.path), WATCHDOG_USEC="2000")
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertTrue((self.folder / "run" / "report.html").exists())

    def test_without_a_manager_nothing_is_missed(self):
        for where in ("", "nonsense", str(self.folder / "nobody"), "@plexor-nobody"):
            result = self.run_short(f"run-{len(where)}", NOTIFY_SOCKET=where)
            self.assertEqual((result.returncode, result.stderr), (0, ""), where)


class Inbox(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.posted.append((self.path, json.loads(body)))
        self.send_response(self.server.status)
        self.end_headers()

    def log_message(self, *_):
        pass


class Post(Edge):
    def open_inbox(self, port=0, status=204):
        server = http.server.HTTPServer(("127.0.0.1", port), Inbox)
        server.posted = []
        server.status = status
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()

        def close():
            if thread.is_alive():
                server.shutdown()
                thread.join()
                server.server_close()
        self.addCleanup(close)
        server.close = close
        return server

    def rig_that_posts_to(self, port, more=""):
        text = pathlib.Path(RIG).read_text()
        return self.write("rig.toml", f'{text}\n[post]\nurl = "http://127.0.0.1:{port}/runs"\n{more}')

    def test_a_finished_run_posts_its_answer(self):
        inbox = self.open_inbox()
        result = self.run_short("run", self.rig_that_posts_to(inbox.server_port))
        self.assertEqual(result.returncode, 0, result.stderr)
        [(path, summary)] = inbox.posted
        self.assertEqual(path, "/runs")
        self.assertEqual(summary["overall"], "pass")
        self.assertIn("%", summary["headline"])
        self.assertEqual(summary["folder"], str(self.folder / "run"))
        self.assertFalse((self.folder / "run" / "unsent.json").exists())

    def test_what_nobody_took_waits_and_goes_first_the_next_time(self):
        inbox = self.open_inbox()
        port = inbox.server_port
        inbox.close()
        rig = self.rig_that_posts_to(port)
        began = time.monotonic()
        result = self.run_short("night-1", rig)
        self.assertLess(time.monotonic() - began, 60)
        self.assertEqual(result.returncode, 0, "the run's own answer")
        self.assertIn("unsent.json", result.stderr)
        waiting = json.loads((self.folder / "night-1" / "unsent.json").read_text())
        inbox = self.open_inbox(port)
        self.assertEqual(self.run_short("night-2", rig).returncode, 0)
        self.assertEqual(inbox.posted[0], ("/runs", waiting))
        self.assertEqual([summary["folder"][-7:] for _, summary in inbox.posted], ["night-1", "night-2"])
        self.assertEqual(list(self.folder.glob("*/unsent.json")), [])

    def test_what_is_refused_is_told_and_kept(self):
        inbox = self.open_inbox(status=422)
        result = self.run_short("run", self.rig_that_posts_to(inbox.server_port))
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertIn("it answered 422", result.stderr)
        self.assertEqual(len(inbox.posted), 1, "not again at once")
        self.assertTrue((self.folder / "run" / "unsent.json").exists())

    def test_a_token_that_others_can_read_is_refused_before_anything_moves(self):
        self.write("token", "open sesame\n").chmod(0o644)
        result = self.run_short("run", self.rig_that_posts_to(1, 'token_file = "token"\n'))
        self.assert_refused(result, "token", "others can reach it")
        self.assertFalse((self.folder / "run").exists())


class Keep(Edge):
    def nights(self):
        for day in (1, 2, 3):
            result = self.run_short(f"runs/night-{day}", RIG, "--clock", f"2026-06-0{day}T22:00:00+02:00")
            self.assertEqual(result.returncode, 0, result.stderr)
        return self.folder / "runs"

    def journals(self):
        return sorted(path.parent.name for path in self.folder.glob("runs/*/journal.jsonl"))

    def test_old_journals_go_and_results_stay(self):
        runs = self.nights()
        dry = self.plexor("keep", runs, "--journals", 2, "--dry-run")
        self.assertIn("night-1: journal.jsonl would be removed", dry.stdout)
        self.assertEqual(len(self.journals()), 3)
        self.assertIn("night-1: journal.jsonl removed", self.plexor("keep", runs, "--journals", 2).stdout)
        self.assertEqual(self.journals(), ["night-2", "night-3"])
        for name in ("results.json", "trials.csv", "report.html"):
            self.assertTrue((runs / "night-1" / name).exists(), name)
        self.assert_refused(self.plexor("report", runs / "night-1"), "no journal.jsonl")
        self.assert_refused(self.run_short("runs/night-1"), "a run that is there already")
        self.assertEqual(self.plexor("keep", runs, "--journals", 2).stdout, "")

    def test_a_run_that_can_go_on_and_one_without_its_results_lose_nothing(self):
        runs = self.nights()
        journal = runs / "night-1" / "journal.jsonl"
        whole = journal.read_text()
        journal.write_text(whole[:whole.rindex("\n", 0, -1) + 1])  # as a power cut leaves it
        (runs / "night-2" / "results.json").unlink()
        said = self.plexor("keep", runs, "--journals", 1).stdout
        self.assertIn("night-1: kept whole, it goes on, or was cut off", said)
        self.assertIn("night-2: kept whole, its results were not made yet", said)
        self.assertEqual(len(self.journals()), 3)


    def test_what_can_t_be_read_and_what_lies_elsewhere_stays(self):
        runs = self.nights()
        (runs / "night-1").rename(self.folder / "elsewhere")
        (runs / "night-1").symlink_to(self.folder / "elsewhere")
        (runs / "torn").mkdir()
        (runs / "torn" / "journal.jsonl").write_text('{"crc":"00')  # a power cut in its first line
        said = self.plexor("keep", runs, "--journals", 1).stdout
        self.assertIn("night-1: kept whole, it is a link", said)
        self.assertIn("torn: kept whole, it can't be read", said)
        self.assertEqual(self.journals(), ["night-1", "night-3", "torn"])
        self.assertTrue((self.folder / "elsewhere" / "journal.jsonl").exists())


class Begin(Edge):
    def night(self, *more):
        scenario = self.scenario(trials=20, quiet_s=self.quiet_s, limit=0.5)
        return self.plexor("night", scenario, "--rig", RIG, "--runs", self.folder / "runs", "--archive",
                           self.folder / "nights.sqlite", "--clock", "2026-06-04T22:00:00+02:00", *more)

    def test_a_damaged_folder_stops_no_other_night(self):
        (self.folder / "runs" / "torn").mkdir(parents=True)
        (self.folder / "runs" / "torn" / "journal.jsonl").write_text('{"crc":"00')
        (self.folder / "runs" / "pipe").mkdir()
        os.mkfifo(self.folder / "runs" / "pipe" / "journal.0001.jsonl")
        result = self.night()
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertIn("it is not gone on with", result.stderr)

    def test_a_night_that_was_killed_before_its_reports_gets_them(self):
        self.assertEqual(self.run_short("runs/before", RIG, "--clock", "2026-06-03T22:00:00+02:00").returncode, 0)
        for path in (self.folder / "runs" / "before").iterdir():
            if path.name != "journal.jsonl":
                path.unlink()
        result = self.night("--only-resume")
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertIn("has no results; they are made now", result.stderr)
        self.assertEqual(self.night().returncode, 0)
        told = self.plexor("trend", "--archive", self.folder / "nights.sqlite", "--json").stdout
        self.assertEqual([night["night"] for night in json.loads(told)["nights"]], ["2026-06-03", "2026-06-04"])

    def test_a_mark_that_a_killed_run_had_not_taken_stands_on_its_own_time(self):
        self.assertEqual(self.run_short("run", RIG, "--clock", "2026-06-03T22:00:00+02:00").returncode, 0)
        journal = self.folder / "run" / "journal.jsonl"
        lines = journal.read_text().splitlines(keepends=True)
        journal.write_text("".join(lines[:-1]))  # killed before its last record
        [segment] = records_of(self.folder / "run", "segment")
        quiet = [one for one in records_of(self.folder / "run", "trial") if one.get("kind") == "quiet"][-1]
        begin = segment["wall_ns"] + quiet["start_ns"]
        mark = {"name": "kiln door", "from_unix_ns": begin + 60 * NS, "to_unix_ns": begin + 120 * NS}
        (self.folder / "run" / "marks.jsonl").write_text(json.dumps(mark) + "\n")
        resumed = self.plexor("run", "--resume", self.folder / "run")
        self.assertEqual(resumed.returncode, 0, resumed.stderr)
        [told] = records_of(self.folder / "run", "disturbance")
        self.assertEqual((told["by"], told["from_ns"]), ("hand", quiet["start_ns"] + 60 * NS))
        results = json.loads((self.folder / "run" / "results.json").read_text())
        self.assertAlmostEqual(results["disturbances"]["quiet_h"], 62 / 3600, places=6)

    def test_a_mistyped_archive_is_not_made(self):
        self.assert_refused(self.plexor("trend", "--archive", self.folder / "typo.sqlite"), "no such file", "an archive")
        self.assertFalse((self.folder / "typo.sqlite").exists())


class Disk(Edge):
    def test_rehearse_says_what_a_run_writes_and_how_far_the_disk_reaches(self):
        scenario = self.scenario(trials=200, quiet_s=3600)
        disk = json.loads(self.plexor("rehearse", scenario, "--rig", RIG, "--json").stdout)["disk"]
        self.assertEqual(self.plexor("run", scenario, "--rig", RIG, "--out", "run").returncode, 0)
        written = sum(path.stat().st_size for path in (self.folder / "run").iterdir())
        self.assertGreater(disk["bytes"], 0.9 * written)
        self.assertLess(disk["bytes"], 4 * written, "of a small run: room for a page is kept")
        journal = (self.folder / "run" / "journal.jsonl").stat().st_size
        self.assertGreater(disk["journal_bytes"], journal)
        self.assertLess(disk["journal_bytes"], 1.6 * journal)
        self.assertTrue(disk["fits"])
        self.assertIn("room for", self.plexor("rehearse", scenario, "--rig", RIG).stdout)

    def small_disk(self, mib):
        disk = self.folder / "disk"
        disk.mkdir()
        mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={mib}m", "plexor-test", disk],
                                 check=False, capture_output=True)
        if mounted.returncode != 0:
            self.skipTest("no disk can be mounted here")
        self.addCleanup(subprocess.run, ["umount", disk], check=True)
        return disk

    def test_a_run_ends_in_order_before_the_disk_is_full(self):
        disk = self.small_disk(66)
        scenario = self.scenario(trials=20_000, quiet_s=60)
        result = self.plexor("run", scenario, "--rig", RIG, "--out", disk / "run")
        self.assertEqual(result.returncode, 4, result.stderr)
        self.assertIn("WARNING: the run writes about", result.stderr)
        [ended] = records_of(disk / "run", "ended")
        self.assertEqual(ended["reason"], "interrupted")
        self.assertIn("make room", ended["detail"])
        self.assertGreater(len(records_of(disk / "run", "done")), 50)
        self.assertTrue((disk / "run" / "report.html").exists(), "the reserve was for that")

    def test_nothing_begins_on_a_disk_that_is_nearly_full(self):
        disk = self.small_disk(60)
        result = self.plexor("run", self.scenario(), "--rig", RIG, "--out", disk / "run")
        self.assert_refused(result, "the disk is nearly full", "nothing was moved", code=3)


if __name__ == "__main__":
    unittest.main(verbosity=2)
