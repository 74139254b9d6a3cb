// What is live in the page: ranking under other weights, and two parts side by side.
// The rules are those of the shortlist: see `Build.order` and `evaluate` in the source.
const data = JSON.parse(document.getElementById("data").textContent);
const at = (id) => document.getElementById(id);
document.documentElement.classList.add("scripted");
// a wide screen has room for what a narrow one folds
if (!matchMedia("screen and (max-width: 59.99rem)").matches) {
  for (const fold of document.querySelectorAll("details[data-wide]")) fold.open = true;
}
const own = data.criteria.map((c) => c.weight);
const weights = [...own];
const NONE = "–";

// Charts --------------------------------------------------------------------------------------
const places = new Map(); // of the charts whose rows change, by name
const views = {}; // promises of those that have been drawn
const due = new Map(); // what is drawn after the next frame, so that tables answer first

function embed(place, spec) {
  const options = { mode: "vega-lite", ast: true, renderer: "svg", actions: false };
  // the library gives its element a role of its own, so that one inside is its
  // on a narrow screen names leave room for what is drawn beside them
  const axis = { ...spec.config.axis };
  axis.labelLimit = Math.min(axis.labelLimit, 0.35 * place.clientWidth);
  return vegaEmbed(place.firstElementChild, { ...spec, config: { ...spec.config, axis } }, options).then((made) => made.view);
}
let asked = false;
function soon() {
  if (!asked) requestAnimationFrame(() => setTimeout(draw));
  asked = true;
}
for (const place of document.querySelectorAll(".chart")) {
  const { chart, number } = place.dataset;
  const spec = data.charts[chart][number];
  places.set(spec.data ? chart : place, [place, spec]);
  if (!spec.data) due.set(place, [null, 1]);
}
function fill(chart, rows, lines) {
  if (!places.has(chart)) return;
  due.set(chart, [rows, lines]);
  soon();
}
function draw() {
  asked = false;
  for (const [chart, [rows, lines]] of due) {
    const [place, spec] = places.get(chart);
    // what is folded has no width to be drawn in
    if (place.closest("details:not([open])")) continue;
    due.delete(chart);
    const height = spec.height * lines; // a specification has that of one line
    if (!rows) views[chart] = embed(place, spec);
    else if (chart in views) views[chart].then((view) => view.height(height).data("rows", rows).runAsync());
    else views[chart] = embed(place, { ...spec, height, data: { name: "rows", values: rows } });
  }
}
document.addEventListener("toggle", () => {
  soon();
  dispatchEvent(new Event("resize")); // by which drawn charts take their width
}, true);

// Ranking -------------------------------------------------------------------------------------
let order = []; // parts by rank, each by its best build
let shares = []; // of the weights by which they are ranked
const sum = (numbers) => numbers.reduce((all, x) => all + x, 0);
const before = (a, b) => (a < b ? -1 : a > b ? 1 : 0);

function scored(part) {
  const built = part.builds.map((build) => {
    const points = build.worth.map((worth, i) => 100 * shares[i] * worth);
    const score = sum(points);
    return { part, build, points, score, rounded: Math.round(score * 10 ** data.digits) / 10 ** data.digits };
  });
  built.sort((x, y) => y.rounded - x.rounded || x.build.a - y.build.a || before(x.build.name, y.build.name));
  return built[0];
}
function ranked() {
  const total = sum(weights);
  shares = weights.map((w) => w / total);
  const found = data.parts.map(scored);
  found.sort((x, y) => y.rounded - x.rounded || x.build.precedence - y.build.precedence);
  return found;
}

const rows = [...document.querySelectorAll("#ranking tbody tr")]; // by rank; their texts change
// texts change in place: building rows anew takes several times as long
function put(node, text) {
  if (node.data !== text) node.data = text;
}
const write = (cell, text) => put(cell.firstChild ?? cell.appendChild(document.createTextNode("")), text);

function show() {
  const total = sum(weights);
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
    texts.forEach((text, i) => write(row.cells[i], text));
    const small = same ? one.part.small : `on ${one.build.pack}: ${gap(one, n)}`;
    put(row.querySelector("small").firstChild, small);
  });
  const [first, second] = order.map((one) => [one.part.part, one.score.toFixed(1)]);
  at("said").textContent = `First: ${first[0]}, ${first[1]} points; then ${second[0]}, ${second[1]}.`;
  const most = order.slice(0, data.most);
  fill("ranking", most.flatMap((one, place) => one.points.map((points, i) =>
    ({ part: one.part.part, place, criterion: data.criteria[i].name, points, order: i }))), most.length);
}
function otherwise(one, n) {
  const { part, build } = one;
  const own = build.name === part.own;
  return part.cells.map((text, i) => ({
    part: text, own: own ? text : NONE, draws: NONE, rank: String(n + 1), score: one.score.toFixed(1),
    build: build.cells[i],
  })[data.columns[i]]);
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
  [header, ...lines].forEach((line, n) => line.forEach((text, i) => {
    const cell = table.rows[n].cells[i];
    write(cell, text);
    if (cell.dataset.label) cell.dataset.label = header[i];
  }));
}
const PREFIXES = [[1, "A"], [1e-3, "mA"], [1e-6, "µA"], [1e-9, "nA"], [1e-12, "pA"], [1e-15, "fA"]];

