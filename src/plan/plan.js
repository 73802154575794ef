"use strict";
// Works the plan out again for another depth, light or magnification: the same steps as
// measure/setting.rs, measure/hand.rs, measure/light.rs and sets/plan, with the numbers of
// the record. The browser check holds both against each other.
const record = JSON.parse(document.getElementById("record").textContent);
const p = record.parameters;
const asked = record.wish;
const LOWEST = 1.5 / 64;
const STEPS = 96;

// ---- measure/bessel.rs
function jinc(x) {
  x = Math.abs(x);
  if (x < 1e-8) return 1;
  return 2 * j1(x) / x;
}
function j1(x) {
  if (x < 12) {
    const q = -0.25 * x * x;
    let term = 0.5 * x, sum = term;
    for (let k = 1; k < 60; k++) {
      term *= q / (k * (k + 1));
      sum += term;
      if (Math.abs(term) < 1e-17) break;
    }
    return sum;
  }
  let a = 1, b = 0, term = 1;
  for (let k = 1; k < 25; k++) {
    const odd = 2 * k - 1;
    const next = term * (4 - odd * odd) / (k * 8 * x);
    if (Math.abs(next) > Math.abs(term) && k > 2) break;
    term = next;
    if (k % 4 === 1) b += term;
    else if (k % 4 === 2) a -= term;
    else if (k % 4 === 3) b -= term;
    else a += term;
  }
  const chi = x - 0.75 * Math.PI;
  return Math.sqrt(2 / (Math.PI * x)) * (a * Math.cos(chi) - b * Math.sin(chi));
}
function sinc(x) {
  const y = Math.PI * x;
  return Math.abs(y) < 1e-8 ? 1 : Math.sin(y) / y;
}
// For x from 0 on: 2/√π · exp(-x²) · Σ 2ⁿ x²ⁿ⁺¹ / (1·3·…·(2n+1)), all terms positive.
function erf(x) {
  if (x > 6) return 1;
  let term = x, sum = x;
  for (let n = 1; term > 1e-17 * sum; n++) sum += term *= 2 * x * x / (2 * n + 1);
  return 2 / Math.sqrt(Math.PI) * Math.exp(-x * x) * sum;
}

// ---- measure/setting.rs
const diffraction = nu => 2 / Math.PI * (Math.acos(nu) - nu * Math.sqrt(1 - nu * nu));
function noisePower(iso) {
  const gain = iso / 100;
  return p.shot * gain + p.read * gain * gain;
}
function modulation(f, at, without) {
  const nu = f * p.wavelength_um * at.nEff / p.pitch_um;
  const w20 = without === "depth" ? 0 : at.defocus / (8 * at.nEff * at.nEff * p.wavelength_um);
  let mtf;
  if (without === "diffraction") mtf = jinc(8 * Math.PI * w20 * nu);
  else if (nu >= 1) mtf = 0;
  else mtf = diffraction(nu) * jinc(8 * Math.PI * w20 * nu * (1 - nu));
  if (without !== "lens") {
    mtf *= Math.exp(-2 * (Math.PI * f * p.aberration_um / at.nEff / p.pitch_um) ** 2);
  }
  if (without !== "pixels") mtf *= sinc(f);
  if (without !== "subject-motion") mtf *= sinc(f * at.smear);
  return mtf;
}
function shows(at, upTo, without) {
  const noise = noisePower(without === "noise" ? 100 : at.iso);
  const step = (upTo - LOWEST) / STEPS;
  let bits = 0, before = null, resolved = null, lost = false;
  for (let i = 0; i < STEPS; i++) {
    const f = LOWEST + (i + 0.5) * step;
    const mtf = modulation(f, at, without);
    const snr = p.contrast_power * mtf * mtf / (f * f * noise);
    bits += Math.log2(1 + snr) * Math.PI * f * step;
    const ln = Math.log(Math.max(snr, 1e-9));
    if (!lost) {
      if (ln < 0 || mtf <= 0) {
        lost = true;
        const share = ln0 => ln < 0 ? ln0 / (ln0 - ln) : 0.5;
        if (before) resolved = before[0] + (f - before[0]) * share(before[1]);
      }
      before = [f, ln];
    }
  }
  if (!lost) resolved = upTo;
  return {bits, resolved};
}
function blurSigma(at) {
  const parts = [0.463868 * p.wavelength_um * at.nEff / p.pitch_um, 0.310582,
    p.aberration_um / at.nEff / p.pitch_um, 0.310582 * at.smear];
  return Math.sqrt(parts.reduce((sum, v) => sum + v * v, 0));
}

