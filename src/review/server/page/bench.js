// One to four frames side by side. Their positions are linked: each shows the same spot as seen
// from its own subject point, so that what was the eye in one is the eye in all.

import { picture } from "./link.js";

// Parts are asked for on a grid, so that a little panning needs nothing new.
const GRID = 256;
const LARGEST = 4096;

export class Bench {
  constructor(places, { onPlaced, onPanned }) {
    this.places = places;
    this.look = "1";
    this.offset = [0, 0];
    this.frames = [];
    this.current = -1;
    this.maps = new Map();
    this.placing = null;
    this.onPlaced = onPlaced;
    this.onPanned = onPanned;
    new ResizeObserver(() => this.draw()).observe(places);
  }

  // Shows frames; the last one is the current.
  show(frames) {
    const same = frames.length === this.frames.length;
    this.frames = frames;
    this.places.dataset.count = frames.length;
    if (!same) {
      this.places.replaceChildren(...frames.map((_, i) => this.figure(i)));
    }
    this.draw();
  }

  figure(i) {
    const figure = document.createElement("figure");
    const canvas = document.createElement("canvas");
    canvas.setAttribute("role", "img");
    figure.append(canvas, document.createElement("figcaption"));
    let last = null;
    let moved = 0;
    canvas.addEventListener("pointerdown", (event) => {
      last = [event.clientX, event.clientY];
      moved = 0;
      canvas.setPointerCapture(event.pointerId);
    });
    canvas.addEventListener("pointermove", (event) => {
      if (!last || this.look === "whole") return;
      const [dx, dy] = [event.clientX - last[0], event.clientY - last[1]];
      moved += Math.hypot(dx, dy);
      last = [event.clientX, event.clientY];
      const scale = devicePixelRatio / Number(this.look);
      this.pan(-dx * scale, -dy * scale);
    });
    canvas.addEventListener("pointerup", (event) => {
      if (last && moved < 5 && this.placing) {
        const box = canvas.getBoundingClientRect();
        this.place(i, event.clientX - box.left, event.clientY - box.top);
      }
      last = null;
    });
    canvas.addEventListener("pointercancel", () => { last = null; });
    return figure;
  }

  pan(dx, dy) {
    this.offset = [this.offset[0] + dx, this.offset[1] + dy];
    this.onPanned();
    this.draw();
  }

  home() {
    this.offset = [0, 0];
    this.draw();
  }

  // Where the middle of a place is in a frame, px.
  centre(frame) {
    const [x, y] = frame.subject ?? [0.5, 0.5];
    return [x * frame.width + this.offset[0], y * frame.height + this.offset[1]];
  }

  // How a frame lies in a place: scale in device px for a px of the frame, and the frame's left
  // top corner in device px.
  lie(frame, width, height) {
    if (this.look === "whole") {
      const scale = Math.min(width / frame.width, height / frame.height);
      return [scale, (width - scale * frame.width) / 2, (height - scale * frame.height) / 2];
    }
    const scale = Number(this.look);
    const [x, y] = this.centre(frame);
    return [scale, Math.round(width / 2 - scale * x), Math.round(height / 2 - scale * y)];
  }

  // The address of what has to be drawn, and where it lies in the frame.
  needed(frame, width, height) {
    const [scale, left, top] = this.lie(frame, width, height);
    if (this.look === "whole") {
      const side = Math.min(Math.ceil(Math.max(width, height) / GRID) * GRID, LARGEST);
      return { path: `frame/${frame.n}/whole?side=${side}`, at: [0, 0, frame.width, frame.height] };
    }
    const down = (v, most) => Math.min(Math.max(Math.floor(v / GRID) * GRID, 0), most);
    const up = (v, most) => Math.min(Math.max(Math.ceil(v / GRID) * GRID, 0), most);
    const x0 = down(-left / scale, frame.width);
    const y0 = down(-top / scale, frame.height);
    const x1 = Math.min(up((width - left) / scale, frame.width), x0 + LARGEST);
    const y1 = Math.min(up((height - top) / scale, frame.height), y0 + LARGEST);
    if (x1 <= x0 || y1 <= y0) return null;
    const path = `frame/${frame.n}/part?x=${x0}&y=${y0}&w=${x1 - x0}&h=${y1 - y0}`;
    return { path, at: [x0, y0, x1 - x0, y1 - y0] };
  }

  size() {
    const canvas = this.places.querySelector("canvas");
    if (!canvas) return [0, 0];
    return [canvas.clientWidth, canvas.clientHeight].map((v) => Math.round(v * devicePixelRatio));
  }

  // Fetches what a frame would need here, ahead of time.
  prefetch(frames) {
    const [width, height] = this.size();
    for (const frame of frames) {
      const need = width && frame.there && this.needed(frame, width, height);
      if (need) picture(need.path).catch(() => {});
    }
  }

  draw() {
    this.frames.forEach((frame, i) => this.drawOne(frame, this.places.children[i]));
  }

