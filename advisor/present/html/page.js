// What is live in the page: ranking under other weights, and two parts side by side.
// The rules are those of the shortlist: see `Build.order` and `evaluate` in the source.
const data = JSON.parse(document.getElementById("data").textContent);
const at = (id) => document.getElementById(id);
document.documentElement.classList.add("scripted");
const own = data.criteria.map((c) => c.weight);
const weights = [...own];
const DECIMALS = 1e9; // of a score of 0..100 that count
const NONE = "–";

// Charts --------------------------------------------------------------------------------------
const views = {}; // by chart: a promise of its view, so that rows given early arrive

function drawn(place) {
  const spec = data.charts[place.dataset.chart][place.dataset.number];
  return vegaEmbed(place, spec, { mode: "vega-lite", ast: true, renderer: "svg", actions: false, logLevel: 1 })
    .then((made) => made.view);
}
for (const place of document.querySelectorAll(".chart")) {
  views[place.dataset.chart] = drawn(place);
}
const heights = {}; // of a row, as each chart's specification has it
const due = new Map(); // what is drawn after the next frame, so that tables answer first
function fill(chart, rows, lines) {
  if (!(chart in views)) return;
  due.set(chart, [rows, lines]);
  if (due.size === 1) requestAnimationFrame(() => setTimeout(draw));
}
function draw() {
  for (const [chart, [rows, lines]] of due) {
    heights[chart] ??= data.charts[chart][0].height;
    views[chart].then((view) => view.height(heights[chart] * lines).data("rows", rows).runAsync());
  }
  due.clear();
}

// Ranking -------------------------------------------------------------------------------------
const before = (a, b) => (a < b ? -1 : a > b ? 1 : 0);

function scored(part, shares) {
  const built = part.builds.map((build) => {
    const points = build.worth.map((worth, i) => 100 * shares[i] * worth);
    const score = points.reduce((sum, p) => sum + p, 0);
    return { part, build, points, score, rounded: Math.round(score * DECIMALS) / DECIMALS };
  });
  built.sort((x, y) => y.rounded - x.rounded || x.build.a - y.build.a || before(x.build.name, y.build.name));
  return built[0];
}
function ranked() {
  const total = weights.reduce((sum, w) => sum + w, 0);
  const shares = weights.map((w) => w / total);
  const order = data.parts.map((part) => scored(part, shares));
  order.sort((x, y) => y.rounded - x.rounded || x.build.a - y.build.a || before(x.part.part, y.part.part));
  return order;
}

let order = [];
const rows = [...document.querySelectorAll("#ranking tbody tr")]; // by rank; their texts change
// texts change in place: building rows anew takes several times as long
function put(node, text) {
  if (node.data !== text) node.data = text;
}
const write = (cell, text) => put(cell.firstChild ?? cell.appendChild(document.createTextNode("")), text);

function show() {
  const total = weights.reduce((sum, w) => sum + w, 0);
  const same = weights.every((w, i) => w === own[i]);
  document.querySelectorAll(".weight output").forEach((out, i) => {
    out.textContent = `${+weights[i].toPrecision(4)} (${total ? Math.round((100 * weights[i]) / total) : 0} %)`;
  });
  const sets = data.criteria.map((c, i) => ` --set ${c.set}${weights[i]}`);
  at("command").textContent = data.command + (same ? "" : sets.join(""));
  if (!total) {
    at("said").textContent = "Give at least one weight more than nothing.";
    return;
  }
  order = ranked();
  order.forEach((one, n) => {
    const [row, texts] = [rows[n], same ? one.part.cells : otherwise(one, n)];
    row.dataset.part = one.part.part;
    texts.forEach((text, i) => write(row.cells[i], text));
    const small = same ? one.part.small : `on ${one.build.pack}: ${gap(one, n)}`;
    put(row.querySelector("small").firstChild, small);
  });
  at("said").textContent = `First: ${order[0].part.part}, ${order[0].score.toFixed(1)} points` +
    (order.length > 1 ? `; then ${order[1].part.part}, ${order[1].score.toFixed(1)}.` : ".");
  const most = order.slice(0, data.most);
  fill("ranking", most.flatMap((one, place) => one.points.map((points, i) =>
    ({ part: one.part.part, place, criterion: data.criteria[i].name, points, order: i }))), most.length);
}
function otherwise(one, n) {
  const [, part, , , , range, , , hours, tools] = one.part.cells;
  const kept = one.build.name === one.part.own ? range : NONE;
  const { years, cost, buy } = one.build;
  return [String(n + 1), part, one.score.toFixed(1), NONE, years, kept, cost, buy, hours, tools];
}
function gap(one, n) {
  const other = order[n === 0 ? 1 : 0];
  const far = Math.abs(one.score - other.score).toFixed(1);
  return `${far} ${n === 0 ? "ahead of" : "behind"} ${other.part.part}`;
}