// ---- measure/light.rs and sets/plan
const nearest = (all, distance) => all.reduce((a, b) => distance(b) < distance(a) ? b : a);
const OFF = 1 / 6 + 1e-9;
function flashTime(power) {
  const x = Math.log2(power);
  const logs = p.flash_s.map(([w, t]) => [Math.log2(w), Math.log2(t)]);
  const at = logs.filter(([w]) => w >= x).length;
  if (at === 0) return 2 ** logs[0][1];
  if (at === logs.length) return 2 ** logs[at - 1][1];
  const [x0, y0] = logs[at - 1], [x1, y1] = logs[at];
  return 2 ** (y0 + (y1 - y0) * (x - x0) / (x1 - x0));
}
function exposures(wish, fNumber) {
  const nEff = fNumber * (1 + wish.magnification / p.pupil_ratio);
  if (wish.light_ev === null) {
    const least = Math.min(1, ...p.flash_s.map(f => f[0]));
    const shutter = wish.shutter_s ?? p.flash_shutter_s;
    return p.isos.flatMap(iso => {
      const power = (nEff / p.flash_full_n_eff) ** 2 * 100 / iso;
      return power < least || power > 1 ? []
        : [{iso, shutter, light: Math.min(flashTime(power), shutter)}];
    });
  }
  if (wish.shutter_s !== null) {
    const wanted = nEff * nEff * 100 / (2 ** wish.light_ev * wish.shutter_s);
    const off = iso => Math.abs(Math.log2(iso / wanted));
    const iso = nearest(p.fine_isos, off);
    return off(iso) <= OFF ? [{iso, shutter: wish.shutter_s, light: wish.shutter_s}] : [];
  }
  return p.isos.flatMap(iso => {
    const wanted = nEff * nEff * 100 / (2 ** wish.light_ev * iso);
    const off = s => Math.abs(Math.log2(s / wanted));
    const shutter = nearest(p.shutters_s, off);
    return off(shutter) <= 1.5 * OFF ? [{iso, shutter, light: shutter}] : [];
  });
}
function judged(wish, fNumber, e) {
  const m = wish.magnification;
  let upTo = 0.5;
  if (wish.output_width_px !== null && !wish.crop) {
    upTo = Math.min(0.5, 0.5 * wish.output_width_px / p.frame_width_px);
  }
  upTo = Math.max(upTo, 2 * LOWEST);
  const smear = wish.motion_mm_s * e.light * m / p.pitch_um * 1000;
  const plane = {nEff: fNumber * (1 + m / p.pupil_ratio), iso: e.iso, defocus: 0, smear};
  const end = {...plane, defocus: 0.5 * m * m * wish.depth_mm * 1000};
  const atPlane = shows(plane, upTo), atEnd = shows(end, upTo);
  const sigma = blurSigma(plane);
  const room = sigma * Math.sqrt(p.hit_ratio * p.hit_ratio - 1);
  const hand = p.hand_mm_s * e.light * m / p.pitch_um * 1000;
  const still = hand <= 0 ? 1 : 1 - Math.exp(-0.5 * (Math.sqrt(12) * room / hand) ** 2);
  const allowed = room / 0.265770 * p.pitch_um * plane.nEff / (m * m) / 1000;
  const on = p.focus_spread_mm <= 0 ? 1 : erf(allowed / (p.focus_spread_mm * Math.SQRT2));
  const hit = still * on;
  const inBurst = chance => 1 - (1 - chance) ** p.burst_frames;
  let worst = [inBurst(on) / Math.max(inBurst(hit), 1e-12), "shake"];
  for (const loss of ["diffraction", "depth", "noise", "subject-motion", "lens", "pixels"]) {
    const factor = shows(end, upTo, loss).bits / Math.max(atEnd.bits, 1e-12);
    if (factor > worst[0]) worst = [factor, loss];
  }
  const whole = shows(plane, 0.5).resolved;
  const finest = f => f === null ? null : p.pitch_um / (2 * f * m);
  return {
    score: inBurst(hit) * atEnd.bits, f_number: fNumber, iso: e.iso, shutter_s: e.shutter, light_s: e.light,
    finest_um_plane: finest(atPlane.resolved), finest_um_depth_end: finest(atEnd.resolved),
    finest_rel_std_err: record.settings[0]?.finest_rel_std_err ?? null,
    noise_share: Math.sqrt(noisePower(e.iso)), smear_px: smear, hit_chance: hit,
    frames_for_a_hit: framesForAHit(hit), dominant_loss: worst[1],
    crop_factor: whole === null ? null
      : p.frame_width_px * 2 * whole / (wish.output_width_px ?? 2048),
  };
}
function framesForAHit(chance) {
  if (chance <= 0) return null;
  if (chance >= 0.9) return 1;
  const n = Math.ceil(Math.log(0.1) / Math.log(1 - chance) - 1e-9);
  return n < 100000 ? n : null;
}
function ranked(wish) {
  return p.f_numbers.flatMap(n => {
    const rows = exposures(wish, n).map(e => judged(wish, n, e));
    return rows.length ? [rows.reduce((a, b) => b.score > a.score ? b : a)] : [];
  }).sort((a, b) => b.score - a.score || a.f_number - b.f_number);
}

