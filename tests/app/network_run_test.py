#!/usr/bin/env python3
"""Whole runs with a device that reports over its serial port, a broker and a web hook at once."""
import http.client
import json
import os
import signal
import socket
import subprocess
import threading
import unittest

from live_run_test import LiveTestCase, comes_true, text_of

SCENARIO = """
[scenario]
name = "three ways"
purpose = "regression"
seed = 7
[rhythm.call]
contacts_ms = [0, 190]
expects = "call"
[rhythm.kiln]
contacts_ms = [0, 180, 360]
expects = "kiln"
[jitter]
model = "none"
[[block]]
rhythm = "call"
trials = {trials}
strike_m_s = 0.9
window_ms = 1000
gap_ms = [1050, 1150]
[[block]]
rhythm = "kiln"
trials = {trials}
strike_m_s = 0.9
window_ms = 1000
gap_ms = [1050, 1150]
"""
LISTENERS = ["serial", "broker", "web hook"]
TOKEN = "a-token-of-the-workshop"
PASSWORD = "kiln-1250"
TLS = """
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -keyout ca.key -out ca.crt -days 30 \\
    -subj /CN=workshop &&
openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -keyout broker.key -out broker.csr \\
    -subj /CN=localhost &&
printf 'subjectAltName=IP:127.0.0.1' >names &&
openssl x509 -req -in broker.csr -CA ca.crt -CAkey ca.key -CAcreateserial -days 30 -extfile names -out broker.crt &&
mosquitto_passwd -b -c users panel {password}
"""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answers(port):
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Outsiders:
    """Two who know no token and no topic of the rig, and do what they can, without a pause."""

    def __init__(self, hook_port, publish):
        self.over = threading.Event()
        self.refused = 0
        self.threads = [threading.Thread(target=self.call, args=(hook_port,)),
                        threading.Thread(target=self.babble, args=(publish,))]
        for thread in self.threads:
            thread.start()

    def call(self, port):
        while not self.over.wait(0.02):
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            try:
                connection.request("POST", "/knock/panel", '{"event":"call"}', {"Authorization": "Bearer guess"})
                self.refused += connection.getresponse().status == 401
            except OSError:
                pass  # sent away
            finally:
                connection.close()

    def babble(self, publish):
        while not self.over.wait(0.02):
            publish.stdin.write(b'{"event":"call"}\n')
            publish.stdin.flush()

    def end(self):
        self.over.set()
        for thread in self.threads:
            thread.join()


