// The compatibility matrix: one row a cartridge, and where it went among the branches.

let openCaseIndex = -1;

// One small box a branch, in the order of the harness: which was wanted, which was taken. The words beside it say the same.
function ways(index) {
  const wanted = text("wanted", index)
    .replace(/ \([^()]*\)$/, "")
    .split(" or ");
  const taken = text("taken", index);
  const failing = fails(text("verdict", index));
  const branches = head.harnesses[harnessOf(index)].branches;
  if (branches.length > 9) return null;
  return el(
    "span",
    { class: "ways", "aria-hidden": true },
    branches.map((branch) => {
      const look = [
        wanted.includes(branch.name) && "wanted",
        taken === branch.name && (failing && !wanted.includes(taken) ? "astray" : "took"),
      ];
      return el("i", { class: look.filter(Boolean).join(" ") });
    }),
  );
}

function matrixRow(position) {
  const index = view[position];
  const verdict = text("verdict", index);
  const attached = text("attached", index);
  return [
    fails(verdict) ? "failing" : "",
    [
      el("span", { title: attached }, attached),
      el("span", { title: text("wanted", index) }, text("wanted", index)),
      [ways(index), text("taken", index)],
      count(table.instructions[index]),
      count(table.cycles[index]),
      el("span", { class: "verdict " + (looks[verdict] || "") }, verdict),
    ],
  ];
}

const matrix = makeRows(at("matrix-grid"), {
  label: "Cartridges and the branches they took",
  empty: "No case fits the filter.",
  columns: [
    { key: "cartridge", title: "Cartridge" },
    { key: "wanted", title: "Wanted" },
    { key: "took", title: "Took" },
    { key: "instructions", title: "Instr", number: true },
    { key: "cycles", title: "Cycles", number: true },
    { key: "verdict", title: "Verdict" },
  ],
  count: () => view.length,
  row: matrixRow,
  chosen: (position) => view[position] === openCaseIndex,
  opens: (position) => openCase(view[position]),
  sort: (key) => sortBy(COLUMN_SORTS[key] || key),
  order: (key) => (sorting.key === (COLUMN_SORTS[key] || key) ? (sorting.down ? "descending" : "ascending") : "none"),
  printed: printedRows,
});
const COLUMN_SORTS = { cartridge: "attached", took: "taken" };

// All that did not hold, then as many others as fit; in the order of the matrix.
function printedRows(most) {
  const positions = view.map((_, position) => position);
  if (positions.length <= most) return [positions, 0];
  const failing = positions.filter((position) => text("verdict", view[position]) !== "held");
  const others = positions.filter((position) => text("verdict", view[position]) === "held");
  const printed = failing
    .concat(others)
    .slice(0, most)
    .sort((one, other) => one - other);
  return [printed, view.length - printed.length];
}

// What happened by branch, as a table whose counts filter the matrix.
function drawBranches() {
  const [first, end] = range();
  const harness = head.harnesses[shownHarness];
  const found = new Map(
    (harness ? harness.branches : []).map((branch) => [branch.name, { kind: branch.kind, all: 0, by: {} }]),
  );
  for (let index = first; index < end; index++) {
    const name = text("taken", index);
    if (!found.has(name)) found.set(name, { kind: "no branch", all: 0, by: {} });
    const entry = found.get(name);
    entry.all++;
    const verdict = text("verdict", index);
    entry.by[verdict] = (entry.by[verdict] || 0) + 1;
  }
  const used = VERDICTS.filter(([word]) => [...found.values()].some((entry) => entry.by[word]));
  const most = Math.max(1, ...[...found.values()].map((entry) => entry.all));
  const cell = (name, number, word) =>
    el(
      "td",
      { class: "number" },
      number
        ? el(
            "button",
            {
              type: "button",
              class: "plain",
              "aria-label": counted(number, "case") + " took " + name + (word ? ", " + word : "") + ": show",
              onclick: () => setFilter({ branch: "name:" + name, verdict: word || "", text: "" }),
            },
            count(number),
          )
        : "0",
    );
  const rows = [...found].map(([name, entry]) => {
    const bar = el("span", { class: "bar", "aria-hidden": true });
    bar.style.width = entry.all ? (100 * entry.all) / most + "%" : "0";
    if (!entry.all) bar.style.minWidth = "0";
    return el(
      "tr",
      {},
      el("th", { scope: "row" }, name),
      el("td", { class: "kind" }, entry.kind),
      cell(name, entry.all),
      used.map(([word]) => cell(name, entry.by[word] || 0, word)),
      el("td", { class: "share" }, bar),
    );
  });
  fill(
    at("branches"),
    el(
      "div",
      { class: "scroll" },
      el(
        "table",
        { class: "branch-table" },
        el("caption", { class: "sr" }, "Cases by the branch they took"),
        el(
          "thead",
          {},
          el(
            "tr",
            {},
            el("th", { scope: "col" }, "Took"),
            el("th", { scope: "col", class: "kind" }, "Kind"),
            el("th", { scope: "col", class: "number" }, "Cases"),
            used.map(([word]) => el("th", { scope: "col", class: "number" }, word)),
            el("td", { class: "share" }),
          ),
        ),
        el("tbody", {}, rows),
      ),
    ),
  );
}

function showMatrix() {
  applyFilter();
  matrix.refresh();
  const [first, end] = range();
  const all = end - first;
  at("shown").textContent =
    view.length === all ? counted(all, "case") : count(view.length) + " of " + counted(all, "case");
  at("next-failure").disabled = !failuresBy.some((number) => number > 0);
}

function sortBy(key) {
  if (key === "") sorting.key = null;
  else if (sorting.key !== key) {
    sorting.key = key;
    sorting.down = false;
  } else if (!sorting.down) sorting.down = true;
  else {
    sorting.key = null;
    sorting.down = false;
  }
  at("sort-by").value = sorting.key || "";
  showMatrix();
}

// The next failure below the row that the keyboard is on; after the last one of a harness the first of the next that has
// any. Where the filter leaves none it is taken away.
function nextFailure() {
  if (goToFailure(failureShown ? matrix.active() + 1 : matrix.active())) return;
  const count = failuresBy.length;
  const others = Array.from({ length: count }, (_, step) => (shownHarness + 1 + step) % count);
  const next = others.find((harness) => failuresBy[harness] > 0);
  if (next === undefined || (next === shownHarness && goToFailure(0))) return;
  switchHarness(next);
  goToFailure(0);
}

// Opens the first failure from a row on; whether there is one.
function goToFailure(start) {
  for (let position = start; position < view.length; position++) {
    if (fails(text("verdict", view[position]))) {
      failureShown = true;
      matrix.go(position);
      openCase(view[position], { stay: true });
      return true;
    }
  }
  return false;
}
let failureShown = false;
