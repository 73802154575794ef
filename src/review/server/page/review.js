// Looking through an outing and deciding. Every decision is kept by the program before it shows.

import { ask, tell } from "./link.js";
import { Bench } from "./bench.js";
import { draw as drawLadder, ruler, show as showRung } from "./ladder.js";

const at = (id) => document.getElementById(id);
let outing = null;
let burst = null;
let prepared = null;
let staying;
let current = 0;
let held = [];
let mapOn = false;
let goOn = false;
let idle = 0;
let entering = 0;

const bench = new Bench(at("places"), {
  onPlaced: (n, x, y) => moveSubject(n, x, y),
  onPanned: () => {},
});

function say(text) {
  at("said").textContent = text;
}

const frameNow = () => burst.frames.find((f) => f.n === current);

function lineOf(n) {
  return outing.bursts.find((b) => n >= b.first && n < b.first + b.frames);
}

// Frames held beside come from the burst as it is now, when they are of it.
function shown() {
  const fresh = held.map((h) => burst.frames.find((f) => f.n === h.n) ?? h);
  return [...fresh.filter((f) => f.n !== current), frameNow()];
}

async function openBurst(id, n) {
  const turn = (entering += 1);
  const line = outing.bursts.find((b) => b.id === id);
  const answer = await ask(`burst/${id}`);
  if (turn !== entering) return;
  burst = answer;
  current = n ?? burst.best ?? line.start;
  if (!frameNow()) current = burst.frames[0].n;
  drawBurst();
  drawFrame();
}

function count() {
  at("progress").textContent = `${outing.decided} of ${outing.frames} decided`;
}

// Puts what the program knows now of the open burst on the page.
async function refresh(answer) {
  const id = answer.burst ?? burst.id;
  outing = await ask("outing");
  await openBurst(id, answer.frame ?? current);
  count();
}

function drawBurst() {
  const place = outing.bursts.findIndex((b) => b.id === burst.id);
  at("burst-heading").textContent = `Burst ${place + 1} of ${outing.bursts.length}`;
  at("burst-facts").textContent = burst.facts;
  at("tally").textContent = burst.tally;
  const took = burst.took_ms === null ? "" : ` Judged again in ${(burst.took_ms / 1000).toFixed(1)} s.`;
  at("subject-says").textContent = burst.subject + took;
  at("findings").replaceChildren(...burst.findings.map((says) => {
    const item = document.createElement("li");
    item.textContent = says;
    return item;
  }));
  at("earlier").disabled = place === 0;
  at("later").disabled = place === outing.bursts.length - 1;
}

function drawFrame() {
  const frame = frameNow();
  ruler(at("ruler"), burst);
  drawLadder(at("ladder"), burst, current, choose);
  showRung(at("ladder"), burst.frames.indexOf(frame));
  at("name").textContent = frame.path;
  const verdict = at("verdict");
  const word = document.createElement("b");
  word.textContent = frame.verdict;
  const rest = document.createElement("span");
  const best = frame.n === burst.best ? "best of the burst" : null;
  rest.textContent = [frame.cause, best, frame.blur && `blur ${frame.blur}`, frame.ratio]
    .filter(Boolean).join(" · ");
  verdict.replaceChildren("Verdict: ", word, rest);
  at("because").textContent = frame.because;
  at("settings").textContent = frame.settings;
  at("numbers").replaceChildren(...frame.evidence.map(([heading, value]) => {
    const row = document.createElement("tr");
    const head = document.createElement("th");
    const cell = document.createElement("td");
    head.scope = "row";
    head.textContent = heading;
    cell.textContent = value;
    row.append(head, cell);
    return row;
  }));
  at("cautions").replaceChildren(...frame.cautions.map((says) => {
    const item = document.createElement("li");
    item.textContent = says;
    return item;
  }));
  for (const button of document.querySelectorAll("[data-call]")) {
    button.setAttribute("aria-pressed", `${button.dataset.call === frame.decided}`);
  }
  at("nothing").disabled = !frame.decided;
  for (const button of document.querySelectorAll("[data-look]")) {
    button.setAttribute("aria-pressed", `${button.dataset.look === bench.look}`);
  }
  at("hold").disabled = held.length >= 3 || held.some((f) => f.n === current);
  at("release").disabled = held.length === 0;
  drawPlaces();
  document.title = `${frame.name} · stopwise review`;
  history.replaceState(null, "", `#${current}`);
  later();
}

function drawPlaces() {
  const frames = shown();
  bench.show(frames);
  frames.forEach((frame, i) => {
    const figure = at("places").children[i];
    figure.classList.toggle("current", frames.length > 1 && frame.n === current);
    const name = document.createElement("b");
    name.textContent = frame.name;
    const tool = document.createElement("span");
    tool.textContent = [`program: ${frame.verdict}`, frame.blur].filter(Boolean).join(", ");
    const you = document.createElement("span");
    you.textContent = frame.decided ? `you: ${frame.decided}` : "";
    figure.lastChild.replaceChildren(name, tool, you);
  });
  if (mapOn) loadMaps(frames);
}

