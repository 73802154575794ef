"use strict";
// Shows the settings of another depth, magnification or light. The command worked out every
// position of the sliders; nothing is calculated here, rows are only looked up.
const grid = JSON.parse(document.getElementById("grid").textContent);
const part = name => document.getElementById(name);
const sliders = grid.sliders.map(s => ({...s, input: part(s.name), out: part(s.name + "-out")}));
const index = of => of.reduce((at, s) => at * s.values.length + Number(s.input.value), 0);
const byAperture = rows => [...rows].sort((a, b) => a.aperture.slice(2) - b.aperture.slice(2));
function decoded(text, columns) {
  const rows = [];
  for (let at = 0; at < text.length;) {
    const row = {};
    for (const c of columns) {
      const n = [...text.slice(at, at += c.width)].reduce((n, d) => 64 * n + grid.digits.indexOf(d), 0);
      row[c.name] = c.words.length ? c.words[n] : n;
    }
    rows.push(row);
  }
  return rows;
}
function shown() {
  const exposures = decoded(grid.exposures[index(sliders.slice(0, -1))], grid.exposure_columns);
  const rows = decoded(grid.positions[index(sliders)], grid.position_columns);
  return rows.map(row => ({...exposures[row.exposure], ...row}));
}
function made(tag, className, ...inside) {
  const element = Object.assign(document.createElement(tag), className && {className});
  element.append(...inside);
  return element;
}
function reason(rows, place) {
  const forms = grid.reason;
  if (!rows.length) return forms.nothing;
  const filled = (form, row) => {
    const finest = row["at the ends"];
    const lines = finest === grid.no_value ? forms.no_lines : forms.lines.replace("{finest}", finest);
    return form.replace(/{(.*?)}/g, (_, name) => ({...row, place, lines})[name]);
  };
  const beside = (form, row) => row ? filled(form, row) : "";
  const near = byAperture(rows), at = near.indexOf(rows[0]);
  return filled(forms.first, rows[0]) + beside(forms.wider, near[at - 1]) +
    beside(forms.closed, near[at + 1]) + filled(forms.last, rows[0]);
}
function bars(rows) {
  const um = text => Number.parseFloat(text) || 0; // a dash has no length
  const finest = row => ["in focus", "at the ends"].map(name => row[name]);
  const most = Math.max(1e-9, ...rows.flatMap(finest).map(um));
  return byAperture(rows).map(row => made("div", row === rows[0] ? "pair first" : "pair",
    made("span", "", row.aperture), made("span", "", ...finest(row).map((text, i) => {
      const bar = made("span", i ? "length end" : "length plane");
      bar.style.setProperty("--share", (um(text) / most).toFixed(4));
      return made("span", "line", bar, made("span", "", um(text) ? text + " µm" : text));
    }))));
}
function draw() {
  const rows = shown(), depth = sliders.at(-1);
  const cell = (row, name) => made("td", "", row[name] + (row["error of " + name] ?? ""));
  const line = row => made("tr", "", ...grid.headings.map(name => cell(row, name)));
  part("settings").tBodies[0].replaceChildren(...rows.map(line));
  part("because").textContent = reason(rows, depth.places[depth.input.value]);
  part("bars").replaceChildren(...bars(rows));
  for (const s of sliders) {
    s.out.textContent = s.values[s.input.value] + s.out.dataset.unit;
    s.input.setAttribute("aria-valuetext", s.out.textContent);
  }
}
function reset(given) { // a link such as plan.html#depth=0.5&light=10 opens at the nearest values
  for (const s of sliders) {
    const off = value => Math.abs(value - given.get(s.name));
    s.input.max = s.values.length - 1;
    s.input.value = given.has(s.name)
      ? s.values.reduce((best, v, i) => off(v) < off(s.values[best]) ? i : best, 0) : s.asked;
    s.input.oninput = draw;
  }
  draw();
}
part("again").onclick = () => reset(new URLSearchParams());
part("sliders").hidden = false;
reset(new URLSearchParams(location.hash.slice(1)));