// Two parts side by side ------------------------------------------------------------------------
function refill(table, header, lines) {
  const body = table.tBodies[0];
  while (body.rows.length > lines.length) body.rows[0].remove();
  while (body.rows.length < lines.length) body.prepend(body.rows[0].cloneNode(true));
  [header, ...lines].forEach((line, n) => line.forEach((text, i) => write(table.rows[n].cells[i], text)));
}
const milli = [[1, "A"], [1e-3, "mA"], [1e-6, "µA"], [1e-9, "nA"], [1e-12, "pA"]];

function current(a) {
  if (a === null) return "-";
  const [scale, unit] = milli.find(([size]) => Math.abs(a) >= size) ?? milli.at(-1);
  return a ? `${(a / scale).toPrecision(3)} ${unit}` : "-";
}
const money = (amount) => (amount === null ? "-" : amount.toFixed(2));
const signed = (x) => (x < 0 ? "" : "+") + x.toFixed(2);

function beside(pair, key) {
  const sides = pair.map((one) => one.build[key]);
  const names = [...new Set(sides.flatMap((side) => Object.keys(side)))];
  const most = (name) => Math.max(...sides.map((side) => side[name] ?? 0));
  names.sort((x, y) => most(y) - most(x));
  const lines = names.map((name) => [name, ...sides.map((side) => side[name] ?? null)]);
  const sums = sides.map((side) => {
    const all = Object.values(side);
    return all.includes(null) ? null : all.reduce((sum, x) => sum + x, 0);
  });
  return [...lines, ["in all", ...sums]];
}
let besides = []; // the builds whose breakdowns are shown

function compare() {
  const chosen = (id) => order.find((one) => one.part.part === at(id).value);
  const pair = at("one") ? ["one", "two"].map(chosen) : order; // a part alone has no choice
  const names = pair.map((one) => one.part.part);
  if (pair.length > 1) points(pair, names);
  const builds = pair.map((one) => one.build);
  if (builds.every((build, i) => build === besides[i])) return; // weights alone move no current
  besides = builds;
  for (const [key, words] of [["current", current], ["money", money]]) {
    const found = beside(pair, key);
    refill(at(key), [key === "current" ? "drawn by" : "item", ...names],
      found.map(([name, ...amounts]) => [name, ...amounts.map(words)]));
    const scale = key === "current" ? 1e6 : 1;
    fill(key, found.slice(0, -1).flatMap(([item, ...amounts], place) => amounts.map((amount, i) =>
      ({ item, place, part: names[i], side: i ? "two" : "one", amount: (amount ?? 0) * scale }))), found.length - 1);
  }
}
function points(pair, names) {
  pair.forEach((one, i) => write(at("builds").children[i], `${one.part.part}: ${one.build.words}`));
  const total = weights.reduce((sum, w) => sum + w, 0);
  const lines = data.criteria.map((c, i) => {
    const [x, y] = pair.map((one) => one.points[i]);
    return [c.name, `${((100 * weights[i]) / total).toFixed(1)} %`, pair[0].build.shown[i], x.toFixed(2),
      pair[1].build.shown[i], y.toFixed(2), signed(x - y)];
  });
  const [x, y] = pair.map((one) => one.score);
  lines.push(["in all", "100.0 %", "", x.toFixed(2), "", y.toFixed(2), signed(x - y)]);
  refill(at("points"), ["criterion", "weight", names[0], "points", names[1], "points", "difference"], lines);
}

// Start ---------------------------------------------------------------------------------------
if (at("weights")) {
  const sliders = [...document.querySelectorAll("#weights input")];
  const changed = () => {
    show();
    if (weights.some((w) => w > 0)) compare();
  };
  sliders.forEach((slider, i) => slider.addEventListener("input", () => {
    weights[i] = +slider.valueAsNumber.toPrecision(4);
    changed();
  }));
  at("own").addEventListener("click", () => {
    weights.splice(0, weights.length, ...own);
    sliders.forEach((slider, i) => { slider.value = own[i]; });
    changed();
  });
  for (const id of ["one", "two"]) at(id).addEventListener("change", compare);
  show();
}
if (data.parts.length) {
  order = ranked();
  compare();
}