// ---- report/wording.rs
const NOTHING = "–";
function fixed(value, decimals) {
  if (!Number.isFinite(value)) return NOTHING;
  const text = value.toFixed(decimals);
  return /^-[0.]*$/.test(text) ? text.slice(1) : text;
}
function number(value) {
  if (!Number.isFinite(value)) return NOTHING;
  const exponent = value !== 0 ? Math.floor(Math.log10(Math.abs(value))) : 0;
  return fixed(value, Math.min(Math.max(2 - exponent, 0), 4));
}
const short = value => fixed(value, 3).replace(/\.?0+$/, "");
const fWord = n => "f/" + fixed(n, n < 10 ? 1 : 0).replace(/\.0$/, "");
function shutterWord(s) {
  if (!Number.isFinite(s) || s <= 0) return NOTHING;
  return s < 0.3 ? "1/" + fixed(1 / s, 0) : fixed(s, 1).replace(/\.0$/, "");
}
function perCent(share) {
  const v = share * 100;
  if (v > 0 && v < 0.5) return "<1 %";
  if (v >= 99.5 && v < 100) return ">99 %";
  return fixed(v, 0) + " %";
}
function decimalsFor(err) {
  if (!Number.isFinite(err) || err <= 0) return 4;
  let exponent = Math.floor(Math.log10(err));
  const leading = Math.round(err / 10 ** (exponent - 2));
  let digits = 2;
  if (leading >= 355 && leading <= 949) digits = 1;
  else if (leading >= 950) exponent += 1;
  return Math.min(Math.max(digits - 1 - exponent, 0), 4);
}
function finestWord(um, s) {
  if (um === null) return NOTHING;
  if (!(s.finest_rel_std_err > 0)) return number(um);
  const err = um * s.finest_rel_std_err;
  const d = decimalsFor(err);
  return `${fixed(um, d)} ± ${fixed(err, d)}`;
}

// ---- report/plan_words.rs and plan_table.rs
function because(rows, wish) {
  if (!rows.length) return "No aperture, ISO and shutter fit this light.";
  const first = rows[0];
  const lines = s => s.finest_um_depth_end === null ? "no line above the noise"
    : `lines of ${number(s.finest_um_depth_end)} µm`;
  const extreme = (keep, pick) => rows.filter(keep).reduce((a, b) => !a || pick(b, a) ? b : a, null);
  const wider = extreme(s => s.f_number < first.f_number, (b, a) => b.f_number > a.f_number);
  const closed = extreme(s => s.f_number > first.f_number, (b, a) => b.f_number < a.f_number);
  const beside = (s, way) => s
    ? `; ${way}, ${fWord(s.f_number)} shows ${lines(s)} and hits ${perCent(s.hit_chance)}` : "";
  const place = wish.depth_mm > 0 ? "at the ends of the depth" : "in focus";
  return `${fWord(first.f_number)} is first for the most detail ${place} times the chance ` +
    `that ${p.burst_frames} frames hold a hit: ${lines(first)} and a hit in ${perCent(first.hit_chance)} of frames` +
    `${beside(wider, "wider")}${beside(closed, "closed further")}. ` +
    `Most is lost to ${first.dominant_loss}.`;
}
function cells(s) {
  const out = [fWord(s.f_number), String(s.iso), shutterWord(s.shutter_s)];
  if (asked.light_ev === null) out.push(shutterWord(s.light_s));
  out.push(finestWord(s.finest_um_plane, s), finestWord(s.finest_um_depth_end, s),
    perCent(s.hit_chance), s.frames_for_a_hit === null ? NOTHING : String(s.frames_for_a_hit),
    number(100 * s.noise_share));
  if (asked.motion_mm_s > 0) out.push(number(s.smear_px));
  out.push(s.crop_factor === null ? NOTHING : number(s.crop_factor), s.dominant_loss);
  return out;
}

