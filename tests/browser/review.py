#!/usr/bin/env python3
"""Uses the page of `stopwise review` as a person does, in a headless browser: decides by key, moves
the subject, undoes, reloads, on a wide and on a narrow screen; then looks for faults of access.

    tests/browser/review.py target/debug/stopwise [axe.min.js]

Needs chromium and Python's standard library. Prints a line a check and a result line like that of
cargo test. The browser is spoken to through a pipe (Chrome DevTools Protocol), so no port is open.
With axe-core's script its rules are run over the page as well.
"""
import base64
import json
import os
import pathlib
import signal
import subprocess
import sys
import tempfile
import time

PATIENCE_S = 60
passed = failed = 0


def check(words, good, more=""):
    global passed, failed
    passed, failed = passed + bool(good), failed + (not good)
    print(f"page {'ok' if good else 'FAILED'}: {words}{'' if good else f' ({more})'}", flush=True)


class Browser:
    """A headless browser with one page."""

    def __init__(self, work):
        to_browser, self.write_to = os.pipe()
        self.read_from, from_browser = os.pipe()
        for fd in (to_browser, from_browser):
            os.set_inheritable(fd, True)
        line = (
            f"exec chromium --headless --no-sandbox --disable-gpu --disable-dev-shm-usage --disable-quic "
            f"--no-first-run --disable-background-networking --hide-scrollbars "
            f"--user-data-dir={work}/profile --remote-debugging-pipe about:blank "
            f"3<&{to_browser} 4>&{from_browser}"
        )
        self.process = subprocess.Popen(
            ["sh", "-c", line],
            pass_fds=(to_browser, from_browser),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_browser)
        os.close(from_browser)
        self.rest, self.number, self.session, self.logged = b"", 0, None, []
        targets = self.ask("Target.getTargets")["targetInfos"]
        page = next(t for t in targets if t["type"] == "page")
        attached = self.ask("Target.attachToTarget", targetId=page["targetId"], flatten=True)
        self.session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self.ask(f"{domain}.enable")

    def ask(self, method, **params):
        self.number += 1
        message = {"id": self.number, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.write_to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self.receive()
            if answer.get("id") == self.number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer.get("result", {})

    def receive(self):
        while b"\0" not in self.rest:
            piece = os.read(self.read_from, 1 << 20)
            if not piece:
                raise RuntimeError("the browser is gone")
            self.rest += piece
        text, self.rest = self.rest.split(b"\0", 1)
        message = json.loads(text)
        kind = message.get("method")
        if kind == "Runtime.exceptionThrown":
            self.logged.append(str(message["params"]["exceptionDetails"]))
        if kind == "Log.entryAdded" and message["params"]["entry"]["level"] == "error":
            self.logged.append(str(message["params"]["entry"]))
        return message

    def value(self, script):
        result = self.ask(
            "Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True
        )
        if "exceptionDetails" in result:
            raise RuntimeError(f"{script}: {result['exceptionDetails']}")
        return result["result"].get("value")

    def wait(self, script, patience_s=PATIENCE_S):
        """Waits until a script says something true; how long it took, or None."""
        start = time.monotonic()
        while time.monotonic() - start < patience_s:
            try:
                if self.value(script):
                    return time.monotonic() - start
            except RuntimeError:
                pass
            time.sleep(0.01)
        return None

    def key(self, key, shift=False):
        text = {"text": key} if len(key) == 1 else {}
        codes = {"Escape": 27, "Enter": 13, "ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39,
                 "ArrowDown": 40}
        if key in codes:
            text = {"code": key, "windowsVirtualKeyCode": codes[key]}
        for kind in ("keyDown", "keyUp"):
            self.ask(
                "Input.dispatchKeyEvent", type=kind, key=key, modifiers=8 if shift else 0, **text
            )

    def click(self, x, y):
        for kind in ("mousePressed", "mouseReleased"):
            self.ask("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def size(self, width, height, touch=False):
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=touch,
        )

    def picture(self, path):
        data = self.ask("Page.captureScreenshot")["data"]
        pathlib.Path(path).write_bytes(base64.b64decode(data))

    def close(self):
        self.process.send_signal(signal.SIGTERM)
        self.process.wait()


class Review:
    """A running `stopwise review`."""

    def __init__(self, program, work, outing):
        env = dict(os.environ, STOPWISE_DECISIONS=f"{work}/decisions", STOPWISE_CACHE="off")
        self.start = time.monotonic()
        self.process = subprocess.Popen(
            [program, "review", outing, "--no-open"],
            cwd=work, env=env, text=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )
        self.address = self.process.stdout.readline().strip()

    def kill(self):
        self.process.kill()
        self.process.wait()


DRAWN = "document.querySelector('figure')?.dataset.drawn"
CURRENT = "Number(location.hash.slice(1))"


def rung():
    """The ladder's words on the current rung."""
    return "document.querySelector('#ladder [aria-current]')?.textContent ?? ''"


def opened(browser, review):
    browser.ask("Page.navigate", url=review.address)
    return browser.wait(f"!!({DRAWN})") is not None


def main():
    program = os.path.realpath(sys.argv[1])
    axe = sys.argv[2] if len(sys.argv) > 2 else None
    shots = os.environ.get("STOPWISE_SHOTS")
    with tempfile.TemporaryDirectory() as work:
        run = lambda *args: subprocess.run([program, *args], cwd=work, check=True,
                                           capture_output=True, text=True)
        run("demo", "--dir", "demo")
        run("cull", "demo/day", "--no-report", "--quiet", "--json", "day.json")
        originals = {p: p.read_bytes() for p in pathlib.Path(work, "demo/day").rglob("*.jpg")}
        review, browser = Review(program, work, "day.json"), Browser(work)
        try:
            steps(program, work, review, browser, axe, shots)
        finally:
            browser.close()
            review.kill()
        same = all(p.read_bytes() == bytes_ for p, bytes_ in originals.items())
        check("no original was changed", same and len(originals) > 5)
    word = "FAILED" if failed else "ok"
    print(f"test result: {word}. {passed} passed; {failed} failed;")
    return failed > 0


def shot(browser, shots, name):
    if shots:
        browser.picture(os.path.join(shots, f"{name}.png"))


def steps(program, work, review, browser, axe, shots):
    browser.size(1400, 900)
    check("the first picture is drawn", opened(browser, review))
    first = browser.value(CURRENT)
    shot(browser, shots, "wide")
    lit = browser.value(
        "(()=>{const c=document.querySelector('canvas');const d=c.getContext('2d')"
        ".getImageData(0,0,c.width,c.height).data;const s=new Set();"
        "for(let i=0;i<d.length;i+=404)s.add(d[i]);return s.size})()"
    )
    check("and it is a picture", lit > 20, f"{lit} tones")

    browser.key("h")
    check("h decides: hit", browser.wait(f"({rung()}).includes('you: hit')"), browser.value(rung()))
    check("the program's own word still stands", "blur" in browser.value(rung()))
    browser.key("ArrowDown")
    check("the next frame comes", browser.wait(f"{CURRENT} !== {first}"))
    took = browser.wait(f"Number({DRAWN}) === {CURRENT}")
    check("and is drawn", took is not None)
    second = browser.value(CURRENT)
    browser.key("m")
    check("m decides: miss", browser.wait(f"({rung()}).includes('you: miss')"))

    # Requests in flight to a program that is killed break off; only those may.
    killed, until_killed = review.address.split("/")[2] + "/", list(browser.logged)
    review.kill()
    review.__init__(program, work, "day.json")
    check("killed and started again, it opens", opened(browser, review))
    browser.value(f"location.hash = '{second}'")
    browser.wait(f"({rung()}).includes('you: miss')")
    browser.ask("Page.reload")
    time.sleep(0.5)
    check("what was decided is there", browser.wait(f"({rung()}).includes('you: miss')"),
          browser.value(rung()))
    check("and the frame of the address", browser.value(CURRENT) == second, browser.value(CURRENT))
    browser.key("u")
    check("u takes the latest back", browser.wait(f"!({rung()}).includes('you:')"))
    browser.key("u")
    check("and the one before", browser.wait(
        f"{CURRENT} === {first} && !({rung()}).includes('you:')"))

    browser.key("w")
    browser.wait(f"!!({DRAWN})")
    time.sleep(0.3)
    shot(browser, shots, "whole")
    before = browser.value("document.getElementById('subject-says').textContent")
    browser.key("s")
    box = browser.value(
        "(()=>{const b=document.querySelector('canvas').getBoundingClientRect();"
        "return [b.x,b.y,b.width,b.height]})()"
    )
    browser.click(box[0] + 0.42 * box[2], box[1] + 0.55 * box[3])
    moved = "document.getElementById('subject-says').textContent.includes('You moved the subject')"
    check("a click moves the subject and the burst is judged again", browser.wait(moved))
    said = browser.value("document.getElementById('subject-says').textContent")
    check("how long that took is shown", "Judged again in" in said, said)
    browser.ask("Page.reload")
    check("it stays moved when the page is loaded again", browser.wait(moved))
    browser.key("u")
    check("undo gives the subject back", browser.wait(
        f"document.getElementById('subject-says').textContent === {json.dumps(before)}"))
    browser.key("s")
    for key in ("ArrowRight", "ArrowDown", "Enter"):
        browser.key(key)
    check("keys alone move it too", browser.wait(moved))
    browser.key("u")
    browser.wait(f"document.getElementById('subject-says').textContent === {json.dumps(before)}")

    browser.key("1")
    for _ in range(2):
        browser.key("b")
        time.sleep(0.2)
    count = browser.wait("document.querySelectorAll('figure').length === 3")
    check("frames are held beside each other", count is not None)
    browser.wait("[...document.querySelectorAll('figure')].every(f => f.dataset.drawn)")
    browser.key("f")
    check("the focus map comes", browser.wait("!document.getElementById('legend').hidden"))
    time.sleep(0.3)
    shot(browser, shots, "beside")
    browser.key("f")
    browser.key("r")
    check("and unpinned", browser.wait("document.querySelectorAll('figure').length === 1"))
    browser.key("e")
    check("evidence opens", browser.value("document.getElementById('evidence').open"))
    browser.key("l")
    check("the list of bursts opens", browser.wait("document.getElementById('bursts').open"))
    shot(browser, shots, "bursts")
    browser.key("Escape")
    browser.wait("!document.getElementById('bursts').open")
    browser.key("ArrowRight")
    check("the next burst comes", browser.wait(
        "document.getElementById('burst-heading').textContent.startsWith('Burst 2 of')"))
    access(browser, axe, "wide")

    browser.size(390, 844, touch=True)
    browser.ask("Page.reload")
    browser.wait(f"!!({DRAWN})")
    time.sleep(0.3)
    over = browser.value("document.scrollingElement.scrollWidth - innerWidth")
    check("at 390 px it scrolls down only", over <= 0, f"{over} px too wide")
    small = browser.value(
        "[...document.querySelectorAll('#bench button')].filter(b=>b.getBoundingClientRect()"
        ".height<34).length"
    )
    check("buttons are large enough for a finger", small == 0)
    shot(browser, shots, "narrow")
    browser.value("document.querySelector('[data-call=near]').click()")
    check("a touch decides", browser.wait(f"({rung()}).includes('you: near')"))
    access(browser, axe, "narrow")
    logged = until_killed + [line for line in browser.logged[len(until_killed):]
                             if not ("net::ERR_" in line and killed in line)]
    check("nothing was refused or complained about", not logged, logged[:3])


OWN_CHECK = """
(() => {
  const faults = [];
  const named = (e) => e.getAttribute('aria-label') || e.textContent.trim() || e.title ||
    (e.labels && e.labels[0] && e.labels[0].textContent.trim());
  for (const e of document.querySelectorAll('button,input,a,summary,[role=img],dialog,ol[aria-label]'))
    if (!named(e) && !e.getAttribute('aria-labelledby')) faults.push('no name: ' + e.outerHTML.slice(0, 80));
  const ids = [...document.querySelectorAll('[id]')].map((e) => e.id);
  if (new Set(ids).size !== ids.length) faults.push('an id twice');
  if (!document.documentElement.lang) faults.push('no language');
  const lum = (c) => {
    const v = c.match(/[\\d.]+/g).slice(0, 3).map((x) => x / 255)
      .map((x) => (x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4));
    return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
  };
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const c = getComputedStyle(e).backgroundColor;
      if (!/, 0\\)$|transparent/.test(c)) return c;
    }
    return 'rgb(255,255,255)';
  };
  for (const e of document.querySelectorAll('body *')) {
    const own = [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own || !e.checkVisibility() || e instanceof SVGElement || e.tagName === 'NOSCRIPT') continue;
    const [a, b] = [lum(getComputedStyle(e).color), lum(ground(e))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) faults.push(`contrast ${ratio.toFixed(2)}: ${e.outerHTML.slice(0, 80)}`);
  }
  return faults;
})()
"""


def access(browser, axe, name):
    faults = browser.value(OWN_CHECK)
    check(f"{name}: names, language and contrast", not faults, faults[:3])
    if not axe:
        return
    browser.value(pathlib.Path(axe).read_text() + ";0")
    result = browser.value(
        "axe.run().then(r => r.violations.filter(v => ['serious','critical'].includes(v.impact))"
        ".map(v => v.id + ': ' + v.nodes.map(n => n.target.join(' ')).slice(0,3).join(', ')))"
    )
    check(f"{name}: axe-core finds no serious fault", result == [], result)


if __name__ == "__main__":
    sys.exit(main())