class Network(LiveTestCase):
    scenario = SCENARIO
    shipped_rig = "simulate-network.toml"
    place = "/tmp/plexor-network"

    def setUp(self):
        super().setUp()
        self.environment["PLEXOR_HOOK_TOKEN"] = TOKEN
        self.port, self.hook_port = free_port(), free_port()
        self.start_broker()
        (self.folder / "password").write_text(PASSWORD + "\n")
        os.chmod(self.folder / "password", 0o600)
        way_in = f"port = {self.port}\nuser = \"panel\"\npassword_file = \"password\"\ntls = {{ ca_file = \"ca.crt\" }}\n"
        text = self.rig.read_text().replace("port = 18830\n", way_in).replace("18831", str(self.hook_port))
        text += f'\n[publish]\nhost = "127.0.0.1"\ntopic = "workshop/rig"\n{way_in}'
        self.rig.write_text(text)
        self.heard_file = self.folder / "heard.txt"
        self.follow("workshop/rig/#")

    def start_broker(self):
        subprocess.run(TLS.format(password=PASSWORD), shell=True, cwd=self.folder, check=True,
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        setting = f"listener {self.port} 127.0.0.1\nallow_anonymous false\nuser root\n"
        for key, name in (("password_file", "users"), ("cafile", "ca.crt"), ("certfile", "broker.crt"),
                          ("keyfile", "broker.key")):
            setting += f"{key} {self.folder / name}\n"
        (self.folder / "broker.conf").write_text(setting)
        self.begin_broker()

    def begin_broker(self):
        self.broker = self.process("mosquitto", "-c", self.folder / "broker.conf", stdout=subprocess.DEVNULL)
        self.assertTrue(comes_true(lambda: answers(self.port)))

    def process(self, *command, **how):
        process = subprocess.Popen(list(map(str, command)), cwd=self.folder, stderr=subprocess.DEVNULL, **how)

        def end():
            process.kill()
            process.wait()
            if process.stdin:
                process.stdin.close()
        self.addCleanup(end)
        return process

    def client(self, program, *more, **how):
        return self.process(program, "-h", "127.0.0.1", "-p", self.port, "-u", "panel", "-P", PASSWORD,
                            "--cafile", self.folder / "ca.crt", *more, **how)

    def follow(self, topics):
        with open(self.heard_file, "wb") as heard:
            self.client("mosquitto_sub", "-q", "1", "-F", "%t %p", "-t", topics, stdout=heard)

    def published(self, what):
        start = f"workshop/rig/{what} "
        return [json.loads(line[len(start):]) for line in text_of(self.heard_file).splitlines()
                if line.startswith(start)]

    def states(self):
        return [message["state"] for message in self.published("state")]

    def test_three_ways_three_latencies_whatever_outsiders_do(self):
        self.simulate()
        babble = self.client("mosquitto_pub", "-l", "-t", "workshop/door/knock", stdin=subprocess.PIPE)
        outsiders = Outsiders(self.hook_port, babble)
        self.addCleanup(outsiders.end)
        code, said = self.run_to_end("--arm", trials=4)
        outsiders.end()
        self.assert_complete(code, said)
        self.assertGreater(outsiders.refused, 10)
        self.assert_latencies(json.loads((self.out / "results.json").read_text()))
        self.assert_published(said)
        self.assertNotIn(TOKEN, text_of(self.out / "journal.jsonl"))
        self.assertNotIn(PASSWORD, text_of(self.out / "journal.jsonl"))

    def assert_latencies(self, results):
        listeners = results["devices"][0]["listeners"]
        self.assertEqual([listener["name"] for listener in listeners], LISTENERS)
        for listener in listeners:
            self.assertEqual([one["rhythm"] for one in listener["rhythms"]], ["call", "kiln"])
            for rhythm in listener["rhythms"]:
                self.assertEqual(rhythm["correct"]["x"], 4, listener["name"])
                self.assertLessEqual(rhythm["median_interval"]["lower_ms"] or 0, rhythm["median_ms"])
            self.assertGreater(listener["uncertainty"]["combined_ms"], 0)
            self.assertEqual(listener["false_alarms"]["incidents"], 0)
        # What its radio was told to take: 8 to 30 ms, and 20 to 60 ms.
        for listener, shortest, longest in ((listeners[1], 8, 30), (listeners[2], 20, 60)):
            self.assertEqual(listener["beside"]["both"], 8)
            self.assertGreater(listener["beside"]["later_ms"], shortest - 1)
            self.assertLess(listener["beside"]["later_ms"], longest + 15, "a busy machine adds some")
        self.assertEqual(results["devices"][0]["duplicates"], 0)

    def assert_published(self, said):
        self.assertTrue(comes_true(lambda: "ended" in self.states()), said)
        self.assertEqual(self.states(), ["waiting", "running", "ended"])
        self.assertTrue(self.published("progress"))
        outcomes = [one for one in self.published("outcome") if one["void"] is None]
        self.assertEqual(len(outcomes), 8)
        for one in outcomes:
            self.assertEqual([answer["listener"] for answer in one["answers"]], LISTENERS)
            self.assertEqual({answer["outcome"] for answer in one["answers"]}, {"hit"})
        summary = self.published("summary")
        self.assertEqual([one["overall"] for one in summary], ["undecided"])
        self.assertEqual(summary[0]["messages_dropped"], 0)

    def test_a_controller_that_vanishes_is_told_of_by_the_broker(self):
        self.simulate()
        run = self.start_run("--arm")
        self.assertTrue(comes_true(lambda: "running" in self.states()), run.said())
        run.process.send_signal(signal.SIGKILL)
        self.assertTrue(comes_true(lambda: "vanished" in self.states()))

    def test_a_listener_that_cannot_be_heard_is_named_before_anything_moves(self):
        (self.folder / "password").write_text("another\n")
        self.simulate()
        code, said = self.run_to_end("--arm", trials=2)
        self.assertEqual(code, 3, said)
        self.assertIn("panel by broker can't be heard; nothing was moved", said)

    def test_a_run_waits_for_a_broker_that_stops_and_goes_on(self):
        self.simulate()
        run = self.start_run("--arm", trials=2)
        self.wait_for_taps(run, 1)
        self.broker.kill()
        self.assertTrue(comes_true(lambda: any(not one["up"] for one in self.records("listener"))))
        self.begin_broker()
        self.follow("workshop/rig/#")
        self.assertTrue(comes_true(lambda: "running" in self.states()), "said to the new broker")
        self.assert_complete(run.end(), run.said())
        self.assertEqual({one["listener"] for one in self.records("listener")}, {1})


if __name__ == "__main__":
    unittest.main()
