// What every part of the report uses: numbers and addresses as people write them, the data.

// Numbers.
const count = (number) => String(number).replace(/\B(?=(\d{3})+$)/g, ",");
const counted = (number, one, many) => (number === 1 ? "1 " + one : count(number) + " " + (many || one + "s"));

// Said only of the largest suites and the longest runs: what was not followed tells nothing of tables and bytes.
const followedNote = (coverage) =>
  coverage["paths-followed"] < coverage.paths &&
  el(
    "p",
    { class: "quiet followed-note" },
    "Table entries, and decisions on header bytes, are told of " +
      count(coverage["paths-followed"]) +
      " of " +
      counted(coverage.paths, "path") +
      ".",
  );
const hex = (number, digits) => (number >>> 0).toString(16).toUpperCase().padStart(digits, "0");
const address = (number) => "0x" + hex(number, 6);
const offsetText = (number) => "0x" + hex(number, number > 0xffff ? 6 : 3);
const byteText = (value) =>
  "0x" + hex(value, 2) + (value >= 0x20 && value < 0x7f ? ' "' + String.fromCharCode(value) + '"' : "");
const time = (cycles, clock) => ((cycles * 1000) / clock).toFixed(3) + " ms";

// A place in the code: address, symbol, source line.
function place(spot, withSource) {
  const parts = [el("code", {}, address(spot.address) + (spot.symbol ? " <" + spot.symbol + ">" : ""))];
  if (spot.source && withSource !== false) parts.push(" ", el("span", { class: "where" }, spot.source));
  return parts;
}

// Data are read when they are needed for the first time.
const read = {};
function data(name) {
  if (!(name in read)) {
    const block = at(name);
    read[name] = block ? JSON.parse(block.textContent) : null;
  }
  return read[name];
}

// A value of the table in `details`: see `Table` in the tool's source.
function expand(number) {
  const { shapes, values } = data("details");
  const value = values[number];
  if (!Array.isArray(value)) return value;
  const items = value.slice(1).map(expand);
  if (value[0] === 0) return items;
  return Object.fromEntries(shapes[value[0]].map((key, index) => [key, items[index]]));
}

// Verdicts: the word in the data, how it reads, its look.
const VERDICTS = [
  ["held", "held", "is-held"],
  ["FAILED", "FAILED", "is-failed"],
  ["BUG GONE", "BUG GONE", "is-failed"],
  ["undecided", "undecided", "is-undecided"],
  ["known bug", "known bug", "is-known"],
];
const looks = Object.fromEntries(VERDICTS.map(([word, , look]) => [word, look]));
const fails = (word) => word === "FAILED" || word === "BUG GONE";

const head = data("head");
let shownHarness = 0;
const coverageOf = (index) => data("coverage-" + index);
// Called when another harness is chosen.
const onHarness = [];

function focusTitle(id) {
  const title = at(id);
  title.focus({ preventScroll: true });
  title.closest("section").scrollIntoView({ block: "start" });
}
