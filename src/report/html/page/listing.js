// The routine's instructions beside their source lines, with how often each ran and both directions of each branch.

let listed = [];
let onlyOpen = false;
let listingRows = null;

function directionText(directions) {
  const one = (word, direction) => word + " " + (direction.runs ? count(direction.runs) : "never");
  return one("branch", directions.taken) + ", " + one("on", directions["fell-through"]);
}
// Where a computed jump or call went.
const targetText = (targets) =>
  targets.map((target) => "to " + address(target.to.address) + " " + count(target.runs)).join(", ");
const wayWords = (line) =>
  line.directions ? directionText(line.directions) : line.targets ? targetText(line.targets) : "";
const halfTaken = (line) =>
  line.directions && line.runs > 0 && (line.directions.taken.runs === 0 || line.directions["fell-through"].runs === 0);
const lookOf = (line) => (line.runs === 0 ? "never" : halfTaken(line) ? "half" : "");
const MARKS = { never: ["\u2715", "never run"], half: ["\u25D0", "one direction never taken"], "": ["\u2713", "run"] };

function listingRow(index) {
  const line = listed[index];
  const look = lookOf(line);
  const [sign, words] = MARKS[look];
  return [
    look,
    [
      [el("span", { "aria-hidden": true, title: words }, sign), el("span", { class: "sr" }, words)],
      el("code", {}, address(line.at.address)),
      el("code", { title: line.at.symbol }, line.at.symbol || ""),
      el("code", { title: line.text + "  " + line.hex }, line.text),
      line.runs ? count(line.runs) : "never",
      count(line.cases),
      el("span", { title: wayWords(line) }, wayWords(line)),
      el("code", { title: line.at.source }, line.at.source || ""),
    ],
  ];
}

const percent = (share) =>
  share.total ? Math.floor((1000 * share.covered) / share.total) / 10 + "%" : "nothing to run";

function drawListing() {
  const found = coverageOf(shownHarness);
  listingRows = null;
  if (!found) {
    fill(at("listing-body"), el("p", { class: "quiet" }, "Coverage of this harness was not recorded."));
    return;
  }
  const { coverage } = found;
  const only = el(
    "button",
    {
      type: "button",
      "aria-pressed": String(onlyOpen),
      onclick: () => {
        onlyOpen = !onlyOpen;
        only.setAttribute("aria-pressed", String(onlyOpen));
        filterListing(coverage);
      },
    },
    "Only what was never run or never taken",
  );
  const grid = el("div", { class: "rows listing-grid" });
  const share = (share, what) =>
    count(share.covered) + " of " + count(share.total) + " " + what + " (" + percent(share) + ")";
  fill(
    at("listing-body"),
    el(
      "p",
      {},
      share(coverage.instructions, "instructions ran"),
      "; ",
      share(coverage.directions, "directions of branches were taken"),
      ".",
    ),
    el("div", { class: "map-tools" }, only),
    grid,
  );
  listingRows = makeRows(grid, {
    label: "Instructions of the routine",
    empty: "Everything was run, and every direction taken.",
    columns: [
      { key: "mark", spoken: "mark" },
      { key: "address", title: "Address" },
      { key: "symbol", title: "Symbol" },
      { key: "instruction", title: "Instruction" },
      { key: "runs", title: "Runs", number: true },
      { key: "cases", title: "Cases", number: true },
      { key: "ways", title: "Directions" },
      { key: "source", title: "Source" },
    ],
    count: () => listed.length,
    row: listingRow,
  });
  filterListing(coverage);
}

function filterListing(coverage) {
  listed = onlyOpen ? coverage.listing.filter((line) => lookOf(line) !== "") : coverage.listing;
  if (listingRows) listingRows.refresh();
}

// Moves to an instruction of the listing.
function showInListing(wanted) {
  const found = coverageOf(shownHarness);
  if (!found || !listingRows) return;
  const find = () => listed.findIndex((line) => line.at.address === wanted);
  if (find() < 0 && onlyOpen) at("listing-body").querySelector("[aria-pressed]").click();
  const index = find();
  if (index < 0) {
    focusTitle("listing-title");
    return;
  }
  at("listing").scrollIntoView({ block: "start" });
  listingRows.go(index);
}
