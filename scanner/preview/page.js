// The preview: asks for the newest state and picture, one after another, as fast as they come.
const at = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const PAUSE_MS = 60, LOST_MS = 1000;
const SHAPES = {
  go: [["circle", { cx: 14, cy: 14, r: 13 }], ["path", { d: "M7 14l5 5 9-10" }]],
  ask: [["path", { d: "M14 1l13 13-13 13L1 14z" }], ["path", { d: "M10 11a4 4 0 1 1 5 4q-1 .5-1 2v1m0 3v1" }]],
  stop: [["path", { d: "M9 1h10l8 8v10l-8 8H9l-8-8V9z" }], ["path", { d: "M9 9l10 10M19 9L9 19" }]],
  "not checked": [["circle", { cx: 14, cy: 14, r: 11, fill: "none", stroke: "currentColor", "stroke-width": 3 }]],
};
SHAPES["not taken"] = SHAPES.stop;

function drawn(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function written(name, text, ...classes) {
  const made = document.createElement(name);
  made.textContent = text;
  made.classList.add(...classes);
  return made;
}

function shape(verdict) {
  const svg = drawn("svg", { viewBox: "0 0 28 28", "aria-hidden": "true" }), [ground, sign] = SHAPES[verdict];
  svg.classList.add(verdict.replace(" ", "-"));
  svg.append(drawn(ground[0], { fill: "currentColor", ...ground[1] }));
  if (sign) svg.append(drawn(sign[0], { fill: "none", stroke: "var(--shape)", "stroke-width": 3, ...sign[1] }));
  return svg;
}

function meter(one) {
  const row = document.createElement("li"), svg = drawn("svg", { viewBox: "0 0 100 10", preserveAspectRatio: "none", "aria-hidden": "true" });
  svg.append(drawn("rect", { class: "good", x: 100 * one.from, y: 0, width: 100 * (one.to - one.from), height: 10 }));
  if (one.at !== null) svg.append(drawn("rect", { class: "bar", x: 0, y: 3, width: 100 * one.at, height: 4 }));
  for (const edge of [one.from, one.to].filter((place) => place > 0 && place < 1)) {
    svg.append(drawn("path", { class: "limit", d: `M${100 * edge} 0v10`, "vector-effect": "non-scaling-stroke" }));
  }
  svg.append(drawn("rect", { class: "edge", x: 0, y: 0, width: 100, height: 10, "vector-effect": "non-scaling-stroke" }));
  const value = one.value === null ? "no label" : `${one.value}${one.good ? " ✓" : ""}`;
  row.append(written("span", one.name[0].toUpperCase() + one.name.slice(1)), written("span", value), svg, written("span", one.change, "change"));
  return row;
}

function show(state) {
  at("station").textContent = state.station;
  at("meters").replaceChildren(...state.meters.map(meter));
  const one = state.seen.length === 1 ? "A label is read." : `${state.seen.length} codes are read.`;
  at("seen").textContent = state.frame === null ? "" : state.seen.length ? one : "No label is read in this picture.";
  at("note").textContent = state.note;
  if (!state.verdict) return;
  const { verdict, code, headline, next } = state.verdict;
  at("verdict").replaceChildren(shape(verdict), written("b", verdict.toUpperCase()),
    written("p", code, "code"), written("p", headline), written("p", next));
}

async function turn() {
  try {
    const state = await (await fetch("/state.json")).json();
    show(state);
    if (state.frame !== null) {
      const picture = at("picture");
      picture.src = `/picture.jpg?${state.frame}`;
      await picture.decode();
      picture.hidden = false;
      at("empty").hidden = true;
    }
    setTimeout(turn, PAUSE_MS);
  } catch {
    at("seen").textContent = "The scanner does not answer. Is it running?";
    setTimeout(turn, LOST_MS);
  }
}

turn();