function current(a) {
  if (!a) return "-";
  // what rounds to 1000 of a unit is 1.00 of the next
  const [scale, unit] = PREFIXES.find(([size]) => Math.abs(a) >= 0.9995 * size) ?? PREFIXES.at(-1);
  return `${(a / scale).toPrecision(3)} ${unit}`;
}
function money(amount) {
  if (amount === null) return "-";
  return amount >= data.unbounded ? "unbounded" : amount.toFixed(2);
}
const signed = (x) => (x < 0 ? "−" : "+") + Math.abs(x).toFixed(2);

function beside(pair, key) {
  const sides = pair.map((one) => one.build[key]);
  const names = [...new Set(sides.flatMap((side) => Object.keys(side)))];
  const most = (name) => Math.max(...sides.map((side) => side[name] ?? 0));
  names.sort((x, y) => most(y) - most(x));
  const lines = names.map((name) => [name, ...sides.map((side) => side[name] ?? null)]);
  const sums = sides.map((side) => {
    const all = Object.values(side);
    return all.includes(null) ? null : sum(all);
  });
  return [...lines, ["in all", ...sums]];
}
function told(names, found, words) {
  const [items, sums] = [found.slice(0, -1), found.at(-1).slice(1)];
  return names.map((name, i) => {
    const most = items.reduce((a, b) => ((b[i + 1] ?? 0) > (a[i + 1] ?? 0) ? b : a), items[0]);
    return `${name}: ${words(sums[i])} in all, most of it ${most[0]} (${words(most[i + 1])})`;
  }).join("; ") + ".";
}
let besides = []; // the builds whose breakdowns are shown

function compare() {
  const chosen = (id) => order.find((one) => one.part.part === at(id).value);
  const pair = at("one") ? ["one", "two"].map(chosen) : order; // a part alone has no choice
  const names = pair.map((one) => one.part.part);
  pair.forEach((one, i) => document.documentElement.style.setProperty(i ? "--two" : "--one", one.part.colour));
  if (pair.length > 1) points(pair, names);
  const builds = pair.map((one) => one.build);
  if (builds.every((build, i) => build === besides[i])) return; // weights alone move no current
  besides = builds;
  for (const [key, words] of [["current", current], ["money", money]]) {
    const found = beside(pair, key);
    refill(at(key), [key === "current" ? "drawn by" : "item", ...names],
      found.map(([name, ...amounts]) => [name, ...amounts.map(words)]));
    const scale = key === "current" ? 1e6 : 1;
    at(`${key}-1-finding`).textContent = told(names, found, words);
    fill(key, found.slice(0, -1).flatMap(([item, ...amounts], place) => amounts.map((amount, i) =>
      ({ item, place, part: names[i], side: i ? "two" : "one", amount: amount < data.unbounded ? amount * scale : 0 }))), found.length - 1);
  }
}
function points(pair, names) {
  pair.forEach((one, i) => write(at("builds").children[i], `${one.part.part}: ${one.build.words}`));
  const lines = data.criteria.map((c, i) => {
    const [x, y] = pair.map((one) => one.points[i]);
    return [c.name, `${(100 * shares[i]).toFixed(1)} %`, pair[0].build.shown[i], x.toFixed(2),
      pair[1].build.shown[i], y.toFixed(2), signed(x - y)];
  });
  const [x, y] = pair.map((one) => one.score);
  lines.push(["in all", "100.0 %", "", x.toFixed(2), "", y.toFixed(2), signed(x - y)]);
  refill(at("points"), ["criterion", "weight", names[0], "points", names[1], "points", "difference"], lines);
}

// Where one reads -------------------------------------------------------------------------------
const links = [...document.querySelectorAll("nav a")];
const parts = [...document.querySelectorAll("main > section")]; // as many, in the same order
const seen = new Set();
const watch = new IntersectionObserver((entries) => {
  for (const { target, isIntersecting } of entries) seen[isIntersecting ? "add" : "delete"](target);
  const here = parts.findIndex((part) => seen.has(part));
  links.forEach((link, i) => {
    if (i === here) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
  });
}, { rootMargin: "0px 0px -75% 0px" });
for (const part of parts) watch.observe(part);

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
} else {
  order = ranked(); // a part alone, or none
}
if (order.length) compare();
soon();