// ---- the page
const sliders = {
  depth: {of: "depth_mm", low: Math.log(0.05), high: Math.log(20), log: true},
  magnification: {of: "magnification", low: Math.log(0.25), high: Math.log(10), log: true},
  light: {of: "light_ev", low: -2, high: 18, log: false},
};
const wish = {...asked};
function draw() {
  const rows = ranked(wish);
  const body = document.querySelector("#settings tbody");
  body.replaceChildren(...rows.map(s => {
    const row = document.createElement("tr");
    for (const text of cells(s)) {
      const cell = document.createElement("td");
      cell.textContent = text;
      row.append(cell);
    }
    return row;
  }));
  document.getElementById("because").textContent = because(rows, wish);
  const scale = document.getElementById("bars");
  const most = Math.max(...rows.flatMap(s => [s.finest_um_plane ?? 0, s.finest_um_depth_end ?? 0]));
  scale.replaceChildren(...[...rows].sort((a, b) => a.f_number - b.f_number).map(s => {
    const row = document.createElement("div");
    row.className = s === rows[0] ? "pair first" : "pair";
    const name = document.createElement("span");
    name.textContent = fWord(s.f_number);
    const bars = document.createElement("span");
    for (const [key, kind] of [["finest_um_plane", "plane"], ["finest_um_depth_end", "end"]]) {
      const bar = document.createElement("span");
      bar.className = "length " + kind;
      bar.style.width = s[key] === null ? "0" : `calc((100% - 5.5em) * ${(s[key] / most).toFixed(4)})`;
      const word = document.createElement("span");
      word.textContent = s[key] === null ? NOTHING : number(s[key]) + " µm";
      const line = document.createElement("span");
      line.className = "line";
      line.append(bar, word);
      bars.append(line);
    }
    row.append(name, bars);
    return row;
  }));
  for (const [name, s] of Object.entries(sliders)) {
    const out = document.getElementById(name + "-out");
    if (out) out.textContent = short(wish[s.of]) + out.dataset.unit;
  }
}
function rounded(value) { // to three digits, so that what is shown is what is meant
  return Number(value.toPrecision(3));
}
for (const [name, s] of Object.entries(sliders)) {
  const input = document.getElementById(name);
  if (!input) continue;
  const place = v => s.log ? Math.log(Math.max(v, 1e-9)) : v;
  input.min = 0;
  input.max = 1000;
  input.step = 1;
  const set = v => { input.value = Math.round(1000 * (place(v) - s.low) / (s.high - s.low)); };
  set(wish[s.of]);
  input.addEventListener("input", () => {
    const v = s.low + (s.high - s.low) * input.value / 1000;
    wish[s.of] = s.log ? rounded(Math.exp(v)) : Math.round(v * 10) / 10;
    draw();
  });
  // A link such as plan.html#depth=0.5&light=10 opens the page with these values.
  const given = Number.parseFloat(new URLSearchParams(location.hash.slice(1)).get(name));
  if (Number.isFinite(given) && (!s.log || given >= 0) && (name !== "magnification" || given > 0)) {
    wish[s.of] = given;
    set(given);
  }
}
document.getElementById("again").addEventListener("click", () => {
  Object.assign(wish, asked);
  for (const [name, s] of Object.entries(sliders)) {
    const input = document.getElementById(name);
    if (input) input.value = Math.round(1000 * ((s.log ? Math.log(Math.max(wish[s.of], 1e-9)) : wish[s.of]) - s.low) / (s.high - s.low));
  }
  draw();
});
document.getElementById("sliders").hidden = false;
draw();