  async drawOne(frame, figure) {
    const canvas = figure.firstChild;
    const width = Math.round(canvas.clientWidth * devicePixelRatio);
    const height = Math.round(canvas.clientHeight * devicePixelRatio);
    if (!width || !height) return;
    const turn = (figure.turn ?? 0) + 1;
    figure.turn = turn;
    const need = frame.there ? this.needed(frame, width, height) : null;
    let bitmap = null;
    let fault = frame.there ? null : "The file of this frame is gone.";
    if (need) {
      try {
        bitmap = await picture(need.path);
      } catch (error) {
        fault = error.message;
      }
    }
    if (figure.turn !== turn) return;
    if (canvas.width !== width || canvas.height !== height) {
      canvas.width = width;
      canvas.height = height;
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, width, height);
    const [scale, left, top] = this.lie(frame, width, height);
    if (bitmap) {
      const [x, y, w, h] = need.at;
      pen.imageSmoothingEnabled = this.look === "whole";
      pen.drawImage(bitmap, left + scale * x, top + scale * y, scale * w, scale * h);
    }
    const map = this.maps.get(frame.n);
    if (map) this.drawMap(pen, map, frame, [scale, left, top]);
    this.drawMarks(pen, frame, [scale, left, top], [width, height]);
    if (fault) {
      pen.fillStyle = getComputedStyle(figure).color;
      pen.font = `${16 * devicePixelRatio}px system-ui`;
      pen.textAlign = "center";
      pen.fillText(fault, width / 2, height / 2, width - 20);
    }
    const where = this.look === "whole" ? "the whole frame" : `at ${100 * Number(this.look)} %`;
    canvas.setAttribute("aria-label", `${frame.name}, ${where}${fault ? `: ${fault}` : ""}`);
    figure.dataset.drawn = bitmap ? `${frame.n}` : "";
    figure.dispatchEvent(new CustomEvent("drawn", { bubbles: true, detail: frame.n }));
  }

  drawMap(pen, map, frame, [scale, left, top]) {
    pen.save();
    pen.beginPath();
    pen.rect(left, top, scale * frame.width, scale * frame.height);
    pen.clip();
    pen.globalAlpha = this.look === "whole" ? 0.8 : 0.5;
    pen.imageSmoothingEnabled = false;
    pen.drawImage(map.image, left, top, scale * map.width_px, scale * map.height_px);
    pen.restore();
  }

  // Dark on light, so that lines show on any picture.
  strokes(pen, path) {
    const dpr = devicePixelRatio;
    for (const [colour, wide] of [["#fff", 4], ["#000", 1.5]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = wide * dpr;
      pen.stroke(path);
    }
  }

  drawMarks(pen, frame, [scale, left, top], [width, height]) {
    const dpr = devicePixelRatio;
    if (this.look === "whole" && frame.subject) {
      const ring = new Path2D();
      const [x, y] = frame.subject;
      ring.arc(left + scale * x * frame.width, top + scale * y * frame.height, 11 * dpr, 0, 7);
      this.strokes(pen, ring);
    }
    if (this.placing && frame.n === this.placing.n) {
      const x = left + scale * this.placing.x * frame.width;
      const y = top + scale * this.placing.y * frame.height;
      const cross = new Path2D();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        cross.moveTo(x + 6 * dpr * dx, y + 6 * dpr * dy);
        cross.lineTo(x + 26 * dpr * dx, y + 26 * dpr * dy);
      }
      this.strokes(pen, cross);
    }
    if (this.look !== "whole") {
      // A ruler of the picture's own pixels.
      const long = 50 * scale;
      const rule = new Path2D();
      const [x, y] = [12 * dpr, height - 12 * dpr];
      rule.moveTo(x, y - 4 * dpr);
      rule.lineTo(x, y);
      rule.lineTo(x + long, y);
      rule.lineTo(x + long, y - 4 * dpr);
      this.strokes(pen, rule);
      pen.font = `${12 * dpr}px system-ui`;
      pen.textAlign = "left";
      pen.lineWidth = 3 * dpr;
      pen.strokeStyle = "#fff";
      pen.fillStyle = "#000";
      pen.strokeText("50 px", x + 4 * dpr, y - 7 * dpr);
      pen.fillText("50 px", x + 4 * dpr, y - 7 * dpr);
    }
  }

  // Begins to move the subject of the current frame.
  startPlacing() {
    const frame = this.frames[this.frames.length - 1];
    const [x, y] = this.look === "whole"
      ? frame.subject ?? [0.5, 0.5]
      : this.centre(frame).map((v, i) => v / (i ? frame.height : frame.width));
    this.placing = { n: frame.n, x, y };
    this.draw();
  }

  stopPlacing() {
    this.placing = null;
    this.draw();
  }

  // Moves the crosshair by px of the picture.
  nudge(dx, dy) {
    const frame = this.frames.find((f) => f.n === this.placing.n);
    const inside = (v) => Math.min(Math.max(v, 0), 1);
    this.placing.x = inside(this.placing.x + dx / frame.width);
    this.placing.y = inside(this.placing.y + dy / frame.height);
    this.draw();
  }

  place(i, x, y) {
    const frame = this.frames[i];
    const [width, height] = this.size();
    const [scale, left, top] = this.lie(frame, width, height);
    const fx = (x * devicePixelRatio - left) / scale / frame.width;
    const fy = (y * devicePixelRatio - top) / scale / frame.height;
    if (fx < 0 || fx > 1 || fy < 0 || fy > 1) return;
    this.onPlaced(frame.n, fx, fy);
  }
}
