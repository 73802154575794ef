// The frames of a burst as a ladder: one rung a frame, its blur drawn as long as it is wide.

// Where the ruler ends: 10 px, or 20 when a blur of the burst is wider.
let END_PX = 10;
const SPACE = "http://www.w3.org/2000/svg";

function part(name, attributes, text) {
  const element = document.createElementNS(SPACE, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text) element.textContent = text;
  return element;
}

const across = (px) => `${(100 * Math.min(Math.max(px, 0), END_PX)) / END_PX}%`;

export function ruler(place, burst) {
  const widest = Math.max(0, ...burst.frames.map((f) => 2 * (f.blur_px ?? 0)));
  END_PX = widest > 10 ? 20 : 10;
  const svg = part("svg", {});
  for (let px = 0; px <= END_PX; px += END_PX / 2) {
    const anchor = px === 0 ? "start" : px === END_PX ? "end" : "middle";
    const label = px === END_PX ? `${px} px` : `${px}`;
    svg.append(part("text", { x: across(px), y: 13, "text-anchor": anchor, class: "soft" }, label));
  }
  place.replaceChildren(svg);
}

function bar(frame) {
  const svg = part("svg", { "aria-hidden": "true" });
  for (let px = 5; px < END_PX; px += 5) {
    svg.append(part("line", { x1: across(px), x2: across(px), y1: 0, y2: 22, class: "grid" }));
  }
  if (frame.blur_px !== null) {
    const wide = 2 * frame.blur_px;
    svg.append(part("rect", { x: 0, y: 6, height: 10, width: across(wide), class: "blur" }));
    if (frame.err_px !== null && wide <= END_PX) {
      const [low, high] = [wide - 2 * frame.err_px, wide + 2 * frame.err_px];
      for (const kind of ["halo", "mark"]) {
        svg.append(part("line", { x1: across(low), x2: across(high), y1: 11, y2: 11, class: kind }));
      }
    }
    if (wide > END_PX) {
      svg.append(part("line", { x1: "94%", x2: "92%", y1: 4, y2: 18, class: "halo" }));
    }
  }
  if (frame.allowed_px !== null) {
    const at = across(2 * frame.allowed_px);
    svg.append(part("line", { x1: at, x2: at, y1: 1, y2: 21, class: "allowed" }));
  }
  return svg;
}

function words(frame, burst) {
  const calls = document.createElement("span");
  calls.className = "calls";
  const aside = document.createElement("span");
  aside.className = "aside";
  const best = frame.n === burst.best ? ", best of the burst" : "";
  aside.textContent = `${best}, blur ${frame.blur ?? "not measured"} `;
  calls.append(frame.verdict, aside);
  const you = document.createElement("span");
  you.className = "you";
  if (frame.decided) {
    you.textContent = `you: ${frame.decided}`;
    you.classList.toggle("other", frame.decided !== frame.verdict);
  }
  calls.append(you);
  return calls;
}

export function draw(list, burst, current, choose) {
  const rungs = burst.frames.map((frame) => {
    const item = document.createElement("li");
    const button = document.createElement("button");
    const name = document.createElement("span");
    const inner = document.createElement("bdi");
    inner.textContent = frame.name;
    name.className = "name";
    name.title = frame.path;
    name.append(inner);
    button.append(name, bar(frame), words(frame, burst));
    if (frame.n === current) button.setAttribute("aria-current", "true");
    button.addEventListener("click", () => choose(frame.n));
    item.append(button);
    return item;
  });
  list.replaceChildren(...rungs);
}

export function show(list, at) {
  const rung = list.children[at];
  if (rung) rung.scrollIntoView({ block: "nearest" });
}
