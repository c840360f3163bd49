"""A headless Chromium, spoken to over the pipe of its DevTools protocol. Standard library only."""

import base64
import json
import os
import select
import shutil
import subprocess
import tempfile
import time

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-default-apps", "--disable-extensions", "--hide-scrollbars",
    "--remote-debugging-pipe",
]


def find_chromium():
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Chromium:
    """Starts a browser with a fresh profile and opens one tab; use it in a `with` statement."""

    def __enter__(self):
        self.profile = tempfile.mkdtemp(prefix="plexor-chromium-")
        command_out, self.to_browser = os.pipe()
        self.from_browser, answer_in = os.pipe()
        # The browser reads commands on descriptor 3 and answers on 4.
        self.process = subprocess.Popen(
            ["/bin/sh", "-c", f'exec "$0" "$@" 3<&{command_out} 4>&{answer_in}', find_chromium(),
             *FLAGS, f"--user-data-dir={self.profile}", "about:blank"],
            pass_fds=(command_out, answer_in), stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(command_out)
        os.close(answer_in)
        self.buffer = b""
        self.last_id = 0
        self.events = []
        self.session = None
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(domain + ".enable")
        return self

    def __exit__(self, *_):
        self.session = None
        try:
            self.call("Browser.close")
            self.process.wait(timeout=20)
        except (OSError, RuntimeError, subprocess.TimeoutExpired):
            self.process.kill()
            self.process.wait()
        os.close(self.to_browser)
        os.close(self.from_browser)
        shutil.rmtree(self.profile, ignore_errors=True)

    def _next_message(self, deadline):
        while b"\0" not in self.buffer:
            ready, _, _ = select.select([self.from_browser], [], [], deadline - time.monotonic())
            if not ready:
                raise RuntimeError("the browser does not answer")
            part = os.read(self.from_browser, 1 << 20)
            if not part:
                raise RuntimeError("the browser ended")
            self.buffer += part
        message, self.buffer = self.buffer.split(b"\0", 1)
        return json.loads(message)

    def call(self, method, timeout=120, **params):
        """Sends one command and returns its result; events that come meanwhile are kept."""
        self.last_id += 1
        message = {"id": self.last_id, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self.to_browser, data):]
        deadline = time.monotonic() + timeout
        while True:
            answer = self._next_message(deadline)
            if answer.get("id") == self.last_id:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']['message']}")
                return answer["result"]
            if "method" in answer:
                self.events.append(answer)

    def wait_for(self, method, timeout=120):
        deadline = time.monotonic() + timeout
        while not any(event["method"] == method for event in self.events):
            answer = self._next_message(deadline)
            if "method" in answer:
                self.events.append(answer)

    def open(self, path, script=True):
        self.events = []
        self.call("Emulation.setScriptExecutionDisabled", value=not script)
        self.call("Page.navigate", url="file://" + os.path.abspath(path))
        self.wait_for("Page.loadEventFired")
        if script:
            self.settle()

    def settle(self):
        """Until two frames have been painted: observers and layout have then run. Needs scripts."""
        self.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame("
                      "() => done(true))))")

    def evaluate(self, expression):
        answer = self.call("Runtime.evaluate", expression=expression, awaitPromise=True,
                           returnByValue=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(f"{expression}: {answer['exceptionDetails']}")
        return answer["result"].get("value")

    def scheme(self, name):
        self.call("Emulation.setEmulatedMedia",
                  features=[{"name": "prefers-color-scheme", "value": name}])

    def size(self, width, height, phone=False):
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height,
                  deviceScaleFactor=2 if phone else 1, mobile=phone)

    def screenshot(self, path, whole=True):
        data = self.call("Page.captureScreenshot", captureBeyondViewport=whole)["data"]
        with open(path, "wb") as file:
            file.write(base64.b64decode(data))

    def pdf(self, path):
        data = self.call("Page.printToPDF", preferCSSPageSize=True, paperWidth=8.27,
                         paperHeight=11.69)["data"]
        with open(path, "wb") as file:
            file.write(base64.b64decode(data))