// Somebody who looks at a frame for a while may move its subject: the burst is measured by then.
function stay() {
  clearTimeout(staying);
  const { id } = burst;
  if (id === prepared || burst.frames.length > 60) return;
  staying = setTimeout(() => {
    prepared = id;
    tell({ do: "prepare", burst: id }).catch(() => {});
  }, 3000);
}

// What may be wanted next is fetched when nothing else is asked for.
function later() {
  clearTimeout(idle);
  stay();
  const i = burst.frames.findIndex((f) => f.n === current);
  bench.prefetch([i + 1, i - 1, i + 2].map((k) => burst.frames[k]).filter(Boolean));
  const line = outing.bursts.findIndex((b) => b.id === burst.id);
  idle = setTimeout(async () => {
    const next = outing.bursts[line + 1];
    if (next && i >= burst.frames.length - 2) {
      const coming = await ask(`burst/${next.id}`);
      bench.prefetch(coming.frames.filter((f) => f.n === (coming.best ?? next.start)));
    }
  }, 400);
}

async function choose(n) {
  if (burst.frames.some((f) => f.n === n)) {
    current = n;
    leavePlacing();
    drawFrame();
  } else {
    await openBurst(lineOf(n).id, n);
  }
}

function step(by) {
  const i = burst.frames.findIndex((f) => f.n === current) + by;
  if (burst.frames[i]) return choose(burst.frames[i].n);
  const n = current + by;
  if (n >= 0 && n < outing.frames) return choose(n);
  say(by > 0 ? "This is the last frame." : "This is the first frame.");
}

function stepBurst(by) {
  const line = outing.bursts[outing.bursts.findIndex((b) => b.id === burst.id) + by];
  if (!line) return say(by > 0 ? "This is the last burst." : "This is the first burst.");
  leavePlacing();
  bench.offset = [0, 0];
  return openBurst(line.id, line.start);
}

async function act(what, done) {
  try {
    const answer = await tell(what);
    await done(answer);
  } catch (error) {
    say(`Not saved: ${error.message}`);
  }
}

function decide(call) {
  const frame = frameNow();
  const wanted = call === frame.decided ? null : call;
  return act({ do: "decide", frame: frame.n, call: wanted }, () => {
    outing.decided += (wanted ? 1 : 0) - (frame.decided ? 1 : 0);
    lineOf(frame.n).decided += (wanted ? 1 : 0) - (frame.decided ? 1 : 0);
    frame.decided = wanted;
    count();
    say(wanted ? `Saved: ${frame.name} is ${wanted}.` : `Saved: ${frame.name} is undecided.`);
    drawFrame();
    if (goOn && wanted) step(1);
  });
}

const undo = () => act({ do: "undo" }, async (answer) => {
  if (answer.frame === null) return say("There is nothing to undo.");
  await refresh(answer);
  say(`Undone, for ${frameNow().name}.`);
});

function leavePlacing() {
  if (!bench.placing) return;
  bench.stopPlacing();
  at("move").setAttribute("aria-pressed", "false");
  at("places").classList.remove("placing");
}

function placing() {
  if (bench.placing) return leavePlacing();
  bench.startPlacing();
  at("move").setAttribute("aria-pressed", "true");
  at("places").classList.add("placing");
  say("Click where the subject is, or use the arrows and Enter.");
  clearTimeout(staying);
  prepared = burst.id;
  tell({ do: "prepare", burst: burst.id }).catch(() => {});
}

function moveSubject(n, x, y) {
  leavePlacing();
  say("Tracking the new subject …");
  const start = performance.now();
  return act({ do: "subject", frame: n, x, y }, async (answer) => {
    bench.maps.clear();
    bench.offset = [0, 0];
    await refresh(answer);
    say(`Subject moved; burst judged again in ${((performance.now() - start) / 1000).toFixed(1)} s.`);
  });
}

async function loadMaps(frames) {
  for (const frame of frames) {
    if (bench.maps.has(frame.n) || !frame.there) continue;
    if (!burst.frames.includes(frame)) continue;
    try {
      say("Measuring the burst for its maps …");
      const map = await ask(`frame/${frame.n}/map`);
      map.image = new Image();
      map.image.src = map.picture;
      await map.image.decode();
      bench.maps.set(frame.n, map);
      at("legend").innerHTML = map.legend;
      at("legend").prepend("Blur, σ, sharp to soft");
      at("legend").hidden = !mapOn;
      say("");
    } catch (error) {
      say(error.message);
    }
  }
  if (mapOn) bench.draw();
}

function toggleMap() {
  mapOn = !mapOn;
  at("map").setAttribute("aria-pressed", `${mapOn}`);
  at("legend").hidden = !mapOn || !at("legend").innerHTML;
  if (!mapOn) bench.maps.clear();
  drawPlaces();
}

function look(how) {
  bench.look = how;
  drawFrame();
}

function hold() {
  if (held.length >= 3 || held.some((f) => f.n === current)) return;
  held.push(frameNow());
  const i = burst.frames.findIndex((f) => f.n === current);
  const next = burst.frames[i + 1] ?? burst.frames[i - 1];
  say(`${held.length + 1} places.`);
  if (next) choose(next.n);
  else drawFrame();
}

