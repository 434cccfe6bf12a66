// The cases: their columns, which of them are shown, and in which order.

const table = data("rows");
const total = table.name.length;
const text = (column, index) => table.texts[table[column][index]];
const harnessOf = (index) => {
  let found = 0;
  head.harnesses.forEach((harness, number) => {
    if (harness.first <= index) found = number;
  });
  return found;
};
// By harness: how many failed.
const failuresBy = head.harnesses.map(() => 0);
for (let index = 0; index < total; index++) {
  if (fails(text("verdict", index))) failuresBy[harnessOf(index)]++;
}

// Lower-case texts to search in, made when somebody searches.
let searched = null;
function searchText(index) {
  if (!searched) searched = new Array(total);
  return (searched[index] ??= [
    text("attached", index),
    text("name", index),
    text("file", index) + ":" + table.line[index],
    text("wanted", index),
    text("taken", index),
  ]
    .join("\n")
    .toLowerCase());
}

const filter = { text: "", verdict: "", branch: "" };
const sorting = { key: null, down: false };
const SORTS = [
  ["", "the order of the files"],
  ["attached", "cartridge"],
  ["wanted", "wanted"],
  ["taken", "took"],
  ["instructions", "instructions"],
  ["cycles", "cycles"],
  ["verdict", "verdict, failures first"],
];
// Failures first: what one looks for.
const RANK = { FAILED: 0, "BUG GONE": 1, undecided: 2, "known bug": 3, held: 4 };
let view = [];

function range() {
  const first = head.harnesses[shownHarness] ? head.harnesses[shownHarness].first : 0;
  const next = head.harnesses[shownHarness + 1];
  return [first, next ? next.first : total];
}

function verdictFits(word) {
  return filter.verdict === "" || filter.verdict === word || (filter.verdict === "not held" && word !== "held");
}
function branchFits(index) {
  if (filter.branch === "") return true;
  const [what, name] = [filter.branch.slice(0, 5), filter.branch.slice(5)];
  return (what === "kind:" ? text("kind", index) : text("taken", index)) === name;
}

function applyFilter() {
  const [first, end] = range();
  const wanted = filter.text.toLowerCase();
  view = [];
  for (let index = first; index < end; index++) {
    if (
      verdictFits(text("verdict", index)) &&
      branchFits(index) &&
      (wanted === "" || searchText(index).includes(wanted))
    )
      view.push(index);
  }
  if (sorting.key) view.sort(compareRows);
}

const collator = new Intl.Collator("en", { numeric: true });
function compareRows(one, other) {
  const key = sorting.key;
  let order;
  if (key === "instructions" || key === "cycles") order = table[key][one] - table[key][other];
  else if (key === "verdict") order = RANK[text(key, one)] - RANK[text(key, other)];
  else order = collator.compare(text(key, one), text(key, other));
  return (sorting.down ? -order : order) || one - other;
}