function release() {
  held = [];
  drawFrame();
}

function toUndecided() {
  const i = burst.frames.findIndex((f) => f.n === current);
  const next = burst.frames.slice(i + 1).find((f) => !f.decided);
  if (next) return choose(next.n);
  const line = outing.bursts.find((b) => b.first > current && b.decided < b.frames);
  if (!line) return say("No undecided frames after this one.");
  return openBurst(line.id, line.first).then(() => {
    const first = burst.frames.find((f) => !f.decided);
    if (first) return choose(first.n);
  });
}

function listBursts() {
  const open = at("open-only").checked;
  const lines = outing.bursts.filter((b) => !open || b.decided < b.frames).map((line) => {
    const item = document.createElement("li");
    const button = document.createElement("button");
    const place = outing.bursts.indexOf(line) + 1;
    const hits = line.hits === 1 ? "1 hit" : `${line.hits} hits`;
    const frames = line.frames === 1 ? "1 frame" : `${line.frames} frames`;
    const decided = `${line.decided} of ${line.frames} decided`;
    for (const text of [`burst ${place}`, line.clock ?? "", frames, hits, decided]) {
      const cell = document.createElement("span");
      cell.textContent = text;
      button.append(cell);
    }
    if (line.id === burst.id) button.setAttribute("aria-current", "true");
    button.addEventListener("click", () => {
      at("bursts").close();
      openBurst(line.id, line.start);
    });
    item.append(button);
    return item;
  });
  at("burst-list").replaceChildren(...lines);
}

function allBursts() {
  listBursts();
  at("bursts").showModal();
  const here = at("burst-list").querySelector("[aria-current]");
  if (here) here.focus();
}

const PAN = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const KEYS = {
  ArrowDown: () => step(1),
  ArrowUp: () => step(-1),
  ArrowRight: () => stepBurst(1),
  ArrowLeft: () => stepBurst(-1),
  g: () => burst.best !== null && choose(burst.best),
  h: () => decide("hit"),
  n: () => decide("near"),
  m: () => decide("miss"),
  c: () => decide("unclear"),
  x: () => frameNow().decided && decide(frameNow().decided),
  u: undo,
  a: () => {
    goOn = !goOn;
    at("on-says").textContent = goOn ? "yes" : "no";
    say(goOn ? "Advance after each decision." : "Stay on the frame.");
  },
  w: () => look("whole"),
  1: () => look("1"),
  2: () => look("2"),
  0: () => bench.home(),
  f: toggleMap,
  s: placing,
  b: hold,
  r: release,
  e: () => { at("evidence").open = !at("evidence").open; },
  l: allBursts,
  d: toUndecided,
};

document.addEventListener("keydown", (event) => {
  if (!burst || event.ctrlKey || event.metaKey || event.altKey || at("bursts").open) return;
  if (bench.placing) {
    if (event.key === "Escape") leavePlacing();
    else if (event.key === "Enter") moveSubject(bench.placing.n, bench.placing.x, bench.placing.y);
    else if (PAN[event.key]) {
      const far = bench.look === "whole" ? 40 : 8;
      bench.nudge(...PAN[event.key].map((v) => v * far * (event.shiftKey ? 5 : 1)));
    } else if (event.key === "s") leavePlacing();
    else return;
    return event.preventDefault();
  }
  if (event.shiftKey && PAN[event.key]) {
    bench.pan(...PAN[event.key].map((v) => v * 80));
    return event.preventDefault();
  }
  const act = KEYS[event.key];
  if (act && !event.shiftKey) {
    event.preventDefault();
    act();
  }
});

for (const button of document.querySelectorAll("[data-call]")) {
  button.addEventListener("click", () => decide(button.dataset.call));
}
for (const button of document.querySelectorAll("[data-look]")) {
  button.addEventListener("click", () => look(button.dataset.look));
}
at("nothing").addEventListener("click", KEYS.x);
at("undo").addEventListener("click", undo);
at("map").addEventListener("click", toggleMap);
at("move").addEventListener("click", placing);
at("hold").addEventListener("click", hold);
at("release").addEventListener("click", release);
at("earlier").addEventListener("click", () => stepBurst(-1));
at("later").addEventListener("click", () => stepBurst(1));
at("all").addEventListener("click", allBursts);
at("close").addEventListener("click", () => at("bursts").close());
at("open-only").addEventListener("change", listBursts);

// Another number behind the address, as by the browser's own back.
window.addEventListener("hashchange", () => {
  const n = Number(location.hash.slice(1));
  if (burst && n !== current && n >= 0 && n < outing.frames) choose(n);
});

if (matchMedia("(max-width:900px)").matches) at("keys").open = false;

try {
  outing = await ask("outing");
  at("title").textContent = outing.title;
  at("facts").textContent = outing.facts;
  count();
  const asked = Number(location.hash.slice(1));
  const known = location.hash.length > 1 && asked >= 0 && asked < outing.frames;
  const line = known ? lineOf(asked) : outing.bursts[0];
  await openBurst(line.id, known ? asked : line.start);
} catch (error) {
  say(`stopwise is not responding: ${error.message}`);
}
